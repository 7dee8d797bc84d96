"""What the archive says of a time, a bay or a technician: counts, from the derived tables alone."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from datetime import date
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Connection,
    Select,
    Table,
    case,
    distinct,
    extract,
    func,
    literal,
    or_,
    select,
)

from handsfree.record import badge_of, one_name_each

from ._open import Archive
from ._tables import METADATA, MISSED, job, verdict

__all__ = ["STATEMENTS", "Crew", "Figures", "Hearing", "Month", "Scope", "bays_of", "figures", "in_order"]


@dataclass(frozen=True, slots=True)
class Scope:
    """What is counted. Days are UTC, of a job's first line, both included. ``technician``: as a report names one, or
    the name or the badge alone. ``practice``: practice jobs instead of real ones."""

    since: date | None = None
    until: date | None = None
    bay: str | None = None
    technician: str | None = None
    practice: bool = False


@dataclass(frozen=True, slots=True)
class Crew:
    """One technician in one bay. ``jobs`` and ``scrapped`` by who began the job, ``repairs`` and ``exceptions`` by
    who was at work."""

    bay: str
    technician: str
    jobs: int = 0
    repairs: int = 0
    scrapped: int = 0
    exceptions: int = 0


@dataclass(frozen=True, slots=True)
class Month:
    """``judged``: jobs whose procedure may end in scrap."""

    month: str
    jobs: int
    judged: int
    scrapped: int
    repairs: int = 0
    utterances: int = 0
    no_match: int = 0
    corrections: int = 0


@dataclass(frozen=True, slots=True)
class Hearing:
    """One bay's recognizer (bay "" with all of them together in ``Figures.heard``)."""

    bay: str
    utterances: int = 0
    no_match: int = 0
    no_input: int = 0
    taken_back: int = 0
    corrections: int = 0
    not_understood: int = 0
    refused: int = 0


@dataclass(frozen=True, slots=True)
class Figures:
    """Everything a report shows. ``released``: jobs that ended in a release and were not rejected since."""

    scope: Scope
    jobs: int = 0
    left_out: int = 0
    judged: int = 0
    scrapped: int = 0
    repairs: int = 0
    released: int = 0
    dispositions: Sequence[tuple[str, int]] = ()
    signatures: Sequence[tuple[str, int]] = ()
    crews: Sequence[Crew] = ()
    reasons: Sequence[tuple[str, str, int]] = ()
    exceptions: Sequence[tuple[str, int, int]] = ()
    missed: Sequence[tuple[str, int, int]] = ()
    months: Sequence[Month] = ()
    heard: Hearing = field(default_factory=lambda: Hearing(""))
    hearing: Sequence[Hearing] = ()

    @property
    def scrap_rate(self) -> float | None:
        """Of the jobs in which a tire could be scrapped; None without any."""
        return self.scrapped / self.judged if self.judged else None

    def as_json(self) -> dict[str, Any]:
        return {**asdict(self), "scrap_rate": self.scrap_rate}


def _within(
    statement: Select[Any], table: Table, scope: Scope, *, practice: bool | None = None
) -> Select[Any]:
    wanted = scope.practice if practice is None else practice
    statement = statement.where(table.c.practice == wanted)
    if scope.since is not None:
        statement = statement.where(table.c.day >= scope.since)
    if scope.until is not None:
        statement = statement.where(table.c.day <= scope.until)
    if scope.bay is not None:
        statement = statement.where(table.c.bay == scope.bay)
    if scope.technician is not None:
        statement = statement.where(_is_technician(table, scope.technician))
    return statement


def _is_technician(table: Table, who: str) -> ColumnElement[bool]:
    """Jobs from before the shop had a file hold the badge alone: it is found under the full name, too."""
    column, badge = table.c.technician, badge_of(who) or f"badge {who}"
    either = [column == who, column == badge]
    if badge_of(who) in ("", who):
        either += [column.endswith(f", {badge}", autoescape=True)]
    if not badge_of(who) and who:
        either += [column.startswith(f"{who}, badge ", autoescape=True)]
    return or_(*either)


def _sum(condition: Any) -> Any:
    return func.coalesce(func.sum(case((condition, 1), else_=0)), 0)


def _total(column: Any) -> Any:
    return func.coalesce(func.sum(column), 0)


def _counted(name: str, *keys: str) -> Select[Any]:
    table = METADATA.tables[name]
    columns = [table.c[key] for key in keys]
    count = func.count().label("count")
    return select(*columns, count).group_by(*columns).order_by(count.desc(), *columns)


_HEARD = ("utterances", "no_match", "no_input", "taken_back", "corrections", "not_understood", "refused")


def _months(name: str, *sums: Any) -> Select[Any]:
    table = METADATA.tables[name]
    year, month = extract("year", table.c.day), extract("month", table.c.day)
    return select(year.label("year"), month.label("month"), *sums).group_by(year, month).order_by(year, month)


