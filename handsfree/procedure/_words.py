"""Values as they are spoken: digit by digit, with the unit, limits in the technician's own unit."""

from __future__ import annotations

import re
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from fractions import Fraction
from typing import Protocol

from handsfree.grammar import digit_by_digit, natural, spoken_unit
from handsfree.procedure._prompts import Prompts
from handsfree.quantity import Exact, Quantity

__all__ = ["Limited", "plainly", "spoken", "spoken_count", "spoken_limit", "spoken_seconds", "written"]

_PLACES = Decimal("0.01")


class Limited(Protocol):
    """Anything that has limits and, where it has none to name, a sentence instead."""

    @property
    def low(self) -> Quantity | None: ...
    @property
    def high(self) -> Quantity | None: ...
    @property
    def reason(self) -> str: ...
    @property
    def inclusive(self) -> bool: ...


def _short(value: Exact, *, up: bool) -> Exact:
    """A limit that converts to an endless decimal is spoken on the safe side, to hundredths."""
    if isinstance(value, Decimal):
        return value
    exact = Decimal(value.numerator) / Decimal(value.denominator)
    if Fraction(exact) == value and exact == round(exact, 3):
        return exact.normalize() if exact != exact.to_integral() else Decimal(int(exact))
    return exact.quantize(_PLACES, rounding=ROUND_CEILING if up else ROUND_FLOOR)


def _plain(value: Fraction) -> Decimal:
    """A computed value for reading: as it is when it ends within six places, else to four."""
    exact = Decimal(value.numerator) / Decimal(value.denominator)
    places = 6 if round(exact, 6) == exact and Fraction(exact) == value else 4
    rounded = round(exact, places)
    return Decimal(int(rounded)) if rounded == rounded.to_integral() else rounded.normalize()


def spoken(value: Quantity | str) -> str:
    """A quantity or a digit string, digit by digit: "one four point five millimeters"."""
    if isinstance(value, str):
        return " ".join(_character(c) for c in value if c != " ")
    number = digit_by_digit(value.value)
    return f"{number} {spoken_unit(value.unit, value.value)}".strip()


def _character(one: str) -> str:
    return digit_by_digit(Decimal(one)) if one.isdigit() else "slash" if one == "/" else one


#: Signs of units that nobody says as they are written.
_SPELLED = (("K", "degrees celsius"), ("a", "years"), ("kPa", "kilopascals"), ("N.m", "newton meters"))


def plainly(reason: str) -> str:
    """A record's sentence for the ear: without what stands in brackets, marks of rounding, a double period; computed
    numbers to a tenth, units in words. The record keeps the exact sentence."""
    inner = re.compile(r"\s*\([^()]*\)")
    while inner.search(reason):
        reason = inner.sub("", reason)
    text = re.sub(r"\d+\.\d{3,}", lambda number: f"{float(number[0]):.1f}", reason.replace("~", ""))
    for sign, words in _SPELLED:
        text = re.sub(rf"(?<=\d) {sign}\b", f" {words}", text)
    return text.rstrip(". ")


def written(value: Quantity | str | None) -> str:
    """For the record and the screen: "5.50 mm"."""
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    number = value.value
    if isinstance(number, Fraction) and value.resolution is None:
        number = _plain(number)
    text = str(number) if isinstance(number, Fraction) else format(number, "f")
    return text if value.unit == "1" else f"{text} {value.unit}"


def spoken_limit(verdict: Limited, prompts: Prompts) -> str:
    """ "at most six millimeters", "more than two thirty seconds" where the limit itself is refused.

    A bound that must be rounded is rounded toward the safe side.
    """
    low = verdict.low and spoken(Quantity(_short(verdict.low.value, up=True), verdict.low.unit))
    high = verdict.high and spoken(Quantity(_short(verdict.high.value, up=False), verdict.high.unit))
    if low and high and verdict.low and verdict.high:
        # The unit once: it is the same for both.
        bare = digit_by_digit(_short(verdict.low.value, up=True))
        return prompts.say("limit_between", low=bare, high=high)
    if high:
        return prompts.say("limit_at_most" if verdict.inclusive else "limit_under", high=high)
    if low:
        return prompts.say("limit_at_least" if verdict.inclusive else "limit_over", low=low)
    return verdict.reason


def spoken_count(number: int) -> str:
    """ "three": passes are few."""
    return natural(Decimal(number))


def spoken_seconds(seconds: int) -> str:
    """ "four minutes", "two minutes ten seconds"; waits are named in words, they are never read back."""
    minutes, rest = divmod(max(0, seconds), 60)
    parts = []
    if minutes:
        parts.append(f"{minutes} minute{'s' if minutes != 1 else ''}")
    if rest or not minutes:
        parts.append(f"{rest} second{'s' if rest != 1 else ''}")
    return " ".join(parts)
