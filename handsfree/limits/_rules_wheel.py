"""Rules on the assembled wheel: age, beads, pressure, leak, sensor, torque, balance, re-check."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from handsfree.limits._compare import interval, show
from handsfree.limits._inflation import pressure_to_set
from handsfree.limits._leak import leak_loss
from handsfree.limits._measurands import choice, has, quantity
from handsfree.limits._policy import Policy
from handsfree.limits._refit import star_sequence
from handsfree.limits._rule import (
    COMMON_PRACTICE,
    Effective,
    Limit,
    Rule,
    Sense,
    banded,
    computed,
    exact,
    plain,
    spoken,
    verdict,
)
from handsfree.limits._types import Count, Facts, Outcome, Severity, Verdict, Window
from handsfree.quantity import Quantity

__all__ = ["WHEEL_RULES"]


def _around(
    rule: Rule, reading: Quantity, target: Quantity, slack: Fraction, limit: Effective, extra: str = ""
) -> Verdict:
    center = Fraction(target.to(rule.unit).value)
    low, high = Quantity(center - slack, rule.unit), Quantity(center + slack, rule.unit)
    return banded(rule, reading, interval(reading, rule.unit), low, high, limit, extra)


def _placard(rule: Rule, facts: Facts, policy: Policy) -> Verdict:
    """Against the placard; a tire that isn't at its cold temperature against the placard by the gas law."""
    limit = rule.effective(facts, policy)
    assert limit.value is not None
    slack = Fraction(limit.value.to("kPa").value)
    target, extra = quantity(facts, "pressure.placard"), ""
    if has(facts, "temp.set") and has(facts, "temp.cold"):
        warm, cold = quantity(facts, "temp.set"), quantity(facts, "temp.cold")
        target = pressure_to_set(target, cold, warm)
        extra = f"placard at {show(cold)}, set at {show(warm)}"
    return _around(rule, quantity(facts, "pressure.set"), target, slack, limit, extra)


def _seating(rule: Rule, facts: Facts, policy: Policy) -> Verdict:
    reading = quantity(facts, "pressure.seating")
    limit = rule.effective(facts, policy)
    if limit.key == "placard":
        placard = quantity(facts, "pressure.placard")
        assert limit.value is not None
        limit = replace(limit, value=min(limit.value, placard, key=lambda p: Fraction(p.to("kPa").value)))
    # The stop of a preset regulator is a setting: forty is forty, as buffer and cutter speeds are.
    stop = Quantity(reading.value, reading.unit)
    return verdict(rule, reading, interval(stop, "kPa"), limit)


def _tightenings(rule: Rule, facts: Facts, policy: Policy) -> Count:
    limit = rule.effective(facts, policy)
    assert limit.value is not None
    nuts = quantity(facts, "nut.count")
    order = star_sequence(int(nuts.value))
    target = int(limit.value.value) * len(order)
    reason = (
        f"{rule.title}: {target}, each nut {int(limit.value.value)} times, order {' '.join(map(str, order))}."
    )
    return Count(rule.id, target, limit.source, reason)


def _torque(rule: Rule, facts: Facts, policy: Policy) -> Verdict:
    limit = rule.effective(facts, policy)
    assert limit.value is not None
    target = quantity(facts, "torque.target")
    slack = Fraction(target.to("N.m").value) * Fraction(limit.value.value) / 100
    return _around(rule, quantity(facts, "torque.applied"), target, slack, limit)


def _leak(rule: Rule, facts: Facts, policy: Policy) -> Verdict:
    """OUTSIDE above the limit, INSIDE only if "no loss at all" fits the readings, CLOSE between."""
    both = has(facts, "temp.leak_start") and has(facts, "temp.leak_end")
    temperatures = [quantity(facts, f"temp.leak_{end}") if both else None for end in ("start", "end")]
    start = quantity(facts, "pressure.leak_start")
    loss = leak_loss(start, quantity(facts, "pressure.leak_end"), *temperatures)
    reading = Quantity(loss.value, "kPa", loss.uncertainty * 2 or None).to(start.unit)
    limit = rule.effective(facts, policy)
    extra = "referred to the starting temperature" if both else "temperature taken as steady"
    result = computed(verdict(rule, reading, loss.spread, limit, extra))
    if result.outcome is Outcome.INSIDE and loss.spread.low > 0:
        reason = result.reason.rstrip(".") + "; but the readings do show a loss: soap it and test longer."
        return replace(result, outcome=Outcome.CLOSE, reason=reason)
    return result


