"""Which phrases to tell apart: those armed together by the packaged procedures, and pairs planted at every distance.

Planted words are the commonest of the recognizer's dictionary, by the word counts of the language model it is
shipped with, with one pronunciation each: a synthesizer then says what the dictionary says. They are divided in
halves by word, so that no word is both tuned on and reported on.
"""

from __future__ import annotations

import random
import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import combinations

from pocketsphinx import Config, LogMath, NGramModel, get_model_path

from handsfree._checking import dictionary
from handsfree.bench._curve import bin_of
from handsfree.grammar import Library
from handsfree.procedure import read_procedure
from handsfree.procedure._check import armed_pairs
from handsfree.procedure._sounds import COSTS, Costs, distance, nearest, phrase_phones
from handsfree.session import packaged_procedure, packaged_procedures

__all__ = [
    "BIN",
    "HALVES",
    "LONGEST",
    "Pair",
    "apart",
    "common_words",
    "known_pairs",
    "planted",
    "procedure_pairs",
]

HALVES = ("tune", "report")
BIN, _NEAR, LONGEST = 0.5, 4.0, 6.0
_COMMONEST = 2200
_SHORTEST_SPELLING, _PHONES = 3, range(3, 8)
#: A planted word is said alone, or within one of these: what two answers share must not count.
_FRAMES = ("{}", "{}", "{}", "pass {}", "toward {}", "load range {}", "{} area", "{} side")

_TWINS = ("thirteen thirty", "fourteen forty", "fifteen fifty", "sixteen sixty", "seventeen seventy",
          "eighteen eighty", "nineteen ninety")  # fmt: skip
_OTHERS = (
    ("hold", "cold"),
    ("hold", "old"),
    ("pass four", "pass five"),
    ("pass five", "pass nine"),
    ("pass one", "pass nine"),
    ("pass six", "pass seven"),
    ("inboard", "outboard"),
    ("inboard", "onboard"),
    ("outward", "outboard"),
    ("inner", "outer"),
    ("crown", "shoulder"),
    ("steel", "still"),
    ("clear", "near"),
    ("found", "round"),
    ("left front", "left rear"),
    ("passenger front", "passenger rear"),
    ("affirmative", "negative"),
    ("no flame", "no flames"),
    ("driver front", "driver side front"),
)


@dataclass(frozen=True, slots=True)
class Pair:
    """Two phrases to be told apart. ``part``: "tune" or "report" for planted ones, else "procedure"."""

    one: str
    other: str
    part: str


def pronounce(word: str) -> Sequence[str]:
    return dictionary().get(word, ())


def apart(pair: Pair, costs: Costs = COSTS) -> float:
    """The distance of the two phrases in phones."""
    found = nearest(pair.one, pair.other, pronounce, costs)
    assert found is not None
    return found


def procedure_pairs(most: float = LONGEST) -> list[Pair]:
    """Every pair of different meaning armed together somewhere in the packaged procedures, under ``most`` phones
    apart, nearest first. Pairs of two commands are there once."""
    library = Library.load()
    found = set()
    for name in packaged_procedures():
        procedure = read_procedure(packaged_procedure(name), name)
        found |= {Pair(one, other, "procedure") for _, one, other in armed_pairs(procedure, library)}
    far = {pair: apart(pair) for pair in found}
    return sorted((p for p in found if far[p] < most), key=lambda p: (far[p], p.one, p.other))


def known_pairs() -> list[Pair]:
    """Pairs known beforehand to be hard, and some known to be easy."""
    pairs = [*(tuple(row.split()) for row in _TWINS), *_OTHERS]
    return [Pair(one, other, HALVES[n % 2]) for n, (one, other) in enumerate(pairs)]


@cache
def common_words() -> tuple[str, ...]:
    """The commonest words with one pronunciation of 3 to 7 phones, in the order of how common they are."""
    model = NGramModel(Config(), LogMath(), get_model_path("en-us/en-us.lm.bin"))
    known = [
        word
        for word, forms in dictionary().items()
        if len(forms) == 1 and len(word) >= _SHORTEST_SPELLING and len(forms[0].split()) in _PHONES
        and word.isascii() and word.isalpha()
    ]  # fmt: skip
    return tuple(sorted(known, key=lambda word: (-model.prob([word]), word))[:_COMMONEST])


def planted(near: int, far: int, seed: int = 1) -> list[Pair]:
    """The known pairs, and pairs of common words: so many a half and a bin of ``BIN`` phones, up to 4 phones apart
    (``near``) and from there to ``LONGEST`` (``far``)."""
    bins = round(LONGEST / BIN)
    each = {number: near if (number + 1) * BIN <= _NEAR else far for number in range(bins)}
    words = common_words()
    found = known_pairs()
    for number, half in enumerate(HALVES):
        own = [word for word in words if zlib.crc32(word.encode()) % 2 == number]
        found += _in_bins(own, half, each, random.Random(seed + number))
    return found


def _in_bins(words: Sequence[str], half: str, each: Mapping[int, int], pick: random.Random) -> Iterator[Pair]:
    phones = {word: phrase_phones(word, pronounce)[0] for word in words}
    left = dict(each)
    used: dict[str, int] = {}
    for one, other in _shuffled(words, pick):
        # Lengths alone tell that a pair is too far for the bins still open.
        if abs(len(phones[one]) - len(phones[other])) * COSTS.gap > BIN * (max(left, default=0) + 1):
            continue
        far = distance(phones[one], phones[other])
        number = bin_of(far, BIN)
        if far == 0.0 or not left.get(number) or max(used.get(one, 0), used.get(other, 0)) >= 3:
            continue
        left[number] -= 1
        if not left[number]:
            del left[number]
        used[one], used[other] = used.get(one, 0) + 1, used.get(other, 0) + 1
        frame = pick.choice(_FRAMES)
        first, second = sorted((one, other))
        yield Pair(frame.format(first), frame.format(second), half)
        if not left:
            return


def _shuffled(words: Sequence[str], pick: random.Random) -> Iterator[tuple[str, str]]:
    """All pairs in a random order without making them all a list of strings first."""
    pairs = list(combinations(range(len(words)), 2))
    pick.shuffle(pairs)
    return ((words[a], words[b]) for a, b in pairs)
