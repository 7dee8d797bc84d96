"""Several injuries in one tire: arcs, overlap, spacing under each policy, the binding pair."""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.limits import (
    LimitsError,
    MissingFact,
    Outcome,
    Site,
    arc,
    exact,
    judge,
    named_policy,
    parse_designation,
    spacing,
    spoken,
)
from handsfree.quantity import Quantity

IN, OUT, CLOSE = Outcome.INSIDE, Outcome.OUTSIDE, Outcome.CLOSE
AROUND = parse_designation("215/65R15").circumference  # 2,075 mm
THICK = exact("12", "mm")


def _site(name: str, clock: str, across: str = "0", patch: str = "40") -> Site:
    return Site(name, exact(clock, "deg"), exact(across, "mm"), exact(patch, "mm"))


# Computed for 215/65R15, 2,075 mm round the tread: 30 deg = 173 mm; 40 cm = 69.4 deg; 150 mm = 26.0 deg.
def test_arcs() -> None:
    assert round(float(arc(exact("30", "deg"), AROUND).value)) == 173
    assert float(arc(exact("69.4", "deg"), AROUND).value) == pytest.approx(400, abs=0.3)
    assert float(arc(exact("26.0", "deg"), AROUND).value) == pytest.approx(150, abs=0.3)
    assert arc(exact("350", "deg"), AROUND) == arc(exact("10", "deg"), AROUND)
    assert arc(exact("370", "deg"), AROUND) == arc(exact("10", "deg"), AROUND)
    assert arc(exact("180", "deg"), AROUND).value == AROUND.value / 2


@pytest.mark.parametrize(
    ("policy", "far", "near"),
    [("jp", "69.5", "69.3"), ("nz", "26.1", "25.9"), ("us", "12", "5")],
)
def test_spacing_under_each_policy(policy: str, far: str, near: str) -> None:
    """Japan 400 mm, New Zealand 150 mm, the US chart only that patches don't overlap."""
    rule = named_policy(policy)
    apart = spacing([_site("a", "0"), _site("b", far)], AROUND, THICK, policy=rule)
    close = spacing([_site("a", "0"), _site("b", near)], AROUND, THICK, policy=rule)
    assert apart.binding is not None
    assert close.binding is not None
    assert apart.binding.outcome is IN
    assert apart.binding.slack_mm > 0
    assert close.binding.outcome is OUT
    assert close.binding.slack_mm < 0
    assert close.outcome is OUT


def test_the_limit_itself_is_allowed() -> None:
    turn = Fraction(400) * 360 / AROUND.value
    pair = spacing(
        [_site("a", "0"), Site("b", Quantity(turn, "deg"), exact("0", "mm"), exact("40", "mm"))],
        AROUND,
        THICK,
        policy=named_policy("jp"),
    ).binding
    assert pair is not None
    assert pair.round_mm.low == pair.round_mm.high == 400
    assert pair.spaced is IN
    assert pair.slack_mm == 0


def test_overlap_is_judged_on_the_liner() -> None:
    """On the liner the same clock angle spans less: 10 deg is 57.6 mm on the tread, 55.5 mm on the liner."""
    liner = AROUND.value - 2 * Fraction(math.pi) * 12
    pair = spacing([_site("a", "0", patch="56"), _site("b", "10", patch="56")], AROUND, THICK).binding
    assert pair is not None
    assert pair.apart_mm.low == liner / 36
    assert pair.overlap is OUT
    assert spacing([_site("a", "0", patch="55"), _site("b", "10", patch="56")], AROUND, THICK).outcome is IN


def test_side_by_side_and_askew() -> None:
    beside = spacing([_site("a", "90", "-20"), _site("b", "90", "20")], AROUND, THICK).binding
    assert beside is not None
    assert (beside.apart_mm.low, beside.round_mm.high, beside.overlap) == (40, 0, IN)
    assert beside.slack_mm == 0
    wide = spacing([_site("a", "90", "-20"), _site("b", "90", "25")], AROUND, THICK).binding
    assert wide is not None
    assert wide.slack_mm == 5
    askew = spacing([_site("a", "0", "-15"), _site("b", "10", "15")], AROUND, THICK).binding
    assert askew is not None
    liner = float(AROUND.value) - 24 * math.pi
    assert float(askew.apart_mm.low) == pytest.approx(math.hypot(liner / 36, 30))


def test_binding_pair_is_the_tightest() -> None:
    sites = [_site("a", "0"), _site("b", "100"), _site("c", "112"), _site("d", "250")]
    report = spacing(sites, AROUND, THICK)
    assert len(report.pairs) == 6
    assert report.binding is not None
    assert {report.binding.first, report.binding.second} == {"b", "c"}
    slacks = [pair.slack_mm for pair in report.pairs]
    assert slacks == sorted(slacks)


def test_a_big_patch_binds_before_a_near_small_one() -> None:
    sites = [_site("a", "0", patch="30"), _site("b", "10", patch="30"), _site("c", "30", patch="180")]
    binding = spacing(sites, AROUND, THICK).binding
    assert binding is not None
    assert {binding.first, binding.second} == {"b", "c"}


def test_spacing_can_bind_where_overlap_does_not() -> None:
    report = spacing([_site("a", "0"), _site("b", "60")], AROUND, THICK, policy=named_policy("jp"))
    assert report.binding is not None
    assert (report.binding.overlap, report.binding.spaced, report.binding.outcome) == (IN, OUT, OUT)
    assert report.binding.slack_mm == Fraction(60, 360) * AROUND.value - 400


