"""How alike two phrases sound: a weighted edit distance over their phones.

Phones are those of the CMU dictionary (ARPAbet without stress). Two phones of one class (two vowels, two
nasals) are a cheap substitution, others a dear one. The distance counts phones, and is not divided by length:
what tells two phrases apart is how much sound differs, however much they share. Classes and costs are our own
(no published source).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache
from itertools import combinations, product

__all__ = ["TOO_ALIKE", "alike", "distance", "phrase_phones"]

#: Pairs nearer than this are too alike to be armed together. "eighty" and "eighteen" are 0.8 apart, "hold" and
#: "cold" 1.0, "pass four" and "pass five" 1.5, "passenger front" and "passenger rear" 3.1.
TOO_ALIKE = 2.0

_CLASSES = (
    "AA AE AH AO AW AY EH ER EY IH IY OW OY UH UW",
    "B D G P T K",
    "M N NG",
    "F V TH DH S Z SH ZH HH CH JH",
    "L R W Y",
)
_CLASS = {phone: number for number, row in enumerate(_CLASSES) for phone in row.split()}
_SAME_CLASS, _OTHER, _GAP = 0.5, 1.0, 0.8
_MOST_VARIANTS = 32

Pronounce = Callable[[str], Sequence[str]]


def phrase_phones(phrase: str, pronounce: Pronounce) -> list[tuple[str, ...]]:
    """Every pronunciation of a phrase, at most 32. A word that can't be pronounced gives none."""
    per_word = [[tuple(form.split()) for form in pronounce(word)] for word in phrase.split()]
    found: list[tuple[str, ...]] = []
    for forms in product(*per_word):
        found.append(tuple(phone for form in forms for phone in form))
        if len(found) == _MOST_VARIANTS:
            break
    return found


def distance(a: Sequence[str], b: Sequence[str]) -> float:
    """Weighted edit distance of two phone strings: 0 for the same sound, about 1 for each phone that differs."""
    row = [_GAP * j for j in range(len(b) + 1)]
    for i, x in enumerate(a, 1):
        previous, row = row, [_GAP * i]
        for j, y in enumerate(b, 1):
            row.append(min(previous[j] + _GAP, row[-1] + _GAP, previous[j - 1] + _cost(x, y)))
    return row[-1]


def _cost(x: str, y: str) -> float:
    if x == y:
        return 0.0
    return _SAME_CLASS if _CLASS.get(x) == _CLASS.get(y) else _OTHER


def _surely_unlike(a: Sequence[str], b: Sequence[str]) -> bool:
    """Whether the classes of the phones alone tell: each phone whose class the other phrase has no more of must be
    put in, left out or replaced by one of another class, and none of these is cheaper than a gap."""
    left = Counter(_CLASS.get(phone) for phone in a)
    left.subtract(_CLASS.get(phone) for phone in b)
    more = sum(n for n in left.values() if n > 0)
    return _GAP * max(more, more - left.total()) >= TOO_ALIKE


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
        nearest = _nearest(phones[one], phones[other])
        if nearest < TOO_ALIKE:
            found.append((one, other, nearest))
    return sorted(found, key=lambda row: row[2])
