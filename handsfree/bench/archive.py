"""``python -m handsfree.bench archive``: how the archive grows, on SQLite and on a PostgreSQL server of its own.

Real simulated jobs are copied to other days and bays, each copy chained anew. With ``--stored all`` every copy, lines
and all, goes the way of a push, as many in a transaction as there; the last 200 of every size go one transaction a
job. Only the archive's own part is timed, not the making of the copies. With a number only so many whole copies are
stored at every size, and between the sizes the computed tables alone are filled in bulk: a report never reads the
lines.
"""

from __future__ import annotations

import argparse
import io
import json
import os
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import asdict, dataclass, field
from datetime import timedelta
from functools import partial
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table
from sqlalchemy import Connection, create_engine, insert, select, text
from sqlalchemy.dialects import postgresql, sqlite

from handsfree.archive import (
    Archive,
    ArchiveError,
    Scope,
    batches,
    figures,
    open_archive,
    read_closed,
    store,
    store_many,
)
from handsfree.archive._figures import STATEMENTS, _within
from handsfree.archive._tables import DERIVED, job
from handsfree.audit import audit
from handsfree.bench._copies import Template, copied, copied_rows, simulated
from handsfree.bench._server import postgresql_server

__all__ = ["look_over", "main"]

_BATCH = 500
_SINGLE = 200  # jobs of one transaction each at every size, when all are stored
_SERVER = ("shared_buffers=256MB", "max_wal_size=2GB")


@dataclass(slots=True)
class Size:
    """One database at one size. Times in milliseconds: all jobs, and one bay in one month, best of three.

    ``batched_core_ms``: a job's time of the core in the process that pushes (SQLite does everything there, a server
    its part elsewhere): what a busy machine changes least. ``report_cold_ms``: all jobs when none of the file is in
    memory (SQLite on Linux). ``indexed``: queries of the one bay that the database answers by an index; ``possible``:
    that it would, were it told not to read a table whole."""

    database: str
    jobs: int
    batched_a_second: float | None
    batched_core_ms: float | None
    jobs_a_second: float
    report_all_ms: float
    report_cold_ms: float | None
    report_narrow_ms: float
    indexed: int
    possible: int
    statements: int
    megabytes: float
    each_all_ms: dict[str, float] = field(default_factory=dict)
    each_narrow_ms: dict[str, float] = field(default_factory=dict)
    plans_all: dict[str, str] = field(default_factory=dict)
    plans_narrow: dict[str, str] = field(default_factory=dict)


