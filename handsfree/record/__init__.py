"""The record: one line an event, on disk before the next word is spoken, chained so that a change shows.

A job is a folder: ``record.jsonl``, ``audio/`` (utterances), ``spoken/`` (replies, when they go to files).
"""

from ._audio import AUDIO, WITHHELD, hash_prefix
from ._check import OLDER, Finding, check_chain, check_read
from ._errors import RecordDamaged, RecordError
from ._exceptions import exceptions_of, practice_of
from ._export import FORMATS, export
from ._files import write_new as write_private
from ._forget import forget_audio
from ._line import GENESIS, Json, Line
from ._log import Clock, JobLog, system_clock
from ._migrate import SCHEMA, current, in_present_form, schema_of
from ._people import badge_of, crew, one_name_each
from ._phrases import limit_of, phrase
from ._place import find_job, find_jobs, jobs_in
from ._read import RECORD, Damage, LogRead, read_log
from ._rejected import how_to_do_again
from ._show import render, show_text
from ._story import Told, tell
from ._summary import summary_text
from ._wording import (
    clean,
    counted,
    in_minutes,
    in_use,
    items,
    joined,
    last_signed,
    lasting,
    measured,
    value_of,
)
from ._words import check_words, check_words_of

__all__ = [
    "AUDIO",
    "FORMATS",
    "GENESIS",
    "OLDER",
    "RECORD",
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
    "badge_of",
    "check_chain",
    "check_read",
    "check_words",
    "check_words_of",
    "clean",
    "counted",
    "crew",
    "current",
    "exceptions_of",
    "export",
    "find_job",
    "find_jobs",
    "forget_audio",
    "hash_prefix",
    "how_to_do_again",
    "in_minutes",
    "in_present_form",
    "in_use",
    "items",
    "jobs_in",
    "joined",
    "last_signed",
    "lasting",
    "limit_of",
    "measured",
    "one_name_each",
    "phrase",
    "practice_of",
    "read_log",
    "render",
    "schema_of",
    "show_text",
    "summary_text",
    "system_clock",
    "tell",
    "value_of",
    "write_private",
]
