"""Amounts in a record's words as a technician says them. The record keeps the exact ones."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from fractions import Fraction

from handsfree.quantity import DECIMALS, UNITS, inward

from ._added_up import added_up, is_computed

__all__ = ["in_use", "with_unit"]

#: Signs of units that nobody says or writes on a work order, and what stands for them after one and after several.
_SAID: Mapping[str, tuple[str, str]] = {
    "a": (" year", " years"),
    "deg": (" degree", " degrees"),
    "degC": (" °C", " °C"),
    "degF": (" °F", " °F"),
    "K": (" °C", " °C"),  # a difference of temperatures: nobody says kelvin
    "32nd": ("/32 in", "/32 in"),
}
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
_NUMBER = r"~?-?\d{1,12}(?:\.\d{1,12})?"
_UNIT = rf"/32 in|(?: (?:{_SYMBOLS})(?![\w/]))?"
#: A rule's own sentence of a value, its limits and what is between them: those three must add up.
_JUDGED = re.compile(
    rf"(?<![\w./~-])(?P<value>{_NUMBER})(?P<unit>{_UNIT}); "
    rf"(?:(?P<least>least|more than) (?P<low>{_NUMBER})(?P=unit))?(?:, (?=most|under))?"
    rf"(?:(?P<most>most|under) (?P<high>{_NUMBER})(?P=unit))?; "
    rf"(?:(?P<word>inside|outside) by (?P<gap>{_NUMBER})(?:{_UNIT})|(?P<close>too close to call))"
)


def in_use(text: str, heard: str = "") -> str:
    """ "~3.2335 a" as "3.2 years", "16 K" as "16 °C", "7 32nd" as "7/32 in".

    Digits that were said stay; computed ones (three decimals or more) are cut to what an instrument shows, a limit to
    hundredths on its strict side, and what is left to a limit never to more than there is. A rule's sentence of a
    value and its limits is cut as a whole, so that it adds up (``_added_up``). ``heard``: the digits of the reading
    that such a sentence judges; they stay where it judges the reading itself.
    """
    text, done, parts = inward(text), 0, []
    for found in _JUDGED.finditer(text):
        sentence = _judged(found, heard)
        if sentence:
            parts += [_AMOUNT.sub(_amount, text[done : found.start()]), sentence]
            done = found.end()
    return "".join([*parts, _AMOUNT.sub(_amount, text[done:])])


def _judged(found: re.Match[str], heard: str) -> str:
    """The sentence with numbers that add up, "" where that can't be told of it."""
    unit = "32nd" if found["unit"].startswith("/") else found["unit"].strip() or "1"
    value, low, high = found["value"], found["low"] or "", found["high"] or ""
    if heard and re.fullmatch(_NUMBER, heard) and Fraction(heard) == Fraction(value.lstrip("~")):
        value = heard
    outcome = found["word"] or "close"
    inclusive = found["least"] != "more than" and found["most"] != "under"
    sums = added_up(value, low, high, unit, outcome, inclusive=inclusive)
    if sums is None:
        return ""
    ends = [f"{found['least']} {with_unit(sums.low, unit)}"] if low else []
    ends += [f"{found['most']} {with_unit(sums.high, unit)}"] if high else []
    word = found["close"] or f"{outcome} by {with_unit(sums.margin.lstrip('-'), unit)}"
    return f"{with_unit(sums.value, unit)}; {', '.join(ends)}; {word}"


def with_unit(number: str, unit: str) -> str:
    """ "3.24 years", "1 year", "7/32 in", "5" of a count."""
    one, many = _SAID.get(unit, (f" {unit}", f" {unit}"))
    return number if unit == "1" else f"{number}{one if number == '1' else many}"


def _amount(found: re.Match[str]) -> str:
    lead, about, number, unit = (found[name] or "" for name in ("lead", "about", "number", "unit"))
    if about or is_computed(number, unit):
        number = _cut(number, unit, lead)
    return f"{lead} {with_unit(number, unit)}".lstrip()


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
