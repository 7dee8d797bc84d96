"""The report as one self-contained HTML page: no script, no network, every text escaped. Pure."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from functools import cache

from jinja2 import ChoiceLoader, Environment, PackageLoader

from handsfree.review._page import environment

from ._derive import REJECTED
from ._figures import Crew, Figures, in_order
from ._plots import Bar, bars, months
from ._text import left_out_text, percent, scope_text

__all__ = ["report_page"]

#: Rows of a plot; the table under it has all of them.
_MOST = 12


@cache
def _environment() -> Environment:
    """The review's templates, style and escaping, and one page more."""
    loader = ChoiceLoader([PackageLoader("handsfree.archive"), PackageLoader("handsfree.review")])
    return environment().overlay(loader=loader)


def report_page(found: Figures) -> str:
    """The page."""
    return (
        _environment()
        .get_template("report.html")
        .render(
            found=found,
            scope=scope_text(found.scope),
            left_out=left_out_text(found),
            percent=percent,
            plots=_plots(found),
            crews=[
                (
                    c.bay or "not named",
                    c.technician or "not named",
                    c.jobs,
                    c.repairs,
                    c.scrapped,
                    c.exceptions,
                )
                for c in found.crews
            ],
            reasons=[(label, rule or _unruled(label), count) for label, rule, count in found.reasons],
            hearing=[
                (
                    one.bay or "not named",
                    one.utterances,
                    one.no_match,
                    percent(one.no_match, one.utterances),
                    one.no_input,
                    one.taken_back,
                    one.corrections,
                )
                for one in found.hearing
            ],
        )
    )


def _plots(found: Figures) -> dict[str, object]:
    kinds: list[Bar] = [
        (name, float(jobs), f"{jobs} ({percent(jobs, found.jobs)})") for name, _, jobs in found.exceptions
    ]
    heard: list[Bar] = [(_bay(one.bay), *_share(one.no_match, one.utterances)) for one in found.hearing]
    by_month = found.months
    return {
        "bays": bars("plot-bays", "Repairs by bay", _most(found, lambda crew: _bay(crew.bay))),
        "technicians": bars(
            "plot-technicians", "Repairs by technician", _most(found, lambda crew: _person(crew.technician))
        ),
        "reasons": bars(
            "plot-reasons",
            "Why tires were not released",
            [(label, count, str(count)) for label, _, count in found.reasons[:_MOST]],
        ),
        "exceptions": bars(
            "plot-exceptions", "Jobs with an exception, by kind", sorted(kinds, key=_longest_first)
        ),
        "no match": bars(
            "plot-no-match", "Utterances not taken, by bay", sorted(heard, key=_longest_first)[:_MOST]
        ),
        "repairs by month": months(
            "plot-repairs",
            "Repairs by month",
            [(one.month, float(one.repairs), str(one.repairs)) for one in by_month],
        ),
        "scrap by month": months(
            "plot-scrap",
            "Scrap rate by month",
            [(one.month, *_share(one.scrapped, one.judged)) for one in by_month],
        ),
        "no match by month": months(
            "plot-hearing",
            "Utterances not taken, by month",
            [(one.month, *_share(one.no_match, one.utterances)) for one in by_month],
        ),
    }


def _unruled(label: str) -> str:
    return "by a supervisor" if label == REJECTED else "by inspection"


def _longest_first(bar: Bar) -> float:
    return -bar[1]


def _share(part: int, whole: int) -> tuple[float, str]:
    return (part / whole if whole else 0.0), percent(part, whole)


def _bay(bay: str) -> str:
    return f"bay {bay}" if bay else "no bay named"


def _person(name: str) -> str:
    return name or "nobody named"


def _most(found: Figures, named: Callable[[Crew], str]) -> list[Bar]:
    """Those with the most repairs; the table has the others."""
    total: Counter[str] = Counter()
    for crew in found.crews:
        total[named(crew)] += crew.repairs
    ordered = sorted((-count, in_order(name), name) for name, count in total.items() if count)
    return [(name, -count, str(-count)) for count, _, name in ordered[:_MOST]]
