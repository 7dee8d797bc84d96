"""The same tables for a large PostgreSQL: partitioned by month of ``day``, and distributed by ``job_id`` on request.

What makes it fit is in every key already: a unique constraint of a partitioned table must hold the partition's
column, one of a distributed table the distribution's.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from sqlalchemy.dialects import postgresql
from sqlalchemy.schema import CreateIndex, CreateTable

from ._tables import LAYOUT, METADATA, content, layout

__all__ = ["partitions", "schema_sql"]


def schema_sql(first: date, months: int, *, distributed: bool = False) -> str:
    """SQL that makes an empty archive with a partition for each of ``months`` months from ``first`` on."""
    statements = [_create(layout.name), f"INSERT INTO {layout.name} VALUES ({LAYOUT})", _create(content.name)]
    if distributed:
        statements += [
            f"SELECT create_reference_table('{layout.name}')",
            f"SELECT create_distributed_table('{content.name}', 'sha256')",
        ]
    for name, table in METADATA.tables.items():
        if "day" not in table.c:
            continue
        statements.append(f"{_create(name)} PARTITION BY RANGE (day)")
        dialect = postgresql.dialect()  # type: ignore[no-untyped-call]
        statements += [
            str(CreateIndex(index).compile(dialect=dialect))
            for index in sorted(table.indexes, key=lambda index: str(index.name))
        ]
        if distributed:
            statements.append(f"SELECT create_distributed_table('{name}', 'job_id')")
    return ";\n".join([*statements, *partitions(first, months)]) + ";\n"


def partitions(first: date, months: int) -> Iterator[str]:
    """One partition of every table for each month; an old one is dropped whole when its time is over."""
    for name, table in METADATA.tables.items():
        if "day" not in table.c:
            continue
        for number in range(months):
            begin, end = _month(first, number), _month(first, number + 1)
            yield (
                f"CREATE TABLE {name}_{begin:%Y_%m} PARTITION OF {name} "
                f"FOR VALUES FROM ('{begin}') TO ('{end}')"
            )


def _create(name: str) -> str:
    made = CreateTable(METADATA.tables[name]).compile(dialect=postgresql.dialect())  # type: ignore[no-untyped-call]
    return "\n".join(line.rstrip() for line in str(made).strip().splitlines() if line.strip())


def _month(first: date, later: int) -> date:
    year, month = divmod(first.year * 12 + first.month - 1 + later, 12)
    return date(year, month + 1, 1)
