"""Loading jobs: audited, then written, new ones many in a transaction; again is nothing, more lines are appended."""

from __future__ import annotations

import hashlib
import json
import uuid
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, LargeBinary, Table, and_, delete, insert, select, text, update
from sqlalchemy.dialects import postgresql, sqlite

from handsfree.audit import Report
from handsfree.procedure import Procedure, read_procedure
from handsfree.record import AUDIO, PINNED, Line, LogRead, counted, read_log
from handsfree.record._line import BadLine, decode

from ._derive import Rows, derive, job_key
from ._errors import ArchiveError
from ._open import Archive
from ._tables import DERIVED, attachment, content, job, piece

__all__ = [
    "LEVEL",
    "Loaded",
    "Sealed",
    "batches",
    "put",
    "read_closed",
    "read_files",
    "store",
    "store_many",
]

#: zlib: a job's lines shrink to a tenth; higher levels gain little for their time (measured by the bench).
LEVEL = 6
#: What one transaction brings at most. More gains little (measured by the bench), and would be brought again after
#: a kill.
_BATCH_JOBS = 50
_BATCH_BYTES = 32 << 20
_PROCEDURE = "procedure.toml"

Audit = Callable[[Path], Report]
#: The computed tables but ``job``, whose rows come first.
_BESIDE = tuple(table for table in DERIVED if table is not job)
Stored = Any  # a row: its generic form changed between SQLAlchemy 2.0 and 2.1


@dataclass(frozen=True, slots=True)
class Sealed:
    """A closed job that passed its audit. ``lines``: their bytes, one each; ``files``: name -> content."""

    name: str
    read: LogRead
    lines: Sequence[bytes]
    rows: Rows
    files: Mapping[str, bytes]


@dataclass(frozen=True, slots=True)
class Loaded:
    """``what``: "new", "grown", "unchanged" or "refused", with the reason; ``lines`` that were brought."""

    name: str
    what: str
    lines: int
    reason: str = ""


def read_closed(folder: Path, audit: Audit, *, sound: bool) -> Sealed:
    """A job from the disk, with everything the archive keeps of it.

    Raises ArchiveError with the reason when it must not be loaded: not finished, damaged, or its audit fails.
    """
    read = read_log(folder)
    name = folder.resolve().name
    if read.damage:
        first = read.damage[0]
        raise ArchiveError(f"damaged at line {first.line}: {first.reason}; see handsfree audit")
    if not any(line.kind == "close" for line in read.lines):
        raise ArchiveError("not finished; go on with handsfree resume")
    report = audit(folder)
    if report.errors:
        first_error = next(one for one in report.findings if one.severity == "error")
        where = f"line {first_error.line}: " if first_error.line else ""
        more = f" and {report.errors - 1} more" if report.errors > 1 else ""
        raise ArchiveError(f"its audit fails: {where}{first_error.message}{more}; see handsfree audit")
    if not report.finished:
        raise ArchiveError("not finished; go on with handsfree resume")
    if report.head != read.head:
        raise ArchiveError("it changed while it was looked at; push it again")
    files = read_files(folder, sound=sound)
    procedure = read_procedure(files[_PROCEDURE].decode("utf-8"))
    return put(name, read, procedure, files)


def put(name: str, read: LogRead, procedure: Procedure, files: Mapping[str, bytes]) -> Sealed:
    """The parts of a job put together."""
    return Sealed(name, read, [line.encode() for line in read.lines], derive(name, read, procedure), files)


def read_files(folder: Path, *, sound: bool) -> dict[str, bytes]:
    """What stands beside the record: the pinned files, what was set aside, and sound where it is wanted."""
    paths = [folder / name for name in PINNED]
    paths += sorted(folder.glob("record.torn-*"))
    paths += sorted((folder / AUDIO).glob("*")) if sound else []
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in paths if path.is_file()}


def batches(jobs: Iterable[Sealed]) -> Iterator[list[Sealed]]:
    """As many jobs at a time as one transaction should bring; each is read only when its turn comes."""
    batch: list[Sealed] = []
    size = 0
    for sealed in jobs:
        batch.append(sealed)
        size += sum(map(len, sealed.lines)) + sum(map(len, sealed.files.values()))
        if len(batch) >= _BATCH_JOBS or size >= _BATCH_BYTES:
            yield batch
            batch, size = [], 0
    if batch:
        yield batch


