"""Date codes: weeks run Sunday to Saturday, 01 is the first full week (49 CFR 574.5)."""

from __future__ import annotations

import datetime as dt
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.limits import (
    LimitsError,
    MissingFact,
    Outcome,
    Policy,
    Severity,
    age,
    judge,
    parse_date_code,
    weeks_in_year,
)

# 0301: "3rd week of 2001" in an owner's manual, 2006; 3623: 36th week of 2023 on a dealer page; dates
# computed.
CODES = [
    ("0301", "2001-01-21", "2001-01-27"),
    ("2501", "2001-06-24", "2001-06-30"),
    ("3623", "2023-09-03", "2023-09-09"),
    ("5209", "2009-12-27", "2010-01-02"),
    ("5323", "2023-12-31", "2024-01-06"),
    ("0124", "2024-01-07", "2024-01-13"),
    ("5224", "2024-12-29", "2025-01-04"),
    ("0123", "2023-01-01", "2023-01-07"),
    ("0100", "2000-01-02", "2000-01-08"),
]


@pytest.mark.parametrize(("code", "first", "last"), CODES)
def test_weeks(code: str, first: str, last: str) -> None:
    week = parse_date_code(code)
    assert (week.code, week.first.isoformat(), week.last.isoformat()) == (code, first, last)


def test_not_the_iso_week() -> None:
    """31 December 2023 is week 5323 here, but 2023-W52 in ISO 8601."""
    assert parse_date_code("5323").first == dt.date(2023, 12, 31)
    assert dt.date(2023, 12, 31).isocalendar().week == 52


@pytest.mark.parametrize(
    ("code", "word"),
    [
        ("5322", "01 to 52"),
        ("5401", "01 to 52"),
        ("5423", "01 to 53"),
        ("0001", "01 to 52"),
        ("031", "three digits"),
        ("03", "2 digits"),
        ("", "not digits"),
        ("03011", "5 digits"),
        ("O301", "not digits"),
        ("٠٣٠١", "not digits"),
        ("-301", "not digits"),
    ],
)
def test_codes_that_can_not_be(code: str, word: str) -> None:
    with pytest.raises(LimitsError, match=word):
        parse_date_code(code)


def test_years_of_53_weeks() -> None:
    assert [year for year in range(2000, 2030) if weeks_in_year(year) == 53] == [
        2000,
        2006,
        2012,
        2017,
        2023,
        2028,
    ]
    assert {weeks_in_year(year) for year in range(2000, 2100)} == {52, 53}


@given(st.dates(dt.date(2000, 1, 2), dt.date(2099, 12, 26)))
def test_every_day_lies_in_exactly_one_week(day: dt.date) -> None:
    codes = [
        f"{week:02d}{year % 100:02d}"
        for year in (day.year - 1, day.year)
        if year >= 2000
        for week in range(1, weeks_in_year(year) + 1)
    ]
    holding = [c for c in map(parse_date_code, codes) if c.first <= day <= c.last]
    assert len(holding) == 1
    assert holding[0].first.strftime("%A") == "Sunday"
    assert (holding[0].last - holding[0].first).days == 6


def test_age_is_whole_weeks_wide() -> None:
    code = parse_date_code("0124")  # 7 to 13 January 2024
    old = age(code, dt.date(2026, 1, 10))
    year = Fraction("365.2425")
    assert old.unit == "a"
    assert old.value == Fraction(728 + 734, 2) / year
    assert old.resolution == 6 / year


def test_age_within_its_own_week_and_before_it() -> None:
    code = parse_date_code("0124")
    on_sunday = age(code, dt.date(2024, 1, 7))
    assert on_sunday.value == 0
    assert on_sunday.resolution is None
    assert age(code, dt.date(2024, 1, 9)).value == Fraction(1) / Fraction("365.2425")
    with pytest.raises(LimitsError, match="future"):
        age(code, dt.date(2024, 1, 6))


def _judge(code: str, today: str, policy: Policy | None = None) -> tuple[Outcome, Severity]:
    verdict = judge("tire.age", {"tire.date_code": code, "today": today}, policy or Policy())
    return verdict.outcome, verdict.severity


def test_age_rule_notes_six_years_and_warns_at_ten() -> None:
    assert _judge("0124", "2026-01-01") == (Outcome.INSIDE, Severity.WARN)
    assert _judge("0118", "2026-01-01") == (Outcome.OUTSIDE, Severity.NOTE)
    assert _judge("0115", "2026-01-01") == (Outcome.OUTSIDE, Severity.WARN)
    assert _judge("0116", "2026-01-05") == (
        Outcome.CLOSE,
        Severity.WARN,
    )  # 3 to 9 January 2016: ten years, or not
    assert _judge("0118", "2026-01-01", Policy(choose={"tire.age": "six_years"})) == (
        Outcome.OUTSIDE,
        Severity.WARN,
    )


def test_age_rule_says_which_week_and_which_source() -> None:
    note = judge("tire.age", {"tire.date_code": "0118", "today": "2026-01-01"})
    assert "week of 2018-01-07 to 2018-01-13" in note.reason
    assert "six years" in note.source
    assert note.high is not None
    assert note.high.value == 6
    none = judge(
        "tire.age", {"tire.date_code": "0124", "today": "2026-01-01"}, Policy(choose={"tire.age": "us_none"})
    )
    assert none.high is None
    assert "USTMA" in none.source


def test_age_rule_errors() -> None:
    with pytest.raises(MissingFact) as gap:
        judge("tire.age", {"tire.date_code": "0124"})
    assert gap.value.args[0] == "today"
    with pytest.raises(LimitsError, match="year-month-day"):
        judge("tire.age", {"tire.date_code": "0124", "today": "31.12.2025"})
    with pytest.raises(LimitsError, match="three digits"):
        judge("tire.age", {"tire.date_code": "124", "today": "2026-01-01"})
