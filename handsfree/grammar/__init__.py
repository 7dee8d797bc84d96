"""Grammars: JSGF files in, recognizer text and strictly parsed values out. No engine is imported here."""

from ._arithmetic import evaluate
from ._armed import Armed
from ._forms import accepted_forms
from ._library import Library, load_pronunciations
from ._network import MAX_WORDS
from ._spoken import digit_by_digit, natural, spoken_unit
from ._tire import tire_designation
from ._typed import typed_to_words
from ._types import GrammarError, Interpretation, Number

__all__ = [
    "MAX_WORDS",
    "Armed",
    "GrammarError",
    "Interpretation",
    "Library",
    "Number",
    "accepted_forms",
    "digit_by_digit",
    "evaluate",
    "load_pronunciations",
    "natural",
    "spoken_unit",
    "tire_designation",
    "typed_to_words",
]
