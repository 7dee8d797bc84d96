"""How soon after a noise starts in a quiet room an answer is heard in it, as beside a compressor that switches on."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from rich.console import Console
from rich.table import Table

from handsfree import _wiring as wiring
from handsfree.audio import room_noise, surround
from handsfree.bench._noise import NOISES, available, mix
from handsfree.bench._script import Recording, recorded_lines
from handsfree.hearing import Engine, Listener, same_meaning

__all__ = ["SINCE_S", "Onset", "main", "onset"]

SINCE_S: tuple[float, ...] = (0.5, 1.2, 2.0, 4.0, 8.0, 16.0)
_QUIET_S, _AFTER_S = 5, 3.0


@dataclass(frozen=True, slots=True)
class Onset:
    """Of ``said`` answers that began ``since_s`` seconds after the ``noise`` did, ``level`` dB over it: ``right``
    accepted with their meaning, ``wrong`` with another; the rest is asked again. ``before``: utterances that were
    made of the noise before anybody spoke."""

    noise: str
    level: float
    since_s: float
    said: int
    right: int
    wrong: int
    before: int


def onset(engine: Engine, lines: Sequence[Recording], noise: str, level: float, since_s: float) -> Onset:
    """Each line, all of them known, by a listener that has heard a quiet room and how loud the technician is."""
    right = wrong = before = 0
    for number, line in enumerate(lines):
        listener = Listener(engine)
        listener.arm(line.armed)
        quiet = _quiet(line)
        listener.hear(quiet + line.pcm + quiet)
        loud = surround(line.pcm, since_s, _AFTER_S)
        found = listener.hear(quiet + mix(loud, NOISES[noise](len(loud) // 2, 77 + number), level))
        begins = found[-1].utterance.end_ms - 1000 * len(line.pcm) / 32000 if found else 0.0
        before += sum(one.utterance.end_ms < begins for one in found)
        accepted = [one.hypothesis.text for one in found if one.hypothesis.accepted]
        good = any(same_meaning(line.armed, text, line.say) for text in accepted)
        right += good
        wrong += bool(accepted) and not good
    return Onset(noise, level, since_s, len(lines), right, wrong, before)


def _quiet(line: Recording) -> bytes:
    room = room_noise(line.pcm)
    return (room * (_QUIET_S * 32000 // len(room) + 1))[: _QUIET_S * 32000]


def main(arguments: Sequence[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m handsfree.bench onset", description=__doc__)
    parser.add_argument("--noise", nargs="+", default=["pink", "hiss", "hum"], choices=available())
    parser.add_argument("--level", type=float, default=10.0, help="signal-to-noise ratio in dB")
    parser.add_argument("--every", type=int, default=8, help="only one line in so many; 8 takes some minutes")
    parser.add_argument("--json", type=Path, help="write the counts there")
    args = parser.parse_args(arguments)
    if args.every < 1:
        sys.exit(f"handsfree.bench: --every {args.every} leaves no line; give 1 or more")
    lines = [line for line in recorded_lines() if line.known][:: args.every]
    engine, found = wiring.build_engine(wiring.Setup()), []
    table = Table(
        title=f"Answers at {args.level:g} dB by seconds since the noise began, right of {len(lines)}"
    )
    table.add_column("noise")
    for since in SINCE_S:
        table.add_column(f"{since:g} s", justify="right")
    for noise in args.noise:
        row = [onset(engine, lines, noise, args.level, since) for since in SINCE_S]
        table.add_row(
            noise, *(f"{one.right} ({one.wrong} wrong)" if one.wrong else str(one.right) for one in row)
        )
        found += row
    Console(width=120).print(table)
    if args.json is not None:
        args.json.write_text(json.dumps([asdict(one) for one in found], indent=1) + "\n", encoding="utf-8")
    return 0
