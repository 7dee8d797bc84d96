"""Just under, at, just over, and in the other unit: one table for every plain limit."""

from __future__ import annotations

from fractions import Fraction

import pytest

from handsfree.limits import Outcome, Policy, Severity, exact, judge, named_policy, rules, spoken
from handsfree.quantity import Quantity

IN, OUT, CLOSE = Outcome.INSIDE, Outcome.OUTSIDE, Outcome.CLOSE
US = named_policy("us")


def _choose(rule: str, policy: Policy | str) -> Policy:
    """A country's policy as it stands, or the US one with the named alternative for this rule."""
    return Policy(choose={rule: policy}) if isinstance(policy, str) else policy


# rule, policy, measurand, unit, allowed side, limit, beyond the limit, is the limit itself allowed?
LIMITS = [
    ("injury.size.max", US, "injury.size", "mm", "5.999", "6", "6.001", True),
    ("injury.size.max", named_policy("uk"), "injury.size", "mm", "5.999", "6", "6.001", True),
    ("injury.size.max", named_policy("jp"), "injury.size", "mm", "5.999", "6", "6.001", True),
    ("injury.size.max", named_policy("de"), "injury.size", "mm", "5.999", "6", "6.001", True),
    ("injury.size.max", named_policy("nz"), "injury.size", "mm", "5.999", "6", "6.001", True),
    ("injury.angle.one_piece", US, "injury.angle", "deg", "24.9", "25", "25.1", True),
    ("injury.angle.max", named_policy("nz"), "injury.angle", "deg", "44.9", "45", "45.1", True),
    ("injury.edge.min", US, "injury.edge_distance", "mm", "25.401", "25.4", "25.399", True),
    ("injury.edge.min", US, "injury.edge_distance", "in", "1.001", "1", "0.999", True),
    ("injury.edge.min", "half_inch", "injury.edge_distance", "mm", "12.71", "12.7", "12.69", True),
    ("injury.edge.min", "inch_and_half", "injury.edge_distance", "mm", "38.11", "38.1", "38.09", True),
    # 2/32 in is 1.5875 mm, and "2/32 in or less" is worn out; 1.6 mm is the other published floor and
    # allowed.
    ("tread.depth.min", US, "tread.depth", "mm", "1.5876", "1.5875", "1.5874", False),
    ("tread.depth.min", US, "tread.depth", "32nd", "2.001", "2", "1.999", False),
    ("tread.depth.min", named_policy("uk"), "tread.depth", "mm", "1.601", "1.6", "1.599", True),
    ("tread.depth.min", named_policy("jp"), "tread.depth", "mm", "1.601", "1.6", "1.599", True),
    ("tread.depth.min", named_policy("de"), "tread.depth", "mm", "1.601", "1.6", "1.599", True),
    ("tread.depth.min", named_policy("nz"), "tread.depth", "mm", "1.601", "1.6", "1.599", True),
    ("tread.depth.min", "nz_legal", "tread.depth", "mm", "1.51", "1.5", "1.49", True),
    ("repairs.spacing.min", named_policy("jp"), "repairs.spacing", "mm", "400.1", "400", "399.9", True),
    ("repairs.spacing.min", named_policy("nz"), "repairs.spacing", "cm", "15.01", "15", "14.99", True),
    ("air.temperature.min", US, "air.temperature", "degC", "5.01", "5", "4.99", True),
    ("air.temperature.min", US, "air.temperature", "degF", "41.01", "41", "40.99", True),
    ("air.humidity.max", US, "air.humidity", "%", "89.9", "90", "90.1", True),
    ("air.humidity.usual", US, "air.humidity", "%", "84.9", "85", "85.1", False),
    ("buffer.rpm.max", US, "buffer.rpm", "rpm", "4999", "5000", "5001", True),
    ("drill.rpm.max", US, "drill.rpm", "rpm", "1199", "1200", "1201", True),
    ("stem.trim_height.max", US, "stem.trim_height", "mm", "2.99", "3", "3.01", True),
    ("buff.outline.min", US, "buff.outline_margin", "mm", "6.01", "6", "5.99", True),
    ("pressure.found.min", US, "pressure.found", "kPa", "100.1", "100", "99.9", True),
    ("pressure.found.min", US, "pressure.found", "bar", "1.001", "1", "0.999", True),
    ("pressure.seating.max", US, "pressure.seating", "psi", "39.9", "40", "40.1", True),
    ("balance.residual.max", US, "balance.residual", "g", "6.99", "7", "7.01", True),
    ("balance.residual.max", "fifteen_grams", "balance.residual", "g", "14.9", "15", "15.1", True),
    ("recheck.distance.max", US, "recheck.distance", "mi", "24", "25", "26", True),
    ("recheck.distance.max", "fifty_km", "recheck.distance", "km", "49", "50", "51", True),
    ("recheck.distance.max", "eighty_km", "recheck.distance", "mi", "49", "50", "51", True),
    ("recheck.distance.max", "hundred_miles", "recheck.distance", "km", "159", "160", "161", True),
]
OTHER = {
    "mm": "in",
    "in": "mm",
    "cm": "mm",
    "32nd": "mm",
    "degC": "degF",
    "degF": "degC",
    "psi": "bar",
    "g": "oz",
    "km": "mi",
    "mi": "km",
}


