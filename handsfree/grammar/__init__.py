"""Grammars: JSGF files in, recognizer text and strictly parsed values out. No engine is imported here."""

from ._armed import Armed
from ._library import Library, load_pronunciations
from ._network import MAX_WORDS
from ._types import GrammarError, Interpretation, Number

__all__ = [
    "MAX_WORDS",
    "Armed",
    "GrammarError",
    "Interpretation",
    "Library",
    "Number",
    "load_pronunciations",
]
