"""The other number a spoken one may have been: "fourteen" for "forty", and the other way round.

No score tells these two apart (they share all but a last weak sound), so a number with one of them in it is never
taken in one hearing: it is asked for once more, digit by digit, when the other one could be true as well.
"""

from __future__ import annotations

import re

from handsfree.grammar import Number, evaluate

__all__ = ["rival"]

_TEENS = {
    "thirteen": 13,
    "fourteen": 14,
    "fifteen": 15,
    "sixteen": 16,
    "seventeen": 17,
    "eighteen": 18,
    "nineteen": 19,
}
_TIES = {
    "thirty": 30,
    "forty": 40,
    "fifty": 50,
    "sixty": 60,
    "seventy": 70,
    "eighty": 80,
    "ninety": 90,
}

_FRACTION = ("second", "seconds")


def rival(text: str, number: Number) -> Number | None:
    """The number that sounds like this one, None when its words can't be mistaken.

    "forty five" has no rival: nobody says "fourteen five". The "thirty" of "thirty seconds" is a unit's, also where
    the number has a 30 of its own ("three zero thirty seconds").
    """
    words = text.split()
    spelled, at = number.spelled, 0
    changed = False
    for word, following in zip(words, [*words[1:], ""], strict=True):
        if word == "thirty" and following in _FRACTION:
            continue
        value = _TEENS.get(word) or _TIES.get(word)
        if value is None:
            continue
        found = re.compile(rf"(?<![\d.]){value}(?!\d)").search(spelled, at)
        if found is None:
            continue
        at = found.end()
        if re.match(r"\+[1-9](?!\d)", spelled[at:]):
            continue
        other = str((value - 10) * 10 if word in _TEENS else value // 10 + 10)
        spelled = spelled[: found.start()] + other + spelled[found.end() :]
        changed = True
    return evaluate(spelled) if changed else None
