"""Numbers with their conversions, against pint's units and a table worked out by hand."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pint
import pytest

from handsfree.quantity import Quantity
from handsfree.review._values import _OTHER, amount, both, customary, parse, reading, told


@pytest.mark.parametrize(
    ("value", "unit", "step", "words"),
    [
        ("4.5", "mm", "0.1", "4.5\u202fmm (0.177\u202fin)"),
        ("2", "mm", "1", "2\u202fmm (0.079\u202fin)"),  # no finer than a tenth of what was read
        ("180", "mm", "1", "180\u202fmm (7.09\u202fin)"),
        ("7", "32nd", "1", "7/32\u202fin (5.56\u202fmm)"),
        ("35", "psi", "1", "35\u202fpsi (241\u202fkPa)"),
        ("35.0", "psi", "0.1", "35.0\u202fpsi (241\u202fkPa)"),
        ("2.40", "bar", "0.01", "2.40\u202fbar (34.8\u202fpsi)"),
        ("21", "degC", "1", "21\u202f°C (69.8\u202f°F)"),
        ("-5", "degC", "1", "\u22125\u202f°C (23\u202f°F)"),
        ("110", "N.m", "1", "110\u202fN·m (81.1\u202flbf·ft)"),
        ("25", "mi", "1", "25\u202fmi (40.2\u202fkm)"),
        ("15", "deg", "1", "15°"),
        ("1000", "rpm", "1", "1000\u202frpm"),
        ("5", "1", "1", "5"),
        ("0", "mm", "1", "0\u202fmm (0\u202fin)"),
    ],
)
def test_as_spoken_and_converted(value: str, unit: str, step: str, words: str) -> None:
    found = reading(value, unit, step)
    assert found is not None
    assert told(found) == words


UNITS = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
_PINT = {
    "32nd": "inch / 32", "mi": "mile", "N.m": "newton * meter", "lbf.ft": "lbf * foot", "degC": "degC",
    "degF": "degF", "g": "gram", "oz": "oz", "lb": "lb", "in": "inch", "psi": "psi", "km/h": "km / hour",
    "ft/min": "foot / minute",
}  # fmt: skip


@pytest.mark.parametrize("unit", [u for u in _OTHER if u != "32nd"])
def test_conversions_agree_with_pint(unit: str) -> None:
    other = _OTHER[unit]
    text = both(Quantity(Decimal("37.25"), unit))[1]
    expected = UNITS.Quantity(37.25, _PINT.get(unit, unit)).to(_PINT.get(other, other)).magnitude
    number = float(text.split("\u202f")[0].replace("\u2212", "-"))
    assert number == pytest.approx(expected, rel=0.005)


@pytest.mark.parametrize("text", ["", "x", "nan mm", "inf psi", "1/0 in", "5 parsec", "1e400 mm", "--5 mm"])
def test_what_is_no_quantity_is_left_as_it_is(text: str) -> None:
    assert parse(text) is None


def test_a_fraction_is_cut_for_reading() -> None:
    assert amount(Quantity(Fraction(2, 3), "mm")) == "0.6667\u202fmm"
    assert amount(Quantity(Fraction(200000, 3), "mm")) == "66667\u202fmm"
    assert told(Quantity(Decimal("33.5193"), "mm"), 3) == "33.5\u202fmm (1.32\u202fin)"


@pytest.mark.parametrize(
    ("text", "end", "words"),
    [
        ("5.499999 mm", "", ("5.5\u202fmm", "0.22\u202fin")),
        ("0.1 mm", "", ("0.1\u202fmm", "")),  # under a hundredth of an inch: nothing to show
        ("1.4504 psi", "high", ("1.4\u202fpsi", "10\u202fkPa")),
        ("33.5496 psi", "low", ("33.6\u202fpsi", "231\u202fkPa")),
        ("-0.5875 mm", "gap", ("\u22120.5\u202fmm", "\u22120.02\u202fin")),
        ("6 mm", "high", ("6\u202fmm", "0.24\u202fin")),
        ("25.4 mm", "low", ("25.4\u202fmm", "1.00\u202fin")),
        ("105.6 N.m", "low", ("106\u202fN·m", "78\u202flbf·ft")),
        ("10 a", "high", ("10\u202fyears", "")),
    ],
)
def test_as_an_instrument_gives_it(text: str, end: str, words: tuple[str, str]) -> None:
    value = parse(text)
    assert value is not None
    assert customary(value, end) == words


def test_a_reading_keeps_the_digits_that_were_heard() -> None:
    value = reading("35.00", "psi", "0.01")
    assert value is not None
    assert customary(value, heard=True) == ("35.00\u202fpsi", "241\u202fkPa")
