"""The record: one line an event, on disk before the next word is spoken, chained so that a change shows.

A job is a folder: ``record.jsonl``, ``audio/`` (utterances), ``spoken/`` (replies, when they go to files).
"""

from ._audio import WITHHELD
from ._check import Finding, check_chain
from ._errors import RecordDamaged, RecordError
from ._line import GENESIS, Json, Line
from ._log import SCHEMA, Clock, JobLog, system_clock
from ._read import Damage, LogRead, read_log
from ._show import render, show_text
from ._summary import summary_text
from ._wording import clean

__all__ = [
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
    "check_chain",
    "clean",
    "read_log",
    "render",
    "show_text",
    "summary_text",
    "system_clock",
]
