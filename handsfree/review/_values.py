"""Numbers as a reader wants them: with the unit as it was spoken, and converted beside it."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from decimal import Decimal
from fractions import Fraction

from handsfree.quantity import DECIMALS, UNITS, Quantity, UnitError

__all__ = [
    "amount",
    "both",
    "customary",
    "gap_told",
    "in_brackets",
    "limit_told",
    "parse",
    "reading",
    "shown",
    "told",
]

#: What stands in brackets beside a value of this unit.
_OTHER: Mapping[str, str] = {
    "mm": "in", "cm": "in", "in": "mm", "32nd": "mm", "mi": "km", "km": "mi",
    "psi": "kPa", "kPa": "psi", "bar": "psi", "N.m": "lbf.ft", "lbf.ft": "N.m",
    "degC": "degF", "degF": "degC", "km/h": "mph", "mph": "km/h", "m/s": "ft/min", "ft/min": "m/s",
    "g": "oz", "oz": "g", "kg": "lb", "lb": "kg",
}  # fmt: skip
_SYMBOL: Mapping[str, str] = {
    "deg": "°", "degC": "\u202f°C", "degF": "\u202f°F", "N.m": "\u202fN·m", "lbf.ft": "\u202flbf·ft",
    "a": "\u202fyears", "1": "", "%": "\u202f%", "K": "\u202f°C",
}  # fmt: skip
_QUANTITY = re.compile(r"(?P<value>\S+) (?P<unit>\S+)")
#: Far beyond anything that is measured; a longer number is no reading, and would only cost time.
_NUMBER = re.compile(r"[+-]?\d{1,12}(\.\d{1,12}|/\d{1,12})?", re.ASCII)


def reading(value: str, unit: str, resolution: str = "") -> Quantity | None:
    """A record's value, unit and resolution; None for an identifier or anything that is no number."""
    if unit not in UNITS:
        return None
    number = _number(value)
    return None if number is None else Quantity(number, unit, _number(resolution))


def parse(text: str) -> Quantity | None:
    """ "34.1695 psi" as a record's verdict gives it; None when it is no quantity."""
    match = _QUANTITY.fullmatch(text)
    return reading(match["value"], match["unit"]) if match else reading(text, "1")


def _number(text: str) -> Decimal | Fraction | None:
    if not _NUMBER.fullmatch(text):
        return None
    try:
        return Fraction(text) if "/" in text else Decimal(text)
    except ZeroDivisionError:
        return None


def amount(value: Quantity, digits: int = 4) -> str:
    """The value with its unit's symbol: digits as they were spoken, a fraction cut to ``digits`` significant."""
    if value.unit == "32nd":
        return f"{_plain(value.value, digits)}/32\u202fin"
    return f"{_plain(value.value, digits)}{_SYMBOL.get(value.unit, f'{chr(0x202F)}{value.unit}')}"


def _plain(value: Decimal | Fraction, digits: int) -> str:
    if isinstance(value, Decimal):
        return format(value, "f").replace("-", "\u2212")
    if value.denominator == 1:
        return str(value.numerator).replace("-", "\u2212")
    size = abs(float(value)) or 1.0
    places = max(digits - 1 - math.floor(math.log10(size)), 0)
    text = f"{float(value):.{places}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return text.replace("-", "\u2212")


def both(value: Quantity, digits: int = 4) -> tuple[str, str]:
    """As spoken, and converted to the other system's unit ("" where there is none)."""
    other = _OTHER.get(value.unit)
    if other is None:
        return amount(value, digits), ""
    try:
        converted = value.to(other)
    except UnitError:
        return amount(value, digits), ""
    return amount(value, digits), _rounded_once(converted)


def customary(value: Quantity, end: str = "", *, heard: bool = False) -> tuple[str, str]:
    """The value and its conversion ("" for none) as an instrument gives them, for somebody who did not measure.

    ``end``: "low" and "high" for a limit, "gap" for a margin: those are cut to the strict side, never to the loose
    one; anything else goes to the nearest. A value that was ``heard`` keeps its digits.
    """
    own = amount(value if heard else _cut(value, end))
    other = _OTHER.get(value.unit)
    try:
        converted = None if other is None else _cut(value.to(other), "")
    except UnitError:
        converted = None
    if converted is None or other is None or not converted.value:
        return own, ""  # nothing that such an instrument would show
    return own, amount(Quantity(Decimal(f"{float(converted.value):.{DECIMALS[other]}f}"), other))


