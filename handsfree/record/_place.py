"""Where a job is: its folder, its name in the folder of jobs, or the record itself, as somebody names it."""

from __future__ import annotations

from pathlib import Path

from ._errors import RecordError
from ._read import RECORD

__all__ = ["find_job", "find_jobs", "jobs_in"]


def find_job(job: str, jobs: Path) -> Path:
    """The folder of one job. Raises RecordError when there is none."""
    for place in (_folder(Path(job)), _folder(jobs / job)):
        if (place / RECORD).is_file():
            return place
    raise RecordError(f"{job}: no job there; give its folder, or its name in {jobs}")


def find_jobs(job: str, jobs: Path) -> list[Path]:
    """The folder of one job, or of each in a folder of jobs, also by a name in ``jobs``. Raises RecordError."""
    given = _folder(Path(job))
    return jobs_in(given if given.is_dir() else _folder(jobs / job))


def jobs_in(folder: Path, *, none: bool = False) -> list[Path]:
    """The folder itself when it is a job's (or its record is given), else the jobs in it. Raises RecordError when
    there is none, but for a folder that may hold ``none``."""
    folder = _folder(folder)
    if _is_job(folder):
        return [folder]
    found = [path for path in sorted(folder.iterdir()) if _is_job(path)] if folder.is_dir() else []
    if not found and not (none and folder.is_dir()):
        raise RecordError(f"{folder}: no job there; give a job's folder, or a folder of jobs")
    return found


def _is_job(folder: Path) -> bool:
    """Raises RecordError where that can't be told: a job that nobody may read must not be passed over in silence."""
    try:
        return (folder / RECORD).exists()
    except OSError as error:
        raise RecordError(
            f"can't look into {folder}: {error.strerror}; get the right to read it, or name the jobs one by one"
        ) from None


def _folder(given: Path) -> Path:
    return given.parent if given.name == RECORD and not given.is_dir() else given
