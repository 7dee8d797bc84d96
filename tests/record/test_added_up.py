"""A verdict's numbers as they are shown: worked out again in exact fractions, over limits and values at random."""

from __future__ import annotations

import random
from fractions import Fraction

import pytest

from handsfree.limits import Outcome
from handsfree.limits._compare import show
from handsfree.quantity import Quantity
from handsfree.record._added_up import added_up, judged_numbers
from handsfree.record._units import in_use


@pytest.mark.parametrize(
    ("written", "shown"),
    [
        (
            "Lug nut torque: 105.7 N.m; least 105.6 N.m, most 114.4 N.m; inside by 0.1 N.m.",
            "Lug nut torque: 105.7 N.m; least 105.6 N.m, most 114.4 N.m; inside by 0.1 N.m.",
        ),
        (
            "Pressure found: 24 psi; least ~14.5038 psi; inside by ~9.4962 psi (below about 100 kPa).",
            "Pressure found: 24 psi; least 14.51 psi; inside by 9.49 psi (below about 100 kPa).",
        ),
        (
            "Pressure loss: ~-0.1695 psi; most ~1.4504 psi; inside by ~1.6199 psi.",
            "Pressure loss: -0.16 psi; most 1.45 psi; inside by 1.61 psi.",
        ),
        # Hundredths would put the value on its limit, or below it: as many more as it takes.
        ("X: 14.51 psi; least ~14.5038 psi; inside by ~0.0062 psi",
         "X: 14.51 psi; least 14.504 psi; inside by 0.006 psi"),
        ("X: 14.504 psi; least ~14.5038 psi; inside by ~0.0002 psi",
         "X: 14.504 psi; least 14.5038 psi; inside by 0.0002 psi"),
        ("X: 6 mm; most 6 mm; inside by 0 mm.", "X: 6 mm; most 6 mm; inside by 0 mm."),
        ("Air: 70 degF; least 41 degF; inside by ~16.1111 K.", "Air: 70 °F; least 41 °F; inside by 29 °F."),
        ("Tread: 7/32 in; more than 2/32 in; inside by 5/32 in.",
         "Tread: 7/32 in; more than 2/32 in; inside by 5/32 in."),
    ],
)  # fmt: skip
def test_a_sentence_adds_up_and_stays_true(written: str, shown: str) -> None:
    assert in_use(written) == shown


def test_whatever_is_judged_is_shown_on_its_own_side_of_the_limit() -> None:
    chance = random.Random(7)
    for _ in range(3000):
        low = Fraction(chance.randint(1, 10**6), chance.randint(1, 9999))
        value = Fraction(round(low * 10) + chance.randint(-3, 3), 10)
        if abs(value - low) < Fraction(1, 1000):
            continue
        outcome = Outcome.INSIDE if value > low else Outcome.OUTSIDE
        numbers = (show(Quantity(one, "psi")).removesuffix(" psi") for one in (value, low))
        found = added_up(*numbers, "", "psi", outcome)
        assert found is not None
        shown, least, margin = map(Fraction, (found.value, found.low, found.margin))
        assert shown == value  # as it was read
        assert shown - least == margin
        assert (margin > 0) == (value > low)
        assert least >= low - Fraction(1, 20000)  # the record's own rounding
        assert margin <= value - low + Fraction(1, 20000)


def test_the_digits_that_were_heard_stay() -> None:
    verdict = {"low": "", "high": "6 mm", "margin": "1 mm", "outcome": "inside", "inclusive": "true",
               "reason": "Injury size: 5 mm; most 6 mm; inside by 1 mm."}  # fmt: skip
    found = judged_numbers(verdict, {"value": "5.0", "unit": "mm"})
    assert found is not None
    assert (found.value, found.computed) == ("5.0", False)
    computed = judged_numbers(verdict, {"value": "7", "unit": "mm"})
    assert computed is not None
    assert (computed.value, computed.computed) == ("5", True)


@pytest.mark.parametrize("margin", ["3 mm", "-1 mm", "1 psi"])
def test_nothing_is_made_to_add_up_of_numbers_that_do_not(margin: str) -> None:
    """A line that was tampered with is shown as it stands."""
    verdict = {"low": "", "high": "6 mm", "margin": margin, "outcome": "inside", "inclusive": "true",
               "reason": "Injury size: 5 mm; most 6 mm; inside by 1 mm."}  # fmt: skip
    assert judged_numbers(verdict) is None
    assert added_up("7", "", "6", "mm", "inside") is None
