"""A report reads indexes alone: what it counts stands in them, so that it never goes to the rows or to the lines."""

from __future__ import annotations

import random
import string
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from audit.jobs import forge
from sqlalchemy import Connection, func, insert, select, text

from handsfree.archive import Archive, Scope, figures, open_archive
from handsfree.archive._figures import STATEMENTS, _within
from handsfree.archive._push import put, read_files, store
from handsfree.archive._tables import DERIVED, METADATA
from handsfree.archive._tables import job as job_table
from handsfree.bench.archive import look_over
from handsfree.procedure import read_procedure
from handsfree.record import read_log

from .conftest import PRACTICE, fresh_database

EVERYTHING = Scope(practice=True)
NARROW = Scope(date(2026, 1, 1), date(2026, 1, 31), "3", practice=True)
SOMEBODY = Scope(date(2026, 1, 1), technician="17")
SCOPES = [EVERYTHING, NARROW, SOMEBODY]


def explained(connection: Connection, explain: str, name: str, scope: Scope) -> list[Any]:
    table, statement = STATEMENTS[name]
    told = _within(statement, table, scope).compile(
        dialect=connection.dialect, compile_kwargs={"literal_binds": True, "render_postcompile": True}
    )
    return list(connection.exec_driver_sql(f"{explain} {str(told).replace('%%', '%')}"))


@pytest.mark.parametrize("scope", SCOPES)
@pytest.mark.parametrize("name", STATEMENTS)
def test_sqlite_opens_the_index_alone(filled: Archive, name: str, scope: Scope) -> None:
    """By the program that SQLite makes of a query: which trees of the file it opens to read."""
    with filled.read() as connection:
        trees = {
            row.rootpage: row.name
            for row in connection.execute(text("SELECT rootpage, name FROM sqlite_schema WHERE rootpage > 0"))
        }
        program = explained(connection, "EXPLAIN", name, scope)
        opened = {trees[step.p2] for step in program if step.opcode == "OpenRead"}
        (plan, *_) = [row.detail for row in explained(connection, "EXPLAIN QUERY PLAN", name, scope)]
    index = "verdict_missed" if name == "missed" else f"{STATEMENTS[name][0].name}_scope"
    assert opened == {index}
    assert f"USING COVERING INDEX {index} (practice=?" in plan, "it finds its place, and does not read it all"
    assert ("day>?" in plan) == (scope.since is not None)


def test_the_few_judgements_that_are_counted_have_a_small_index(filled: Archive) -> None:
    """An index of all of them would be ten times as large."""
    verdict = METADATA.tables["verdict"]
    (index,) = verdict.indexes
    with filled.read() as connection:
        every = connection.scalar(select(func.count()).select_from(verdict))
        missed = connection.scalar(
            select(func.count()).select_from(verdict).where(verdict.c.outcome.in_(("outside", "close")))
        )
    assert index.dialect_options["sqlite"]["where"] is not None
    assert index.dialect_options["postgresql"]["where"] is not None
    assert 0 < missed < every / 2  # type: ignore[operator]
    assert sum(outside + close for _, outside, close in figures(filled, PRACTICE).missed) == missed


@pytest.fixture
def full(filled: Archive, server: str) -> Iterator[Archive]:
    """The same rows on a server, which has looked them over as its own daemon does in time."""
    archive = open_archive(fresh_database(server), create=True)
    for table in DERIVED:
        with filled.read() as connection:
            rows = [dict(row._mapping) for row in connection.execute(select(table))]
        with archive.write() as connection:
            connection.execute(insert(table), rows)
    look_over(archive)
    yield archive
    archive.close()


@pytest.mark.slow
@pytest.mark.postgresql
def test_postgresql_can_answer_from_the_index_alone(full: Archive) -> None:
    """Tables of a few pages it reads whole, and is right: here it is told not to."""
    assert figures(full, PRACTICE).jobs == 8
    with full.read() as connection:
        for setting in ("enable_seqscan", "enable_bitmapscan"):
            connection.execute(text(f"SET LOCAL {setting} = off"))
        for name, (table, _) in STATEMENTS.items():
            for scope in SCOPES:
                plan = "\n".join(row[0] for row in explained(connection, "EXPLAIN", name, scope))
                index = "verdict_missed" if name == "missed" else f"{table.name}_scope"
                assert f"Index Only Scan using {index}" in plan, (name, scope, plan)


def test_an_id_is_bytes_in_sqlite(filled: Archive) -> None:
    """Half of what its text would take, in every row and every index."""
    with filled.read() as connection:
        assert connection.exec_driver_sql(
            "SELECT DISTINCT typeof(job_id), length(job_id) FROM job"
        ).all() == [("blob", 16)]
        (row, *_) = connection.execute(select(job_table.c.job_id, job_table.c.head)).all()
    assert len(row.job_id.bytes) == 16


def test_a_text_too_long_for_an_index_is_cut_there_and_kept_whole_beside(archive: Archive, job: Path) -> None:
    """PostgreSQL would refuse the job for ever: no more than 2.7 kB of a row stand in an index of its."""
    long = "".join(random.Random(5).choices(string.ascii_letters, k=9000))

    def close(entries: list[dict[str, Any]]) -> None:
        last = next(entry for entry in reversed(entries) if entry["kind"] == "close")
        last.update(outcome="nowhere", disposition=long, reasons=[long])

    forge(job, close)
    procedure = read_procedure((job / "procedure.toml").read_text())
    sealed = put(job.name, read_log(job), procedure, read_files(job, sound=False))
    assert store(archive, sealed).what == "new"
    found = figures(archive, PRACTICE)
    assert [label for label, _, _ in found.reasons] == [long[:400]]
    assert long.startswith(found.dispositions[0][0])
    with archive.read() as connection:
        assert connection.scalar(select(METADATA.tables["reason"].c.text)) == long
