"""Amounts in a record's words as a technician says them. The record keeps the exact ones."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from fractions import Fraction

from handsfree.quantity import DECIMALS, UNITS, inward

__all__ = ["in_use"]

#: Signs of units that nobody says or writes on a work order, and what stands for them after one and after several.
_SAID: Mapping[str, tuple[str, str]] = {
    "a": (" year", " years"),
    "deg": (" degree", " degrees"),
    "degC": (" °C", " °C"),
    "degF": (" °F", " °F"),
    "K": (" °C", " °C"),  # a difference of temperatures: nobody says kelvin
    "32nd": ("/32 in", "/32 in"),
}
#: What was said or printed has fewer decimals; what has so many was computed, and is cut.
_COMPUTED = {"in": 4}
_COMPUTED_ELSE = 3
#: A limit is cut to hundredths, as it is spoken (procedure/_words.py), and toward the strict side.
_LIMIT_DECIMALS = 2
_STRICT = {
    "at least": "up",
    "least": "up",
    "more than": "up",
    "at most": "down",
    "most": "down",
    "under": "down",
}
_GAPS = ("by", "margin")
_OVER = "outside by"  # no room that is left: as any other amount
_LEADS = "|".join(sorted((*_STRICT, *_GAPS, _OVER), key=len, reverse=True))
_SYMBOLS = "|".join(re.escape(unit) for unit in sorted(UNITS, key=len, reverse=True) if unit != "1")
_AMOUNT = re.compile(
    rf"(?:\b(?P<lead>{_LEADS}) )?(?<![\w./])(?P<about>~?)(?P<number>-?\d{{1,12}}(?:\.\d{{1,12}})?) "
    rf"(?P<unit>{_SYMBOLS})"
    # "5 a" of "5 a week" is English; of "5 a, most 10 a" and of "5 a (week of ..." it is years.
    r"(?![\w/])(?!(?<= a) (?!and |\())"
)


def in_use(text: str) -> str:
    """ "~3.2335 a" as "3.2 years", "16 K" as "16 °C", "7 32nd" as "7/32 in".

    Digits that were said stay; computed ones (three decimals or more) are cut to what an instrument shows, a limit to
    hundredths on its strict side, and what is left to a limit never to more than there is.
    """
    return _AMOUNT.sub(_amount, inward(text))


def _amount(found: re.Match[str]) -> str:
    lead, about, number, unit = (found[name] or "" for name in ("lead", "about", "number", "unit"))
    if about or len(number.partition(".")[2]) >= _COMPUTED.get(unit, _COMPUTED_ELSE):
        number = _cut(number, unit, lead)
    one, many = _SAID.get(unit, (f" {unit}", f" {unit}"))
    return f"{lead} {number}{one if number == '1' else many}".lstrip()


def _cut(number: str, unit: str, lead: str) -> str:
    places = max(DECIMALS.get(unit, 1), 1)
    if lead in _STRICT:
        places = max(places, _LIMIT_DECIMALS)
    steps = Fraction(number) * 10**places
    if lead in _GAPS or lead == _OVER:
        whole = math.trunc(steps) if lead in _GAPS else round(steps)
        if not whole and steps:
            return f"less than {_decimal(1, places)}"
    else:
        side = _STRICT.get(lead)
        whole = math.ceil(steps) if side == "up" else math.floor(steps) if side == "down" else round(steps)
    return _decimal(whole, places)


def _decimal(steps: int, places: int) -> str:
    whole, part = divmod(abs(steps), 10**places)
    digits = f"{part:0{places}d}".rstrip("0")
    return ("-" if steps < 0 else "") + (f"{whole}.{digits}" if digits else str(whole))
