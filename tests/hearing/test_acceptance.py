"""Gate 3 as a function: what makes it say no or ask, and that it says why."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.hearing import Evidence, Outcome, WordEvidence, calibration, judge

GOOD = Evidence(
    grammar=0.2,
    phone=-1.6,
    seconds=2.0,
    unexplained_s=0.0,
    words=(
        WordEvidence("one", 0.3, 0.6, -2.0, -2.0),
        WordEvidence("five", 0.6, 1.0, -2.0, -2.0),
        WordEvidence("millimeters", 1.0, 1.6, -2.0, -2.0),
    ),
)


def fitting(by: float) -> Evidence:
    """Every word as far over the phone loop."""
    return replace(GOOD, words=tuple(replace(word, score=word.phone + by) for word in GOOD.words))


def with_word(begin: float, end: float, score: float) -> Evidence:
    return replace(GOOD, words=(*GOOD.words, WordEvidence("two", begin, end, score, -2.0)))


def test_what_fits_better_than_free_phones_is_accepted() -> None:
    found = judge(GOOD)
    assert (found.outcome, found.reason) == (Outcome.ACCEPT, "")
    assert found.probability > calibration().accept


@pytest.mark.parametrize(
    ("evidence", "why"),
    [
        (fitting(-4.0), "fit the words"),
        (with_word(1.6, 1.7, -14.0), "one word"),
        (with_word(1.6, 4.6, -2.0), "too long"),
        (replace(GOOD, words=()), "no words"),
        (replace(GOOD, unexplained_s=1.5), "more was said"),
    ],
)
def test_each_reason_not_to_take_it(evidence: Evidence, why: str) -> None:
    found = judge(evidence)
    assert found.outcome is not Outcome.ACCEPT
    assert why in found.reason


def test_figures_and_short_words_are_judged_more_strictly_and_asked_about_in_between() -> None:
    by = calibration()
    between = next(
        worse
        for n in range(200)
        if by.accept <= judge(worse := replace(GOOD, unexplained_s=n / 100)).probability < by.accept_strict
    )
    assert judge(between).outcome is Outcome.ACCEPT
    assert judge(between, strict=True).outcome is Outcome.CONFIRM
    assert judge(GOOD, strict=True).outcome is Outcome.ACCEPT


def test_between_the_two_it_is_asked() -> None:
    by = calibration()
    outcomes = [judge(replace(GOOD, unexplained_s=n / 100)) for n in range(200)]
    assert [o.outcome for o in outcomes] == sorted(
        (o.outcome for o in outcomes), key=[Outcome.ACCEPT, Outcome.CONFIRM, Outcome.REJECT].index
    )
    asked = [o for o in outcomes if o.outcome is Outcome.CONFIRM]
    assert asked
    assert all(by.confirm <= o.probability < by.accept and o.reason for o in asked)


@given(st.floats(-20, 5), st.floats(0, 5), st.floats(0, 3), st.floats(0, 1), st.floats(0, 20))
def test_a_worse_fit_is_never_the_likelier(
    fit: float, less: float, word: float, unexplained: float, noise: float
) -> None:
    better, less_good = fitting(fit), fitting(fit - less)
    first = replace(less_good.words[0], score=less_good.words[0].score - word)
    worse = replace(
        less_good,
        words=(first, *less_good.words[1:]),
        unexplained_s=unexplained,
        snr_db=better.snr_db - noise,
    )
    assert judge(worse).probability <= judge(better).probability
    assert judge(replace(better, agreed=False)).probability < judge(better).probability


def test_the_record_gets_named_numbers() -> None:
    assert dict(GOOD.named())["ratio"] == 0.0
    assert dict(GOOD.named())["worst_word"] == 0.0
