"""How much of the recorded technician is understood, by noise level, with the grammars of the real procedure."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass

from handsfree.audio import FRAME_BYTES, Endpointer, SpeechContinues, SpeechEnded, SpeechStarted, room_noise
from handsfree.bench._noise import mix, pink
from handsfree.bench._script import Recording
from handsfree.hearing import Engine, Hypothesis

__all__ = ["LEVELS", "Score", "hear", "score"]

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


def hear(engine: Engine, endpointer: Endpointer, pcm: bytes) -> list[Hypothesis]:
    """Every utterance in the sound, endpointed as in a session."""
    found: list[Hypothesis] = []
    for at in range(0, len(pcm) - FRAME_BYTES + 1, FRAME_BYTES):
        for event in endpointer.feed(pcm[at : at + FRAME_BYTES]):
            match event:
                case SpeechStarted(preroll):
                    engine.begin()
                    engine.feed(preroll)
                case SpeechContinues(frame):
                    engine.feed(frame)
                case SpeechEnded():
                    found.append(engine.end())
    return found


def score(engine: Engine, lines: Sequence[Recording], level: float | None, seed: int) -> Score:
    """Every known line once. ``level`` is the signal-to-noise ratio in dB of pink noise; None adds none."""
    right = rejected = wrong = 0
    spent = sound = 0.0
    known = [line for line in lines if line.known]
    endpointer = Endpointer()
    for number, line in enumerate(known):
        pcm = _surround(line.pcm, _SETTLING_S if number == 0 else _AROUND_S)
        if level is not None:
            pcm = mix(pcm, pink(len(pcm) // 2, seed + number), level)
        engine.arm(line.armed)
        begin = time.perf_counter()
        heard = hear(engine, endpointer, pcm)
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
