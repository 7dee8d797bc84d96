"""The archive's tables. One job is one transaction; every key holds the job and its day, and no table refers to
another, so that the same layout can be partitioned by day and distributed by job (see ARCHIVE.md)."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Date,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    SmallInteger,
    Table,
    Text,
    Uuid,
)

__all__ = ["DERIVED", "LAYOUT", "METADATA", "attachment", "content", "job", "layout", "piece"]

#: Version of this layout and of what is computed into it; the archive holds it in its table ``layout``.
#: 2: a technician is the badge, no longer the name typed at the start.
#: 3: a job that its supervisor rejected is not released, repaired or scrapped.
#: 4: exceptions are those that show and the pages count, their amounts as a technician says them.
LAYOUT = 4
METADATA = MetaData()


def _id() -> list[Column[object]]:
    """What names a job everywhere: the first 128 bits of its first line's hash, and the UTC day of that line."""
    return [
        Column("job_id", Uuid(), primary_key=True),
        Column("day", Date(), primary_key=True),
    ]


def _scope() -> list[Column[object]]:
    """What a report is narrowed by, kept in each row so that no report needs a join."""
    return [
        Column("bay", Text(), nullable=False),
        Column("technician", Text(), nullable=False),
        Column("practice", Boolean(), nullable=False),
    ]


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
    Index("job_scope", "day", "bay", "technician"),
)
reading = Table(
    "reading",
    METADATA,
    *_id(),
    _seq(),
    *_scope(),
    *_text("step", "measurand", "value", "unit"),
    *_true("in_force", "corrected"),
)
verdict = Table(
    "verdict",
    METADATA,
    *_id(),
    _seq(),
    *_scope(),
    *_text("rule", "outcome", "severity"),
    *_true("in_force"),
    Index("verdict_missed", "outcome", "day", "rule"),
)
exception = Table(
    "exception",
    METADATA,
    *_id(),
    _seq(),
    Column("n", SmallInteger(), primary_key=True, autoincrement=False),
    *_scope(),
    *_text("sort", "text"),
    Index("exception_scope", "day", "bay", "technician"),
)
reason = Table(
    "reason",
    METADATA,
    *_id(),
    _seq("n"),
    *_scope(),
    *_text("rule", "label", "text"),
    Index("reason_scope", "day", "bay", "technician"),
)
repair = Table(
    "repair",
    METADATA,
    *_id(),
    _seq(),
    *_scope(),
    *_text("patch"),
    Index("repair_scope", "day", "bay", "technician"),
)
hearing = Table(
    "hearing",
    METADATA,
    *_id(),
    Column("technician", Text(), primary_key=True),
    *[column for column in _scope() if column.name != "technician"],
    *_text("engine"),
    *_whole("utterances", "no_match", "no_input", "taken_back", "corrections", "not_understood", "refused"),
    Index("hearing_scope", "day", "bay", "technician"),
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
attachment = Table("attachment", METADATA, *_id(), Column("name", Text(), primary_key=True), *_text("sha256"))
#: Each content once: thousands of jobs pin the same procedure.
content = Table(
    "content",
    METADATA,
    Column("sha256", Text(), primary_key=True),
    Column("data", LargeBinary(), nullable=False),
)

#: Tables that are computed from the lines, and can be again.
DERIVED = (job, reading, verdict, exception, reason, repair, hearing)
