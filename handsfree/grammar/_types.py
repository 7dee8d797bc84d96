"""What a strict parse gives: labelled slots and exact numbers."""

from __future__ import annotations

from dataclasses import dataclass

from handsfree._toml import one_line
from handsfree.quantity import Exact, Quantity

__all__ = ["GrammarError", "Interpretation", "Number"]


class GrammarError(ValueError):
    """A grammar file or an inline expansion is wrong: file, line, column and what to do, in one line."""

    def __init__(self, message: str) -> None:
        super().__init__(one_line(message))  # a piece of the file may be quoted in it, whatever it holds


@dataclass(frozen=True, slots=True)
class Number:
    """An exact spoken number. ``spelled`` is the arithmetic its tags spelled ("20+1", "3/8")."""

    value: Exact
    resolution: Exact  # 10**-places spoken, or 1/denominator for a fraction
    spelled: str


_OF_DIGITS = ("badge", "digits", "width")  # slots that a digit each is added to


@dataclass(frozen=True, slots=True)
class Interpretation:
    """One sentence of the armed grammar, understood.

    ``label`` names which armed alternative matched (for example "command" or "answer"); ``slots`` are the
    ``{key=value}`` tags in order; ``number`` the value that bare tags spelled, if any.
    """

    label: str
    text: str
    slots: tuple[tuple[str, str], ...] = ()
    number: Number | None = None

    @property
    def figures(self) -> bool:
        """Whether a number or a row of digits was said: what is read back however surely it was heard."""
        return self.number is not None or any(name in _OF_DIGITS for name, _ in self.slots)

    def slot(self, key: str) -> str | None:
        for name, value in self.slots:
            if name == key:
                return value
        return None

    def quantity(self, unit: str) -> Quantity | None:
        """The number with its spoken unit, or with ``unit`` where none was said; None without a number."""
        if self.number is None:
            return None
        return Quantity(self.number.value, self.slot("unit") or unit, self.number.resolution)
