"""Who works and who releases in a simulated job: an invented shop's badges, names and code word."""

from __future__ import annotations

import random
import re
from dataclasses import dataclass, field
from functools import cache

from handsfree._checking import pronounce
from handsfree.procedure._words import spoken
from handsfree.session import People
from handsfree.shop import Shop, parse_shop

__all__ = ["CODE_WORD", "Crew"]

CODE_WORD = "granite window"
_SHOP = f"""
name = "Harbor Row"
[[technician]]
badge = "17"
name = "Mara Lindqvist"
[[technician]]
badge = "236"
name = "Tomas Ebert"
[[supervisor]]
badge = "409"
name = "R. Holt"
code = "{CODE_WORD}"
"""
#: Where no shop's file says who is who, any badge number will do.
_ANYBODY = ("12", "3508")
_WORKS_ON = re.compile(r"(?:^|[.?!] )([^?!]+?) works on\.")


@cache
def _shop() -> Shop:
    return parse_shop(_SHOP)


@dataclass(slots=True)
class Crew:
    """``present``: the badge of who works; ``wanted``: of who is to take over, "" while nobody is. ``shop``:
    whether the job works by the shop's file."""

    shop: bool
    people: People = field(init=False)
    present: str = field(init=False)
    wanted: str = ""
    _badges: tuple[str, ...] = field(init=False)

    def __post_init__(self) -> None:
        shop = _shop() if self.shop else None
        self.people = People(shop, pronounce)
        self._badges = _ANYBODY if shop is None else tuple(shop.technicians)
        self.present = self._badges[0]

    @property
    def about(self) -> dict[str, str]:
        """What the record's first line says of them."""
        shop = self.people.shop
        return (
            {"technician": "Ana"}
            if shop is None
            else {"technician": self.name(self.present), "shop": shop.name}
        )

    @property
    def supervisor(self) -> str:
        """The badge number of who releases."""
        return "409"

    def name(self, badge: str) -> str:
        """How whoever has this badge is greeted."""
        return spoken(badge) if self.people.shop is None else self.people.shop.worker(badge)

    def change(self, pick: random.Random) -> None:
        self.wanted = pick.choice([badge for badge in self._badges if badge != self.present])

    def said(self, text: str) -> None:
        """Who works on, as the tool says it: somebody else than was meant must sign again."""
        told = _WORKS_ON.search(text)
        if told is None:
            return
        if self.wanted and told.group(1).strip().lower() == self.name(self.wanted).lower():
            self.present, self.wanted = self.wanted, ""
        else:
            self.wanted = self.wanted or self.present

    def read_back(self, badge: str) -> str:
        """How the tool says a badge back, with the name that the shop knows for it."""
        return f"Badge {spoken(badge)}" + (f", {self.name(badge)}" if self.shop else "")

    def is_read_back(self, text: str) -> bool:
        """Whether this read-back is of the badge that is meant."""
        return f"{self.read_back(self.wanted)}. affirmative".lower() in text.lower()
