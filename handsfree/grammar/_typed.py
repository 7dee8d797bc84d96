"""What a person types, as the words the grammars know: "5.5 mm" -> "five point five millimeters".

Nothing is guessed: what is not understood stays as it is typed, and so is refused by the strict parse.
"""

from __future__ import annotations

import re
import unicodedata
from typing import TYPE_CHECKING

from ._spoken import DENOMINATORS, DIGITS, fraction_words, whole_words

if TYPE_CHECKING:
    from ._armed import Armed

__all__ = ["typed_to_words"]

_MAX_CHARS = 1000

#: Typed unit -> spoken; only looked up right after a number, so that "in" and "c" stay words elsewhere.
_UNITS = {
    "mm": "millimeters",
    "millimetre": "millimeters",
    "millimetres": "millimeters",
    "in": "inches",
    '"': "inches",
    "32nd": "thirty seconds",
    "32nds": "thirty seconds",
    "psi": "p s i",
    "lb": "pounds",
    "lbs": "pounds",
    "kpa": "kilopascals",
    "nm": "newton meters",
    "n.m": "newton meters",
    "n\u00b7m": "newton meters",
    "lbf.ft": "foot pounds",
    "ft-lb": "foot pounds",
    "ft-lbs": "foot pounds",
    "ftlb": "foot pounds",
    "lb-ft": "pound feet",
    "rpm": "r p m",
    "deg": "degrees",
    "\u00b0": "degrees",
    "c": "celsius",
    "\u00b0c": "celsius",
    "degc": "celsius",
    "f": "fahrenheit",
    "\u00b0f": "fahrenheit",
    "degf": "fahrenheit",
    "%": "percent",
    "g": "grams",
    "oz": "ounces",
    "mi": "miles",
    "km": "kilometers",
    "km/h": "kilometers per hour",
    "kph": "kilometers per hour",
    "mph": "miles per hour",
}
_LETTERS = {
    "b": "bravo", "c": "charlie", "d": "delta", "e": "echo", "f": "foxtrot", "h": "hotel", "j": "juliett",
    "k": "kilo", "l": "lima", "m": "mike", "n": "november", "p": "papa", "q": "quebec", "r": "romeo",
    "s": "sierra", "t": "tango", "u": "uniform", "v": "victor", "w": "whiskey", "y": "yankee", "z": "zulu",
}  # fmt: skip

#: Short words that are only safe at a keyboard: spoken, they are heard in anything.
_ALONE = {"yes": "affirmative", "no": "negative"}

#: And those that are letters or talk elsewhere: only where a yes or no is asked, and nothing else is meant by them.
_WHERE_ASKED = {"y": "affirmative", "ok": "affirmative", "okay": "affirmative", "n": "negative"}

#: A position named the other way round: "front left" for "left front".
_ROUND = re.compile(r"(front|rear) (.+)\Z")

#: A line that is one letter and no more, or names a load range: "e", "load range e".
_LETTER = re.compile(rf"(load range )?([{''.join(_LETTERS)}])\Z")

_MINUTES = {"00": "o'clock", "30": "thirty"}

_TIRE = re.compile(
    r"(?P<prefix>p|lt|st|t)? ?(?P<width>[0-9]{3}) ?/ ?(?P<aspect>[0-9]{2}) ?"
    r"(?P<construction>zr|r|d|b)? ?(?P<rim>[0-9]{2})"
    r"(?P<extra>xl)?(?: ?/?(?: load range )?(?P<range>[bcdef])(?![a-z0-9]))?"
    r"(?: (?P<load>[0-9]{2,3})(?P<dual>/[0-9]{2,3})?(?P<speed>[hj-np-wy]))?"
    r"(?: (?P<extra_after>xl)| (?:load range )?(?P<range_after>[bcdef]))?\Z"
)
_TOKEN = re.compile(
    r"(?P<minus>-)?(?:(?P<top>[0-9]{1,2})/(?P<bottom>[0-9]{1,2})"
    r"|(?P<hour>[0-9]{1,2}):(?P<minute>00|30)"
    r"|(?P<whole>[0-9]{1,3}(?:,[0-9]{3})+|[0-9]*)(?:\.(?P<places>[0-9]+))?)(?P<unit>[^0-9].*)?\Z"
)


def typed_to_words(text: str, armed: Armed | None = None) -> str:
    """Lower-case words for ``Armed.interpret``. Words already spoken-style pass through unchanged.

    ``armed``: what is listened for. Where the words are no sentence of it, "y" is "affirmative" if that is asked, and
    "front left" is "left front" if that can be said: what the words stand for goes on, as if it had been said.
    """
    text = _plain(text[:_MAX_CHARS])
    words = _words(text)
    if armed is None or armed.interpret(words) is not None:
        return words
    # A letter is spelled where it is asked for; elsewhere the record holds what was typed.
    return _standing_for(text, armed) or (text if _LETTER.match(text) else words)


