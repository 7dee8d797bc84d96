"""How alike two phrases sound: a weighted edit distance over their phones.

Phones are those of the CMU dictionary (ARPAbet without stress). Two phones of one class (two vowels, two
nasals) are a cheap substitution, others a dear one. The distance counts phones, and is not divided by length:
what tells two phrases apart is how much sound differs, however much they share. Classes and costs are our own
(no published source); `python -m handsfree.bench confusions` tries others on measured confusions.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import combinations, product

__all__ = ["COSTS", "TOO_ALIKE", "Costs", "alike", "distance", "nearest", "phrase_phones"]

#: Pairs nearer than this are too alike to be armed together. "eighty" and "eighteen" are 0.8 apart, "hold" and
#: "cold" 1.0, "pass four" and "pass five" 1.5, "passenger front" and "passenger rear" 3.1. Measured by `python -m
#: handsfree.bench confusions` (synthetic voices, pink noise): at 20 dB the curve of confusions falls to 5 % at 1.9
#: phones on the half it is fitted to, at 1.7 on the other half; here rounded up. To 1 % it falls at 3.5 and 3.3.
TOO_ALIKE = 2.0

_CLASSES = (
    "AA AE AH AO AW AY EH ER EY IH IY OW OY UH UW",
    "B D G P T K",
    "M N NG",
    "F V TH DH S Z SH ZH HH CH JH",
    "L R W Y",
)
_MOST_VARIANTS = 32


@dataclass(frozen=True, slots=True)
class Costs:
    """What a phone that differs costs, in phones: replaced by one of its class, by any other, or left out.

    ``classes``: phones of one class, a row each, separated by spaces. With 0 < ``same`` <= ``other`` and 0 < ``gap``
    the distance of two phone strings is a metric.
    """

    same: float = 0.5
    other: float = 1.0
    gap: float = 0.8
    classes: tuple[str, ...] = _CLASSES
    of: Mapping[str, int] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        rows = {phone: number for number, row in enumerate(self.classes) for phone in row.split()}
        object.__setattr__(self, "of", rows)

    def replace(self, x: str, y: str) -> float:
        """Hearing ``y`` for ``x``."""
        if x == y:
            return 0.0
        number = self.of.get(x)
        return self.same if number is not None and number == self.of.get(y) else self.other


COSTS = Costs()

Pronounce = Callable[[str], Sequence[str]]
Phones = Sequence[str]


def phrase_phones(phrase: str, pronounce: Pronounce) -> list[tuple[str, ...]]:
    """Every pronunciation of a phrase, at most 32. A word that can't be pronounced gives none."""
    per_word = [[tuple(form.split()) for form in pronounce(word)] for word in phrase.split()]
    found: list[tuple[str, ...]] = []
    for forms in product(*per_word):
        found.append(tuple(phone for form in forms for phone in form))
        if len(found) == _MOST_VARIANTS:
            break
    return found


def distance(a: Sequence[str], b: Sequence[str], costs: Costs = COSTS) -> float:
    """Weighted edit distance of two phone strings: 0 for the same sound, about 1 for each phone that differs."""
    gap = costs.gap
    row = [gap * j for j in range(len(b) + 1)]
    for i, x in enumerate(a, 1):
        previous, row = row, [gap * i]
        for j, y in enumerate(b, 1):
            row.append(min(previous[j] + gap, row[-1] + gap, previous[j - 1] + costs.replace(x, y)))
    return row[-1]


def nearest(one: str, other: str, pronounce: Pronounce, costs: Costs = COSTS) -> float | None:
    """The distance of two phrases over any of their pronunciations, None when one can't be pronounced."""
    return _closest(phrase_phones(one, pronounce), phrase_phones(other, pronounce), costs)


def _closest(one: Iterable[Phones], other: Iterable[Phones], costs: Costs) -> float | None:
    return min((distance(a, b, costs) for a, b in product(one, other)), default=None)


def _surely_unlike(a: Sequence[str], b: Sequence[str]) -> bool:
    """Whether the classes of the phones alone tell: each phone whose class the other phrase has no more of must be
    put in, left out or replaced by one of another class, and none of these is cheaper than a gap."""
    left = Counter(COSTS.of.get(phone) for phone in a)
    left.subtract(COSTS.of.get(phone) for phone in b)
    more = sum(n for n in left.values() if n > 0)
    return COSTS.gap * max(more, more - left.total()) >= TOO_ALIKE


@lru_cache(1 << 16)
def _nearest(one: tuple[tuple[str, ...], ...], other: tuple[tuple[str, ...], ...]) -> float:
    """The least distance of any two of their pronunciations; TOO_ALIKE stands for all that are as far or farther."""
    near = (distance(a, b) for a in one for b in other if not _surely_unlike(a, b))
    return min(near, default=TOO_ALIKE)


def alike(phrases: Iterable[str], pronounce: Pronounce) -> list[tuple[str, str, float]]:
    """The pairs nearer than TOO_ALIKE over any of their pronunciations, nearest first."""
    phones = {phrase: tuple(phrase_phones(phrase, pronounce)) for phrase in phrases}
    found = []
    for one, other in combinations(sorted(phones), 2):
        near = _nearest(phones[one], phones[other])
        if near < TOO_ALIKE:
            found.append((one, other, near))
    return sorted(found, key=lambda row: row[2])
