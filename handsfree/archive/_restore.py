"""A job out of the archive, as the folder it was: to be audited, or for a disk that was lost."""

from __future__ import annotations

import hashlib
import re
import tempfile
import zlib
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from sqlalchemy import and_, select

from handsfree.audit import Report
from handsfree.procedure import ProcedureError, read_procedure
from handsfree.record import RECORD, Finding, RecordError, counted, read_log, write_private
from handsfree.record._check import ABSENT

from ._derive import derive
from ._errors import ArchiveError
from ._open import Archive
from ._tables import DERIVED, attachment, content, job, piece

__all__ = ["audit_archived", "jobs_of", "restore"]

#: What may stand beside a record: nobody who writes to the database chooses where on a disk it goes.
_NAME = re.compile(r"(audio/)?[A-Za-z0-9][A-Za-z0-9._-]*")
_UNPACKED = 256 << 20  # as large as a record may be

Stored = Any  # a row: its generic form changed between SQLAlchemy 2.0 and 2.1


def jobs_of(archive: Archive, names: tuple[str, ...] = ()) -> list[Stored]:
    """The archived jobs of these names, or all, in order of time. Raises ArchiveError for a name it lacks."""
    statement = select(job.c.job_id, job.c.day, job.c.name).order_by(job.c.day, job.c.started, job.c.name)
    if names:
        statement = statement.where(job.c.name.in_(names))
    with archive.read() as connection:
        found = list(connection.execute(statement))
    missing = set(names) - {row.name for row in found}
    if missing:
        raise ArchiveError(f"{archive.place}: no job {sorted(missing)[0]!r} in it")
    return found


def restore(archive: Archive, stored: Stored, to: Path) -> list[Finding]:
    """Write a job's files into the folder ``to``, which must not exist. Returns what the archive has wrong.

    Raises ArchiveError when there is nothing that could be a record.
    """
    with archive.read() as connection:
        here = and_(piece.c.job_id == stored.job_id, piece.c.day == stored.day)
        pieces = list(connection.execute(select(piece).where(here).order_by(piece.c.first)))
        beside = and_(attachment.c.job_id == stored.job_id, attachment.c.day == stored.day)
        named = list(connection.execute(select(attachment).where(beside).order_by(attachment.c.name)))
        wanted = {one.sha256 for one in named}
        held = connection.execute(select(content).where(content.c.sha256.in_(wanted)))
        contents = {one.sha256: one.data for one in held}
    found = []
    to.mkdir(mode=0o700, parents=True)
    data = b""
    for one in pieces:
        lines, fault = _unpacked(one.data)
        if fault:
            found.append(_finding(f"the lines from {one.first + 1} on are damaged in the archive ({fault})"))
        elif lines.count(b"\n") != one.lines:
            found.append(_finding(f"the lines from {one.first + 1} on are not as many as were brought"))
        data += lines
    write_private(to / RECORD, data)
    for one in named:
        found += _file(one, contents.get(one.sha256), to)
    return found


def _file(named: Stored, data: bytes | None, to: Path) -> Iterator[Finding]:
    if not _NAME.fullmatch(named.name) or named.name == RECORD:
        yield _finding(f"{named.name!r} is no name of a file beside a record")
    elif data is None:
        yield _finding(f"{named.name}: its content is gone from the archive")
    else:
        if hashlib.sha256(data).hexdigest() != named.sha256:
            yield _finding(f"{named.name}: its content was changed in the archive")
        path = to / named.name
        path.parent.mkdir(mode=0o700, exist_ok=True)
        write_private(path, data)


def _unpacked(data: bytes) -> tuple[bytes, str]:
    inflate = zlib.decompressobj()
    try:
        lines = inflate.decompress(data, _UNPACKED)
    except zlib.error as error:
        return b"", str(error)
    whole = inflate.eof and not inflate.unused_data
    return lines, "" if whole else "more or less than was written"


def audit_archived(archive: Archive, stored: Stored, check: Callable[[Path], Report]) -> Report:
    """Audit a job from the archive alone: restored into a private folder, checked, and compared with the tables.

    Sound that was not archived is no error here: its hash stands in the record, and one note says how many.
    """
    with tempfile.TemporaryDirectory(prefix="handsfree-") as place:
        folder = Path(place) / (Path(stored.name).name or "job")
        found = restore(archive, stored, folder)
        sounds = any((folder / "audio").glob("*"))
        (folder / "audio").mkdir(
            exist_ok=True
        )  # each file that is not archived is told by itself, and counted here
        report = check(folder)
        found += _tables(archive, stored, folder)
    absent = [f for f in report.findings if f.sort == ABSENT]
    kept = [f for f in report.findings if f not in absent or sounds]
    if absent and not sounds:
        told = f"the sound of {counted(len(absent), 'utterance')} is not in the archive; its hashes are in the record"
        kept.append(Finding("audio", 0, told, "note"))
    return replace(report, folder=Path(stored.name), findings=(*found, *kept))


def _tables(archive: Archive, stored: Stored, folder: Path) -> Iterator[Finding]:
    """What reports count is what the lines say."""
    try:
        procedure = read_procedure((folder / "procedure.toml").read_text(encoding="utf-8"))
        wanted = derive(stored.name, read_log(folder), procedure)
    except (OSError, UnicodeDecodeError, ProcedureError, RecordError, StopIteration):
        yield _finding("its lines don't give the rows that reports count")
        return
    with archive.read() as connection:
        for table in DERIVED:
            here = and_(table.c.job_id == stored.job_id, table.c.day == stored.day)
            rows = [dict(row._mapping) for row in connection.execute(select(table).where(here))]
            if _sorted(rows) != _sorted(wanted[table.name]):
                yield _finding(f"table {table.name}: its rows are not what the lines say")


def _sorted(rows: list[dict[str, Any]]) -> list[list[tuple[str, Any]]]:
    return sorted(sorted(row.items()) for row in rows)


def _finding(message: str) -> Finding:
    return Finding("archive", 0, message)
