"""Numbers that sound alike: never taken in one hearing when both could be true.

The pairs are those that confused the recognizer on Debian's recorded human voice (eighty heard as eighteen); that
nothing but the last sound tells them apart is what the CMU dictionary says of every one of them.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest

from handsfree._checking import dictionary
from handsfree.grammar import Library
from handsfree.procedure._rivals import _TEENS, _TIES, rival
from handsfree.procedure._sounds import TOO_ALIKE, alike

from .driving import SIZE, Drive, whole

LIBRARY = Library.load()


def heard(rule: str, words: str) -> object:
    meaning = LIBRARY.arm({"x": f"<{rule}>"}).interpret(words)
    assert meaning is not None
    assert meaning.number is not None, words
    found = rival(words, meaning.number)
    return None if found is None else found.value


@pytest.mark.parametrize(("teen", "tie"), list(zip(_TEENS, _TIES, strict=True)))
def test_every_pair_sounds_alike_and_is_each_others_rival(teen: str, tie: str) -> None:
    assert alike([teen, tie], lambda word: dictionary()[word])[0][2] < TOO_ALIKE
    assert heard("readings.length_mm", teen) == _TIES[tie]
    assert heard("readings.length_mm", tie) == _TEENS[teen]


@pytest.mark.parametrize(
    ("rule", "words", "other"),
    [
        ("readings.length_mm", "one four", None),
        ("readings.length_mm", "four zero", None),
        ("readings.length_mm", "forty five", None),
        ("readings.length_mm", "twelve", None),
        ("readings.length_mm", "fourteen point five", Decimal("40.5")),
        ("readings.length_mm", "two hundred fifteen", Decimal(250)),
        ("readings.length_mm", "one hundred and sixty", Decimal(116)),
        ("readings.length_mm", "thirteen thirty seconds of an inch", Fraction(30, 32)),
        ("readings.tread_depth", "seven thirty seconds", None),
        ("readings.tread_depth", "three zero point five thirty seconds", None),
        ("readings.tread_depth", "thirty thirty seconds", Decimal(13)),
        ("readings.speed_rpm", "fourteen hundred", Decimal(4000)),
        ("readings.speed_rpm", "four thousand eighteen", Decimal(4080)),
        ("readings.temperature", "minus fifteen", Decimal(-50)),
        ("readings.angle", "two five", None),
    ],
)
def test_the_rival_is_what_else_could_have_been_said(rule: str, words: str, other: object) -> None:
    assert heard(rule, words) == other


@pytest.fixture
def sizing() -> Drive:
    return Drive(whole(SIZE))


def test_it_asks_which_of_the_two_and_takes_neither(sizing: Drive) -> None:
    sizing.say("fourteen millimeters")
    assert sizing.said() == "One four, or four zero?"
    assert sizing.mode == "asking"
    assert sizing.readings() == []
    sizing.say("affirmative")
    assert sizing.readings() == []


def test_the_digits_are_then_read_back_and_confirmed_like_any_other(sizing: Drive) -> None:
    sizing.say("forty millimeters", "four zero millimeters")
    assert sizing.said() == "Injury size: four zero millimeters. Affirmative?"
    sizing.say("affirmative")
    assert sizing.readings() == [("injury.size", "40 mm")]


def test_saying_it_the_same_way_again_is_asked_again_and_ends_on_hold(sizing: Drive) -> None:
    sizing.say("forty", "forty", "forty", "forty")
    assert sizing.mode == "held"
    assert sizing.readings() == []


def test_a_rival_out_of_the_physical_range_can_be_no_answer(sizing: Drive) -> None:
    sizing.say("eighteen millimeters")  # eighty millimeters can be no injury's size here
    assert sizing.said() == "Injury size: one eight millimeters. Affirmative?"


def test_in_place_of_a_confirmation_too(sizing: Drive) -> None:
    sizing.say("five millimeters", "fifty millimeters")
    assert sizing.said() == "Five zero, or one five?"
    sizing.say("affirmative")
    assert sizing.readings() == []
