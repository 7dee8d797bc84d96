"""Text as a voice must read it: units by name, fractions as a technician says them, signal words apart."""

from __future__ import annotations

import re
import unicodedata

from handsfree.quantity import UNITS

__all__ = ["speakable"]

_SIGNAL = re.compile(r"\b(DANGER|WARNING|CAUTION|NOTICE)\b[:.!,]?\s*")
_PARTS = {
    2: ("half", "halves"),
    4: ("quarter", "quarters"),
    8: ("eighth", "eighths"),
    16: ("sixteenth", "sixteenths"),
}
_PARTS |= {32: ("thirty second", "thirty seconds"), 64: ("sixty fourth", "sixty fourths")}
_FRACTION = re.compile(r"(?<![\w/.])(?:(\d+) )?(\d+)/(2|4|8|16|32|64)(?![\w/])(?: ?(in)\b)?")

#: Symbols that are no English word, so they are units wherever they stand.
_ALONE = ("psi", "rpm", "kPa", "N.m", "lbf.ft", "mm", "degC", "degF", "km", "kg")
#: Not read as units even after a number: "5 a" and "3 in the box" are English. "in" is taken before a stop.
_WORDS = frozenset({"a", "in", "1", "32nd", "%"})
_AFTER_NUMBER = "|".join(re.escape(symbol) for symbol in sorted(set(UNITS) - _WORDS, key=len, reverse=True))
_MEASURED = re.compile(rf"(?<![\w.])(\d+(?:\.\d+)?) ?({_AFTER_NUMBER})(?![\w])")
_INCHES = re.compile(r"(?<![\w.])(\d+(?:\.\d+)?) ?in(?=\.?(?:[,;:)?!]|\s*$|\. | (?:and|or|to|of|by)\b))")
_ALONE_RE = re.compile(r"(?<![\w.])(" + "|".join(re.escape(symbol) for symbol in _ALONE) + r")(?!\w)")
_SPELLED = {"TPMS": "t p m s", "DOT": "d o t", "TIN": "t i n", "PPE": "p p e"}
_SPELLED_RE = re.compile(r"\b(" + "|".join(_SPELLED) + r")\b")


def speakable(text: str) -> str:
    """The text with nothing left for the voice to guess; control characters are dropped."""
    text = "".join(" " if unicodedata.category(char)[0] == "C" else char for char in text)
    text = _SIGNAL.sub(lambda match: f"{match[1].capitalize()}. ", text)
    text = _FRACTION.sub(_fraction, text)
    text = text.replace("%", " percent").replace("±", "plus or minus ")
    text = _MEASURED.sub(lambda match: _named(match[1], match[2]), text)
    text = _INCHES.sub(lambda match: _named(match[1], "in"), text)
    text = _ALONE_RE.sub(lambda match: UNITS[match[1]].plural, text)
    text = _SPELLED_RE.sub(lambda match: _SPELLED[match[1]], text)
    return " ".join(text.split())


def _named(number: str, symbol: str) -> str:
    unit = UNITS[symbol]
    return f"{number} {unit.singular if number == '1' else unit.plural}"


def _fraction(match: re.Match[str]) -> str:
    whole, top, bottom, inch = match.groups()
    one, many = _PARTS[int(bottom)]
    part = f"{top} {one if top == '1' else many}"
    if whole:
        return f"{whole} and {part}" + (" inches" if inch else "")
    return part + (" inch" if inch else "")
