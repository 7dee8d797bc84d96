"""Exact quantities: a value, its unit as spoken, and the resolution the speaker gave.

Values are ``Decimal`` or ``Fraction`` and are never rounded before they are compared. Linear conversions
use exact rational factors. Sources of the factors: 1 in = 25.4 mm, 1 lb = 0.45359237 kg and standard
gravity 9.80665 m/s2 are exact by definition (NIST SP 811, appendix B.8); psi, lbf.ft and oz follow from them.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

__all__ = ["DECIMALS", "UNITS", "Exact", "Quantity", "Unit", "UnitError", "convert", "inward"]

Exact = Decimal | Fraction


class UnitError(ValueError):
    """Two units do not measure the same kind of quantity, or a unit is unknown."""


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: symbol, kind of quantity, exact factor (and offset) to the kind's base unit, spoken names."""

    symbol: str
    kind: str
    factor: Fraction
    offset: Fraction = Fraction(0)
    singular: str = ""
    plural: str = ""


_INCH_MM = Fraction(254, 10)
_LBF_N = Fraction("0.45359237") * Fraction("9.80665")
_PSI_KPA = _LBF_N / (Fraction("0.0254") ** 2) / 1000

UNITS: dict[str, Unit] = {
    unit.symbol: unit
    for unit in (
        Unit("mm", "length", Fraction(1), singular="millimeter", plural="millimeters"),
        Unit("cm", "length", Fraction(10), singular="centimeter", plural="centimeters"),
        Unit("m", "length", Fraction(1000), singular="meter", plural="meters"),
        Unit("km", "length", Fraction(1_000_000), singular="kilometer", plural="kilometers"),
        Unit("in", "length", _INCH_MM, singular="inch", plural="inches"),
        Unit("32nd", "length", _INCH_MM / 32, singular="thirty second", plural="thirty seconds"),
        Unit("mi", "length", Fraction("1609344"), singular="mile", plural="miles"),
        Unit("deg", "angle", Fraction(1), singular="degree", plural="degrees"),
        Unit("kPa", "pressure", Fraction(1), singular="kilopascal", plural="kilopascals"),
        Unit("bar", "pressure", Fraction(100), singular="bar", plural="bar"),
        Unit("psi", "pressure", _PSI_KPA, singular="p s i", plural="p s i"),
        Unit("N.m", "torque", Fraction(1), singular="newton meter", plural="newton meters"),
        Unit("lbf.ft", "torque", _LBF_N * Fraction("0.3048"), singular="foot pound", plural="foot pounds"),
        Unit("rpm", "rotational speed", Fraction(1), singular="r p m", plural="r p m"),
        Unit("degC", "temperature", Fraction(1), singular="degree celsius", plural="degrees celsius"),
        Unit(
            "degF",
            "temperature",
            Fraction(5, 9),
            offset=Fraction(-160, 9),
            singular="degree fahrenheit",
            plural="degrees fahrenheit",
        ),
        # A difference of temperatures must not be shifted by the scale's zero: its own kind, not "degC".
        Unit("K", "temperature difference", Fraction(1), singular="degree", plural="degrees"),
        Unit("m/s", "speed", Fraction(1), singular="meter per second", plural="meters per second"),
        Unit("ft/min", "speed", Fraction(3048, 600_000), singular="foot a minute", plural="feet a minute"),
        Unit("km/h", "speed", Fraction(5, 18), singular="kilometer per hour", plural="kilometers per hour"),
        Unit("mph", "speed", Fraction("0.44704"), singular="mile per hour", plural="miles per hour"),
        Unit("%", "ratio", Fraction(1), singular="percent", plural="percent"),
        Unit("1", "count", Fraction(1)),
        Unit("s", "time", Fraction(1), singular="second", plural="seconds"),
        Unit("min", "time", Fraction(60), singular="minute", plural="minutes"),
        Unit("h", "time", Fraction(3600), singular="hour", plural="hours"),
        Unit("g", "mass", Fraction(1), singular="gram", plural="grams"),
        Unit("kg", "mass", Fraction(1000), singular="kilogram", plural="kilograms"),
        Unit("lb", "mass", Fraction("453.59237"), singular="pound", plural="pounds"),
        Unit("oz", "mass", Fraction("28.349523125"), singular="ounce", plural="ounces"),
        Unit("a", "age", Fraction(1), singular="year", plural="years"),
    )
}

#: Decimals that a workshop's instrument gives in a unit (our own choice, no published source).
DECIMALS: Mapping[str, int] = {
    "mm": 1, "cm": 1, "in": 2, "mi": 0, "km": 0, "psi": 1, "kPa": 0, "bar": 2, "N.m": 0, "lbf.ft": 0,
    "degC": 0, "degF": 0, "km/h": 0, "mph": 0, "m/s": 1, "ft/min": 0, "g": 0, "oz": 1, "kg": 1, "lb": 1,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Quantity:
    """A measured or computed value.

    ``resolution`` is the step the speaker resolved, in the same unit: "five point five" gives 0.1,
    "three eighths" gives 1/8, a whole number gives 1. ``None`` means the value is exact (a count, a limit).
    """

    value: Exact
    unit: str
    resolution: Exact | None = None

    def __post_init__(self) -> None:
        if self.unit not in UNITS:
            raise UnitError(f"unknown unit {self.unit!r}; known: {', '.join(sorted(UNITS))}")

    def to(self, unit: str) -> Quantity:
        """The same quantity in another unit, exactly (a Fraction unless the unit is the same)."""
        if unit == self.unit:
            return self
        value = convert(Fraction(self.value), self.unit, unit)
        if self.resolution is None:
            return Quantity(value, unit)
        scale = UNITS[self.unit].factor / UNITS[unit].factor
        return Quantity(value, unit, Fraction(self.resolution) * scale)


def convert(value: Fraction, source: str, target: str) -> Fraction:
    """Convert ``value`` exactly; raises UnitError when the kinds differ."""
    try:
        a, b = UNITS[source], UNITS[target]
    except KeyError as missing:
        raise UnitError(f"unknown unit {missing.args[0]!r}") from None
    if a.kind != b.kind:
        raise UnitError(f"{source} is {a.kind}, {target} is {b.kind}")
    return (value * a.factor + a.offset - b.offset) / b.factor


def inward(text: str) -> str:
    """ "1 to 1.5 in in" as "1 to 1.5 in inward". A rule's source says it so, and stays as it is: records hold it, and
    an audit of an old job compares it."""
    return re.sub(r"(?<=\d in) in\b(?! \w)", " inward", text)
