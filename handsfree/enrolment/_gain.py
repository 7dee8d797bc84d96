"""Does it help? Every phrase is heard with a transform made without it, and as it is heard today.

Two halves by turns: from the even phrases a transform for the odd ones, and the other way round. Beside each phrase
heard with what is asked for, every second one is heard where something else is asked for: it must not be taken.

A transform is kept for a state of the room when it wins there:

- it makes no more of the held-out phrases pass as another answer, and lets no more pass where they answer nothing;
- and it makes fewer mistakes (not accepted with the right meaning): two or more, or one while those heard right
  become no less sure; or as many, and those heard right become clearly surer: in the logarithm of the odds, by more
  than two standard errors of the phrases' differences and by more than 0.1.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from handsfree.enrolment._estimate import estimate, frames_of
from handsfree.enrolment._front import decode, heard_in
from handsfree.enrolment._phrases import Phrase
from handsfree.hearing import (
    MOST_LAXER,
    Adaptation,
    Condition,
    PocketSphinxEngine,
    calibration,
    same_meaning,
)

__all__ = ["LEVELS", "Gain", "Tally", "Trial", "bias_for", "gain_in", "wins"]

#: The states of the room in which a voice is looked at, with the levels of pink noise (dB, None for none) it is
#: measured at by turns. Under 7.5 dB the packaged transform stays: a voice is heard too rarely there.
LEVELS: Final[dict[str, tuple[float | None, ...]]] = {"quiet": (None,), "noise-10db": (15.0, 10.0)}
_MADE_AT: Final[dict[str, float | None]] = {"quiet": None, "noise-10db": 12.0}
_SURER: Final = 0.1
_LEAST_BIAS: Final = 0.05

Said = Sequence[tuple[Phrase, bytes]]


@dataclass(frozen=True, slots=True)
class Trial:
    """A held-out phrase as it was heard. ``inside``: it was asked for. ``meant``: heard with the right meaning;
    ``odds``: logarithm of the odds that it was, None where no words were heard. ``taken``: with a meaning."""

    inside: bool
    meant: bool
    taken: bool
    odds: float | None


@dataclass(frozen=True, slots=True)
class Tally:
    """``right``, ``wrong`` of ``said`` phrases accepted with their own or another meaning; ``outside``: accepted
    where they answer nothing, of ``tried``. ``acceptance``: mean probability of those that were heard right."""

    said: int
    right: int
    wrong: int
    tried: int
    outside: int
    acceptance: float

    @property
    def errors(self) -> int:
        return self.said - self.right


@dataclass(frozen=True)
class Gain:
    """One state of the room, before and after. ``kept``: the transform of all phrases, None where it did not win."""

    condition: str
    before: Tally
    after: Tally
    kept: str | None
    trials: tuple[Trial, ...]  # as they are with what was kept


def _accepted(trial: Trial, bias: float = 0.0) -> bool:
    """Asked about first counts as accepted: it is, after a word more."""
    return trial.taken and trial.odds is not None and trial.odds + bias >= _log_odds(calibration().confirm)


def _log_odds(probability: float) -> float:
    return math.log(probability / (1 - probability))


def tally(trials: Sequence[Trial]) -> Tally:
    inside = [trial for trial in trials if trial.inside]
    outside = [trial for trial in trials if not trial.inside]
    heard = [1 / (1 + math.exp(-t.odds)) for t in inside if t.meant and t.odds is not None]
    right = sum(_accepted(trial) and trial.meant for trial in inside)
    return Tally(
        len(inside),
        right,
        sum(map(_accepted, inside)) - right,
        len(outside),
        sum(map(_accepted, outside)),
        sum(heard) / len(heard) if heard else 0.0,
    )


def wins(before: Sequence[Trial], after: Sequence[Trial]) -> bool:
    """Whether what was heard ``after`` is clearly better than ``before``; the same phrases in the same order."""
    old, new = tally(before), tally(after)
    if new.wrong > old.wrong or new.outside > old.outside or new.errors > old.errors:
        return False
    surer = np.array(
        [
            b.odds - a.odds
            for a, b in zip(before, after, strict=True)
            if a.inside and a.meant and b.meant and a.odds is not None and b.odds is not None
        ]
    )
    mean = float(surer.mean()) if surer.size else 0.0
    if new.errors < old.errors:
        return mean >= 0 or new.errors <= old.errors - 2
    if surer.size < 2:
        return False
    return mean > max(_SURER, 2 * float(surer.std(ddof=1)) / math.sqrt(surer.size))


def gain_in(
    condition: Condition,
    said: Said,
    engine: PocketSphinxEngine,
    pronounce: Callable[[str], Sequence[str]],
    folder: Path,
) -> Gain:
    """Hear what was ``said`` with and without a transform of its own. ``folder`` is for passing files, private.

    Raises EngineError.
    """
    made_at = _MADE_AT[condition.name]
    heard = [(phrase.say, heard_in(pcm, made_at, seed)) for seed, (phrase, pcm) in enumerate(said)]
    frames = frames_of(heard, condition, pronounce)
    levels = LEVELS[condition.name]
    measured = [
        (phrase, heard_in(pcm, levels[n // 2 % len(levels)], 1000 + n), levels[n // 2 % len(levels)])
        for n, (phrase, pcm) in enumerate(said)
    ]
    engine.use(None)
    before = _trials(engine, measured, range(len(said)), said)
    after: dict[int, list[Trial]] = {}
    for half in (0, 1):
        transform = estimate(frames[1 - half :: 2], condition)
        if transform is None:
            return Gain(condition.name, _sum(before), _sum(before), None, _flat(before))
        path = folder / f"{condition.name}-{half}.mllr"
        path.write_text(transform, encoding="ascii")
        engine.use(Adaptation({condition.name: path}, sha256=str(half)))
        after |= _trials(engine, measured, range(half, len(said), 2), said)
        engine.use(None)
        path.unlink()
    won = wins(_flat(before), _flat(after))
    kept = estimate(frames, condition) if won else None
    return Gain(condition.name, _sum(before), _sum(after), kept, _flat(after if kept else before))


def _flat(trials: dict[int, list[Trial]]) -> tuple[Trial, ...]:
    return tuple(trial for number in sorted(trials) for trial in trials[number])


def _sum(trials: dict[int, list[Trial]]) -> Tally:
    return tally(_flat(trials))


def _trials(
    engine: PocketSphinxEngine,
    measured: Sequence[tuple[Phrase, bytes, float | None]],
    numbers: range,
    said: Said,
) -> dict[int, list[Trial]]:
    """By the phrase's number."""
    found: dict[int, list[Trial]] = {}
    engine.reset()  # the same history before and after
    for number in numbers:
        phrase, pcm, snr = measured[number]
        found[number] = [_trial(engine, phrase, phrase, pcm, snr)]
        other = _elsewhere(phrase, said, number)
        if number // 2 % 2 == 0 and other is not None:
            found[number].append(_trial(engine, phrase, other, pcm, snr))
    return found


