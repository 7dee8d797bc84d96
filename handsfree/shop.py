"""A shop's own people: who works, who may release a hold point, and by which code word. Pure: no I/O.

name = "Harbor Row"

[[technician]]
badge = "17"
name = "Mara Lindqvist"

[[supervisor]]
badge = "409"
name = "R. Holt"
code = "granite window"      # one or two words of the recognizer's dictionary

A code word is never written anywhere by this tool, and no error line quotes one.
"""

from __future__ import annotations

import hashlib
import json
import random
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from handsfree._toml import TomlError, one_line, read_toml
from handsfree.procedure import alike, phrase_phones

__all__ = ["DECOYS", "Shop", "ShopError", "check_shop", "code_expansion", "parse_shop", "wrong_expansion"]

Pronounce = Callable[[str], Sequence[str]]

#: Everyday words of two and three syllables: what a recognizer may hear in place of a wrong code word.
# fmt: off
_OTHERS = (
    "apple", "blanket", "candle", "dolphin", "engine", "feather", "garden", "hammer", "island", "jacket",
    "kitchen", "ladder", "magnet", "needle", "ocean", "paper", "rabbit", "saddle", "table", "umbrella",
    "violin", "wagon", "yellow", "zebra", "banana", "camera", "dinosaur", "elephant", "furniture", "gorilla",
    "harmony", "lemonade", "mosquito", "orchestra", "pineapple", "radio", "butterfly", "tomato", "volcano",
    "museum", "pencil", "bicycle", "calendar", "diamond", "forest", "holiday", "lantern", "monkey", "pumpkin",
    "teacher",
)
# fmt: on
DECOYS = 20
HALVES = 24  # other words beside either half of a code word of two words
#: Share of letters in common, in their order, from which a word gives a hint of another: one letter in four
#: wrong, two letters changed about (our own choice, no published source).
_NEAR = 0.75
_MOST_LISTED = 8  # people in an error line
_LEAST_PHONES = 5  # a shorter word is heard in anything


class ShopError(ValueError):
    """A shop file is wrong: one line that names the file and what to do, and never a code word."""


class _Entry(BaseModel):
    # Inputs are left out of pydantic's own complaints: one of them may be a code word.
    model_config = ConfigDict(
        frozen=True, extra="forbid", str_strip_whitespace=True, hide_input_in_errors=True
    )


class _Person(_Entry):
    badge: Annotated[str, Field(pattern=r"^[0-9]{2,6}$", description="spoken digit by digit")]
    name: Annotated[str, Field(min_length=1, max_length=60, pattern=r"^[^\x00-\x1f\x7f{}]+$")]


class _Supervisor(_Person):
    code: Annotated[str, Field(pattern=r"^[a-z']+( [a-z']+)?$", repr=False)]


class _File(_Entry):
    name: Annotated[str, Field(min_length=1, max_length=60, pattern=r"^[^\x00-\x1f\x7f{}]+$")]
    technician: tuple[_Person, ...] = ()
    supervisor: tuple[_Supervisor, ...] = ()

    @model_validator(mode="after")
    def _unique(self) -> _File:
        people = (*self.technician, *self.supervisor)
        for what in ("badge", "name"):
            values = [getattr(one, what).casefold() for one in people]
            twice = sorted({value for value in values if values.count(value) > 1})
            if twice:
                raise ValueError(f"{what} {twice[0]!r} is used twice; give every person another")
        codes = [one.code for one in self.supervisor]
        if len(set(codes)) != len(codes):
            raise ValueError("two supervisors have the same code word; give each another")
        return self


@dataclass(frozen=True, slots=True)
class Shop:
    """``technicians`` and ``supervisors``: badge -> name. Code words stay inside."""

    name: str
    technicians: dict[str, str]
    supervisors: dict[str, str]
    _codes: dict[str, str]

    def __repr__(self) -> str:
        return f"Shop({self.name!r})"

    @property
    def sha256(self) -> str:
        """Hash of the names and badges; code words are left out, so that nobody can try them against it."""
        public = [self.name, sorted(self.technicians.items()), sorted(self.supervisors.items())]
        return hashlib.sha256(json.dumps(public, ensure_ascii=True).encode()).hexdigest()

    def worker(self, badge: str) -> str:
        """Who works under a badge (a supervisor may), "" for nobody here."""
        return self.technicians.get(badge) or self.supervisors.get(badge, "")

    def find(self, who: str) -> str:
        """The name of whoever has this badge or this name. Raises ShopError."""
        people = {**self.technicians, **self.supervisors}
        found = people.get(who) or next((n for n in people.values() if n.casefold() == who.casefold()), "")
        if not found:
            raise ShopError(
                f"no {who!r} in the shop file {self.name!r}; give a badge number or a name of it: "
                f"{_listed(who, people)}"
            )
        return found

    def gives_away(self, text: str) -> bool:
        """Whether a code word stands in the text, as whole words."""
        said = f" {' '.join(text.lower().split())} "
        return any(f" {code} " in said for code in self._codes.values())

    def hints_at(self, text: str) -> bool:
        """Whether a code word, or a word of one, stands in the text nearly: misspelled, run together, half of it.

        For words that are no command and no answer: in those a word of a code word never stands (``check_shop``).
        """
        words = re.findall(r"[a-z']+", text.lower())
        runs = {"".join(words[at : at + n]) for n in (1, 2, 3) for at in range(len(words) - n + 1)}
        secrets = {part for code in self._codes.values() for part in (code.replace(" ", ""), *code.split())}
        return any(_near(secret, run) for secret in secrets for run in runs)


