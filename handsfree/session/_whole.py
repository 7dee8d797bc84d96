"""Is a record whole to its end? What no chain can tell: only a replay knows what was still to be written.

The audit, ``show``, the pages, exports and the forgetting of sound go by the same findings.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from handsfree.limits import LimitsError
from handsfree.procedure import Book, Mode, ProcedureError, PromptError
from handsfree.record import Finding, LogRead, RecordError, check_name, check_read, in_present_form, read_log
from handsfree.record._check import RESUME
from handsfree.session._job import job_book
from handsfree.session._replay import Replayed, replay

__all__ = ["check_job", "end_findings", "missing_end"]


def check_job(folder: Path) -> list[Finding]:
    """What ``check_chain`` finds of a job's folder, and whether the end of a finished job is there.

    Raises RecordError when there is no record. A record that does not replay is the audit's to judge.
    """
    read = read_log(folder)
    found = [*check_read(read), *check_name(read)]
    if read.broken or not read.lines:
        return found
    try:
        book = job_book(folder, read.lines[0].body, to_work_by=False)
        replayed = replay(book, in_present_form(read.lines))
    except (RecordError, ProcedureError, PromptError, LimitsError):
        return found
    return [*found, *end_findings(read, book, replayed)]


def end_findings(read: LogRead, book: Book, replayed: Replayed) -> Iterator[Finding]:
    """Whether a job that is finished by its events has all its lines: one finding, or none."""
    state = replayed.machine.state
    if state.mode is not Mode.FINISHED or not read.numbers:
        return
    due = str(replayed.missing[0]["kind"]) if replayed.missing else ""
    sealed = state.sealed or "check_words" not in book.prompts.templates
    told = missing_end(due, said=not replayed.unspoken, sealed=sealed)
    if told:
        yield Finding("end", read.numbers[-1], told)


def missing_end(due: str, *, said: bool, sealed: bool) -> str:
    """What a finished job's record lacks at its end, "" for nothing. ``due``: the kind of line that was to follow;
    ``said``: whether a line tells of every sentence; ``sealed``: whether the check words were made."""
    if due:
        return f"the end is missing: a line of kind {due} was due; {RESUME}"
    if not said:
        return f"the end is missing: no line says whether the last sentence was spoken; {RESUME}"
    return "" if sealed else f"the end is missing: the job was not sealed with its check words; {RESUME}"
