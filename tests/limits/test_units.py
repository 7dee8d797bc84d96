"""Unit factors against pint over a grid, and against published pairs."""

from __future__ import annotations

import itertools
from decimal import Decimal
from fractions import Fraction

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.quantity import UNITS, Quantity, UnitError, convert

PINT = {
    "mm": "millimeter",
    "cm": "centimeter",
    "m": "meter",
    "km": "kilometer",
    "in": "inch",
    "mi": "mile",
    "deg": "degree",
    "kPa": "kilopascal",
    "bar": "bar",
    "psi": "psi",
    "N.m": "newton*meter",
    "lbf.ft": "force_pound*foot",
    "rpm": "rpm",
    "degC": "degC",
    "degF": "degF",
    "s": "second",
    "min": "minute",
    "h": "hour",
    "g": "gram",
    "kg": "kilogram",
    "oz": "ounce",
    "lb": "pound",
    "m/s": "meter/second",
    "ft/min": "foot/minute",
    "km/h": "kilometer/hour",
    "mph": "mile/hour",
    "%": "percent",
    "K": "delta_degC",
}
PAIRS = [(a, b) for a, b in itertools.permutations(PINT, 2) if UNITS[a].kind == UNITS[b].kind]
REGISTRY = pint.UnitRegistry()


@pytest.mark.parametrize(("source", "target"), PAIRS)
def test_against_pint(source: str, target: str) -> None:
    for number in (0.0, 0.25, 1.0, 6.0, 32.0, 215.0, 5000.0):
        wanted = REGISTRY.Quantity(number, PINT[source]).to(PINT[target]).magnitude
        assert float(convert(Fraction(number), source, target)) == pytest.approx(wanted, rel=1e-12, abs=1e-12)


@given(st.sampled_from(PAIRS), st.fractions(-1000, 1000))
def test_there_and_back_is_exact(pair: tuple[str, str], value: Fraction) -> None:
    assert convert(convert(value, *pair), *reversed(pair)) == value


# NIST SP 811 B.8 factors; conversions as published tables and manuals print them.
@pytest.mark.parametrize(
    ("value", "source", "target", "printed", "places"),
    [
        ("40", "psi", "kPa", "275.79", 2),
        ("20", "psi", "kPa", "137.9", 1),
        ("3", "psi", "kPa", "20.7", 1),
        ("65", "psi", "kPa", "448.2", 1),
        ("50", "psi", "kPa", "344.7", 1),
        ("1", "bar", "psi", "14.5038", 4),
        ("1/4", "in", "mm", "6.35", 5),
        ("3/8", "in", "mm", "9.525", 5),
        ("2", "32nd", "mm", "1.5875", 5),
        ("4", "32nd", "mm", "3.175", 5),
        ("1/4", "oz", "g", "7.09", 2),
        ("3", "oz", "g", "85.05", 2),
        ("5", "g", "oz", "0.176", 3),
        ("1", "mi", "km", "1.609344", 6),
        ("1", "oz", "g", "28.3495", 4),
        ("1", "lb", "kg", "0.453592", 6),
        ("1", "lbf.ft", "N.m", "1.355818", 6),
        ("75", "lbf.ft", "N.m", "101.7", 1),
        ("80", "lbf.ft", "N.m", "108.5", 1),
        ("85", "lbf.ft", "N.m", "115.2", 1),
        ("90", "lbf.ft", "N.m", "122.0", 1),
        ("100", "lbf.ft", "N.m", "135.6", 1),
        ("150", "lbf.ft", "N.m", "203.4", 1),
        ("55", "lbf.ft", "N.m", "74.6", 1),
        ("65", "lbf.ft", "N.m", "88.1", 1),
        ("125", "lbf.ft", "N.m", "169.5", 1),
        ("90", "N.m", "lbf.ft", "66.4", 1),
        ("110", "N.m", "lbf.ft", "81.1", 1),
        ("41", "degF", "degC", "5", 9),
        ("-40", "degC", "degF", "-40", 9),
        ("2618", "ft/min", "m/s", "13.30", 2),
    ],
)
def test_published_conversions(value: str, source: str, target: str, printed: str, places: int) -> None:
    assert round(convert(Fraction(value), source, target), places) == Fraction(printed)


def test_the_millimeter_twin_of_an_inch_limit_is_not_the_same() -> None:
    assert convert(Fraction(1, 4), "in", "mm") != 6
    assert convert(Fraction(3, 8), "in", "mm") != 10
    assert convert(Fraction(2), "32nd", "mm") != Fraction("1.6")


def test_resolution_scales_without_the_temperature_offset() -> None:
    warm = Quantity(Decimal("68"), "degF", Decimal(1)).to("degC")
    assert warm == Quantity(Fraction(20), "degC", Fraction(5, 9))
    same = Quantity(Decimal("5.5"), "mm", Decimal("0.1"))
    assert same.to("mm") is same
    assert Quantity(Decimal(1), "in").to("mm").resolution is None


def test_units_that_do_not_fit() -> None:
    with pytest.raises(UnitError, match="mm is length, psi is pressure"):
        convert(Fraction(1), "mm", "psi")
    with pytest.raises(UnitError, match="unknown unit 'furlong'"):
        convert(Fraction(1), "furlong", "mm")
    with pytest.raises(UnitError, match="unknown unit 'x'"):
        Quantity(Decimal(1), "x")
