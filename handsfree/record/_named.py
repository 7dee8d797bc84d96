"""Does a job's folder hold its own record? Its name says when the job began, and the shop's list may know it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, datetime

from ._check import NAMED, Finding
from ._listed import Noted
from ._read import LogRead

__all__ = ["check_listed_name", "check_name"]

#: A new job's folder: day and time of its first line, UTC, and what it is called.
_STAMPED = re.compile(r"(\d{4}-\d\d-\d\d-\d{6})(?:-|$)", re.ASCII)
#: The folder is made just before the first line is written.
_SLACK_S = 300


def check_name(read: LogRead) -> list[Finding]:
    """A warning where the folder's name says another time than that at which its record begins; a shop that renames
    its folders is told nothing."""
    told = _other_time(read)
    return [Finding("folder", 0, told, "warn")] if told else []


def check_listed_name(read: LogRead, listed: Sequence[Noted]) -> list[Finding]:
    """Whether the shop's list knows this record by another folder's name. An error where the folder's own name is
    known as another job's, or says another time; else it may be a renamed folder or a copy: a warning."""
    if not read.lines:
        return []
    first, here = read.lines[0].hash, read.folder.resolve().name
    names = list(dict.fromkeys(row.name for row in listed if row.job == first and row.name))
    if not names or here in names:
        return []
    others = any(row.name == here and row.job != first for row in listed)
    told = f"this folder is named {here}, the record in it was signed as job {names[-1]}"
    if others:
        told += f"; {here} was another job by the list"
    sure = others or bool(_other_time(read))
    return [Finding("folder", 0, told, "error" if sure else "warn", NAMED)]


def _other_time(read: LogRead) -> str:
    match = _STAMPED.match(read.folder.resolve().name)
    if match is None or not read.lines or read.numbers[0] != 1:
        return ""
    begun = datetime.fromisoformat(read.lines[0].at)
    try:
        named = datetime.strptime(match[1], "%Y-%m-%d-%H%M%S").replace(tzinfo=UTC)
    except ValueError:
        return ""
    if abs((begun - named).total_seconds()) <= _SLACK_S:
        return ""
    return (
        f"the folder's name says that the job began {named:%Y-%m-%d %H:%M:%S} UTC, its record begins "
        f"{begun:%Y-%m-%d %H:%M:%S} UTC: another job's record, or a folder with another name than it had"
    )