def _elsewhere(phrase: Phrase, said: Said, number: int) -> Phrase | None:
    """Another phrase of the list, where this one answers nothing."""
    later = (said[(number + step) % len(said)][0] for step in range(1, len(said)))
    return next((other for other in later if other.armed.interpret(phrase.say) is None), None)


def _trial(engine: PocketSphinxEngine, phrase: Phrase, asked: Phrase, pcm: bytes, snr: float | None) -> Trial:
    hypothesis, evidence = decode(engine, asked.armed, pcm, snr)
    inside = phrase is asked
    taken = evidence is not None and asked.armed.interpret(hypothesis.text) is not None
    meant = inside and taken and same_meaning(asked.armed, hypothesis.text, phrase.say)
    odds = _log_odds(min(max(calibration().probability(evidence), 1e-9), 1 - 1e-9)) if evidence else None
    return Trial(inside, meant, taken, odds)


def bias_for(trials: Sequence[Trial]) -> float:
    """How much less strictly this voice is judged, in the logarithm of the odds; 0 where that gains nothing.

    As much as it takes to accept outright nine in ten of the held-out phrases that were heard right, but

    - never more than ``MOST_LAXER``, whatever the voice;
    - never so much that one more of the phrases passes as another answer or where it answers nothing, or gets from
      being asked about to being accepted: it stays half way to the nearest of them at most.
    """
    accept, confirm = _log_odds(calibration().accept), _log_odds(calibration().confirm)
    right = sorted(t.odds for t in trials if t.meant and t.odds is not None)
    if not right:
        return 0.0
    wanted = accept - right[len(right) // 10]
    wrong = [t.odds for t in trials if t.taken and not t.meant and t.odds is not None]
    gaps = [bound - odds for odds in wrong for bound in (accept, confirm) if odds < bound]
    bias = min(wanted, MOST_LAXER, min(gaps, default=math.inf) / 2)
    gained = sum(odds < accept <= odds + bias for odds in right)
    return round(bias, 3) if bias >= _LEAST_BIAS and gained else 0.0
