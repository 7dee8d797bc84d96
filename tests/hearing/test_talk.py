"""What was heard before makes stricter, by the arithmetic of a hidden Markov model, and never laxer."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.hearing import (
    Calibration,
    Evidence,
    Outcome,
    Talk,
    WordEvidence,
    calibration,
    judge,
    posterior,
    probability_of,
)
from handsfree.hearing._talk import EVEN

probabilities = st.floats(0.05, 0.95)
pauses = st.floats(0, 120)


def by_all_ways(heard: list[tuple[float, float]], last_s: float) -> float:
    """The same without recursion: the weight of every way through the two states (Rabiner 1989, equation 13)."""
    total = [0.0, 0.0]
    for way in itertools.product((0, 1), repeat=len(heard) + 1):
        weight = 0.5
        for at, (pause, p) in enumerate(heard):
            if at:
                weight *= stay(pause) if way[at] == way[at - 1] else 1 - stay(pause)
            weight *= p if way[at] else 1 - p
        weight *= stay(last_s) if way[-1] == way[-2] else 1 - stay(last_s)
        total[way[-1]] += weight
    return total[1] / sum(total)


def stay(pause_s: float) -> float:
    return 0.5 + 0.5 * math.exp(-pause_s / 15.0)


@given(st.lists(st.tuples(pauses, probabilities), min_size=1, max_size=6), pauses)
def test_it_is_the_forward_algorithm(heard: list[tuple[float, float]], last_s: float) -> None:
    talk = Talk()
    for pause, p in heard:
        talk.passed(pause)
        talk.heard(p)
    talk.passed(last_s)
    assert talk.prior == pytest.approx(min(EVEN, by_all_ways(heard, last_s)), abs=1e-9)


@given(st.floats(0, 1), st.floats(0.01, 0.99))
def test_evenly_met_it_is_what_the_sound_says(p: float, prior: float) -> None:
    assert posterior(p, EVEN) == pytest.approx(p)
    assert posterior(p, min(prior, EVEN)) <= p + 1e-9


def test_talk_makes_stricter_and_an_answer_or_a_minute_ends_it() -> None:
    talk = Talk()
    assert talk.prior == EVEN
    talk.heard(0.0)
    assert 0.04 < talk.prior < 0.06, "one sound is not yet sure talk"
    talk.passed(5)
    talk.heard(0.01)
    assert talk.prior < 0.02
    talk.passed(5)
    strict = talk.prior
    assert strict < 0.2
    talk.heard(0.99)
    assert talk.prior > 2 * strict
    talk.heard(0.99)
    assert talk.prior == EVEN, "two good answers, and it is as before"
    talk.heard(0.0)
    talk.heard(0.0)
    talk.passed(60)
    assert talk.prior == pytest.approx(EVEN, abs=0.01)


def test_after_answers_nothing_is_taken_that_was_not_before() -> None:
    talk = Talk()
    for _ in range(10):
        talk.heard(1.0)
    assert talk.prior == EVEN


def heard_with(probability: float) -> tuple[Evidence, Calibration]:
    """An utterance of that probability by its sound."""
    word = WordEvidence("completed", 0.2, 0.9, -10.0, -10.5)
    evidence = Evidence(-10.0, -10.5, 1.0, 0.0, (word,), snr_db=20.0)
    odds = math.log(probability / (1 - probability))
    by = calibration()
    return evidence, Calibration({"ratio": (0.0, 1.0, 0.0)}, odds, by.accept, by.accept_strict, by.confirm)


@pytest.mark.parametrize(
    ("probability", "prior", "outcome"),
    [
        (0.95, 0.5, Outcome.ACCEPT),
        (0.95, 0.2, Outcome.CONFIRM),  # 0.83
        (0.99, 0.2, Outcome.ACCEPT),  # 0.96
        (0.95, 0.9, Outcome.ACCEPT),
        (0.80, 0.9, Outcome.CONFIRM),  # never laxer
        (0.50, 0.01, Outcome.CONFIRM),  # nor is anything refused that was asked about
        (0.30, 0.5, Outcome.REJECT),
    ],
)
def test_in_talk_it_is_asked_about(probability: float, prior: float, outcome: Outcome) -> None:
    evidence, by = heard_with(probability)
    assert judge(evidence, by, prior=prior).outcome is outcome
    assert judge(evidence, by, prior=prior).probability == pytest.approx(probability)


def test_scores_of_a_record_say_the_same() -> None:
    assert probability_of({"probability": "0.800"}) == pytest.approx(0.8)
    assert probability_of({"probability": "0.800", "prior": "0.200"}) == pytest.approx(0.5)
    assert probability_of({}) == 0.0