def _listed(who: str, people: Mapping[str, str]) -> str:
    """The people by name and badge, those first that may have been meant."""
    who = who.casefold()

    def close(person: tuple[str, str]) -> float:
        badge, name = person
        words = [badge, name.casefold(), *name.casefold().split()]
        return max(SequenceMatcher(None, who, word, autojunk=False).ratio() for word in words)

    order = sorted(people.items(), key=close, reverse=True)  # stable: else in the file's order
    more = f" and {len(order) - _MOST_LISTED} more" if len(order) > _MOST_LISTED else ""
    return ", ".join(f"{name} ({badge})" for badge, name in order[:_MOST_LISTED]) + more


def _near(secret: str, run: str) -> bool:
    return SequenceMatcher(None, secret, run, autojunk=False).ratio() >= _NEAR


_ADVICE = {
    "missing": "missing; add it",
    "extra_forbidden": "no such field; correct its name or take it out",
}
_PATTERNS = {
    "badge": "two to six digits, in quotation marks",
    "code": "one or two words, lower case, of the recognizer's dictionary",
    "name": "a name, without braces",
}


def parse_shop(text: str, name: str = "shop file") -> Shop:
    """Read a shop file's text. Raises ShopError with one line that begins with ``name``."""
    try:
        data = read_toml(text)
    except TomlError as error:
        raise ShopError(f"{name}: not valid TOML: {error}") from None
    try:
        read = _File.model_validate(data)
    except ValidationError as error:
        raise ShopError(f"{name}: {one_line(_plainly(error))}") from None
    return Shop(
        read.name,
        {one.badge: one.name for one in read.technician},
        {one.badge: one.name for one in read.supervisor},
        {one.badge: one.code for one in read.supervisor},
    )


def _plainly(error: ValidationError) -> str:
    first = error.errors(include_input=False)[0]
    place = [str(part + 1) if isinstance(part, int) else str(part) for part in first["loc"]]
    field = place[-1] if place else ""
    message = _ADVICE.get(first["type"], first["msg"]).removeprefix("Value error, ")
    if field in _PATTERNS and first["type"] not in _ADVICE:
        message = f"must be {_PATTERNS[field]}"
    return f"{' '.join(place) + ': ' if place else ''}{message}"


def code_expansion(shop: Shop, badge: str, pronounce: Pronounce) -> str:
    """What is armed for a supervisor's code word (JSGF): the right one, and others to be heard as wrong.

    Decoys that sound like the right one are left out; which remain is drawn by badge and code, so that it is
    the same at every try. Raises KeyError for a badge that is no supervisor's.
    """
    code = shop._codes[badge]
    pick = random.Random(f"{badge} {code}")
    words = [word for word in _OTHERS if word not in code.split()]
    pick.shuffle(words)
    others = words
    if " " in code:
        first, last = code.split()
        # Half of the code word is not the code word: without these, whoever knew one word was let through.
        halves = [pair for word in words[:HALVES] for pair in (f"{first} {word}", f"{word} {last}")]
        others = [*halves, *(f"{a} {b}" for a, b in zip(words, reversed(words), strict=True))]
    wanted = DECOYS + (2 * HALVES if " " in code else 0)
    others = [other for other in others if not alike((code, other), pronounce)][:wanted]
    others += [other for other in shop._codes.values() if other != code]
    return f"({code}) {{code=right}} | {wrong_expansion(others)}"


def wrong_expansion(words: Iterable[str] = _OTHERS[:DECOYS]) -> str:
    """Words that are all wrong (JSGF)."""
    return " | ".join(f"({word}) {{code=wrong}}" for word in words)


def check_shop(shop: Shop, pronounce: Pronounce, spoken: Iterable[str], phrases: Iterable[str]) -> list[str]:
    """Every fault of a shop's code words, one line each, none of which quotes a code word.

    ``pronounce`` gives a word's pronunciations, ``spoken`` are the words of the grammars and ``phrases`` the
    sentences that are always armed.
    """
    return [
        *_sayable(shop, pronounce),
        *_kept_apart(shop, frozenset(spoken)),
        *_distinct(shop, pronounce, tuple(phrases)),
    ]


def _sayable(shop: Shop, pronounce: Pronounce) -> Iterator[str]:
    for badge, code in shop._codes.items():
        for number, word in enumerate(code.split(), 1):
            if not pronounce(word):
                yield (
                    f"supervisor {badge}: the recognizer does not know word {number} of the code word; "
                    "choose another word"
                )
        phones = phrase_phones(code, pronounce)
        if phones and min(map(len, phones)) < _LEAST_PHONES:
            yield f"supervisor {badge}: the code word is too short to be heard safely; choose a longer one"


def _kept_apart(shop: Shop, spoken: frozenset[str]) -> Iterator[str]:
    """A word that is also an answer could not be kept out of the record."""
    for badge, code in shop._codes.items():
        if spoken & set(code.split()):
            yield (
                f"supervisor {badge}: a word of the code word is also a command or an answer; choose another"
            )


def _distinct(shop: Shop, pronounce: Pronounce, phrases: tuple[str, ...]) -> Iterator[str]:
    owners = {code: badge for badge, code in shop._codes.items()}
    for one, other, _ in alike({*owners, *phrases}, pronounce):
        badges = [owners[code] for code in (one, other) if code in owners]
        if len(badges) == 2:
            yield f"supervisors {badges[0]} and {badges[1]}: their code words sound alike; choose another"
        elif badges:
            phrase = other if one in owners else one
            yield f"supervisor {badges[0]}: the code word sounds like {phrase!r}; choose another"
