"""The phrases of an enrolment, from ``phrases.toml``."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources

from handsfree.grammar import Armed, Library

__all__ = ["Phrase", "alone", "packaged_phrases"]

_COMMANDS = "<commands.command>"


@dataclass(frozen=True, eq=False)
class Phrase:
    """``say``: the words; ``armed``: what they are heard with in a job."""

    say: str
    armed: Armed


@cache
def packaged_phrases() -> Sequence[Phrase]:
    """In their order."""
    text = resources.files("handsfree.enrolment").joinpath("phrases.toml").read_text(encoding="utf-8")
    library = Library.load()
    return tuple(_phrase(library, entry["say"], entry["arm"]) for entry in tomllib.loads(text)["phrase"])


def _phrase(library: Library, say: str, arm: str) -> Phrase:
    beside = {} if arm == _COMMANDS else {"command": _COMMANDS}
    armed = library.arm({"answer": arm, **beside})
    if armed.interpret(say) is None:
        raise ValueError(f"phrases.toml: {say!r} is no sentence of {arm}")
    return Phrase(say, armed)


def alone(say: str) -> Armed:
    """A grammar of nothing but these words."""
    return Library.load().arm({"answer": f"({say})"})