_FLOOR_KPA = {"SL": 140, "XL": 160, "C": 200, "D": 260, "E": 320}


def _sensor(rule: Rule, facts: Facts, policy: Policy) -> Verdict:
    """The lamp must be on by 25 % under placard or by the table's floor, whichever is higher."""
    limit = rule.effective(facts, policy)
    assert limit.value is not None
    placard = Fraction(quantity(facts, "pressure.placard").to("kPa").value)
    low = placard * (100 - Fraction(limit.value.value)) / 100
    extra = f"{limit.value.value} % under placard"
    kind = choice(facts, "tire.load_range") if has(facts, "tire.load_range") else ""
    if kind in _FLOOR_KPA and _FLOOR_KPA[kind] > low:
        low, extra = Fraction(_FLOOR_KPA[kind]), "floor of 49 CFR 571.138 Table 1, from memory"
    reading = quantity(facts, "sensor.pressure")
    return banded(rule, reading, interval(reading, "kPa"), Quantity(low, "kPa"), None, limit, extra)


def _hold(rule: Rule, facts: Facts, policy: Policy) -> Window:
    quantity(facts, "pressure.set")  # the test begins at a pressure that is known
    limit = rule.effective(facts, policy)
    assert limit.value is not None
    shortest = -(-Fraction(limit.value.to("s").value) // 1)
    reason = f"{rule.title}: at least {shortest} s under pressure before the second reading."
    return Window(rule.id, int(shortest), None, limit.source, reason)


WHEEL_RULES: tuple[Rule, ...] = (
    Rule(
        "pressure.seating.max",
        "Bead seating pressure",
        "pressure.seating",
        "kPa",
        Severity.STOP,
        Sense.MAX,
        {
            "any": Limit(
                exact("40", "psi"), "Cal/OSHA Title 8 s.3325(e): 40 psi unless the maker says otherwise"
            ),
            "placard": Limit(
                exact("40", "psi"), "US Army PS Magazine 571, June 2000", note="nor over a lower placard"
            ),
        },
        _seating,
        {"pressure.seating": spoken("35", "psi")},
        setting=True,
        formula="highest gauge pressure <= limit",
    ),
    Rule(
        "pressure.set.placard",
        "Cold pressure against placard",
        "pressure.set",
        "kPa",
        Severity.STOP,
        Sense.TOLERANCE,
        {"any": Limit(exact("1", "psi"), "placard: NHTSA, June 2013; tolerance: " + COMMON_PRACTICE)},
        _placard,
        {"pressure.set": spoken("35", "psi"), "pressure.placard": exact("35", "psi")},
        computed=True,
        formula="placard - tolerance <= set <= placard + tolerance",
    ),
    Rule(
        "leak.hold",
        "Leak test time",
        "pressure.set",
        "s",
        Severity.STOP,
        Sense.MIN,
        {"any": Limit(exact("300", "s"), COMMON_PRACTICE, note="no published holding time was found")},
        _hold,
        {"pressure.set": spoken("35.0", "psi")},
        kind="window",
        computed=True,
        formula="shortest = limit; no longest time",
    ),
    Rule(
        "pressure.leak",
        "Pressure loss in the leak test",
        "pressure.leak_end",
        "kPa",
        Severity.STOP,
        Sense.MAX,
        {"any": Limit(exact("10", "kPa"), COMMON_PRACTICE, note="soap bubbles decide first")},
        _leak,
        {
            "pressure.leak_start": spoken("240", "kPa"),
            "pressure.leak_end": spoken("239", "kPa"),
            "temp.leak_start": spoken("20.0", "degC"),
            "temp.leak_end": spoken("19.0", "degC"),
        },
        formula="loss = p1 - ((p2 + 101.325) T1 / T2 - 101.325) kPa, T in kelvin; outside above the limit, "
        "inside only if no loss at all fits the readings",
    ),
    Rule(
        "pressure.sensor.threshold",
        "Pressure at which the lamp came on",
        "sensor.pressure",
        "kPa",
        Severity.WARN,
        Sense.TOLERANCE,
        {"any": Limit(exact("25", "%"), "49 CFR 571.138 S4.2(a)")},
        _sensor,
        {"sensor.pressure": spoken("28", "psi"), "pressure.placard": exact("35", "psi")},
        computed=True,
        formula="lamp on at or above max(placard x 75 %, Table 1 floor)",
    ),
    Rule(
        "torque.applied.target",
        "Lug nut torque",
        "torque.applied",
        "N.m",
        Severity.STOP,
        Sense.TOLERANCE,
        {"any": Limit(exact("4", "%"), "target: the vehicle's maker; +/-4 %: ISO 6789 class, from memory")},
        _torque,
        {"torque.applied": spoken("110", "N.m"), "torque.target": exact("110", "N.m")},
        computed=True,
        formula="target x 96 % <= applied <= target x 104 %",
    ),
    Rule(
        "balance.residual.max",
        "Residual imbalance",
        "balance.residual",
        "g",
        Severity.WARN,
        Sense.MAX,
        {
            "any": Limit(
                exact("7", "g"),
                "vehicle service manual, 2000: 7 g (1/4 oz) per rim flange",
                note="1/4 oz is 7.09 g: the stricter, 7 g, counts",
            ),
            "fifteen_grams": Limit(exact("15", "g"), "small-car manual: about 15 g residual"),
        },
        plain,
        {"balance.residual": spoken("5", "g")},
        formula="residual at each rim flange <= limit",
    ),
    Rule(
        "recheck.distance.max",
        "Distance to the torque re-check",
        "recheck.distance",
        "km",
        Severity.NOTE,
        Sense.MAX,
        {
            "any": Limit(
                exact("25", "mi"),
                "vehicle maker's manual: 25 mi / 40 km, the shortest of six published",
                note="a printed distance, not a measurement: the pair's mile figure counts, so that both pass",
            ),
            "fifty_km": Limit(exact("50", "km"), "tire maker: 30 mi / 50 km"),
            "eighty_km": Limit(exact("50", "mi"), "UK transport manager: 50 mi / 80 km"),
            "hundred_miles": Limit(exact("160", "km"), "vehicle maker's manual: within 100 mi / 160 km"),
        },
        plain,
        {"recheck.distance": spoken("40", "km")},
        setting=True,
        formula="planned distance <= limit",
    ),
    Rule(
        "torque.tightenings",
        "Tightenings in star order",
        "nut.count",
        "1",
        Severity.STOP,
        Sense.MIN,
        {"any": Limit(exact("2", "1"), "owner's manual: go round until each nut has been tightened twice")},
        _tightenings,
        {"nut.count": exact("5", "1")},
        kind="count",
        computed=True,
        formula="nuts x rounds, in star order",
    ),
    Rule(
        "hose.length.min",
        "Hose between chuck and gauge valve",
        "hose.length",
        "mm",
        Severity.STOP,
        Sense.MIN,
        {"any": Limit(exact("24", "in"), "Cal/OSHA Title 8 s.3325(a)")},
        plain,
        {"hose.length": spoken("900", "mm")},
        formula="hose >= limit",
    ),
    Rule(
        "tire.rest_time.min",
        "Time since the tire was driven",
        "tire.rest_time",
        "h",
        Severity.WARN,
        Sense.MIN,
        {
            "us": Limit(exact("3", "h"), "encyclopedic article repeating NHTSA advice: cold after 3 h"),
            "uk": Limit(exact("2", "h"), "tire dealer page, Ireland and UK: cold after 2 h"),
        },
        plain,
        {"tire.rest_time": spoken("4", "h")},
        formula="time >= limit, for a cold pressure",
    ),
)
