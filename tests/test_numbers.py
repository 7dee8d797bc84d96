"""Spoken numbers: every value in every accepted form comes back as exactly itself, and as nothing else."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import islice

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.grammar import (
    Interpretation,
    Library,
    Number,
    accepted_forms,
    digit_by_digit,
    natural,
    spoken_unit,
)
from handsfree.quantity import UNITS, Quantity, UnitError

LIBRARY = Library.load()


@dataclass(frozen=True)
class Kind:
    top: int  # largest whole value
    places: int  # most decimals
    units: dict[str, tuple[str, ...]]


#: What each measurand takes: range, decimals, and the spoken units, written down here a second time by hand.
KINDS = {
    "length_mm": Kind(999, 3, {"mm": ("millimeter", "millimeters"), "in": ("inch", "inches")}),
    "tread_depth": Kind(99, 3, {"mm": ("millimeter", "millimeters"), "32nd": ("thirty seconds",)}),
    "angle": Kind(99, 3, {"deg": ("degree", "degrees")}),
    "pressure": Kind(
        999,
        3,
        {
            "psi": ("p s i", "pounds", "pounds per square inch"),
            "kPa": ("kilopascal", "kilopascals"),
            "bar": ("bar",),
        },
    ),
    "torque": Kind(
        999,
        3,
        {"lbf.ft": ("foot pounds", "foot pound", "pound feet"), "N.m": ("newton meters", "newton meter")},
    ),
    "speed_rpm": Kind(99_999, 0, {"rpm": ("r p m", "revolutions", "revolutions per minute")}),
    "temperature": Kind(
        199, 3, {"degC": ("celsius", "degrees celsius"), "degF": ("fahrenheit", "degree fahrenheit")}
    ),
    "humidity": Kind(100, 0, {"%": ("percent",)}),
    "mass": Kind(999, 3, {"g": ("gram", "grams"), "oz": ("ounce", "ounces")}),
    "distance": Kind(999, 3, {"mi": ("mile", "miles"), "km": ("kilometer", "kilometers")}),
    "count": Kind(99, 0, {}),
}
ARMED = {kind: LIBRARY.arm({"r": f"<readings.{kind}>"}) for kind in (*KINDS, "clock_position")}


def heard(kind: str, text: str) -> Interpretation:
    meaning = ARMED[kind].interpret(text)
    assert meaning is not None, f"{kind}: {text!r} gives {ARMED[kind].interpretations(text)}"
    return meaning


def check(kind: str, value: Decimal | Fraction, resolution: Decimal | Fraction, implied: str | None) -> None:
    forms = accepted_forms(Number(value, resolution, ""), kind)
    assert forms, (kind, value)
    units = [(name, word) for name, words in KINDS[kind].units.items() for word in words]
    for number, form in enumerate(forms):
        wanted = [(implied, form)]
        wanted += (
            [(units[number % len(units)][0], f"{form} {units[number % len(units)][1]}")] if units else []
        )
        for unit, text in wanted:
            if isinstance(value, Fraction) and unit != implied:
                continue
            meaning = heard(kind, text)
            assert meaning.slot("unit") == unit, text
            assert meaning.number is not None
            assert type(meaning.number.value) is type(value)
            assert (str(meaning.number.value), meaning.number.resolution) == (str(value), resolution), text
            if unit:
                assert Quantity(meaning.number.value, unit, meaning.number.resolution).to(unit).unit == unit


@pytest.mark.parametrize("kind", sorted(KINDS))
@settings(deadline=None, max_examples=40)
@given(st.data())
def test_every_value_comes_back_exactly(kind: str, data: st.DataObject) -> None:
    places = data.draw(st.integers(0, KINDS[kind].places), label="places")
    top = KINDS[kind].top * 10**places + 10**places - 1 if places else KINDS[kind].top
    scaled = data.draw(st.integers(0, top), label="value")
    digits = tuple(int(digit) for digit in str(scaled))
    sign = data.draw(st.sampled_from((0, 1))) if kind == "temperature" and scaled else 0
    check(kind, Decimal((sign, digits, -places)), Decimal((0, (1,), -places)), None)


@pytest.mark.parametrize(("kind", "unit"), [("length_mm", "in"), ("mass", "oz")])
def test_every_fraction_comes_back_exactly(kind: str, unit: str) -> None:
    for denominator in (2, 4, 8, 16, 32):
        for numerator in range(1, denominator):
            for whole in (0, 1, 14, 20, 99):
                check(kind, whole + Fraction(numerator, denominator), Fraction(1, denominator), unit)


@pytest.mark.parametrize("hour", range(1, 13))
def test_clock_positions(hour: int) -> None:
    for form in accepted_forms(Decimal(hour), "clock_position"):
        number = heard("clock_position", form).number
        assert number is not None
        assert (number.value, number.resolution) == (hour, 1)
    half = Fraction(2 * hour + 1, 2)
    for form in accepted_forms(half, "clock_position"):
        number = heard("clock_position", form).number
        assert number is not None
        assert (number.value, number.resolution) == (half, Fraction(1, 2))


def test_all_whole_numbers_of_one_reading() -> None:
    for whole in range(1000):
        for form in accepted_forms(Decimal(whole), "pressure"):
            number = heard("pressure", form).number
            assert number is not None
            assert str(number.value) == str(whole), form


def test_all_temperatures() -> None:
    for tenths in range(-1999, 2000, 5):
        value = Decimal(tenths).scaleb(-1)
        for form in accepted_forms(value, "temperature"):
            number = heard("temperature", form).number
            assert number is not None
            assert str(number.value) == str(value), form


# FAA AIM 4-2-8 d, e and ICAO Annex 10 vol. II 5.2.1.4; 122.1 is the AIM's own example of the point.
RADIOTELEPHONY = [
    ("10", "one zero", "FAA AIM 4-2-8 d"),
    ("122.1", "one two two point one", "FAA AIM 4-2-8 e"),
    ("122.1", "one two two decimal one", "ICAO note to AIM 4-2-8 e"),
    ("18", "one eight", "ICAO Annex 10 vol. II 5.2.1.4"),
    ("70", "seven zero", "ICAO Annex 10 vol. II 5.2.1.4"),
]


@pytest.mark.parametrize(("value", "words", "source"), RADIOTELEPHONY)
def test_published_radiotelephony_examples(value: str, words: str, source: str) -> None:
    number = heard("pressure", words).number
    assert number is not None, source
    assert str(number.value) == value
    assert digit_by_digit(Decimal(value)) == words.replace("decimal", "point")


# FAA AIM 4-2-8 a: round hundreds and thousands as groups; whole hundreds also in ICAO Annex 10.
@pytest.mark.parametrize(("value", "words"), [(500, "five hundred"), (4500, "four thousand five hundred")])
def test_published_round_numbers(value: int, words: str) -> None:
    assert natural(Decimal(value)) == words
    number = heard("speed_rpm", words).number
    assert number is not None
    assert number.value == value


# (reading, words, exact value, resolution, unit): ordinary English, checked by hand.
SAID = [
    ("length_mm", "one four point five", "14.5", "0.1", None),
    ("length_mm", "fourteen point five millimeters", "14.5", "0.1", "mm"),
    ("length_mm", "five point zero", "5.0", "0.1", None),
    ("length_mm", "point two five inches", "0.25", "0.01", "in"),
    ("length_mm", "two hundred point five", "200.5", "0.1", None),
    ("length_mm", "two hundred one point oh five", "201.05", "0.01", None),
    ("length_mm", "a quarter of an inch", "1/4", "1/4", "in"),
    ("length_mm", "half an inch", "1/2", "1/2", "in"),
    ("length_mm", "two eighths", "1/4", "1/8", "in"),
    ("length_mm", "one and three eighths", "11/8", "1/8", "in"),
    ("length_mm", "one and a half inches", "3/2", "1/2", "in"),
    ("length_mm", "seven thirty seconds", "7/32", "1/32", "in"),
    ("length_mm", "twenty one thirty seconds", "21/32", "1/32", "in"),
    ("tread_depth", "seven thirty seconds", "7", "1", "32nd"),
    ("tread_depth", "one one thirty seconds", "11", "1", "32nd"),
    ("tread_depth", "thirty two thirty seconds", "32", "1", "32nd"),
    ("speed_rpm", "forty five hundred", "4500", "1", None),
    ("speed_rpm", "twelve hundred r p m", "1200", "1", "rpm"),
    ("speed_rpm", "twenty five thousand", "25000", "1", None),
    ("speed_rpm", "one two zero zero", "1200", "1", None),
    ("pressure", "one hundred and twenty", "120", "1", None),
    ("pressure", "two decimal two bar", "2.2", "0.1", "bar"),
    ("temperature", "minus twenty one point five degrees celsius", "-21.5", "0.1", "degC"),
    ("temperature", "minus point five", "-0.5", "0.1", None),
    ("temperature", "six eight degrees", "68", "1", None),
    ("humidity", "one hundred percent", "100", "1", "%"),
    ("mass", "three quarters of an ounce", "3/4", "1/4", "oz"),
    ("clock_position", "half past three", "7/2", "1/2", None),
    ("clock_position", "three thirty", "7/2", "1/2", None),
    ("clock_position", "twelve o'clock", "12", "1", None),
]


@pytest.mark.parametrize(("kind", "text", "value", "resolution", "unit"), SAID)
def test_said(kind: str, text: str, value: str, resolution: str, unit: str | None) -> None:
    meaning = heard(kind, text)
    assert meaning.number is not None
    assert (str(meaning.number.value), str(meaning.number.resolution)) == (value, resolution)
    assert meaning.slot("unit") == unit


# Not to be understood: cut off, run together (PA-PSRS advisory, June 2006), improper, out of range, negative.
REFUSED = [
    ("length_mm", "five thirty"),
    ("length_mm", "one twenty"),
    ("length_mm", "fourteen five"),
    ("length_mm", "zero five"),
    ("length_mm", "oh five"),
    ("length_mm", "point"),
    ("length_mm", "five point"),
    ("length_mm", "five point fifteen"),
    ("length_mm", "five point five point five"),
    ("length_mm", "one five sixteenths"),
    ("length_mm", "one three eighths"),
    ("length_mm", "nine eighths"),
    ("length_mm", "one thousand"),
    ("length_mm", "minus five"),
    ("length_mm", "negative five"),
    ("length_mm", "twenty zero"),
    ("length_mm", "five millimeters inches"),
    ("length_mm", "five p s i"),
    ("length_mm", "three eighths millimeters"),
    ("temperature", "negative five"),
    ("temperature", "minus minus five"),
    ("humidity", "one hundred one"),
    ("clock_position", "thirteen o'clock"),
    ("clock_position", "zero o'clock"),
    ("count", "one point five"),
    ("speed_rpm", "twenty hundred"),
    ("speed_rpm", "ten point five"),
]


@pytest.mark.parametrize(("kind", "text"), REFUSED)
def test_refused(kind: str, text: str) -> None:
    assert ARMED[kind].interpretations(text) == ()


@pytest.mark.parametrize("rule", LIBRARY.public_rules())
def test_no_sentence_has_two_meanings(rule: str) -> None:
    armed = LIBRARY.arm({"x": f"<{rule}>"})
    sample = [*islice(armed.sentences(), 150), *armed.examples(150, seed=3, max_words=16)]
    for sentence in sample:
        assert len(armed.interpretations(sentence)) == 1, sentence


def _short_sentences() -> Iterator[str]:
    yield from LIBRARY.arm({"x": "<numbers.to_999>"}).sentences(4)


def test_no_sentence_of_whole_numbers_has_two_values() -> None:
    armed = LIBRARY.arm({"x": "<numbers.to_999>"})
    values = set()
    for sentence in _short_sentences():
        meaning = armed.interpret(sentence)
        assert meaning is not None, sentence
        assert meaning.number is not None
        values.add(meaning.number.value)
    assert values <= set(map(Decimal, range(1000)))


@pytest.mark.parametrize(
    ("value", "resolution", "spelled", "said"),
    [
        (Decimal("14.5"), None, "one four point five", "fourteen point five"),
        (Decimal("5.0"), None, "five point zero", "five point zero"),
        (Decimal("0.25"), None, "zero point two five", "zero point two five"),
        (Decimal("1E+3"), None, "one zero zero zero", "one thousand"),
        (Decimal("120"), None, "one two zero", "one hundred twenty"),
        (Decimal("25016"), None, "two five zero one six", "twenty five thousand sixteen"),
        (Decimal("-21.5"), None, "minus two one point five", "minus twenty one point five"),
        (Fraction(3, 8), None, "three eighths", "three eighths"),
        (Fraction(7, 32), None, "seven thirty seconds", "seven thirty seconds"),
        (Fraction(1, 4), Fraction(1, 8), "two eighths", "two eighths"),
        (Fraction(1, 32), None, "one thirty second", "one thirty second"),
        (Fraction(99, 8), None, "one two and three eighths", "twelve and three eighths"),
        (Fraction(4), Fraction(1, 8), "four", "four"),
        (Fraction(2, 3), None, "two over three", "two over three"),
        (Fraction(1, 4), Decimal("0.3"), "one quarter", "one quarter"),
    ],
)
def test_spoken(value: Decimal | Fraction, resolution: Fraction | None, spelled: str, said: str) -> None:
    assert digit_by_digit(value, resolution) == spelled
    assert natural(value, resolution) == said


def test_large_numbers_are_never_grouped() -> None:
    assert natural(Decimal(123456)) == "one two three four five six"


def test_spoken_units() -> None:
    assert spoken_unit("mm", Decimal("1")) == "millimeter"
    assert spoken_unit("mm", Decimal("1.0")) == "millimeters"
    assert spoken_unit("mm", Decimal("0")) == "millimeters"
    assert spoken_unit("in", Fraction(3, 8)) == "inch"
    assert spoken_unit("in", Fraction(11, 8)) == "inches"
    assert spoken_unit("degC", Decimal("-1")) == "degree celsius"
    assert spoken_unit("1", Decimal("4")) == ""
    with pytest.raises(UnitError, match="furlong"):
        spoken_unit("furlong", Decimal("4"))


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_the_spoken_unit_is_one_the_grammar_takes(kind: str) -> None:
    for unit in KINDS[kind].units:
        for value in (Decimal("1"), Decimal("5")):
            text = f"{digit_by_digit(value)} {spoken_unit(unit, value)}"
            assert heard(kind, text).slot("unit") == unit
            assert unit in UNITS
