"""The report as one self-contained HTML page: no script, no network, every text escaped. Pure."""

from __future__ import annotations

from functools import cache

from jinja2 import ChoiceLoader, Environment, PackageLoader

from handsfree.review._page import environment

from ._figures import Crew, Figures
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
        )
    )


def _plots(found: Figures) -> dict[str, object]:
    crews = sorted(found.crews, key=lambda crew: (-crew.repairs, crew.bay, crew.technician))
    kinds: list[Bar] = [
        (name, float(jobs), f"{jobs} ({percent(jobs, found.jobs)})") for name, _, jobs in found.exceptions
    ]
    heard: list[Bar] = [(_bay(one.bay), *_share(one.no_match, one.utterances)) for one in found.hearing]
    by_month = found.months
    return {
        "crews": bars(
            "plot-crews",
            f"Repairs by bay and technician{', the most' if len(crews) > _MOST else ''}",
            [(_crew(crew), crew.repairs, str(crew.repairs)) for crew in crews[:_MOST]],
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


def _longest_first(bar: Bar) -> float:
    return -bar[1]


def _share(part: int, whole: int) -> tuple[float, str]:
    return (part / whole if whole else 0.0), percent(part, whole)


def _bay(bay: str) -> str:
    return f"bay {bay}" if bay else "no bay named"


def _crew(crew: Crew) -> str:
    return f"{_bay(crew.bay)}, {crew.technician or 'nobody named'}"
