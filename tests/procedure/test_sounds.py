"""The distance of two phone strings is a metric, for any costs it may be given."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.procedure._sounds import COSTS, Costs, distance, nearest

PHONES = " ".join(COSTS.classes).split()
strings = st.lists(st.sampled_from(PHONES), max_size=6)


@st.composite
def some_costs(draw: st.DrawFn) -> Costs:
    eighths = st.integers(1, 16)  # exact in binary: the inequality needs no tolerance
    same, gap = draw(eighths) / 8, draw(eighths) / 8
    return Costs(same, same + draw(st.integers(0, 8)) / 8, gap)


costs = st.one_of(st.just(Costs(0.5, 1.0, 0.75)), some_costs())


def test_every_phone_of_the_dictionary_has_one_class() -> None:
    """39 phones: the CMU dictionary's set."""
    assert len(PHONES) == len(set(PHONES)) == 39


@given(strings, strings, costs)
def test_it_is_the_same_both_ways_and_zero_for_the_same_sound_only(
    a: list[str], b: list[str], how: Costs
) -> None:
    assert distance(a, b, how) == distance(b, a, how)
    assert (distance(a, b, how) == 0) == (a == b)


@given(strings, strings, strings, costs)
def test_a_way_round_is_never_shorter(a: list[str], b: list[str], c: list[str], how: Costs) -> None:
    assert distance(a, c, how) <= distance(a, b, how) + distance(b, c, how)


@given(strings, strings, strings)
def test_what_two_phrases_share_does_not_count(a: list[str], b: list[str], shared: list[str]) -> None:
    assert distance(shared + a, shared + b) == pytest.approx(distance(a, b))
    assert distance(a + shared, b + shared) == pytest.approx(distance(a, b))


@given(strings, strings)
def test_without_classes_and_at_equal_costs_it_is_the_plain_edit_distance(a: list[str], b: list[str]) -> None:
    """Levenshtein's, by its textbook recursion."""

    def plain(i: int, j: int) -> int:
        if not i or not j:
            return i + j
        return min(plain(i - 1, j) + 1, plain(i, j - 1) + 1, plain(i - 1, j - 1) + (a[i - 1] != b[j - 1]))

    assert distance(a, b, Costs(1.0, 1.0, 1.0, ())) == plain(len(a), len(b))


def test_the_nearest_pronunciations_count() -> None:
    words = {"either": ("IY DH ER", "AY DH ER"), "ether": ("IY TH ER",), "zyxwv": ()}
    assert nearest("either", "ether", lambda w: words[w]) == COSTS.same
    assert nearest("either", "zyxwv", lambda w: words[w]) is None
