"""Proving a procedure against what is really installed: the recognizer's dictionary and the grammars."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache, lru_cache
from pathlib import Path

from pocketsphinx import get_model_path

from handsfree.grammar import Armed, Library, load_pronunciations
from handsfree.limits import DEFAULT
from handsfree.procedure import Book, Prompts, check, read_procedure
from handsfree.procedure._walk import walk
from handsfree.session import prompts_text

__all__ = ["Arming", "check_procedure", "dictionary", "pronounce"]

#: The packaged procedures have fewer when nobody goes back; ``python -m handsfree.bench walk`` has no bound.
_MOST_STATES = 4000
_KEPT = 5_000  # sentences of one grammar


class Arming:
    """The packaged grammars, each made once and each sentence read once. Takes a library's place."""

    def __init__(self) -> None:
        self._library = Library.load()
        self._kept: dict[tuple[tuple[str, str], ...], Armed] = {}

    def arm(self, expansions: Mapping[str, str]) -> Armed:
        """As ``Library.arm``."""
        key = tuple(expansions.items())
        if key not in self._kept:
            made = self._library.arm(expansions)
            made.interpret = lru_cache(_KEPT)(made.interpret)  # type: ignore[method-assign]
            self._kept[key] = made
        return self._kept[key]


@cache
def dictionary() -> dict[str, tuple[str, ...]]:
    """Word -> pronunciations: PocketSphinx's own dictionary and what is added beside the grammars."""
    found: dict[str, tuple[str, ...]] = {}
    text = Path(get_model_path("en-us/cmudict-en-us.dict")).read_text(encoding="utf-8")
    for line in text.splitlines():
        word, _, phones = line.partition(" ")
        word = word.partition("(")[0]
        found[word] = (*found.get(word, ()), phones.strip())
    for word, ways in load_pronunciations().items():
        found[word] = (*found.get(word, ()), *ways)
    return found


def pronounce(word: str) -> Sequence[str]:
    """A word's pronunciations, none for a word the recognizer does not know."""
    return dictionary().get(word, ())


def check_procedure(text: str, name: str) -> list[str]:
    """Every fault of a procedure file. Raises ProcedureError for one that can't be read at all."""
    procedure = read_procedure(text, name)
    library = Arming()
    found = check(procedure, library, pronounce)
    if found:
        return found
    # What the file's text can't show, the machine does: each answer to each step, as far as a few seconds go.
    book = Book(procedure, Prompts(prompts_text()), DEFAULT)
    return walk(book, library, most_states=_MOST_STATES, remember=2, calm=("resume",), shop=True).findings
