"""Opening an archive by URL: SQLite as a private file, PostgreSQL by pg8000; its tables, their layout's version."""

from __future__ import annotations

import os
import ssl
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, insert, inspect, select, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError, SQLAlchemyError

from handsfree.record._files import cant_write

from ._errors import ArchiveError
from ._tables import LAYOUT, METADATA, layout

__all__ = ["Archive", "open_archive"]

_DRIVER = "postgresql+pg8000"
#: One number for all who create the tables at once (any number will do; PostgreSQL's advisory locks share one space).
_LOCK = 7_202_611
#: SQLite keeps so much of the file at hand instead of 2 MB: a report's sorting stays in memory, and a push finds the
#: pages again that its last batch wrote.
_CACHE_KIB = 64 << 10
_WAIT_S = 120  # for another push to finish its transaction


class Archive:
    """An archive that was opened. ``place``: its URL without the password."""

    def __init__(self, engine: Engine, place: str) -> None:
        self.engine, self.place = engine, place

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """One transaction: all of it or nothing, alone where it touches what another touches."""
        with _plainly(self.place), self.engine.begin() as connection:
            yield connection

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """One look that no push changes under the reader."""
        options = {} if self.engine.dialect.name == "sqlite" else {"isolation_level": "REPEATABLE READ"}
        with (
            _plainly(self.place),
            self.engine.connect().execution_options(reads=True, **options) as connection,
        ):
            yield connection

    def close(self) -> None:
        self.engine.dispose()


def open_archive(where: str, *, create: bool = False) -> Archive:
    """Open the archive at a URL, or in an SQLite file. ``create``: make it where there is none.

    Raises ArchiveError: no such place, no archive there, or one of another layout.
    """
    url = _url(where)
    if url.get_backend_name() == "sqlite":
        _private_file(url, create)
    place = url.render_as_string(hide_password=True)
    with _plainly(place):
        engine = _engine(url)
    archive = Archive(engine, place)
    try:
        _prepare(archive, create)
    except BaseException:
        archive.close()
        raise
    return archive


def _url(where: str) -> URL:
    if "://" not in where:
        return URL.create("sqlite", database=where)
    try:
        url = make_url(where)
    except ArgumentError:
        raise ArchiveError(
            "that is no database URL; give postgresql://user@host/name, or a file for SQLite"
        ) from None
    if url.drivername in ("postgresql", "postgres"):
        url = url.set(drivername=_DRIVER)
    if url.get_backend_name() not in ("sqlite", "postgresql"):
        raise ArchiveError(
            f"{url.drivername} is not supported; give a postgresql:// URL, or a file for SQLite"
        )
    if url.drivername == _DRIVER and find_spec("pg8000") is None:
        raise ArchiveError("PostgreSQL needs its driver: pip install 'handsfree[postgresql]'")
    return url


def _private_file(url: URL, create: bool) -> None:
    """It holds names: made for its owner alone to read, as the records are."""
    if not url.database or url.database == ":memory:":
        raise ArchiveError("an archive in memory would be gone at once; give a file")
    path = Path(url.database)
    try:
        if path.exists():
            return
        if not create:
            raise ArchiveError(f"{path}: no archive there; make one with handsfree archive push")
        os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))
    except OSError as error:
        raise ArchiveError(str(cant_write(path, error))) from None


def _engine(url: URL) -> Engine:
    if url.get_backend_name() == "sqlite":
        engine = create_engine(url, connect_args={"timeout": _WAIT_S})
        event.listen(engine, "connect", _own_transactions)
        event.listen(engine, "begin", _begin)
        return engine
    query = dict(url.query)
    arguments: dict[str, Any] = {}
    if url.drivername == _DRIVER:
        mode, root = query.pop("sslmode", "prefer"), query.pop("sslrootcert", None)
        arguments = _tls(str(mode), str(root) if root else None)
    return create_engine(url.set(query=query), connect_args=arguments, pool_pre_ping=True)


