"""The archive's tables. One job is one transaction; every key holds the job and its day, and no table refers to
another, so that the same layout can be partitioned by day and distributed by job (see ARCHIVE.md).

Each ``_scope`` index holds all columns that a report counts, so that a report reads the index alone. In an SQLite
file the rows lie among the packed lines, which are most of it: a report that went to the rows read most of the file.
"""

from __future__ import annotations

import uuid
from typing import Any

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Date,
    Dialect,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    SmallInteger,
    Table,
    Text,
    TypeDecorator,
    Uuid,
    literal_column,
)
from sqlalchemy.types import TypeEngine

__all__ = ["DERIVED", "LAYOUT", "METADATA", "MISSED", "attachment", "content", "job", "layout", "piece"]

#: Version of this layout and of what is computed into it; the archive holds it in its table ``layout``.
#: 2: a technician is the badge, no longer the name typed at the start.
#: 3: a job that its supervisor rejected is not released, repaired or scrapped.
#: 4: exceptions are those that show and the pages count, their amounts as a technician says them; indexes that hold
#: all a report counts; ids of 16 bytes in SQLite, and small rows in their key's own tree.
#: 5: that a job was practice is one of its exceptions, as everywhere else.
#: 6: a reading left out of its limit is an exception of that kind, not one accepted by a person.
#: 7: a tire set aside for another one is no exception; a limit that warns is called a warning.
LAYOUT = 7
METADATA = MetaData()


class _Id(TypeDecorator[uuid.UUID]):
    """128 bits. SQLite has no type for them: bytes there, half of the text that would stand in each row and index."""

    impl = Uuid
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        kind: TypeEngine[Any] = LargeBinary(16) if dialect.name == "sqlite" else Uuid()
        return dialect.type_descriptor(kind)

    def process_bind_param(self, value: uuid.UUID | None, dialect: Dialect) -> Any:
        return value.bytes if value is not None and dialect.name == "sqlite" else value

    def process_result_value(self, value: uuid.UUID | bytes | None, dialect: Dialect) -> uuid.UUID | None:
        return uuid.UUID(bytes=value) if isinstance(value, bytes) else value


def _id() -> list[Column[object]]:
    """What names a job everywhere: the first 128 bits of its first line's hash, and the UTC day of that line."""
    return [
        Column("job_id", _Id(), primary_key=True),
        Column("day", Date(), primary_key=True),
    ]


def _scope() -> list[Column[object]]:
    """What a report is narrowed by, kept in each row so that no report needs a join."""
    return [
        Column("bay", Text(), nullable=False),
        Column("technician", Text(), nullable=False),
        Column("practice", Boolean(), nullable=False),
    ]


def _covering(table: str, *counted: str) -> Index:
    """What narrows a report, from the left; then what it counts, only to be read there."""
    return Index(f"{table}_scope", "practice", "day", "bay", "technician", *counted)


def _text(*names: str) -> list[Column[object]]:
    return [Column(name, Text(), nullable=False) for name in names]


def _whole(*names: str) -> list[Column[object]]:
    return [Column(name, Integer(), nullable=False) for name in names]


def _true(*names: str) -> list[Column[object]]:
    return [Column(name, Boolean(), nullable=False) for name in names]


def _seq(name: str = "seq") -> Column[object]:
    return Column(name, Integer(), primary_key=True, autoincrement=False)


layout = Table("layout", METADATA, Column("version", Integer(), primary_key=True, autoincrement=False))

job = Table(
    "job",
    METADATA,
    *_id(),
    *_scope(),
    *_text("name", "shop", "procedure", "procedure_version", "tool", "engine", "started", "ended"),
    *_whole("seconds"),
    *_text("outcome", "disposition"),
    *_true("released", "may_scrap", "scrapped"),
    *_text("signed"),
    *_whole("lines"),
    Column("bytes", BigInteger(), nullable=False),
    *_text("head"),
    _covering("job", "disposition", "signed", "released", "may_scrap", "scrapped"),
)
reading = Table(
    "reading",
    METADATA,
    *_id(),
    _seq(),
    *_scope(),
    *_text("step", "measurand", "value", "unit"),
    *_true("in_force", "corrected"),
    sqlite_with_rowid=False,
)
verdict = Table(
    "verdict",
    METADATA,
    *_id(),
    _seq(),
    *_scope(),
    *_text("rule", "outcome", "severity"),
    *_true("in_force"),
    sqlite_with_rowid=False,
)
#: The few judgements that a report counts. Literals: a database takes an index of some rows only for a query that
#: says the same words, and a parameter says nothing.
MISSED = verdict.c.outcome.in_([literal_column("'outside'"), literal_column("'close'")])
Index(
    "verdict_missed",
    *(verdict.c[name] for name in ("practice", "day", "bay", "technician", "rule", "outcome")),
    sqlite_where=MISSED,
    postgresql_where=MISSED,
)
exception = Table(
    "exception",
    METADATA,
    *_id(),
    _seq(),
    Column("n", SmallInteger(), primary_key=True, autoincrement=False),
    *_scope(),
    *_text("sort", "text"),
    _covering("exception", "sort", "job_id"),
    sqlite_with_rowid=False,
)
reason = Table(
    "reason",
    METADATA,
    *_id(),
    _seq("n"),
    *_scope(),
    *_text("rule", "label", "text"),
    _covering("reason", "label", "rule"),
    sqlite_with_rowid=False,
)
repair = Table(
    "repair",
    METADATA,
    *_id(),
    _seq(),
    *_scope(),
    *_text("patch"),
    _covering("repair"),
    sqlite_with_rowid=False,
)
_HEARD = ("utterances", "no_match", "no_input", "taken_back", "corrections", "not_understood", "refused")
hearing = Table(
    "hearing",
    METADATA,
    *_id(),
    Column("technician", Text(), primary_key=True),
    *[column for column in _scope() if column.name != "technician"],
    *_text("engine"),
    *_whole(*_HEARD),
    _covering("hearing", *_HEARD),
    sqlite_with_rowid=False,
)
#: The original lines, zlib (RFC 1950), as many as one push brought. Joined they are record.jsonl, byte for byte.
piece = Table(
    "piece",
    METADATA,
    *_id(),
    _seq("first"),
    *_whole("lines"),
    Column("data", LargeBinary(), nullable=False),
)
#: Files beside a record: what it pins, what was set aside, and sound where that was asked for.
attachment = Table(
    "attachment",
    METADATA,
    *_id(),
    Column("name", Text(), primary_key=True),
    *_text("sha256"),
    sqlite_with_rowid=False,
)
#: Each content once: thousands of jobs pin the same procedure.
content = Table(
    "content",
    METADATA,
    Column("sha256", Text(), primary_key=True),
    Column("data", LargeBinary(), nullable=False),
)

#: Tables that are computed from the lines, and can be again.
DERIVED = (job, reading, verdict, exception, reason, repair, hearing)
