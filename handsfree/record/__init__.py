"""The record: one line an event, on disk before the next word is spoken, chained so that a change shows.

A job is a folder: ``record.jsonl``, ``audio/`` (utterances), ``spoken/`` (replies, when they go to files).
"""

from ._added_up import AddedUp, added_up, judged_numbers
from ._audio import AUDIO, WITHHELD, hash_prefix
from ._check import NAMED, OLDER, STRANGER, Finding, as_signed, check_chain, check_read, what_is_damaged
from ._errors import RecordDamaged, RecordError
from ._exceptions import clock_of, exceptions_of, practice_of
from ._export import FORMATS, export
from ._files import explain, write_out
from ._files import write_new as write_private
from ._forget import forget_audio
from ._line import GENESIS, Json, Line
from ._listed import SIGNED_LIST, Noted, noted
from ._log import Clock, JobLog, system_clock
from ._migrate import SCHEMA, current, in_present_form, schema_of
from ._named import check_name
from ._pages import CUSTOMER_PAGE, PAGE, PAGES, OlderPage, older_pages, page_in
from ._people import badge_of, crew, one_name_each
from ._phrases import limit_in_words, limit_of, phrase
from ._pinned import PINNED, pinned
from ._place import CUT_OFF, NO_RECORD, Remains, find_job, is_job, jobs_in, place_of, remains_in
from ._read import RECORD, Damage, LogRead, first_hash, read_log
from ._rejected import REJECTED, as_it_stands, how_to_do_again, rejection, why_rejected
from ._show import lacking_told, render, show_text, what_signatures_lack
from ._story import Told, tell
from ._summary import NOT_PLAYED, not_told, summary_text
from ._wording import (
    clean,
    counted,
    in_minutes,
    in_use,
    items,
    joined,
    last_signed,
    lasting,
    left_at,
    line_of,
    measured,
    value_of,
)
from ._words import check_words, check_words_of
from ._zone import local_time, minute_of, zone_of, zones_of

__all__ = [
    "AUDIO",
    "CUSTOMER_PAGE",
    "CUT_OFF",
    "FORMATS",
    "GENESIS",
    "NAMED",
    "NOT_PLAYED",
    "NO_RECORD",
    "OLDER",
    "PAGE",
    "PAGES",
    "PINNED",
    "RECORD",
    "REJECTED",
    "SCHEMA",
    "SIGNED_LIST",
    "STRANGER",
    "WITHHELD",
    "AddedUp",
    "Clock",
    "Damage",
    "Finding",
    "JobLog",
    "Json",
    "Line",
    "LogRead",
    "Noted",
    "OlderPage",
    "RecordDamaged",
    "RecordError",
    "Remains",
    "Told",
    "added_up",
    "as_it_stands",
    "as_signed",
    "badge_of",
    "check_chain",
    "check_name",
    "check_read",
    "check_words",
    "check_words_of",
    "clean",
    "clock_of",
    "counted",
    "crew",
    "current",
    "exceptions_of",
    "explain",
    "export",
    "find_job",
    "first_hash",
    "forget_audio",
    "hash_prefix",
    "how_to_do_again",
    "in_minutes",
    "in_present_form",
    "in_use",
    "is_job",
    "items",
    "jobs_in",
    "joined",
    "judged_numbers",
    "lacking_told",
    "last_signed",
    "lasting",
    "left_at",
    "limit_in_words",
    "limit_of",
    "line_of",
    "local_time",
    "measured",
    "minute_of",
    "not_told",
    "noted",
    "older_pages",
    "one_name_each",
    "page_in",
    "phrase",
    "pinned",
    "place_of",
    "practice_of",
    "read_log",
    "rejection",
    "remains_in",
    "render",
    "schema_of",
    "show_text",
    "summary_text",
    "system_clock",
    "tell",
    "value_of",
    "what_is_damaged",
    "what_signatures_lack",
    "why_rejected",
    "write_out",
    "write_private",
    "zone_of",
    "zones_of",
]
