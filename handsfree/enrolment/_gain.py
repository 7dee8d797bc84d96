"""Does it help? Every phrase is heard with a transform made without it, and as it is heard today.

Two halves by turns: from the even phrases a transform for the odd ones, and the other way round. Beside each phrase
heard with what is asked for, every second one is heard where something else is asked for: it must not be taken.

With the transform comes a bias of the acceptance: an adapted model fits all that a voice says better, also what
answers nothing. The bias is as lax as it need be and as strict as it must be (``bias_for``).

Both are kept for a state of the room when they win there: fewer mistakes (not accepted with the right meaning), or
as many, and those heard right become clearly surer: in the logarithm of the odds, a laxer bias left out, by more than
two standard errors of the phrases' differences and by more than 0.1. And never do more of the held-out phrases pass
as another answer, or where they answer nothing.
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
    MOST_STRICTER,
    Adaptation,
    Condition,
    PocketSphinxEngine,
    calibration,
    same_meaning,
)

__all__ = ["LEVELS", "Gain", "Tally", "Trial", "bias_for", "gain_in", "tally", "wins"]

#: The states of the room in which a voice is looked at, with the levels of pink noise in dB that it is measured at by
#: turns. Without any noise nearly every phrase of anybody is heard right, and no gain would show. Under 7.5 dB the
#: packaged transform stays: a voice is heard too rarely there.
LEVELS: Final[dict[str, tuple[float, ...]]] = {"quiet": (20.0,), "noise-10db": (15.0, 10.0)}
_MADE_AT: Final[dict[str, float | None]] = {"quiet": None, "noise-10db": 12.0}
_SURER: Final = 0.1
_STEP, _SPARE = 0.05, 0.1

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
    """One state of the room, before and after. ``kept``: the transform of all phrases, None where it did not win.
    ``bias``: of the acceptance, 0 as packaged."""

    condition: str
    before: Tally
    after: Tally
    kept: str | None
    bias: float


def _log_odds(probability: float) -> float:
    return math.log(probability / (1 - probability))


def _accepted(trials: Sequence[Trial], bias: float = 0.0, *, outright: bool = False) -> list[Trial]:
    """Those that pass; asked about first counts too (it passes after a word more) unless ``outright``."""
    least = _log_odds(calibration().accept if outright else calibration().confirm)
    return [t for t in trials if t.taken and t.odds is not None and t.odds + bias >= least]


def tally(trials: Sequence[Trial], bias: float = 0.0) -> Tally:
    """Counts of what passes with that bias."""
    inside, outside = [t for t in trials if t.inside], [t for t in trials if not t.inside]
    heard = [1 / (1 + math.exp(-t.odds - bias)) for t in inside if t.meant and t.odds is not None]
    passed = _accepted(inside, bias)
    right = sum(t.meant for t in passed)
    return Tally(
        len(inside),
        right,
        len(passed) - right,
        len(outside),
        len(_accepted(outside, bias)),
        sum(heard) / len(heard) if heard else 0.0,
    )


def bias_for(before: Sequence[Trial], after: Sequence[Trial]) -> float:
    """What is added to the logarithm of the odds of a voice that is heard as ``after``; ``before``: as packaged.

    At most what it takes to accept outright nine in ten of the held-out phrases that were heard right, never more
    than ``MOST_LAXER``; and so little (down to -``MOST_STRICTER``) that, with ``_SPARE`` to spare, no more phrases
    pass as another answer or where they answer nothing than before, neither outright nor asked about.
    """
    right = sorted(t.odds for t in after if t.meant and t.odds is not None)
    lacking = _log_odds(calibration().accept) - right[len(right) // 10] if right else 0.0
    bias = min(max(lacking, 0.0), MOST_LAXER)
    while bias > -MOST_STRICTER and not _as_strict(before, after, bias + _SPARE):
        bias -= _STEP
    return round(max(bias, -MOST_STRICTER), 2)


def _as_strict(before: Sequence[Trial], after: Sequence[Trial], bias: float) -> bool:
    def through(trials: Sequence[Trial], bias: float, *, inside: bool, outright: bool) -> int:
        some = [t for t in trials if t.inside == inside and not t.meant]
        return len(_accepted(some, bias, outright=outright))

    return all(
        through(after, bias, inside=inside, outright=outright)
        <= through(before, 0.0, inside=inside, outright=outright)
        for inside in (True, False)
        for outright in (True, False)
    )


def wins(before: Sequence[Trial], after: Sequence[Trial], bias: float) -> bool:
    """Whether what was heard ``after``, judged with ``bias``, is clearly better than ``before``; the same phrases in
    the same order."""
    old, new = tally(before), tally(after, bias)
    if not _as_strict(before, after, bias) or new.errors > old.errors:
        return False
    if new.errors < old.errors:
        return True
    surer = np.array(
        [
            b.odds + min(bias, 0.0) - a.odds
            for a, b in zip(before, after, strict=True)
            if a.meant and b.meant and a.odds is not None and b.odds is not None
        ]
    )
    if surer.size < 2:
        return False
    clearly = 2 * float(surer.std(ddof=1)) / math.sqrt(surer.size)
    return float(surer.mean()) > max(_SURER, clearly)


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
            return _judged(condition.name, _flat(before), _flat(before), lambda: None)
        path = folder / f"{condition.name}-{half}.mllr"
        path.write_text(transform, encoding="ascii")
        engine.use(Adaptation({condition.name: path}, sha256=str(half)))
        after |= _trials(engine, measured, range(half, len(said), 2), said)
        engine.use(None)
        path.unlink()
    return _judged(condition.name, _flat(before), _flat(after), lambda: estimate(frames, condition))


def _judged(
    condition: str, before: Sequence[Trial], after: Sequence[Trial], make: Callable[[], str | None]
) -> Gain:
    """The transform with its bias if they win; else the packaged one, with a bias if that alone wins."""
    bias = bias_for(before, after)
    kept = make() if wins(before, after, bias) else None
    if kept is not None:
        return Gain(condition, tally(before), tally(after, bias), kept, bias)
    alone, right = bias_for(before, before), [trial for trial in before if trial.meant]
    if len(_accepted(right, alone, outright=True)) > len(_accepted(right, outright=True)):
        return Gain(condition, tally(before), tally(before, alone), None, alone)
    return Gain(condition, tally(before), tally(after, bias), None, 0.0)


def _flat(trials: dict[int, list[Trial]]) -> tuple[Trial, ...]:
    return tuple(trial for number in sorted(trials) for trial in trials[number])


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