def _standing_for(text: str, armed: Armed) -> str:
    """The sentence of ``armed`` that somebody who types means by these words, "" for none."""
    answer = _WHERE_ASKED.get(text, "")
    meaning = armed.interpret(answer) if answer else None
    if meaning is not None and meaning.slot("answer") in ("yes", "no"):
        return answer
    found = _ROUND.match(text)
    said = f"{found[2]} {found[1]}" if found else ""
    return said if said and armed.interpret(said) is not None else ""


def _words(text: str) -> str:
    tire = _TIRE.match(text)
    if tire:
        return _tire(tire.groupdict())
    if text in _ALONE:
        return _ALONE[text]
    letter = _LETTER.match(text)
    if letter:
        return f"{letter[1] or ''}{_LETTERS[letter[2]]}"
    before = _Before()
    return " ".join(before.say(token) for token in text.split())


def _plain(text: str) -> str:
    """One kind of minus, slash and fraction; "1\u00bd" must become "1 1/2", never "11/2"."""
    text = re.sub(r"(?<=[0-9])(?=[\u00bc-\u00be\u2150-\u215e])", " ", text)
    text = unicodedata.normalize("NFKC", text)
    text = text.replace("\u2044", "/").replace("\u2212", "-").lower()
    text = re.sub(r"(?<![0-9/.,])([0-9]{1,2})-([0-9]{1,2}/[0-9]{1,2})(?![0-9/])", r"\1 \2", text)
    # Only the end of the sentence: a mark between two numbers dropped would glue them together.
    return " ".join(text.split()).rstrip("?!. ")


class _Before:
    """Says one token after the other, remembering whether a number was the last."""

    def __init__(self) -> None:
        self._number = ""  # the last token if it was a plain number, "n/d" for a fraction, "" otherwise

    def say(self, token: str) -> str:
        if self._number and token in _UNITS:
            self._number = ""
            return _UNITS[token]
        match = _TOKEN.match(token)
        spoken = _number_words(match) if match else None
        if match is None or spoken is None or not self._may_follow(match):
            self._number = ""
            return token
        joined = f"and {spoken}" if match["top"] and self._number else spoken
        self._number = "" if match["unit"] else token
        return joined

    def _may_follow(self, match: re.Match[str]) -> bool:
        """ "1 3/8" and "1 4" go on from a number; "14 15" and "5 5.5" would be glued into another number."""
        if not self._number:
            return True
        if match["top"]:
            return re.fullmatch(r"-?[0-9]{1,2}", self._number) is not None and not match["minus"]
        return (
            re.fullmatch(r"[0-9]", self._number) is not None and re.fullmatch(r"[0-9]", match[0]) is not None
        )


def _number_words(match: re.Match[str]) -> str | None:
    unit = match["unit"]
    if unit and unit not in _UNITS and unit != "o'clock":
        return None
    words = _fraction(match) if match["top"] else _time(match) if match["hour"] else _decimal(match)
    if words is None:
        return None
    tail = _UNITS.get(unit, unit) if unit else ""
    return " ".join(filter(None, ("minus" if match["minus"] else "", words, tail)))


def _fraction(match: re.Match[str]) -> str | None:
    top, bottom = int(match["top"]), int(match["bottom"])
    proper = bottom in DENOMINATORS and 0 < top < bottom
    return fraction_words(top, bottom) if proper else None


def _time(match: re.Match[str]) -> str | None:
    hour = int(match["hour"])
    if not 1 <= hour <= 12:
        return None
    return f"{whole_words(hour)} {_MINUTES[match['minute']]}"


def _decimal(match: re.Match[str]) -> str | None:
    whole, places = match["whole"].replace(",", ""), match["places"] or ""
    if not whole and not places:
        return None
    return " ".join(filter(None, (_spell(whole), "point" if places else "", _spell(places))))


def _spell(text: str) -> str:
    return " ".join(DIGITS[int(char)] if char.isdigit() else _LETTERS[char] for char in text)


def _tire(part: dict[str, str | None]) -> str:
    def said(name: str) -> str:
        return _spell((part[name] or "").lstrip("/"))

    words = [said("prefix"), said("width"), "slash", said("aspect"), said("construction"), said("rim")]
    words += [said("load"), f"slash {said('dual')}" if part["dual"] else "", said("speed")]
    words += ["extra load" if part["extra"] or part["extra_after"] else ""]
    words += [f"load range {said(name)}" for name in ("range", "range_after") if part[name]]
    return " ".join(filter(None, words))
