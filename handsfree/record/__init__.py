"""The record: one line an event, on disk before the next word is spoken, chained so that a change shows.

A job is a folder: ``record.jsonl``, ``audio/`` (utterances), ``spoken/`` (replies, when they go to files).
"""

from ._audio import AUDIO, WITHHELD, hash_prefix
from ._check import Finding, check_chain
from ._errors import RecordDamaged, RecordError
from ._exceptions import exceptions_of, practice_of
from ._line import GENESIS, Json, Line
from ._log import SCHEMA, Clock, JobLog, system_clock
from ._phrases import limit_of, phrase
from ._read import Damage, LogRead, read_log
from ._show import render, show_text
from ._story import Told, tell
from ._summary import summary_text
from ._wording import clean, items, measured, value_of

__all__ = [
    "AUDIO",
    "GENESIS",
    "SCHEMA",
    "WITHHELD",
    "Clock",
    "Damage",
    "Finding",
    "JobLog",
    "Json",
    "Line",
    "LogRead",
    "RecordDamaged",
    "RecordError",
    "Told",
    "check_chain",
    "clean",
    "exceptions_of",
    "hash_prefix",
    "items",
    "limit_of",
    "measured",
    "phrase",
    "practice_of",
    "read_log",
    "render",
    "show_text",
    "summary_text",
    "system_clock",
    "tell",
    "value_of",
]
