"""What is kept and how strictly it is judged: never more let through than before."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.enrolment._gain import Trial, bias_for, tally, wins
from handsfree.hearing import MOST_LAXER, MOST_STRICTER, Adaptation, calibration
from handsfree.hearing._acceptance import Evidence, Outcome, WordEvidence, judge

ACCEPT = math.log(calibration().accept / (1 - calibration().accept))  # as logarithm of the odds
CONFIRM = math.log(calibration().confirm / (1 - calibration().confirm))


def right(odds: float) -> Trial:
    return Trial(inside=True, meant=True, taken=True, odds=odds)


def wrong(odds: float) -> Trial:
    return Trial(inside=True, meant=False, taken=True, odds=odds)


def outside(odds: float) -> Trial:
    return Trial(inside=False, meant=False, taken=True, odds=odds)


DEAF = Trial(inside=True, meant=False, taken=False, odds=None)

odds = st.floats(-6, 6)
inside = st.one_of(st.builds(right, odds), st.builds(wrong, odds), st.just(DEAF))
#: The same phrases in the same order, as they were heard before and after.
phrases = st.lists(
    st.one_of(st.tuples(inside, inside), st.tuples(st.builds(outside, odds), st.builds(outside, odds))),
    max_size=30,
)


def passing(some: list[Trial], bound: float, bias: float) -> int:
    return sum(t.odds is not None and t.odds + bias >= bound for t in some if t.taken and not t.meant)


@given(phrases)
def test_no_more_passes_than_before_whatever_was_heard(heard: list[tuple[Trial, Trial]]) -> None:
    before, after = [b for b, _ in heard], [a for _, a in heard]
    bias = bias_for(before, after)
    assert -MOST_STRICTER <= bias <= MOST_LAXER
    for where in (True, False):
        for bound in (ACCEPT, CONFIRM):
            old = passing([t for t in before if t.inside == where], bound, 0.0)
            new = passing([t for t in after if t.inside == where], bound, bias)
            # At its strictest it may still let more through; then it does not win.
            assert new <= old or (bias == -MOST_STRICTER and not wins(before, after, bias))
    if wins(before, after, bias):
        assert tally(after, bias).outside <= tally(before).outside
        assert tally(after, bias).wrong <= tally(before).wrong
        assert tally(after, bias).right >= tally(before).right


def test_a_faint_voice_is_judged_less_strictly_but_only_so_far() -> None:
    assert bias_for([right(ACCEPT - 0.3)] * 10, [right(ACCEPT - 0.3)] * 10) == pytest.approx(0.3, abs=0.01)
    assert bias_for([right(-3.0)] * 10, [right(-3.0)] * 10) == MOST_LAXER
    assert bias_for([right(3.0)] * 10, [right(3.0)] * 10) == 0.0
    assert bias_for([], []) == 0.0


def test_what_answers_nothing_and_nearly_passes_keeps_the_bias_down() -> None:
    heard = [right(ACCEPT - 0.5)] * 10 + [outside(ACCEPT - 0.25)]
    assert bias_for(heard, heard) <= 0.15
    heard = [right(ACCEPT - 0.5)] * 10 + [outside(CONFIRM - 0.05)]
    assert bias_for(heard, heard) <= 0.0


def test_what_passes_only_with_the_adapted_model_makes_it_stricter() -> None:
    before, after = [right(2.0)] * 9 + [outside(-1.0)], [right(2.5)] * 9 + [outside(0.0)]
    assert -0.6 <= bias_for(before, after) < CONFIRM


def test_it_wins_by_fewer_mistakes_or_by_clearly_surer_ones() -> None:
    before = [right(1.5), right(2.0), wrong(1.0), DEAF, outside(-2)]
    assert wins(before, [right(1.6), right(2.1), right(0.5), DEAF, outside(-2)], 0.0)
    assert not wins(before, [right(1.55), right(2.05), wrong(0.5), DEAF, outside(-2)], 0.0)
    assert not wins(before, [right(1.6), DEAF, right(0.5), DEAF, outside(-2)], 0.0)
    assert wins([right(1.0)] * 10, [right(1.3 + n / 50) for n in range(10)], 0.0)
    assert not wins([right(1.0)] * 10, [right(1.05)] * 10, 0.0)
    assert not wins([right(1.0)] * 10, [right(1.0 + (-1) ** n) for n in range(10)], 0.0)
    assert not wins([right(1.0)] * 10, [right(1.0)] * 10, 0.5), "a laxer judgement is no better hearing"


def test_it_never_wins_by_letting_more_through() -> None:
    before = [DEAF, DEAF, right(2), outside(-1.0), wrong(-1.0)]
    assert not wins(before, [right(2), right(2), right(2), outside(0.0), wrong(-1.0)], 0.0)
    assert not wins(before, [right(2), right(2), right(2), outside(-1.0), wrong(0.0)], 0.0)
    assert wins(before, [right(2), right(2), right(2), outside(-1.0), wrong(-1.0)], 0.0)


@pytest.mark.parametrize("bias", [MOST_LAXER + 0.01, -MOST_STRICTER - 0.01, float("nan")])
def test_a_bias_out_of_its_bounds_can_t_be_used(bias: float) -> None:
    with pytest.raises(ValueError, match="bias"):
        Adaptation(biases={"quiet": bias})


def test_the_bias_moves_the_judgement_of_its_own_room_only() -> None:
    word = WordEvidence("seven", 0.2, 0.6, -10.0, -10.5)
    heard = Evidence(-10.0, -10.5, 1.0, 0.0, (word,), snr_db=20.0)
    plain = judge(heard).probability
    voice = Adaptation(biases={"quiet": 0.5, "noise-10db": -1.0})
    in_quiet, in_noise = (judge(heard, voice.judged_by(c)).probability for c in ("quiet", "noise-10db"))
    assert in_noise < plain < in_quiet
    assert judge(heard, voice.judged_by("noise-5db")).probability == plain
    assert judge(heard, voice.judged_by("quiet")).outcome in Outcome
    assert voice.judged_by("quiet").accept == calibration().accept
