"""How much of the recorded technician is understood, and what else is taken for an answer, by kind of noise and
level, with the grammars of the real procedure.

The noise transform was made with other voices and other prompts (tests/tools/make_noise_transform.py); how deep the
suppressor works and when the transform is used was chosen with half of the packaged lines in pink noise at 10 dB in
view, and flite's ``slt`` was among the voices that set the acceptance limits.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass

from handsfree.audio import surround
from handsfree.bench import _prompts
from handsfree.bench._noise import NOISES, mix
from handsfree.bench._script import Recording, denial
from handsfree.grammar import Armed
from handsfree.hearing import Engine, Hypothesis, Listener, same_meaning

__all__ = ["LEVELS", "Score", "chatter", "score"]

LEVELS: tuple[float | None, ...] = (None, 20.0, 15.0, 10.0, 5.0, 0.0)
_AROUND_S, _SETTLING_S = 1.2, 8.0  # a session has heard the room for a while before the first answer
_LONGEST_CHATTER_S = 6


@dataclass(frozen=True, slots=True)
class Score:
    """Counts of one noise at one level.

    Of the ``said`` lines: ``right``, accepted word for word; ``value``, accepted with the right meaning (label,
    slots, value, resolution: "five gram" for "five grams"), ``unsure`` of these only to be asked about; ``wrong``,
    accepted with another meaning, whereupon the speaker says no to the read-back, and ``undetected`` of these where
    that was heard as a sure yes (None where nobody says no); the rest was asked again, ``refused`` of it although
    heard word for word. ``outside`` sentences that are no answer were heard beside, in ``hours`` of sound: ``taken``
    utterances of them accepted as one, ``doubted`` asked about. ``real_time_factor``: computing time over sound time,
    one core.
    """

    front_end: str
    noise: str
    level: float | None
    said: int
    right: int
    value: int
    unsure: int
    wrong: int
    undetected: int | None
    refused: int
    outside: int
    taken: int
    doubted: int
    hours: float
    real_time_factor: float

    @property
    def again(self) -> int:
        return self.said - self.value - self.wrong


def chatter(most: int) -> list[bytes]:
    """Human sentences that answer nothing; empty where the prompts are not installed."""
    if _prompts.missing():
        return []
    names = [name for name in _prompts.sentence_prompts() if not _prompts.tuned_on(name)]
    step = max(1, len(names) // most)
    return [pcm[: _LONGEST_CHATTER_S * 32000] for pcm in _prompts.prompts(names[::step]).values()]


def score(
    engine: Engine,
    lines: Sequence[Recording],
    level: float | None,
    seed: int,
    *,
    noise: str = "pink",
    others: Sequence[bytes] = (),
    suppress: bool = True,
    no: Recording | None = None,
) -> Score:
    """Every known line once, then each of ``others`` while the lines' grammars are armed in turn. ``level`` is the
    signal-to-noise ratio in dB of the ``noise``; None adds none. ``no`` is how a read-back is denied, by default the
    lines' own; without any ``undetected`` is None."""
    no = no or denial(lines)
    known = [line for line in lines if line.known]
    room = _Room(Listener(engine, suppress=suppress), noise, level, seed)
    right = value = unsure = wrong = undetected = refused = taken = doubted = 0
    for line in known:
        heard = room.hear(line.armed, line.pcm)
        accepted = [one for one in heard if _counts(line.armed, one)]
        right += [one.text for one in accepted] == [line.say]
        if len(accepted) == 1 and same_meaning(line.armed, accepted[0].text, line.say):
            value += 1
            unsure += accepted[0].unsure
        elif accepted:
            wrong += 1
            undetected += no is not None and _consents(no.armed, room.hear(no.armed, no.pcm))
        else:
            refused += line.say in [one.text for one in heard]
    before = room.sound_s
    for number, pcm in enumerate(others):
        armed = known[number * 7 % len(known)].armed
        counted = [one for one in room.hear(armed, pcm) if _counts(armed, one)]
        doubted += sum(one.unsure for one in counted)
        taken += sum(not one.unsure for one in counted)
    return Score(
        "suppressed" if suppress else "none",
        noise if level is not None else "as recorded",
        level,
        len(known),
        right,
        value,
        unsure,
        wrong,
        None if no is None else undetected,
        refused,
        len(others),
        taken,
        doubted,
        (room.sound_s - before) / 3600,
        room.spent_s / room.sound_s,
    )


class _Room:
    """One session's listener in one noise."""

    def __init__(self, listener: Listener, noise: str, level: float | None, seed: int) -> None:
        self._listener, self._noise, self._level, self._seed = listener, noise, level, seed
        self.spent_s = self.sound_s = 0.0

    def hear(self, armed: Armed, pcm: bytes) -> list[Hypothesis]:
        """Of each utterance that came of it."""
        sound = _surround(pcm, _AROUND_S if self.sound_s else _SETTLING_S)
        if self._level is not None:
            sound = mix(sound, NOISES[self._noise](len(sound) // 2, self._seed), self._level)
        self._seed += 1
        self._listener.arm(armed)
        begin = time.process_time()
        found = self._listener.hear(sound)
        self.spent_s += time.process_time() - begin
        self.sound_s += len(sound) / 32000
        return [one.hypothesis for one in found]


def _counts(armed: Armed, heard: Hypothesis) -> bool:
    return heard.accepted and armed.interpret(heard.text) is not None


def _consents(armed: Armed, heard: Sequence[Hypothesis]) -> bool:
    meanings = [armed.interpret(one.text) for one in heard if _counts(armed, one) and not one.unsure]
    return any(meaning is not None and meaning.slot("answer") == "yes" for meaning in meanings)


def _surround(pcm: bytes, before_s: float) -> bytes:
    """The recording with its own room floor before and after it."""
    return surround(pcm, before_s, _AROUND_S)