def _tls(mode: str, root: str | None) -> dict[str, Any]:
    """libpq's words for how the connection is encrypted, which pg8000 does not read by itself."""
    if mode in ("disable", "allow", "prefer"):
        return {}
    if mode not in ("require", "verify-ca", "verify-full"):
        raise ArchiveError(f"sslmode={mode} is not known; give require, or verify-full with sslrootcert=FILE")
    try:
        context = ssl.create_default_context(cafile=root)
    except OSError as error:
        raise ArchiveError(f"sslrootcert {root}: {error.strerror or error}") from None
    if mode != "verify-full":
        context.check_hostname = False
    if mode == "require" and root is None:
        context.verify_mode = ssl.CERT_NONE
    return {"ssl_context": context}


def _own_transactions(connection: Any, _: object) -> None:
    """The driver's implicit BEGIN would come too late to take the write lock."""
    connection.isolation_level = None
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute(f"PRAGMA cache_size=-{_CACHE_KIB}")


def _begin(connection: Connection) -> None:
    """A writer takes its lock before it looks, so that nothing changes between the look and the writing."""
    reads = connection.get_execution_options().get("reads")
    connection.exec_driver_sql("BEGIN" if reads else "BEGIN IMMEDIATE")


def _prepare(archive: Archive, create: bool) -> None:
    with archive.read() as connection:
        found = _version(connection)
    if found is None:
        if not create:
            raise ArchiveError(f"{archive.place}: no archive there; make one with handsfree archive push")
        with archive.write() as connection:
            if connection.dialect.name == "postgresql":
                connection.execute(text("SELECT pg_advisory_xact_lock(:number)"), {"number": _LOCK})
            found = _version(connection)
            if found is None:
                METADATA.create_all(connection)
                connection.execute(insert(layout), {"version": LAYOUT})
                found = LAYOUT
    if found > LAYOUT:
        raise ArchiveError(
            f"{archive.place} has layout {found}, made by a newer handsfree; this one knows {LAYOUT}: update it"
        )
    if found < LAYOUT:
        raise ArchiveError(
            f"{archive.place} has layout {found}, from an older handsfree; push the jobs into a new archive"
        )


def _version(connection: Connection) -> int | None:
    if not inspect(connection).has_table(layout.name):
        return None
    found = connection.execute(select(layout.c.version)).scalars().all()
    return max(found) if found else 0


@contextmanager
def _plainly(place: str) -> Iterator[None]:
    try:
        yield
    except DBAPIError as error:
        raise ArchiveError(f"{place}: {_why(error)}") from None
    except (NoSuchModuleError, ModuleNotFoundError) as error:
        raise ArchiveError(f"{place}: its driver is not installed ({error})") from None
    except SQLAlchemyError as error:
        raise ArchiveError(f"{place}: {_one_line(str(error))}") from None


#: What SQLite says, and what to do.
_SQLITE = {
    "file is not a database": "no SQLite file, so no archive; give the one that handsfree archive push made, or "
    "a new name to push to",
    "unable to open database file": "can't be opened; give a file, not a folder, that you may read and write",
    "attempt to write a readonly database": "may not be written; get the right to it, or give another file",
    "database or disk is full": "the disk is full: free space, then push again",
    "database disk image is malformed": "the archive is damaged; put it back from a copy, or push into a new file",
}


def _why(error: DBAPIError) -> str:
    """What the database said. pg8000 gives its server's message as a dict of fields, "M" the text."""
    args = getattr(error.orig, "args", ())
    told = args[0] if args else str(error.orig)
    message = str(told.get("M", told)) if isinstance(told, dict) else str(told)
    plain = next((told for said, told in _SQLITE.items() if said in message), "")
    return plain or _one_line(message) or "the connection was lost; push again"


def _one_line(message: str) -> str:
    return " ".join(message.split())[:300]