@pytest.mark.parametrize(("rule", "policy", "key", "unit", "good", "limit", "bad", "allowed"), LIMITS)
def test_limit(
    rule: str, policy: Policy | str, key: str, unit: str, good: str, limit: str, bad: str, allowed: bool
) -> None:
    wanted = {good: IN, limit: IN if allowed else OUT, bad: OUT}
    for text, result in wanted.items():
        for reading in (exact(text, unit), exact(text, unit).to(OTHER.get(unit, unit))):
            verdict = judge(rule, {key: reading}, _choose(rule, policy))
            assert verdict.outcome is result
            assert verdict.margin is not None
            gap = Fraction(verdict.margin.value)
            assert (gap > 0) == (text == good)
            assert (gap < 0) == (text == bad)


@pytest.mark.parametrize(("rule", "policy", "key", "unit", "good", "limit", "bad", "allowed"), LIMITS)
def test_a_reading_that_straddles_the_limit_is_never_quietly_inside(
    rule: str, policy: Policy | str, key: str, unit: str, good: str, limit: str, bad: str, allowed: bool
) -> None:
    reading = Quantity(exact(limit, unit).value, unit, Fraction(1, 10))
    setting = next(item.setting for item in rules() if item.id == rule)
    for same in (reading, reading.to(OTHER.get(unit, unit))):
        assert judge(rule, {key: same}, _choose(rule, policy)).outcome is (IN if setting else CLOSE)


# The readings a technician says at the limits, and what must come back.
@pytest.mark.parametrize(
    ("rule", "key", "text", "unit", "result"),
    [
        ("injury.size.max", "injury.size", "5", "mm", IN),
        ("injury.size.max", "injury.size", "5.5", "mm", IN),
        ("injury.size.max", "injury.size", "6", "mm", CLOSE),
        ("injury.size.max", "injury.size", "6.0", "mm", CLOSE),
        ("injury.size.max", "injury.size", "6.1", "mm", OUT),
        ("injury.size.max", "injury.size", "7", "mm", OUT),
        ("injury.size.max", "injury.size", "3/16", "in", IN),
        ("injury.size.max", "injury.size", "7/32", "in", IN),
        ("injury.size.max", "injury.size", "1/4", "in", CLOSE),
        ("injury.size.max", "injury.size", "0.25", "in", OUT),
        ("injury.size.max", "injury.size", "3/8", "in", OUT),
        ("tread.depth.min", "tread.depth", "2", "32nd", CLOSE),
        ("tread.depth.min", "tread.depth", "3", "32nd", IN),
        ("tread.depth.min", "tread.depth", "1.6", "mm", CLOSE),
        ("tread.depth.min", "tread.depth", "1.7", "mm", IN),
        ("balance.residual.max", "balance.residual", "0.25", "oz", CLOSE),
        ("balance.residual.max", "balance.residual", "0", "g", IN),
        ("pressure.seating.max", "pressure.seating", "275", "kPa", IN),
        ("pressure.seating.max", "pressure.seating", "276", "kPa", OUT),
        ("pressure.seating.max", "pressure.seating", "40", "psi", IN),
        ("buffer.rpm.max", "buffer.rpm", "5000", "rpm", IN),
    ],
)
def test_said_in_the_bay(rule: str, key: str, text: str, unit: str, result: Outcome) -> None:
    assert judge(rule, {key: spoken(text, unit)}).outcome is result


def test_severities_are_the_ones_the_trade_gives() -> None:
    stops = {item.id for item in rules() if item.severity is Severity.STOP}
    assert {"injury.size.max", "injury.place.crown", "injury.edge.min", "tread.depth.min"} <= stops
    assert not {"tire.age", "balance.residual.max", "injury.angle.one_piece"} & stops