def in_brackets(value: str, other: str) -> str:
    """ "4.5 mm (0.18 in)"."""
    return f"{value} ({other})" if other else value


def limit_told(shown: Quantity, exact: Quantity, end: str) -> str:
    """A limit as it is shown, ``end`` "low" or "high", and the record's own converted: three digits, at most one
    decimal more than an instrument gives, cut to the strict side (but 14.5038 psi are 100 kPa, not 101)."""
    other = _OTHER.get(exact.unit)
    if other is None:
        return amount(shown)
    number = Fraction(exact.to(other).value)
    places = min(_places(number, 3), DECIMALS.get(other, 0) + 1)
    whole = _whole(number * 10**places, _WAYS[end])
    return in_brackets(amount(shown), amount(Quantity(Fraction(whole, 10**places), other), 12))


def gap_told(gap: Quantity, exact: Quantity | None = None) -> str:
    """A margin as it is shown, and the record's ``exact`` one converted: two digits, at most one decimal more than an
    instrument gives, never more than there is. Of a difference of temperatures nothing is converted: the scales'
    zeros would come into it."""
    other = _OTHER.get(gap.unit)
    if other is None or UNITS[gap.unit].kind == "temperature" or not gap.value:
        return amount(gap)
    number = Fraction((exact or gap).to(other).value)
    fewest = DECIMALS.get(other, 0)
    places = min(max(_places(number, 2), fewest), fewest + 1)
    whole = _whole(number * 10**places, math.floor)
    return in_brackets(amount(gap), amount(Quantity(Fraction(whole, 10**places), other), 12) if whole else "")


def _whole(steps: Fraction, way: Callable[[Fraction], int]) -> int:
    near = round(steps)
    return near if abs(near - steps) * _AS_GOOD <= abs(steps) else way(steps)


_AS_GOOD = 10_000  # of its size: a computed limit is recorded to four decimals
_WAYS: Mapping[str, Callable[[Fraction], int]] = {"low": math.ceil, "high": math.floor}


def _places(number: Fraction, digits: int) -> int:
    """Decimals that give so many significant digits."""
    size = abs(float(number)) or 1.0
    return max(digits - 1 - math.floor(math.log10(size)), 0)


def _cut(value: Quantity, end: str) -> Quantity:
    step = Fraction(1, 10 ** DECIMALS.get(value.unit, 2))
    exact = Fraction(value.value)
    if exact % step == 0:
        return value
    steps = exact / step
    nearest = round(steps)
    cut = {"low": math.ceil(steps), "high": math.floor(steps), "gap": math.trunc(steps)}
    return Quantity(cut.get(end, nearest) * step, value.unit)


def _rounded_once(value: Quantity) -> str:
    """A conversion in three digits, yet no finer than a tenth of what the reading was read to. From the exact value
    in one step: 24 psi are 165.474 kPa, and by way of 165.5 they became 166."""
    exact = Fraction(value.value)
    size = abs(float(exact)) or 1.0
    places = max(2 - math.floor(math.log10(size)), 0)
    if value.resolution is not None:
        places = min(places, max(math.ceil(-math.log10(float(value.resolution) / 10)), 0))
    return amount(Quantity(Fraction(round(exact * 10**places), 10**places), value.unit), 12)


def told(value: Quantity, digits: int | None = None) -> str:
    """ "4.5 mm (0.177 in)"; ``digits``: cut to so many significant ones, for a distance that only informs."""
    if (
        digits is not None
        and len(value.value.as_tuple().digits if isinstance(value.value, Decimal) else "") > digits
    ):
        value = Quantity(Fraction(value.value), value.unit)
    spoken, other = both(value, digits or 4)
    return f"{spoken} ({other})" if other else spoken


def shown(text: str) -> str:
    """A quantity in a record's words as a reader wants it; other text as it is."""
    value = parse(text)
    return text if value is None else told(value)
