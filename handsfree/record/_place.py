"""Where a job is: its folder, its name in the folder of jobs, or the record itself, as somebody names it."""

from __future__ import annotations

import shlex
from dataclasses import dataclass
from pathlib import Path

from ._audio import AUDIO, hash_prefix
from ._errors import RecordError
from ._pages import PAGE
from ._read import RECORD

__all__ = ["CUT_OFF", "NO_RECORD", "Remains", "find_job", "is_job", "jobs_in", "place_of", "remains_in"]

NO_RECORD = f"its {RECORD} is gone: put it back from a copy; nothing else tells what was recorded"
CUT_OFF = f"no {RECORD}: a job was cut off before its first line, or its record was taken away"
#: Written into a job's folder only once it has a record, and what may stand there before.
_AFTER = ("procedure.toml", "prompts.toml", "policy.toml", PAGE, "spoken")
_BEFORE = (f"{RECORD}.new", ".lock", ".writer", AUDIO)


@dataclass(frozen=True, slots=True)
class Remains:
    """A job's folder without a record. ``had_one``: what lies in it is only written once there is one; else it may be
    a job that was cut off before its first line."""

    folder: Path
    had_one: bool


def find_job(job: str, jobs: Path) -> Path:
    """The folder of one job. Raises RecordError when there is none."""
    places = (_folder(Path(job)), _folder(jobs / job))
    for place in places:
        if (place / RECORD).is_file():
            return place
    for place in places:
        _must_not_be_remains(place)
    for place in places:
        _must_not_hold_jobs(job, place)
    raise RecordError(f"{job}: no job there; give its folder, or its name in {jobs}")


def _must_not_hold_jobs(job: str, folder: Path) -> None:
    held = [path for path in sorted(folder.iterdir()) if is_job(path)] if folder.is_dir() else []
    if not held:
        return
    several = f"a folder of {len(held)} jobs" if len(held) > 1 else "a folder of jobs"
    pages = f"handsfree review {shlex.quote(str(folder))}"
    raise RecordError(
        f"{job} is {several}: name one of them, the last is {held[-1]}; or see them all: {pages}"
    )


def place_of(job: str, jobs: Path) -> Path:
    """The folder that is meant: as it is given, or by its name in ``jobs``; it need not exist."""
    given = _folder(Path(job))
    return given if given.is_dir() else _folder(jobs / job)


def jobs_in(folder: Path, *, none: bool = False) -> list[Path]:
    """The folder itself when it is a job's (or its record is given), else the jobs in it. Raises RecordError when
    there is none, but for a folder that may hold ``none``; for a job's folder without its record always."""
    folder = _folder(folder)
    if is_job(folder):
        return [folder]
    found = [path for path in sorted(folder.iterdir()) if is_job(path)] if folder.is_dir() else []
    if not found:
        _must_not_be_remains(folder)
    if not found and not (none and folder.is_dir()):
        raise RecordError(f"{folder}: no job there; give a job's folder, or a folder of jobs")
    return found


def remains_in(folder: Path) -> list[Remains]:
    """The folders in a folder of jobs that were a job's, as far as can be told by what is left in them, and have no
    record. Raises RecordError for one that nobody may look into."""
    if is_job(folder) or not folder.is_dir():
        return []
    return [one for path in sorted(folder.iterdir()) if (one := _remains(path)) is not None]


def _remains(folder: Path) -> Remains | None:
    if not folder.is_dir() or is_job(folder):
        return None
    try:
        names = {path.name for path in folder.iterdir()}
        sounds = {path.name for path in (folder / AUDIO).iterdir()} if AUDIO in names else set()
    except NotADirectoryError:
        return None
    except OSError as error:
        raise _hidden(folder, error) from None
    after = {name for name in names if name in _AFTER or name.startswith("record.torn-")}
    # One of them alone may be anything: a procedure or a policy of the shop has such a name too.
    if len(after) > 1 or any(map(hash_prefix, sounds)):
        return Remains(folder, True)
    return Remains(folder, False) if after or names & {*_BEFORE} else None


def _must_not_be_remains(folder: Path) -> None:
    left = _remains(folder)
    if left is None:
        return
    if left.had_one:
        raise RecordError(f"{folder} is a job's folder, and {NO_RECORD}")
    if any((folder / name).exists() for name in _BEFORE):  # a lone policy may be the shop's
        raise RecordError(f"{folder}: {CUT_OFF}: put the record back from a copy, or start a new job")


def is_job(folder: Path) -> bool:
    """Raises RecordError where that can't be told: a job that nobody may read must not be passed over in silence."""
    try:
        return (folder / RECORD).exists()
    except OSError as error:
        raise _hidden(folder, error) from None


def _hidden(folder: Path, error: OSError) -> RecordError:
    return RecordError(
        f"can't look into {folder}: {error.strerror}; get the right to read it, or name the jobs one by one"
    )


def _folder(given: Path) -> Path:
    return given.parent if given.name == RECORD and not given.is_dir() else given
