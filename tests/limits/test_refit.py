"""Star order, stages, torque, tools: what can be checked by counting, and published speeds."""

from __future__ import annotations

import itertools
from collections import Counter
from fractions import Fraction

import pytest

from handsfree.limits import (
    LimitsError,
    MissingFact,
    Outcome,
    count,
    exact,
    judge,
    spoken,
    star_sequence,
    surface_speed,
    torque_stages,
)

IN, OUT, CLOSE = Outcome.INSIDE, Outcome.OUTSIDE, Outcome.CLOSE


@pytest.mark.parametrize("nuts", range(4, 11))
def test_star_visits_every_nut_once_and_never_a_neighbor(nuts: int) -> None:
    order = star_sequence(nuts)
    assert Counter(order) == Counter(range(1, nuts + 1))
    assert order[0] == 1
    for a, b in zip(order[::2], order[1::2], strict=False):
        assert min((a - b) % nuts, (b - a) % nuts) == nuts // 2  # across the wheel
    if nuts > 4:
        for a, b in itertools.pairwise(order):
            assert min((a - b) % nuts, (b - a) % nuts) > 1


@pytest.mark.parametrize(
    ("nuts", "order"),
    [
        (4, (1, 3, 2, 4)),
        (5, (1, 3, 5, 2, 4)),
        (6, (1, 4, 2, 5, 3, 6)),
        (7, (1, 4, 7, 3, 6, 2, 5)),
        (8, (1, 5, 3, 7, 2, 6, 4, 8)),
        (9, (1, 5, 9, 4, 8, 3, 7, 2, 6)),
        (10, (1, 6, 3, 8, 5, 10, 2, 7, 4, 9)),
    ],
)
def test_star_orders(nuts: int, order: tuple[int, ...]) -> None:
    assert star_sequence(nuts) == order


@pytest.mark.parametrize("nuts", [3, 11, 0, -5])
def test_star_domain(nuts: int) -> None:
    with pytest.raises(LimitsError, match="4 to 10"):
        star_sequence(nuts)


def test_stages_end_exactly_at_the_target() -> None:
    assert torque_stages(exact("110", "N.m")) == (exact("55", "N.m"), exact("110", "N.m"))
    assert torque_stages(exact("100", "lbf.ft"), 3)[:2] == (
        exact("100/3", "lbf.ft"),
        exact("200/3", "lbf.ft"),
    )
    assert torque_stages(exact("110", "N.m"), 1) == (exact("110", "N.m"),)
    for target, stages in (("110", 0), ("0", 2)):
        with pytest.raises(LimitsError, match="above zero"):
            torque_stages(exact(target, "N.m"), stages)


def test_tightenings() -> None:
    """Round until each nut has been tightened twice (owner's manual)."""
    wanted = count("torque.tightenings", {"nut.count": exact("5", "1")})
    assert wanted.target == 10
    assert "each nut 2 times, order 1 3 5 2 4" in wanted.reason
    assert "owner's manual" in wanted.source
    assert count("torque.tightenings", {"nut.count": exact("8", "1")}).target == 16
    with pytest.raises(LimitsError, match="4 to 10"):
        count("torque.tightenings", {"nut.count": exact("3", "1")})


def test_passes_by_body_ply() -> None:
    for rule in ("passes.inside", "passes.outside"):
        assert count(rule, {"tire.body_ply": "fabric"}).target == 3
        steel = count(rule, {"tire.body_ply": "steel"})
        assert steel.target == 6
        assert steel.source == "common practice, no published source"
        assert "steel body ply" in steel.reason
        with pytest.raises(MissingFact) as gap:
            count(rule, {})
        assert gap.value.args == ("tire.body_ply",)
        with pytest.raises(LimitsError, match="fabric, steel"):
            count(rule, {"tire.body_ply": "nylon"})


@pytest.mark.parametrize(
    ("applied", "unit", "outcome"),
    [
        ("105.59", "N.m", OUT),
        ("105.6", "N.m", IN),
        ("110", "N.m", IN),
        ("114.4", "N.m", IN),
        ("114.41", "N.m", OUT),
        ("81.13", "lbf.ft", IN),
        ("84.5", "lbf.ft", OUT),
        ("77.8", "lbf.ft", OUT),
    ],
)
def test_torque(applied: str, unit: str, outcome: Outcome) -> None:
    facts = {"torque.target": exact("110", "N.m"), "torque.applied": exact(applied, unit)}
    assert judge("torque.applied.target", facts).outcome is outcome


def test_torque_needs_the_makers_target() -> None:
    """Never from the stud size: published generic figures lie far under some vehicle makers'."""
    with pytest.raises(MissingFact) as gap:
        judge("torque.applied.target", {"torque.applied": exact("110", "N.m")})
    assert gap.value.args == ("torque.target",)


def test_torque_too_close_to_call() -> None:
    facts = {"torque.target": exact("110", "N.m"), "torque.applied": spoken("114", "N.m")}
    verdict = judge("torque.applied.target", facts)
    assert verdict.outcome is CLOSE
    assert (verdict.low, verdict.high) == (
        exact("105.6", "N.m").to("lbf.ft").to("N.m"),
        exact("572/5", "N.m"),
    )


# v = pi d n (computed): 50.8 mm at 5,000 and 20,000 rpm, 76.2 and 25.4 mm at 5,000, a 6 mm cutter at 1,200.
@pytest.mark.parametrize(
    ("diameter", "rpm", "speed"),
    [
        ("50.8", "5000", 13.30),
        ("50.8", "20000", 53.20),
        ("76.2", "5000", 19.95),
        ("25.4", "5000", 6.65),
        ("6", "1200", 0.38),
    ],
)
def test_surface_speed(diameter: str, rpm: str, speed: float) -> None:
    found = surface_speed(exact(diameter, "mm"), exact(rpm, "rpm"))
    assert found.unit == "m/s"
    assert round(float(found.value), 2) == speed
    assert surface_speed(exact(diameter, "mm").to("in"), exact(rpm, "rpm")) == found


def test_surface_speed_in_feet_and_at_its_domain() -> None:
    assert round(surface_speed(exact("2", "in"), exact("5000", "rpm")).to("ft/min").value) == 2618
    assert surface_speed(exact("2", "in"), exact("0", "rpm")).value == 0
    for diameter, rpm in (("0", "5000"), ("-1", "5000"), ("2", "-1")):
        with pytest.raises(LimitsError, match="tool needs"):
            surface_speed(exact(diameter, "in"), exact(rpm, "rpm"))
    assert isinstance(surface_speed(exact("2", "in"), exact("1", "rpm")).value, Fraction)