def main(arguments: Sequence[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m handsfree.bench archive", description=__doc__)
    parser.add_argument(
        "--sizes", default="1000,10000,100000", help='numbers of jobs, growing; "": no SQLite'
    )
    parser.add_argument("--templates", type=int, default=60, help="real simulated jobs to copy")
    parser.add_argument(
        "--stored",
        default="200",
        help='whole copies that are stored at each size; "all": every job of every size',
    )
    parser.add_argument("--postgresql-sizes", help='other sizes there; "": none there; default: as --sizes')
    parser.add_argument("--made", type=Path, help="simulated jobs of an earlier run, or a place to keep them")
    parser.add_argument("--json", type=Path, help="write the figures there too")
    parser.add_argument("--folder", type=Path, help="where the databases may grow; default: a temporary one")
    args = parser.parse_args(arguments)
    stored = None if args.stored == "all" else int(args.stored)
    told = {"PostgreSQL": args.sizes if args.postgresql_sizes is None else args.postgresql_sizes}
    told["SQLite"] = args.sizes
    wanted = {name: sorted(int(one) for one in sizes.split(",")) for name, sizes in told.items() if sizes}
    if any(sizes[0] < (stored or _SINGLE) for sizes in wanted.values()):
        parser.error("the smallest size must not be under the number of whole copies")
    console = Console(width=130)
    found: list[Size] = []
    with ExitStack() as stack:
        place = Path(stack.enter_context(tempfile.TemporaryDirectory(dir=args.folder)))
        begin = time.process_time()
        audited: list[float] = []
        templates = simulated(args.made or place, range(args.templates), lambda one: _passes(one, audited))
        made = time.process_time() - begin - sum(audited)
        console.print(
            f"{args.templates} simulated jobs, {len(templates)} pass their audit and are copied; making one: "
            f"{1000 * made / args.templates:.0f} ms of one core, reading and auditing it: "
            f"{1000 * sum(audited) / len(audited):.0f} ms"
        )
        console.print(_whole_push(place, templates))
        for name, sizes in wanted.items():
            with ExitStack() as one:
                where = str(place / "archive.sqlite")
                if name == "PostgreSQL":
                    where = one.enter_context(postgresql_server(_SERVER))
                archive = open_archive(where, create=True)
                one.callback(archive.close)
                for size in _grow(console, name, archive, templates, sizes, stored):
                    found.append(size)
                    if args.json:
                        args.json.write_text(json.dumps([asdict(one) for one in found], indent=1) + "\n")
    found.sort(key=lambda size: size.jobs)
    console.print(_as_table(found))
    console.print(_each_query(found))
    for size in found[-2:]:
        for title, plans in (("of all", size.plans_all), ("of one bay", size.plans_narrow)):
            for name, plan in plans.items():
                console.print(
                    f"{size.database}, {name} {title}:\n{plan}", markup=False, highlight=False, soft_wrap=True
                )
    return 0


def _passes(folder: Path, took: list[float]) -> bool:
    """Whether a push takes the job; adds the core time that a bay's own computer has with it before it stores it."""
    begin = time.process_time()
    try:
        read_closed(folder, audit, sound=False)
    except ArchiveError:
        return False
    finally:
        took.append(time.process_time() - begin)
    return True


def _whole_push(place: Path, templates: Sequence[Template]) -> str:
    """How large a job is, and its lines in the archive."""
    archive = open_archive(str(place / "whole.sqlite"), create=True)
    count = lines = raw = 0
    for number, template in enumerate(templates):
        sealed = copied(template, number)
        store(archive, sealed)
        count, lines, raw = count + 1, lines + len(sealed.lines), raw + sum(map(len, sealed.lines))
    with archive.read() as connection:
        packed = int(connection.scalar(text("SELECT sum(length(data)) FROM piece")) or 0)
    archive.close()
    return f"a job: {lines / count:.0f} lines, {raw / count / 1000:.0f} kB, {packed / count / 1000:.1f} kB packed"


def _grow(
    console: Console,
    name: str,
    archive: Archive,
    templates: Sequence[Template],
    sizes: Sequence[int],
    stored: int | None,
) -> Iterator[Size]:
    have = 0
    for size in sizes:
        begin = time.perf_counter()
        last = size - (_SINGLE if stored is None else stored)
        took = core = 0.0
        for batch in _batches(have, last):
            if stored is None:
                seconds, busy = _stored(archive, templates, batch)
                took, core = took + seconds, core + busy
            else:
                _fill(archive, _together(templates, batch))
        batched = ((last - have) / took, 1000 * core / (last - have)) if took else (None, None)
        have = size
        if name == "PostgreSQL":
            look_over(archive)
        copies = [copied(templates[number % len(templates)], number) for number in range(last, size)]
        start = time.perf_counter()
        for sealed in copies:
            store(archive, sealed)
        rate = len(copies) / (time.perf_counter() - start)
        yield _measured(name, archive, size, batched, rate)
        told = f"{name}, {size} jobs after {time.perf_counter() - begin:.0f} s more"
        console.print(f"{told}; load {os.getloadavg()[1]:.1f}")


def look_over(archive: Archive) -> None:
    """What PostgreSQL's own daemon does some time after so many rows."""
    keeper = create_engine(archive.engine.url, isolation_level="AUTOCOMMIT")
    with keeper.connect() as connection:
        connection.execute(text("VACUUM ANALYZE"))
    keeper.dispose()


def _stored(archive: Archive, templates: Sequence[Template], numbers: range) -> tuple[float, float]:
    """Seconds that the archive took for whole copies in the batches of a push, and those of this process's core."""
    took = core = 0.0
    for batch in batches(copied(templates[number % len(templates)], number) for number in numbers):
        start, busy = time.perf_counter(), time.process_time()
        loaded = store_many(archive, batch)
        took, core = took + time.perf_counter() - start, core + time.process_time() - busy
        if any(one.what != "new" for one in loaded):
            raise RuntimeError(f"a copy was not stored: {next(one for one in loaded if one.what != 'new')}")
    return took, core


def _batches(first: int, last: int) -> Iterator[range]:
    for start in range(first, last, _BATCH):
        yield range(start, min(start + _BATCH, last))


def _together(templates: Sequence[Template], numbers: range) -> dict[str, list[dict[str, Any]]]:
    rows: dict[str, list[dict[str, Any]]] = {table.name: [] for table in DERIVED}
    for number in numbers:
        for name, some in copied_rows(templates[number % len(templates)], number).items():
            rows[name] += some
    return rows


def _fill(archive: Archive, rows: Mapping[str, Sequence[Mapping[str, Any]]]) -> None:
    with archive.write() as connection:
        for table in DERIVED:
            if not rows[table.name]:
                continue
            if connection.dialect.name == "postgresql":
                _copy(connection, table.name, [column.name for column in table.columns], rows[table.name])
            else:
                connection.execute(insert(table), list(rows[table.name]))


def _copy(connection: Connection, table: str, columns: list[str], rows: Sequence[Mapping[str, Any]]) -> None:
    """PostgreSQL's COPY, in its text form."""
    stream = io.StringIO()
    for row in rows:
        stream.write("\t".join(_escaped(row[column]) for column in columns) + "\n")
    data = io.BytesIO(stream.getvalue().encode())
    driver: Any = connection.connection.cursor()
    driver.execute(f"COPY {table} ({', '.join(columns)}) FROM STDIN", stream=data)
    driver.close()


def _escaped(value: object) -> str:
    told = str(value)
    return told.replace("\\", "\\\\").replace("\t", "\\t").replace("\n", "\\n")


def _measured(
    name: str, archive: Archive, size: int, batched: tuple[float, float] | tuple[None, None], rate: float
) -> Size:
    everything = Scope(practice=True)
    cold = _cold(archive, everything)
    with archive.read() as connection:
        last = connection.execute(select(job.c.day, job.c.bay).order_by(job.c.day.desc()).limit(1)).one()
        narrow = Scope(last.day - timedelta(days=90), last.day - timedelta(days=60), last.bay, practice=True)
        plans_all = {one: _plan(connection, one, everything) for one in STATEMENTS}
        plans = {one: _plan(connection, one, narrow) for one in STATEMENTS}
        forced = plans
        if name == "PostgreSQL":
            connection.execute(text("SET LOCAL enable_seqscan = off"))
            forced = {one: _plan(connection, one, narrow) for one in STATEMENTS}
            connection.execute(text("SET LOCAL enable_seqscan = on"))
        each_all = {one: _best(partial(_answer, connection, one, everything)) for one in STATEMENTS}
        each_narrow = {one: _best(partial(_answer, connection, one, narrow)) for one in STATEMENTS}
        megabytes = _bytes(connection) / 1e6
    return Size(
        name,
        size,
        batched[0],
        batched[1],
        rate,
        _best(partial(figures, archive, everything)),
        cold,
        _best(partial(figures, archive, narrow)),
        sum(map(_by_index, plans.values())),
        sum(map(_by_index, forced.values())),
        len(plans),
        megabytes,
        each_all,
        each_narrow,
        plans_all,
        plans,
    )


def _by_index(plan: str) -> bool:
    return "Index" in plan or "INDEX" in plan


def _best(run: Callable[[], object]) -> float:
    """Milliseconds, the best of three: the first one reads the disk for the others."""
    took = []
    for _ in range(3):
        begin = time.perf_counter()
        run()
        took.append(time.perf_counter() - begin)
    return 1000 * min(took)


def _cold(archive: Archive, scope: Scope) -> float | None:
    """Milliseconds of a report when the system holds none of the SQLite file in memory; None elsewhere."""
    where = archive.engine.url.database
    if archive.engine.dialect.name != "sqlite" or not hasattr(os, "posix_fadvise") or not where:
        return None
    archive.close()  # its own pages, too
    file = os.open(where, os.O_RDWR)
    try:
        os.fsync(file)  # a page that is not written yet can't be let go
        os.posix_fadvise(file, 0, 0, os.POSIX_FADV_DONTNEED)
    finally:
        os.close(file)
    begin = time.perf_counter()
    figures(archive, scope)
    return 1000 * (time.perf_counter() - begin)


def _answer(connection: Connection, name: str, scope: Scope) -> object:
    table, statement = STATEMENTS[name]
    return connection.execute(_within(statement, table, scope)).all()


def _plan(connection: Connection, name: str, scope: Scope) -> str:
    """How the database says it will find the rows."""
    table, statement = STATEMENTS[name]
    on_server = connection.dialect.name == "postgresql"
    dialect = postgresql.dialect() if on_server else sqlite.dialect()  # type: ignore[no-untyped-call]
    told = str(
        _within(statement, table, scope).compile(
            dialect=dialect, compile_kwargs={"literal_binds": True, "render_postcompile": True}
        )
    )
    explain = "EXPLAIN" if on_server else "EXPLAIN QUERY PLAN"
    return "\n".join(str(row[-1]) for row in connection.exec_driver_sql(f"{explain} {told}").all())


def _bytes(connection: Connection) -> int:
    if connection.dialect.name == "postgresql":
        return int(connection.scalar(text("SELECT pg_database_size(current_database())")) or 0)
    pages = int(connection.exec_driver_sql("PRAGMA page_count").scalar() or 0)
    return pages * int(connection.exec_driver_sql("PRAGMA page_size").scalar() or 0)


def _as_table(found: Sequence[Size]) -> Table:
    table = Table(title="The archive, growing")
    heads: tuple[str, ...] = (
        "database",
        "jobs",
        "stored a second, in batches",
        "core ms a job",
        "one by one",
    )
    heads += ("report of all, ms", "nothing in memory, ms", "one bay, one month, ms", "by index", "MB")
    for head in heads:
        table.add_column(head, justify="left" if head == "database" else "right")
    for one in found:
        table.add_row(
            one.database,
            str(one.jobs),
            "-" if one.batched_a_second is None else f"{one.batched_a_second:.0f}",
            "-" if one.batched_core_ms is None else f"{one.batched_core_ms:.1f}",
            f"{one.jobs_a_second:.0f}",
            f"{one.report_all_ms:.0f}",
            "-" if one.report_cold_ms is None else f"{one.report_cold_ms:.0f}",
            f"{one.report_narrow_ms:.1f}",
            f"{one.indexed} ({one.possible}) of {one.statements}",
            f"{one.megabytes:.0f}",
        )
    return table


def _each_query(found: Sequence[Size]) -> Table:
    """Every query by itself: of all jobs / of one bay in one month."""
    table = Table(title="Each query, ms: of all jobs / of one bay in one month")
    table.add_column("query")
    for one in found:
        table.add_column(f"{one.database} {one.jobs}", justify="right")
    for name in STATEMENTS:
        table.add_row(
            name, *(f"{one.each_all_ms[name]:.1f} / {one.each_narrow_ms[name]:.1f}" for one in found)
        )
    return table
