"""Dropping sound by policy: the record stays whole, since it holds the hashes and not the sound.

First a line says what is dropped and by which policy, on the disk; then the files are deleted. A crash between
the two leaves files that the next run deletes.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from pathlib import Path

from ._audio import AUDIO
from ._errors import RecordError
from ._files import explain, sync_folder
from ._line import Line
from ._log import Clock, JobLog, system_clock
from ._read import LogRead, read_log

__all__ = ["dropped_too_soon", "forget_audio"]


def forget_audio(
    folder: Path,
    days: int,
    clock: Clock = system_clock,
    *,
    damage: Callable[[Path], str] = lambda _: "",
) -> int:
    """Drop a job's utterances when its last event is ``days`` ago or more. Returns how many files were deleted.

    ``damage``: what else than a broken chain makes the record untrustworthy, in words, "" for nothing; asked only
    where there is sound to delete. Raises RecordError for a job that is damaged, open, or can't be written.
    """
    now = datetime.fromisoformat(clock()[0])
    read = read_log(folder)
    if read.broken:
        raise RecordError(
            f"{folder}: damaged at line {read.broken.line}; its sound is kept: it may be needed"
        )
    if not read.lines or now - _since(read.lines) < timedelta(days=days):
        return 0
    if not (_kept(read) or _left_over(read)):
        return 0
    why = damage(folder)
    if why:
        raise RecordError(f"{folder}: {why}; its sound is kept: it may be needed")
    with JobLog.open(folder, clock=clock) as log:
        read = read_log(folder)
        kept = _kept(read)
        if kept:
            log.append([{"kind": "audio_dropped", "days": str(days), "files": kept}])
        return _delete(folder, [*kept, *_left_over(read)])


def _since(lines: Sequence[Line]) -> datetime:
    """When the last sound was made, at the latest. A simulated clock runs ahead of the day it was used on."""
    if lines[0].body.get("clock") == "simulated":
        return datetime.fromisoformat(lines[0].at)
    events = [line.at for line in lines if line.kind in ("open", "event")]
    return datetime.fromisoformat(max(events, default=lines[0].at))


def dropped_too_soon(lines: Sequence[Line], line: Line) -> bool:
    """Whether sound was dropped before its days were over, by the record's own times."""
    days = str(line.body.get("days"))
    if not (days.isascii() and days.isdigit() and len(days) < 6):
        return True
    before = [one for one in lines if one.seq < line.seq]
    return not before or datetime.fromisoformat(line.at) - _since(before) < timedelta(days=int(days))


def _listed(read: LogRead) -> set[str]:
    files: set[str] = set()
    for line in read.lines:
        if line.kind == "audio_dropped" and isinstance(names := line.body.get("files"), list):
            files.update(str(name) for name in names)
    return files


def _named(read: LogRead) -> list[str]:
    """The sound files that lines name: nothing else is ever deleted."""
    names = (line.body.get("audio") for line in read.lines)
    return [name for name in names if isinstance(name, str) and name.startswith(f"{AUDIO}/")]


def _kept(read: LogRead) -> list[str]:
    listed = _listed(read)
    return [name for name in _named(read) if name not in listed and (read.folder / name).is_file()]


def _left_over(read: LogRead) -> list[str]:
    listed = _listed(read)
    return [name for name in _named(read) if name in listed and (read.folder / name).is_file()]


def _delete(folder: Path, names: Sequence[str]) -> int:
    try:
        for name in names:
            (folder / AUDIO / Path(name).name).unlink(missing_ok=True)
        sync_folder(folder / AUDIO)
    except OSError as error:
        raise explain(f"can't delete the sound in {folder / AUDIO}", error) from None
    return len(names)
