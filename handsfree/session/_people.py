"""What the shop's file adds to what is armed and heard: names for badges, and the words behind a placeholder."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from handsfree.hearing import Hypothesis
from handsfree.shop import Shop, code_expansion, wrong_expansion

__all__ = ["CODE", "WITHHELD_WORDS", "People"]

CODE = "code"
#: Stands in the record and on the screen for what was said when a code word was asked for.
WITHHELD_WORDS = "(code word)"
_PLACEHOLDER = "<shop.code."

Pairs = tuple[tuple[str, str], ...]


class People:
    """The live shop file of a session; without one nothing is added and nothing is withheld."""

    def __init__(
        self, shop: Shop | None = None, pronounce: Callable[[str], Sequence[str]] = lambda _: ()
    ) -> None:
        self.shop = shop
        self._pronounce = pronounce

    def fill(self, grammar: Pairs) -> Pairs:
        """The grammar with the shop's words in the place of ``<shop.code.BADGE>``."""
        return tuple((label, self._filled(expansion)) for label, expansion in grammar)

    def _filled(self, expansion: str) -> str:
        if not expansion.startswith(_PLACEHOLDER):
            return expansion
        badge = expansion.removeprefix(_PLACEHOLDER).rstrip(">")
        if self.shop is None or badge not in self.shop.supervisors:
            return wrong_expansion()  # the shop's file no longer knows this badge: nothing is right
        return code_expansion(self.shop, badge, self._pronounce)

    def named(self, slots: Pairs) -> Pairs:
        """An answer's slots, with the names that belong to its badge."""
        badge = dict(slots).get("badge", "")
        if self.shop is None or not badge:
            return slots
        found = (
            ("supervisor", self.shop.supervisors.get(badge, "")),
            ("technician", self.shop.worker(badge)),
        )
        return (*slots, *((key, name) for key, name in found if name))

    def withholds(self, grammar: Pairs, text: str, *, meant: bool) -> bool:
        """Whether what was heard must not be shown or kept: a code word is asked for, or was said unasked, or
        nearly so in words that mean nothing here (not ``meant``)."""
        if CODE in dict(grammar):
            return True
        return self.shop is not None and (
            self.shop.gives_away(text) or (not meant and self.shop.hints_at(text))
        )

    @staticmethod
    def veiled(hypothesis: Hypothesis) -> Hypothesis:
        return replace(hypothesis, text=WITHHELD_WORDS if hypothesis.text else "", words=())
