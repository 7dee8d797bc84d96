"""Date code of a tire: week and year of manufacture, and the tire's age on a day.

Rule (49 CFR 574.5; week bounds in (b)(3) from memory): week 01 is the first FULL calendar week of the year,
Sunday through Saturday; the last week may run up to six days into the next year. ISO 8601 weeks differ.
Three-digit codes (before July 2000) repeat every ten years, so they are refused.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from fractions import Fraction

from handsfree.limits._types import LimitsError
from handsfree.quantity import Quantity

__all__ = ["DateCode", "age", "parse_date_code", "weeks_in_year"]

_YEAR_DAYS = Fraction(3652425, 10000)  # mean Gregorian year
_WEEK = dt.timedelta(days=7)


@dataclass(frozen=True, slots=True)
class DateCode:
    """One production week: ``first`` is its Sunday, ``last`` its Saturday."""

    code: str
    first: dt.date
    last: dt.date


def _first_sunday(year: int) -> dt.date:
    new_year = dt.date(year, 1, 1)
    return new_year + dt.timedelta(days=6 - new_year.weekday())


def weeks_in_year(year: int) -> int:
    """52, or 53 (2000, 2006, 2012, 2017, 2023, 2028, ...)."""
    return (_first_sunday(year + 1) - _first_sunday(year)) // _WEEK


def parse_date_code(code: str) -> DateCode:
    """Read four digits, week then year of this century. Raises LimitsError with one plain sentence."""
    if not (code.isascii() and code.isdigit()):
        raise LimitsError(
            f"date code {code!r} is not digits only: read the last four digits of the tire number"
        )
    if len(code) == 3:
        raise LimitsError(
            f"date code {code} has three digits: made before July 2000, decade unknown, too old"
        )
    if len(code) != 4:
        raise LimitsError(f"date code {code} has {len(code)} digits: read four, week then year")
    week, year = int(code[:2]), 2000 + int(code[2:])
    last = weeks_in_year(year)
    if not 1 <= week <= last:
        raise LimitsError(f"date code {code} can't be: {year} has weeks 01 to {last}, not {week:02d}")
    first = _first_sunday(year) + (week - 1) * _WEEK
    return DateCode(code, first, first + dt.timedelta(days=6))


def age(code: DateCode, today: dt.date) -> Quantity:
    """Age in mean Gregorian years at ``today``: middle of the production week, resolved to that week.

    Raises LimitsError if the week has not begun by ``today``.
    """
    if code.first > today:
        raise LimitsError(f"date code {code.code} lies in the future of {today.isoformat()}: read it again")
    youngest, oldest = max((today - code.last).days, 0), (today - code.first).days
    middle = Fraction(youngest + oldest, 2) / _YEAR_DAYS
    width = Fraction(oldest - youngest) / _YEAR_DAYS
    return Quantity(middle, "a", width or None)
