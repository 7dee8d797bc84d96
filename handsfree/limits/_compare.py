"""Compare a reading with limits when the reading is only known to its resolution.

A value ``v`` spoken to a resolution ``r`` stands for every true value in ``[v - r/2, v + r/2]``: "six" in
whole millimeters may be 5.5 or 6.5. Only when that whole interval lies on one side of the limit is it called;
otherwise it is CLOSE. So "six millimeters" against a limit of 6 mm is too close to call, "five point
five" is inside, and reading finer always helps except exactly at the limit. A value without resolution is
exact: at an inclusive limit it is inside, at an exclusive one ("2/32 in or less") outside.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from handsfree.limits._types import Outcome
from handsfree.quantity import UNITS, Exact, Quantity

__all__ = ["Bound", "Interval", "fraction", "interval", "outcome", "show", "show_number"]


@dataclass(frozen=True, slots=True)
class Bound:
    """One limit. ``inclusive``: the limit itself is still allowed."""

    value: Fraction
    inclusive: bool = True


@dataclass(frozen=True, slots=True)
class Interval:
    """The values a reading (or a result computed from readings) may stand for."""

    low: Fraction
    high: Fraction

    def __post_init__(self) -> None:
        if self.low > self.high:
            raise ValueError("interval is upside down")


def fraction(value: Exact) -> Fraction:
    """The value as a Fraction. A Fraction is passed on: making one of another is a third of a verdict's
    time.
    """
    return value if type(value) is Fraction else Fraction(value)


def interval(reading: Quantity, unit: str) -> Interval:
    """``[v - r/2, v + r/2]`` of a reading, converted exactly to ``unit``."""
    there = reading.to(unit)
    value = fraction(there.value)
    if there.resolution is None:
        return Interval(value, value)
    half = fraction(there.resolution) / 2
    return Interval(value - half, value + half)


def outcome(reading: Interval, low: Bound | None, high: Bound | None) -> Outcome:
    """INSIDE if every value the reading may stand for is allowed, OUTSIDE if none is, else CLOSE."""
    if _below(reading.high, low) or _above(reading.low, high):
        return Outcome.OUTSIDE
    if _below(reading.low, low) or _above(reading.high, high):
        return Outcome.CLOSE
    return Outcome.INSIDE


def _below(value: Fraction, low: Bound | None) -> bool:
    return low is not None and (value < low.value or (value == low.value and not low.inclusive))


def _above(value: Fraction, high: Bound | None) -> bool:
    return high is not None and (value > high.value or (value == high.value and not high.inclusive))


def show_number(value: Fraction, places: int = 4) -> str:
    """Plain decimal digits for the record; a non-terminating value is cut to ``places`` and marked ``~``."""
    size = abs(value.numerator) * 10**places
    rounded = (2 * size + value.denominator) // (2 * value.denominator)
    whole, part = divmod(rounded, 10**places)
    digits = f"{part:0{places}d}".rstrip("0")
    sign = "-" if value < 0 and rounded else ""
    text = f"{sign}{whole}.{digits}" if digits else f"{sign}{whole}"
    return text if size % value.denominator == 0 else f"~{text}"


def show(quantity: Quantity) -> str:
    """A quantity as the record writes it: "5.5 mm", "2/32 in", "25 deg"."""
    number = show_number(fraction(quantity.value))
    if quantity.unit == "32nd":
        return f"{number}/32 in"
    return number if UNITS[quantity.unit].kind == "count" else f"{number} {quantity.unit}"
