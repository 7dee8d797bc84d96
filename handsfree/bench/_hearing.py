"""How much of the recorded technician is understood, by noise level, with the grammars of the real procedure."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass

from handsfree.audio import room_noise
from handsfree.bench._noise import mix, pink
from handsfree.bench._script import Recording
from handsfree.hearing import Engine, Listener

__all__ = ["LEVELS", "Score", "score"]

LEVELS: tuple[float | None, ...] = (None, 30.0, 20.0, 15.0, 10.0, 5.0)
_AROUND_S, _SETTLING_S = 1.2, 8.0  # a session has heard the room for a while before the first answer


@dataclass(frozen=True, slots=True)
class Score:
    """Counts of one level. ``right``: heard word for word and accepted. ``rejected``: right or wrong, but not
    accepted or not a sentence. ``wrong``: accepted as another sentence. ``real_time_factor``: decoding time over
    sound time, one core."""

    level: str
    said: int
    right: int
    rejected: int
    wrong: int
    real_time_factor: float


def score(engine: Engine, lines: Sequence[Recording], level: float | None, seed: int) -> Score:
    """Every known line once. ``level`` is the signal-to-noise ratio in dB of pink noise; None adds none."""
    right = rejected = wrong = 0
    spent = sound = 0.0
    known = [line for line in lines if line.known]
    listener = Listener(engine)
    for number, line in enumerate(known):
        pcm = _surround(line.pcm, _SETTLING_S if number == 0 else _AROUND_S)
        if level is not None:
            pcm = mix(pcm, pink(len(pcm) // 2, seed + number), level)
        listener.arm(line.armed)
        begin = time.perf_counter()
        heard = [found.hypothesis for found in listener.hear(pcm)]
        spent += time.perf_counter() - begin
        sound += len(pcm) / 32000
        accepted = [h.text for h in heard if h.accepted and line.armed.interpret(h.text) is not None]
        if not accepted:
            rejected += 1
        elif accepted == [line.say]:
            right += 1
        else:
            wrong += 1
    name = "as recorded" if level is None else f"{level:g} dB"
    return Score(name, len(known), right, rejected, wrong, spent / sound)


def _surround(pcm: bytes, before_s: float) -> bytes:
    """The recording with its own room floor before and after it."""
    room = room_noise(pcm)

    def quiet(seconds: float) -> bytes:
        return (room * (int(seconds) // 4 + 1))[: int(seconds * 16000) * 2]

    return quiet(before_s) + pcm + quiet(_AROUND_S)
