"""Other costs and classes for the distance of two phrases: which of them rank measured confusions best."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from handsfree.bench._curve import interval, rank_correlation, resampled
from handsfree.bench._pairs import Pair, apart, pronounce
from handsfree.procedure._sounds import COSTS, Costs, phrase_phones

__all__ = ["Ranked", "distances", "gain", "rank_costs"]

#: Classes by name: ours, none, vowels against consonants, and consonants divided by voice and vowels by place.
CLASSES: Mapping[str, tuple[str, ...]] = {
    "as set": COSTS.classes,
    "none": (),
    "vowels and consonants": (COSTS.classes[0], " ".join(COSTS.classes[1:])),
    "finer": (
        "IY IH EY EH AE",
        "AA AO AH UH UW OW",
        "AY AW OY ER",
        "P T K",
        "B D G",
        "M N NG",
        "F TH HH",
        "S SH CH",
        "V DH",
        "Z ZH JH",
        "L R W Y",
    ),
}
_SAME, _GAP = (0.5, 0.7, 0.9), (0.35, 0.5, 0.65, 0.8, 1.0)  # another phone costs 1.0: only ratios matter
AS_SET = f"as set, same {COSTS.same:g}, gap {COSTS.gap:g}"
BY_LENGTH = "as set, divided by length"

Distance = Callable[[Pair], float]


@dataclass(frozen=True, slots=True)
class Ranked:
    """``correlation``: Spearman's, of distance with how often a pair was confused; -1 would be perfect."""

    name: str
    correlation: float


def distances() -> dict[str, Distance]:
    """Every candidate by name."""
    found: dict[str, Distance] = {}
    for (name, classes), same, gap in product(CLASSES.items(), _SAME, _GAP):
        if classes or same == _SAME[0]:  # without classes "same" says nothing
            costs = Costs(same, 1.0, gap, classes)
            found[f"{name}, same {same:g}, gap {gap:g}"] = lambda pair, costs=costs: apart(pair, costs)  # type: ignore[misc]
    found[BY_LENGTH] = lambda pair: apart(pair) / _longer(pair)
    return found


def _longer(pair: Pair) -> int:
    return max(len(way) for phrase in (pair.one, pair.other) for way in phrase_phones(phrase, pronounce))


def rank_costs(pairs: Sequence[Pair], rates: Sequence[float]) -> list[Ranked]:
    """All candidates, best first."""
    found = [
        Ranked(name, rank_correlation([way(p) for p in pairs], rates)) for name, way in distances().items()
    ]
    return sorted(found, key=lambda ranked: ranked.correlation)


def gain(name: str, pairs: Sequence[Pair], rates: Sequence[float]) -> tuple[float, float]:
    """By how much a candidate's correlation is lower (better) than that of the costs as set: 95 % interval over
    resampled pairs. One that holds zero is no reason to change."""
    ways = distances()
    new, old = (np.array([ways[way](p) for p in pairs]) for way in (name, AS_SET))
    rate = np.asarray(rates)
    return interval(
        [
            rank_correlation(new[draw], rate[draw]) - rank_correlation(old[draw], rate[draw])
            for draw in resampled(len(pairs), 500, seed=1)
        ]
    )