def _statements() -> dict[str, tuple[Table, Select[Any]]]:
    tables = METADATA.tables
    exception, hearing = tables["exception"], tables["hearing"]
    sums = [_total(hearing.c[name]).label(name) for name in _HEARD]
    outside, close = _sum(verdict.c.outcome == "outside"), _sum(verdict.c.outcome == "close")
    sort_jobs = func.count(distinct(exception.c.job_id))
    return {
        "crews": (
            job,
            select(
                job.c.bay,
                job.c.technician,
                func.count(),
                _sum(job.c.scrapped),
                _sum(job.c.may_scrap),
                _sum(job.c.released),
            ).group_by(job.c.bay, job.c.technician),
        ),
        "repairs": (tables["repair"], _counted("repair", "bay", "technician")),
        "exceptions by crew": (exception, _counted("exception", "bay", "technician")),
        "dispositions": (job, _counted("job", "disposition")),
        "signatures": (job, _counted("job", "signed")),
        "reasons": (tables["reason"], _counted("reason", "label", "rule")),
        "exceptions": (
            exception,
            select(exception.c.sort, func.count(), sort_jobs)
            .group_by(exception.c.sort)
            .order_by(func.count().desc(), exception.c.sort),
        ),
        "missed": (
            verdict,
            select(verdict.c.rule, outside, close)
            .where(MISSED)
            .group_by(verdict.c.rule)
            .order_by(outside.desc(), close.desc(), verdict.c.rule),
        ),
        "months": (job, _months("job", func.count(), _sum(job.c.may_scrap), _sum(job.c.scrapped))),
        "months of repairs": (tables["repair"], _months("repair", func.count())),
        "months of hearing": (
            hearing,
            _months("hearing", *(_total(hearing.c[n]) for n in ("utterances", "no_match", "corrections"))),
        ),
        "hearing": (hearing, select(hearing.c.bay, *sums).group_by(hearing.c.bay).order_by(hearing.c.bay)),
    }


#: Name -> the table that narrows it, and the query: what a report runs, and what the bench times and explains.
STATEMENTS = _statements()


def figures(archive: Archive, scope: Scope) -> Figures:
    """Count, in one look at the archive."""
    with archive.read() as connection:
        rows = {name: _run(connection, scope, name) for name in STATEMENTS}
        others = select(func.count(literal(1))).select_from(job)
        left_out = connection.scalar(_within(others, job, scope, practice=not scope.practice)) or 0
    hearing = [Hearing(row[0], *map(int, row[1:])) for row in rows["hearing"]]
    hearing.sort(key=lambda one: in_order(one.bay))
    return Figures(
        scope,
        jobs=sum(row[2] for row in rows["crews"]),
        left_out=left_out,
        judged=sum(int(row[4]) for row in rows["crews"]),
        scrapped=sum(int(row[3]) for row in rows["crews"]),
        repairs=sum(row[2] for row in rows["repairs"]),
        released=sum(int(row[5]) for row in rows["crews"]),
        dispositions=[(row[0], row[1]) for row in rows["dispositions"]],
        signatures=[(row[0] or "not signed", row[1]) for row in rows["signatures"]],
        crews=_crews(rows),
        reasons=[(row[0], row[1], row[2]) for row in rows["reasons"]],
        exceptions=[(row[0], row[1], row[2]) for row in rows["exceptions"]],
        missed=[(row[0], int(row[1]), int(row[2])) for row in rows["missed"]],
        months=_by_month(rows),
        heard=Hearing("", *(sum(getattr(one, name) for one in hearing) for name in _HEARD)),
        hearing=hearing,
    )


def bays_of(archive: Archive) -> list[str]:
    """Every bay that the archive has a job of, practice or not, bay 2 before bay 10."""
    with archive.read() as connection:
        return sorted(connection.scalars(select(job.c.bay).distinct()), key=in_order)


def _run(connection: Connection, scope: Scope, name: str) -> Sequence[Any]:
    table, statement = STATEMENTS[name]
    return connection.execute(_within(statement, table, scope)).all()


def _crews(rows: dict[str, Sequence[Any]]) -> list[Crew]:
    """One row for each technician of a bay, also where some jobs name the badge alone."""
    everybody: defaultdict[str, set[str]] = defaultdict(set)
    for name in ("crews", "repairs", "exceptions by crew"):
        for row in rows[name]:
            everybody[row[0]].add(row[1])
    called = {bay: one_name_each(names) for bay, names in everybody.items()}
    found: defaultdict[tuple[str, str], Counter[str]] = defaultdict(Counter)
    for row in rows["crews"]:
        found[row[0], called[row[0]][row[1]]].update(jobs=row[2], scrapped=int(row[3]))
    for name, counted in (("repairs", "repairs"), ("exceptions by crew", "exceptions")):
        for row in rows[name]:
            found[row[0], called[row[0]][row[1]]][counted] += row[2]
    return [Crew(bay, who, **counts) for (bay, who), counts in sorted(found.items(), key=_by_place)]


def in_order(name: str) -> list[tuple[int, str]]:
    """A key that sorts bay 2 before bay 10."""
    return [(int(part) if part.isdecimal() else 0, part) for part in re.split(r"(\d+)", name)]


def _by_place(item: tuple[tuple[str, str], object]) -> tuple[list[tuple[int, str]], str]:
    return in_order(item[0][0]), item[0][1]


def _by_month(rows: dict[str, Sequence[Any]]) -> list[Month]:
    def keyed(name: str) -> dict[str, Sequence[Any]]:
        return {f"{int(row[0]):04}-{int(row[1]):02}": row for row in rows[name]}

    repairs, hearing = keyed("months of repairs"), keyed("months of hearing")
    found = []
    for month, row in keyed("months").items():
        jobs, judged, scrapped = map(int, row[2:5])
        fixed = int(repairs[month][2]) if month in repairs else 0
        utterances, no_match, corrections = map(int, hearing[month][2:5]) if month in hearing else (0, 0, 0)
        found.append(Month(month, jobs, judged, scrapped, fixed, utterances, no_match, corrections))
    return found