def store_many(archive: Archive, batch: Sequence[Sealed]) -> list[Loaded]:
    """Write jobs, in their order: those that are new in one transaction, all of them or none; the others each in
    its own, as by ``store``. What can't be written is told as "refused" and keeps none of the others back."""
    first: dict[uuid.UUID, int] = {}
    for place, sealed in enumerate(batch):
        first.setdefault(job_key(sealed.read)["job_id"], place)
    try:
        made = _store_new(archive, {key: batch[place] for key, place in first.items()})
    except ArchiveError:  # because of one of them, perhaps: each alone shows which
        made = set()
    new = {first[key] for key in made}
    return [
        Loaded(sealed.name, "new", len(sealed.lines)) if place in new else _told(archive, sealed)
        for place, sealed in enumerate(batch)
    ]


def _told(archive: Archive, sealed: Sealed) -> Loaded:
    try:
        return store(archive, sealed)
    except ArchiveError as error:
        return Loaded(sealed.name, "refused", 0, str(error))


def _store_new(archive: Archive, jobs: Mapping[uuid.UUID, Sealed]) -> set[uuid.UUID]:
    """Those of the jobs that the archive lacks, in one transaction. Returns which."""
    # In one order for everybody: two bays with the same jobs in another order would wait for each other for ever.
    keys = sorted(jobs)
    with archive.read() as connection:
        known = set(connection.scalars(select(job.c.job_id).where(job.c.job_id.in_(keys))))
    keys = [key for key in keys if key not in known]
    if not keys:
        return set()
    hashes = {key: _hashes(jobs[key]) for key in keys}
    _store_contents(
        archive, {hashes[key][name]: data for key in keys for name, data in jobs[key].files.items()}
    )
    pieces = {key: _packed(jobs[key], 0) for key in keys}  # before the lock is taken
    with archive.write() as connection:
        dialect = postgresql if connection.dialect.name == "postgresql" else sqlite
        statement = dialect.insert(job).on_conflict_do_nothing().returning(job.c.job_id)
        made = set(connection.scalars(statement, [jobs[key].rows["job"][0] for key in keys]))
        keys = [key for key in keys if key in made]
        if keys:
            named = [_attached(job_key(jobs[key].read), hashes[key]) for key in keys]
            insert_rows(connection, attachment, [row for rows in named for row in rows])
            insert_rows(connection, piece, [pieces[key] for key in keys])
            for table in _BESIDE:
                insert_rows(connection, table, [row for key in keys for row in jobs[key].rows[table.name]])
    return made


def store(archive: Archive, sealed: Sealed) -> Loaded:
    """Write one job, all of it or nothing. Safe beside others who push, be it the same job.

    Raises ArchiveError when the archive holds other lines under this job, or more of them.
    """
    hashes = _hashes(sealed)
    _store_contents(archive, {hashes[name]: data for name, data in sealed.files.items()})
    key, row = job_key(sealed.read), sealed.rows["job"][0]
    with archive.write() as connection:
        is_new = _insert_new(connection, job, [row])
        have = None if is_new else _held(connection, key)
        held = 0 if have is None else have.lines
        if have is not None:
            _must_continue(connection, sealed, have, key)
        _insert_new(connection, attachment, _attached(key, hashes))
        if held == len(sealed.lines):
            return Loaded(sealed.name, "unchanged", 0)
        if not is_new:
            _forget_derived(connection, key, row)
            _forget_sound(connection, key, sealed)
        insert_rows(connection, piece, [_packed(sealed, held)])
        for table in _BESIDE:
            insert_rows(connection, table, sealed.rows[table.name])
    return Loaded(sealed.name, "new" if is_new else "grown", len(sealed.lines) - held)


def _hashes(sealed: Sealed) -> dict[str, str]:
    return {name: hashlib.sha256(data).hexdigest() for name, data in sealed.files.items()}


def _attached(key: Mapping[str, Any], hashes: Mapping[str, str]) -> list[dict[str, Any]]:
    return [{**key, "name": name, "sha256": digest} for name, digest in sorted(hashes.items())]


def _packed(sealed: Sealed, held: int) -> dict[str, Any]:
    """The lines that the archive does not hold yet, as its next piece."""
    data = zlib.compress(b"".join(sealed.lines[held:]), LEVEL)
    return {**job_key(sealed.read), "first": held, "lines": len(sealed.lines) - held, "data": data}


def _store_contents(archive: Archive, contents: Mapping[str, bytes]) -> None:
    """In a transaction of its own, in the order of their hashes: two bays with the same files in another order
    would wait for each other for ever. A content that no job names in the end does no harm."""
    with archive.read() as connection:
        known = set(connection.scalars(select(content.c.sha256).where(content.c.sha256.in_(contents))))
    missing = [{"sha256": one, "data": contents[one]} for one in sorted(contents) if one not in known]
    if missing:
        with archive.write() as connection:
            _insert_new(connection, content, missing)


