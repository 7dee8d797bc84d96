"""``python -m handsfree.bench enrolment``: what an enrolment gains, on sentences that are not among its phrases.

A synthetic voice reads the twenty phrases, as ``handsfree enrol`` would hear them in a quiet room. Then it says
sentences of the grammars that the packaged procedure arms, and some that answer nothing, in pink noise, through the
listener of a session: heard as anybody, and as the voice that was enrolled.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Final

from rich.console import Console
from rich.table import Table

from handsfree import _wiring as wiring
from handsfree._checking import pronounce
from handsfree.audio import room_noise, samples
from handsfree.bench._hearing import Score, score
from handsfree.bench._script import Recording, recorded_lines
from handsfree.bench._voices import Speakers
from handsfree.enrolment import Result, VoiceStore, make_voice, packaged_phrases
from handsfree.hearing import Adaptation, PocketSphinxEngine
from handsfree.speaking import SpeakingError

__all__ = ["VOICES", "enrolled", "main", "sentences"]

#: Debian's flite, and accents of the voice that is always there.
VOICES: Final = (
    "flite:awb",
    "gmw/en-gb-scotland",
    "flite:kal16",
    "gmw/en-029",
    "flite:rms",
    "flite:slt",
)
LEVELS: Final = (20.0, 10.0)
_ROOM_DBFS: Final = -55.0
_OUTSIDE: Final = (
    "did you see where the other jack went",
    "she called about the invoice again",
    "hand me that rag over there please",
    "the coffee machine is broken",
    "put the radio a bit lower would you",
    "we close early on friday",
)


def _in_a_room(pcm: bytes) -> bytes:
    """With a floor: no microphone gives zeros."""
    speech = samples(pcm).astype(int)
    floor = samples(room_noise(level_dbfs=_ROOM_DBFS)).astype(int)
    size, lead = speech.size + 8000, 4800
    sound = [int(floor[at % floor.size]) for at in range(size)]
    for at, value in enumerate(speech):
        sound[lead + at] += int(value)
    return b"".join(max(-32768, min(32767, value)).to_bytes(2, "little", signed=True) for value in sound)


def sentences(voice: str, speakers: Speakers, count: int) -> list[Recording]:
    """Sentences of the real procedure, none of them an enrolment phrase, other ones for each voice."""
    read = {phrase.say for phrase in packaged_phrases()}
    arms = list({line.armed.jsgf(): line.armed for line in recorded_lines() if line.known}.values())
    pick, said, found, commands = random.Random(voice), set(read), list[Recording](), 0
    while len(found) < count:
        armed = pick.choice(arms)
        text = pick.choice(armed.examples(6, seed=pick.randrange(10_000), max_words=6))
        meaning = armed.interpret(text)
        # Commands are armed everywhere: without a bound most sentences would be one.
        command = meaning is not None and meaning.label == "command"
        if meaning is None or text in said or (command and 4 * commands >= count):
            continue
        commands += command
        said.add(text)
        found.append(Recording(text, voice, _in_a_room(speakers.say(text, voice)), armed, True))
    return found


def enrolled(voice: str, speakers: Speakers) -> Result:
    """What ``handsfree enrol`` makes of that voice. Raises EngineError, SpeakingError."""
    engine = _engine()
    said = [(p, _in_a_room(speakers.say(p.say, voice))) for p in packaged_phrases()]
    try:
        return make_voice(said, engine, pronounce)
    finally:
        engine.close()


def _engine() -> PocketSphinxEngine:
    engine = wiring.build_engine(wiring.Setup())
    assert isinstance(engine, PocketSphinxEngine)  # that is the default
    return engine


def _scores(
    adaptation: Adaptation | None, lines: Sequence[Recording], others: Sequence[bytes], level: float
) -> Score:
    engine = _engine()
    engine.use(adaptation)
    try:
        return score(engine, lines, level, seed=1, others=others)
    finally:
        engine.close()


def main(arguments: Sequence[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m handsfree.bench enrolment", description=__doc__)
    parser.add_argument("--voices", nargs="+", default=VOICES)
    parser.add_argument("--sentences", type=int, default=24, help="of each voice")
    parser.add_argument("--levels", type=float, nargs="+", default=LEVELS, help="dB of pink noise")
    parser.add_argument("--json", type=Path, help="write the scores there")
    args = parser.parse_args(arguments)
    console, speakers, rows = Console(width=120), Speakers(), list[dict[str, object]]()
    table = Table(title=f"{args.sentences} sentences a voice and level, before -> after enrolment")
    for heading in ("voice", "kept", "pink noise", "right value", "taken for another", "no answer, taken"):
        table.add_column(heading)
    try:
        for voice in args.voices:
            made = enrolled(voice, speakers)
            lines = sentences(voice, speakers, args.sentences)
            others = [_in_a_room(speakers.say(text, voice)) for text in _OUTSIDE]
            with tempfile.TemporaryDirectory() as folder:
                adaptation = None
                if made.helps:
                    store = VoiceStore(Path(folder))
                    store.write(made.stored(voice, "2000-01-01T00:00:00Z"), made.transforms)
                    adaptation = store.find(voice)
                for level in args.levels:
                    a = _scores(None, lines, others, level)
                    b = _scores(adaptation, lines, others, level) if adaptation is not None else a
                    kept = ", ".join(made.transforms) or "nothing"
                    cells = (
                        f"{level:g} dB",
                        f"{a.value} -> {b.value}",
                        f"{a.wrong} -> {b.wrong}",
                        f"{a.taken + a.doubted} -> {b.taken + b.doubted} of {a.outside}",
                    )
                    table.add_row(voice, kept, *cells)
                    console.print(voice, kept, made.biases, *cells)
                    rows.append({"voice": voice, "kept": kept, "before": asdict(a), "after": asdict(b)})
    except SpeakingError as error:
        print(f"handsfree.bench: {error}", file=sys.stderr)
        return 1
    finally:
        speakers.close()
    console.print(table)
    if args.json is not None:
        args.json.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")
    return 0