@pytest.mark.parametrize(
    ("policy", "sites", "outcome"),
    [("jp", 2, IN), ("jp", 3, OUT), ("nz", 3, IN), ("nz", 4, OUT), ("us", 5, IN), ("de", 5, IN)],
)
def test_number_allowed(policy: str, sites: int, outcome: Outcome) -> None:
    places = [_site(str(i), str(i * 360 // sites)) for i in range(sites)]
    report = spacing(places, AROUND, THICK, policy=named_policy(policy))
    assert report.count.outcome is outcome
    assert report.outcome is outcome
    assert report.count.measured == exact(str(sites), "1")


def test_run_flat_and_fast_tires() -> None:
    """New Zealand: run-flat at most 2, 400 mm apart. UK: one repair from speed symbol V up."""
    two = [_site("a", "0"), _site("b", "40")]
    assert spacing(two, AROUND, THICK, {"tire.run_flat": "no"}, named_policy("nz")).outcome is IN
    assert spacing(two, AROUND, THICK, {"tire.run_flat": "yes"}, named_policy("nz")).outcome is OUT
    three = [_site("a", "0"), _site("b", "120"), _site("c", "240")]
    assert spacing(three, AROUND, THICK, {"tire.run_flat": "yes"}, named_policy("nz")).count.outcome is OUT
    uk = named_policy("uk")
    for symbol, outcome in (
        ("H", IN),
        ("U", IN),
        ("V", OUT),
        ("W", OUT),
        ("Y", OUT),
        ("Z", OUT),
        ("ZR", OUT),
    ):
        assert spacing(two, AROUND, THICK, {"tire.speed_symbol": symbol}, uk).count.outcome is outcome
    with pytest.raises(MissingFact):
        spacing(two, AROUND, THICK, policy=uk)


def test_one_site_has_no_pair() -> None:
    report = spacing([_site("a", "0")], AROUND, THICK)
    assert (report.pairs, report.binding, report.outcome) == ((), None, IN)
    assert (
        spacing([_site("a", "0")], AROUND, THICK, {"tire.speed_symbol": "V"}, named_policy("uk")).outcome
        is IN
    )


def test_bad_sites() -> None:
    with pytest.raises(LimitsError, match="same name"):
        spacing([_site("a", "0"), _site("a", "90")], AROUND, THICK)
    with pytest.raises(LimitsError, match="no injury"):
        spacing([], AROUND, THICK)
    with pytest.raises(LimitsError, match="thicker"):
        spacing([_site("a", "0")], exact("300", "mm"), exact("50", "mm"))


def test_resolutions_combine() -> None:
    def pair(clock: Quantity, across: Quantity) -> tuple[Fraction, Fraction, Fraction, Fraction]:
        sites = [_site("a", "0"), Site("b", clock, across, exact("40", "mm"))]
        found = spacing(sites, AROUND, THICK).binding
        assert found is not None
        return found.round_mm.low, found.round_mm.high, found.apart_mm.low, found.apart_mm.high

    low, high, near, far = pair(spoken("10", "deg"), exact("0", "mm"))
    degree = AROUND.value / 360
    assert (low, high) == (degree * Fraction(19, 2), degree * Fraction(21, 2))
    assert near < far
    assert pair(spoken("0", "deg"), spoken("0", "mm"))[::2] == (0, 0)
    assert pair(exact("0", "deg"), spoken("30", "mm"))[2:] == (Fraction(59, 2), Fraction(61, 2))
    assert pair(exact("0", "deg"), spoken("-30", "mm"))[2:] == (Fraction(59, 2), Fraction(61, 2))
    assert pair(exact("0", "deg"), spoken("0", "mm"))[2:] == (0, Fraction(1, 2))
    for off in ("0.3", "-0.3"):
        lopsided = Quantity(Decimal(off), "mm", Decimal(1))
        assert pair(exact("0", "deg"), lopsided)[2:] == (0, Fraction(4, 5))
    assert pair(spoken("180", "deg"), exact("0", "mm"))[1] == AROUND.value / 2
    close = spacing(
        [_site("a", "0"), Site("b", spoken("7", "deg"), exact("0", "mm"), exact("40", "mm"))], AROUND, THICK
    )
    assert close.outcome is CLOSE


_CLOCK = st.integers(0, 359)
_ACROSS = st.integers(-60, 60)


@given(_CLOCK, _ACROSS, _CLOCK, _ACROSS, _CLOCK)
def test_turned_and_mirrored_tires_judge_alike(c1: int, x1: int, c2: int, x2: int, turn: int) -> None:
    def judged(a: tuple[int, int], b: tuple[int, int]) -> tuple[Outcome, Fraction]:
        found = spacing(
            [_site("a", *map(str, a)), _site("b", *map(str, b))], AROUND, THICK, policy=named_policy("nz")
        )
        assert found.binding is not None
        return found.outcome, found.binding.slack_mm

    here = judged((c1, x1), (c2, x2))
    assert judged((c2, x2), (c1, x1)) == here
    assert judged((c1 + turn, x1), (c2 + turn, x2)) == here
    assert judged((c1, -x1), (c2, -x2)) == here
    assert judged((-c1 % 360, x1), (-c2 % 360, x2)) == here


def test_the_rule_itself() -> None:
    facts = {"repairs.spacing": spoken("400", "mm")}
    assert judge("repairs.spacing.min", facts, named_policy("jp")).outcome is CLOSE
    assert judge("repairs.spacing.min", facts).high is None
    flat = {**facts, "tire.run_flat": "yes"}
    assert (
        judge(
            "repairs.spacing.min", {**flat, "repairs.spacing": exact("399", "mm")}, named_policy("nz")
        ).outcome
        is OUT
    )
