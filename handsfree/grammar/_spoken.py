"""Exact values to spoken words, in the forms the grammars accept."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from handsfree.quantity import UNITS, Exact, UnitError

__all__ = [
    "DENOMINATORS",
    "DIGITS",
    "digit_by_digit",
    "fraction_words",
    "natural",
    "spoken_unit",
    "whole_words",
]

DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_TO_19 = (
    *DIGITS,
    *(
        "ten",
        "eleven",
        "twelve",
        "thirteen",
        "fourteen",
        "fifteen",
        "sixteen",
        "seventeen",
        "eighteen",
        "nineteen",
    ),
)
_TENS = ("", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
#: Denominator -> spoken for one and for several parts. Rules and depth gauges of the trade have no others.
DENOMINATORS = {
    2: ("half", "halves"),
    4: ("quarter", "quarters"),
    8: ("eighth", "eighths"),
    16: ("sixteenth", "sixteenths"),
    32: ("thirty second", "thirty seconds"),
}


def digit_by_digit(value: Exact, resolution: Exact | None = None) -> str:
    """``Decimal("14.50")`` -> "one four point five zero"; ``Fraction(3, 8)`` -> "three eighths".

    A Fraction is reduced, so give its resolution to hear it as it was said: 1/4 at 1/8 is "two eighths".
    """
    return _speak(value, resolution, spell=True)


def natural(value: Exact, resolution: Exact | None = None) -> str:
    """``Decimal("14.5")`` -> "fourteen point five"; from 100,000 on digit by digit."""
    return _speak(value, resolution, spell=False)


def spoken_unit(symbol: str, value: Exact) -> str:
    """The unit's name beside ``value``: one "millimeter", 5.5 "millimeters", 3/8 "inch"; a count has none.

    Raises UnitError for an unknown symbol.
    """
    if symbol not in UNITS:
        raise UnitError(f"unknown unit {symbol!r}; known: {', '.join(sorted(UNITS))}")
    one = abs(value) <= 1 if isinstance(value, Fraction) else abs(value) == 1 and _places(value) == 0
    return UNITS[symbol].singular if one and value != 0 else UNITS[symbol].plural


def whole_words(number: int, *, joiner: str = "") -> str:
    """A whole number from 0 to 99,999 in natural words; ``joiner`` "and" may follow a hundred."""
    if number < 20:
        return _TO_19[number]
    if number < 100:
        return f"{_TENS[number // 10]} {_TO_19[number % 10] if number % 10 else ''}".strip()
    size, name = (1000, "thousand") if number >= 1000 else (100, "hundred")
    many, rest = divmod(number, size)
    head = f"{whole_words(many, joiner=joiner)} {name}"
    if not rest:
        return head
    between = joiner if rest < 100 else ""
    return " ".join(filter(None, (head, between, whole_words(rest, joiner=joiner))))


def fraction_words(numerator: int, denominator: int) -> str:
    """``3, 8`` -> "three eighths"; a denominator no gauge has -> "two over three"."""
    if denominator not in DENOMINATORS:
        return f"{_spell(str(numerator))} over {_spell(str(denominator))}"
    return f"{whole_words(numerator)} {DENOMINATORS[denominator][numerator != 1]}"


def _speak(value: Exact, resolution: Exact | None, *, spell: bool) -> str:
    if value < 0:
        return f"minus {_speak(-value, resolution, spell=spell)}"
    if isinstance(value, Fraction):
        return _speak_fraction(value, resolution, spell=spell)
    whole, _, places = format(value, "f").partition(".")
    head = _spell(whole) if spell or len(whole) > 5 else whole_words(int(whole))
    return f"{head} point {_spell(places)}" if places else head


def _speak_fraction(value: Fraction, resolution: Exact | None, *, spell: bool) -> str:
    whole, part = divmod(value, 1)
    head = _speak(Decimal(whole), None, spell=spell)
    if not part:
        return head
    step = Fraction(resolution) if resolution else Fraction(0)
    as_said = step.numerator == 1 and step.denominator % part.denominator == 0
    denominator = step.denominator if as_said else part.denominator
    tail = fraction_words(int(part * denominator), denominator)
    return f"{head} and {tail}" if whole else tail


def _spell(digits: str) -> str:
    return " ".join(DIGITS[int(digit)] for digit in digits)


def _places(value: Decimal) -> int:
    exponent = value.as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0
