"""Gate 3 as a function: what makes it say no, and that it says why."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.hearing import THRESHOLDS, Evidence, WordEvidence, judge

GOOD = Evidence(
    grammar=-1.0,
    phone=-1.6,
    seconds=2.0,
    unexplained_s=0.0,
    words=(WordEvidence("one", 0.3, 0.6, -2.0, -2.0), WordEvidence("five", 0.6, 1.0, -2.0, -2.0)),
)


def with_word(begin: float, end: float, score: float) -> Evidence:
    return replace(GOOD, words=(*GOOD.words, WordEvidence("two", begin, end, score, -2.0)))


def test_what_fits_better_than_free_phones_is_accepted() -> None:
    assert judge(GOOD) == (True, "")


@pytest.mark.parametrize(
    ("evidence", "why"),
    [
        (replace(GOOD, grammar=GOOD.phone + THRESHOLDS.fit - 0.01), "does not fit the words"),
        (with_word(1.0, 1.4, -2.0 + THRESHOLDS.worst_word - 0.01), "one word"),
        (with_word(1.0, 1.0 + THRESHOLDS.longest_word_s + 0.1, -2.0), "too long"),
        (replace(GOOD, words=()), "no words"),
        (replace(GOOD, agreed=False), "second listening"),
        (replace(GOOD, grammar=5.0, unexplained_s=THRESHOLDS.unexplained_s + 0.01), "more was said"),
        (
            replace(
                GOOD,
                grammar=GOOD.phone + THRESHOLDS.fit + 0.1 * THRESHOLDS.unexplained_weight,
                unexplained_s=0.11,
            ),
            "more was said",
        ),
    ],
)
def test_each_reason_to_refuse(evidence: Evidence, why: str) -> None:
    accepted, reason = judge(evidence)
    assert not accepted
    assert why in reason


@given(st.floats(-20, 5), st.floats(0, 5), st.floats(0, 3))
def test_a_worse_fit_is_never_accepted_where_a_better_one_is_not(
    fit: float, less: float, word: float
) -> None:
    better = replace(GOOD, grammar=fit)
    worse = replace(
        GOOD, grammar=fit - less, words=(replace(GOOD.words[0], score=GOOD.words[0].score - word),)
    )
    if judge(worse)[0]:
        assert judge(replace(better, words=worse.words))[0]


def test_the_record_gets_named_numbers() -> None:
    assert dict(GOOD.named())["ratio"] == pytest.approx(0.6)
    assert dict(GOOD.named())["worst_word"] == 0.0