def _insert_new(connection: Connection, table: Table, rows: Sequence[Mapping[str, Any]]) -> bool:
    """Insert what is not there yet; whether a single row was. Waits for another who inserts the same."""
    dialect = postgresql if connection.dialect.name == "postgresql" else sqlite
    key = next(iter(table.primary_key))
    # Asked by RETURNING: not every driver tells how many rows an INSERT made.
    statement = dialect.insert(table).on_conflict_do_nothing().returning(key)
    made = [connection.execute(statement, dict(row)).first() for row in rows]
    return any(row is not None for row in made)


def insert_rows(connection: Connection, table: Table, rows: Sequence[Mapping[str, Any]]) -> None:
    """Many rows of a table.

    SQLite takes them one after another through one prepared statement. To a server each statement is a way there and
    back: it gets all rows as one JSON text and takes them apart itself, in half the time that as many parameters
    take (measured with pg8000). Bytes would have to be written out for JSON, and are few and long: those go
    as parameters, by RETURNING in one statement too.
    """
    if not rows:
        return
    binary = any(isinstance(column.type, LargeBinary) for column in table.c)
    if connection.dialect.name == "sqlite":
        connection.execute(insert(table), list(rows))
    elif binary:
        connection.execute(insert(table).returning(table.c.job_id), list(rows))
    else:
        names = ", ".join(f'"{column.name}"' for column in table.c)
        told = json.dumps([dict(row) for row in rows], default=str)
        source = f'json_populate_recordset(CAST(NULL AS "{table.name}"), CAST(:rows AS json))'
        statement = text(f'INSERT INTO "{table.name}" ({names}) SELECT {names} FROM {source}')
        connection.execute(statement, {"rows": told})


def _held(connection: Connection, key: Mapping[str, Any]) -> Stored:
    """The job as the archive has it, locked until this transaction ends."""
    statement = select(job.c.name, job.c.lines, job.c.head).where(_is(job, key)).with_for_update()
    return connection.execute(statement).one()


#: Lines that may follow a finished job, in words.
_LATER = {"signed": "a signature", "audio_dropped": "sound dropped by policy"}


def _must_continue(connection: Connection, sealed: Sealed, have: Stored, key: Mapping[str, Any]) -> None:
    """The chain makes one hash stand for every line before it."""
    here = len(sealed.lines)
    if have.lines <= here and sealed.read.lines[have.lines - 1].hash == have.head:
        return
    later = _archived(connection, key)[here:] if have.lines > here else []
    if later and later[0].prev == sealed.read.head:
        kinds = dict.fromkeys(line.kind for line in later)
        told = ", ".join(_LATER.get(kind, f"kind {kind}") for kind in kinds)
        raise ArchiveError(
            f"the archive has these {counted(here, 'line')} of it and {len(later)} more ({told}): this is an older "
            "copy, or its end was cut off; nothing was changed"
        )
    raise ArchiveError(
        f"the archive has other lines of it (as {have.name}): one of the two was changed; "
        "compare them with handsfree audit and handsfree archive audit"
    )


def _archived(connection: Connection, key: Mapping[str, Any]) -> list[Line]:
    """The job's lines as the archive has them; none where they can't be read."""
    statement = select(piece.c.data).where(_is(piece, key)).order_by(piece.c.first)
    try:
        data = b"".join(zlib.decompress(one) for one in connection.scalars(statement))
        return [decode(raw) for raw in data.splitlines()]
    except (zlib.error, BadLine):
        return []


def _forget_derived(connection: Connection, key: Mapping[str, Any], row: Mapping[str, Any]) -> None:
    """What was computed from fewer lines is computed anew."""
    for table in _BESIDE:
        connection.execute(delete(table).where(_is(table, key)))
    connection.execute(update(job).where(_is(job, key)).values(**row))


def _forget_sound(connection: Connection, key: Mapping[str, Any], sealed: Sealed) -> None:
    """Sound that the job has dropped by policy since is dropped here too."""
    dropped = [line.body["files"] for line in sealed.read.lines if line.kind == "audio_dropped"]
    names = {str(name) for files in dropped if isinstance(files, list) for name in files}
    here = and_(_is(attachment, key), attachment.c.name.in_(names))
    hashes = set(connection.scalars(select(attachment.c.sha256).where(here))) if names else set()
    if hashes:
        connection.execute(delete(attachment).where(here))
        named = select(attachment.c.sha256).where(attachment.c.sha256.in_(hashes))
        free = hashes - set(connection.scalars(named))
        connection.execute(delete(content).where(content.c.sha256.in_(free)))


def _is(table: Table, key: Mapping[str, Any]) -> Any:
    return and_(table.c.job_id == key["job_id"], table.c.day == key["day"])
