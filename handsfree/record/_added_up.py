"""A verdict's numbers as every reader gets them: value, limit and margin in digits that add up and stay true. Pure.

The record keeps computed numbers to four decimals; show, the pages and the customer's sheet cut them, and must cut
them alike. A number that was said or printed stays as it is. A computed limit is cut to hundredths toward its strict
side, as it is spoken (procedure/_words.py), a computed value toward the limit it comes nearest to, and the margin is
the difference of the two that are shown: so it is never more than there is. Where hundredths would put a value on the
wrong side of its limit, or on it, there are more.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from handsfree.quantity import UNITS

__all__ = ["AddedUp", "added_up", "is_computed", "judged_numbers"]

#: What was said or printed has fewer decimals; what has so many was computed, and is cut.
_COMPUTED: Mapping[str, int] = {"in": 4}
_COMPUTED_ELSE = 3
_PLACES, _MOST_PLACES = 2, 6
_NUMBER = re.compile(r"(?P<about>~?)(?P<digits>-?\d{1,12}(?:\.\d{1,12})?)", re.ASCII)
#: The value in a rule's sentence ("Tire age: ~3.2362 a; most 10 a; ..."), and what follows where it is a judgement.
_VALUE = re.compile(
    r": (?P<value>~?-?\d{1,12}(?:\.\d{1,12})?)(?:/32 in| [^\s;]{1,8})?; (?:least|most|more than|under) ",
    re.ASCII,
)
_KELVIN = {"degC": Fraction(1), "degF": Fraction(5, 9)}


@dataclass(frozen=True, slots=True)
class AddedUp:
    """Decimal digits, all of one ``unit``; ``low`` and ``high`` are "" where there is none. ``margin`` is negative
    outside. ``computed``: the value that was judged is not the one that was read."""

    value: str
    low: str
    high: str
    margin: str
    unit: str
    computed: bool = False


def is_computed(digits: str, unit: str) -> bool:
    """Whether a number has more decimals than anybody says or prints."""
    return len(digits.partition(".")[2]) >= _COMPUTED.get(unit, _COMPUTED_ELSE)


def added_up(
    value: str, low: str, high: str, unit: str, outcome: str, *, inclusive: bool = True
) -> AddedUp | None:
    """The numbers as they are shown, from a record's: digits, "~" before those that were cut. None where they are no
    numbers, or don't tell what the outcome says: then nothing can be made of them here."""
    given = [_parsed(text, unit) for text in (value, low, high)]
    if given[0] is None or any(
        one is None for one, text in zip(given, (value, low, high), strict=True) if text
    ):
        return None
    if not low and not high:
        return None
    for places in range(_PLACES, _MOST_PLACES + 1):
        found = _at(given, places, unit)
        margin = Fraction(found.margin)
        true = {"inside": margin > 0, "outside": margin < 0}.get(outcome, True)
        # Exactly at the limit: that is inside of one that is itself allowed, and outside of one that is not.
        exactly = margin == 0 and _exact_margin(given) == 0 and (outcome == "inside") == inclusive
        if true or exactly:
            return found
    return None


_Given = tuple[Fraction, str] | None  # the number, and its digits where they stay as they are, else ""


def _parsed(text: str, unit: str) -> _Given:
    found = _NUMBER.fullmatch(text)
    if found is None:
        return None
    digits = found["digits"]
    return Fraction(digits), "" if found["about"] or is_computed(digits, unit) else digits


def _exact_margin(given: list[_Given]) -> Fraction:
    value, low, high = given
    assert value is not None
    gaps = [value[0] - low[0]] if low is not None else []
    gaps += [high[0] - value[0]] if high is not None else []
    return min(gaps)


def _at(given: list[_Given], places: int, unit: str) -> AddedUp:
    value, low, high = given
    assert value is not None
    least = None if low is None else _cut(low, places, math.ceil)
    most = None if high is None else _cut(high, places, math.floor)
    nearer_high = low is None or (high is not None and high[0] - value[0] < value[0] - low[0])
    shown = _cut(value, places, math.ceil if nearer_high else math.floor)
    gaps = [Fraction(shown) - Fraction(least)] if least is not None else []
    gaps += [Fraction(most) - Fraction(shown)] if most is not None else []
    return AddedUp(shown, least or "", most or "", _decimal(min(gaps)), unit)


def _cut(one: tuple[Fraction, str], places: int, way: object) -> str:
    number, digits = one
    if digits:
        return digits
    steps = number * 10**places
    whole = math.ceil(steps) if way is math.ceil else math.floor(steps)
    return _decimal(Fraction(whole, 10**places))


def _decimal(value: Fraction) -> str:
    """Plain digits of a number that ends within twelve places."""
    exact = Decimal(value.numerator) / Decimal(value.denominator)
    text = f"{exact:.12f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def judged_numbers(verdict: Mapping[str, object], read: Mapping[str, object] | None = None) -> AddedUp | None:
    """Those of a verdict's line; None where it has none, or they don't fit each other. ``read``: the line of the
    reading that was judged; where it is the very value that was judged, its digits stay as they were heard."""
    ends = [_split(str(verdict.get(end) or "")) for end in ("low", "high")]
    unit = next((unit for _, unit in ends if unit), "1" if any(digits for digits, _ in ends) else "")
    if not unit or any(digits and own != unit for digits, own in ends):
        return None
    low, high = (digits for digits, _ in ends)
    margin = _split(str(verdict.get("margin") or ""))
    value = _value(str(verdict.get("reason") or ""), low, high, margin)
    heard = read is not None and str(read.get("unit") or "1") == unit and _same(str(read.get("value")), value)
    if heard and read is not None:
        value = str(read.get("value"))
    inclusive = str(verdict.get("inclusive")).lower() != "false"
    found = added_up(value, low, high, unit, str(verdict.get("outcome")), inclusive=inclusive)
    if found is None or not _fits(found, margin):
        return None
    return AddedUp(found.value, found.low, found.high, found.margin, unit, read is not None and not heard)


def _split(text: str) -> tuple[str, str]:
    """ "14.5038 psi" -> its digits and unit; a bare number's unit is "1"."""
    digits, _, unit = text.partition(" ")
    if not _NUMBER.fullmatch(digits) or (unit and unit not in UNITS):
        return "", ""
    return digits, unit or "1"


def _value(reason: str, low: str, high: str, margin: tuple[str, str]) -> str:
    """The judged value: as the rule's sentence says it, else by the one limit and the margin."""
    said = _VALUE.search(reason)
    if said is not None:
        return said["value"]
    if not margin[0] or bool(low) == bool(high) or margin[1] == "K":
        return ""
    return _decimal(Fraction(low) + Fraction(margin[0]) if low else Fraction(high) - Fraction(margin[0]))


def _same(heard: str, value: str) -> bool:
    one, other = _NUMBER.fullmatch(heard), _NUMBER.fullmatch(value)
    return one is not None and other is not None and Fraction(one["digits"]) == Fraction(other["digits"])


def _fits(found: AddedUp, margin: tuple[str, str]) -> bool:
    """Whether the record's own margin says the same: of a line that was tampered with nothing is made to add up."""
    if not margin[0]:
        return True
    own = Fraction(margin[0].lstrip("~"))
    if margin[1] == "K" and found.unit in _KELVIN:
        own /= _KELVIN[found.unit]
    elif margin[1] != found.unit:
        return False
    return abs(own - Fraction(found.margin)) <= Fraction(2, 10**_PLACES)
