"""Proving a procedure against what is really installed: the recognizer's dictionary and the grammars."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from pathlib import Path

from pocketsphinx import get_model_path

from handsfree.grammar import Library, load_pronunciations
from handsfree.limits import DEFAULT
from handsfree.procedure import Book, Prompts, check, read_procedure
from handsfree.procedure._walk import walk
from handsfree.session import prompts_text

__all__ = ["check_procedure", "dictionary", "pronounce"]

#: The packaged procedures have fewer when nobody goes back; ``python -m handsfree.bench walk`` has no bound.
_MOST_STATES = 4000


@cache
def dictionary() -> dict[str, tuple[str, ...]]:
    """Word -> pronunciations: PocketSphinx's own dictionary and the words added beside the grammars."""
    found: dict[str, tuple[str, ...]] = {}
    text = Path(get_model_path("en-us/cmudict-en-us.dict")).read_text(encoding="utf-8")
    for line in text.splitlines():
        word, _, phones = line.partition(" ")
        word = word.partition("(")[0]
        found[word] = (*found.get(word, ()), phones.strip())
    return found | load_pronunciations()


def pronounce(word: str) -> Sequence[str]:
    """A word's pronunciations, none for a word the recognizer does not know."""
    return dictionary().get(word, ())


def check_procedure(text: str, name: str) -> list[str]:
    """Every fault of a procedure file. Raises ProcedureError for one that can't be read at all."""
    procedure = read_procedure(text, name)
    library = Library.load()
    found = check(procedure, library, pronounce)
    if found:
        return found
    # What the file's text can't show, the machine does: each answer to each step, as far as a few seconds go.
    book = Book(procedure, Prompts(prompts_text()), DEFAULT)
    return walk(book, library, most_states=_MOST_STATES, remember=2, calm=("resume",)).findings
