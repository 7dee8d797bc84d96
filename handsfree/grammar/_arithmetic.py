"""What the tags of one sentence say: slots, and a number spelled as exact arithmetic."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import cache, lru_cache
from math import lcm
from typing import Any

from lark import Lark, Token, Transformer, v_args
from lark.exceptions import UnexpectedInput, VisitError

from ._types import GrammarError, Number

__all__ = ["evaluate", "exact_decimal", "read_tags", "slot_of"]

_SLOT = re.compile(r"([a-z_][a-z0-9_]*)\s*(\+?)=\s*(.*)\Z", re.S)

_LONGEST = 500  # characters: the longest utterance spells under 200

_SYNTAX = r"""
?sum: product | sum "+" product -> add
?product: atom | product "*" atom -> multiply | product "/" atom -> divide
?atom: NUMBER -> literal | "(" sum ")" | "-" atom -> negate
NUMBER: /[0-9]+(\.[0-9]+)?|\.[0-9]+/
"""


@dataclass(frozen=True, slots=True)
class _Term:
    """A value on its way: decimal places spoken so far, and the denominator of a spoken fraction."""

    value: Fraction
    places: int = 0
    denominator: int = 1


def slot_of(tag: str) -> tuple[str, str] | None:
    """(key, value) of a tag that sets a slot or appends to it; None for a piece of arithmetic."""
    slot = _SLOT.match(tag)
    return slot and (slot[1], slot[3])


def read_tags(tags: Iterable[str]) -> tuple[tuple[tuple[str, str], ...], Number | None]:
    """Slots in order of first appearance and the number, if any piece of arithmetic was tagged."""
    slots: dict[str, str] = {}
    pieces: list[str] = []
    for tag in tags:
        slot = _SLOT.match(tag)
        if slot is None:
            pieces.append(tag)
            continue
        key, append, text = slot.groups()
        slots[key] = slots.get(key, "") + text if append else text
    return tuple(slots.items()), evaluate("".join(pieces)) if pieces else None


@lru_cache(maxsize=4096)  # partial results ask for the same few numbers again and again
def evaluate(spelled: str) -> Number:
    """``"4*1000+5*100"`` to Number(Decimal("4500"), Decimal("1"), ...).

    Decimal unless a fraction was spoken: then Fraction, with the denominator as spoken for its resolution.
    Raises GrammarError when the pieces spell no number.
    """
    if len(spelled) > _LONGEST:
        raise GrammarError(f"the tags spell a number of {len(spelled)} characters; correct the tags")
    try:
        term: _Term = _Evaluate().transform(_lark().parse(spelled))
    except (UnexpectedInput, VisitError, ZeroDivisionError, RecursionError):
        raise GrammarError(f"the tags spell {spelled!r}, which is no number; correct the tags") from None
    step = Fraction(1, term.denominator * 10**term.places)
    if term.denominator != 1:
        return Number(term.value, step, spelled)
    return Number(exact_decimal(term.value, term.places), exact_decimal(step, term.places), spelled)


def exact_decimal(value: Fraction, places: int) -> Decimal:
    """``value`` with at least ``places`` decimals; digits are placed, not rounded to a context precision."""
    while (value * 10**places).denominator != 1:
        places += 1
    scaled = int(value * 10**places)
    return Decimal((int(scaled < 0), tuple(int(digit) for digit in str(abs(scaled))), -places))


@cache
def _lark() -> Lark:
    return Lark(_SYNTAX, parser="lalr", start="sum")


@v_args(inline=True)
class _Evaluate(Transformer[Token, Any]):
    def literal(self, token: Token) -> _Term:
        return _Term(Fraction(str(token)), len(token.partition(".")[2]))

    def add(self, a: _Term, b: _Term) -> _Term:
        return _Term(a.value + b.value, max(a.places, b.places), lcm(a.denominator, b.denominator))

    def multiply(self, a: _Term, b: _Term) -> _Term:
        return _Term(a.value * b.value, max(a.places, b.places), a.denominator * b.denominator)

    def divide(self, a: _Term, b: _Term) -> _Term:
        if b.value.denominator != 1 or b.value <= 0:
            raise ZeroDivisionError("a spoken denominator is a whole number above zero")
        return _Term(a.value / b.value, max(a.places, b.places), a.denominator * int(b.value))

    def negate(self, a: _Term) -> _Term:
        return _Term(-a.value, a.places, a.denominator)
