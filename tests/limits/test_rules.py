"""The registry: every rule is complete, its example works, its facts are known; and rules with named
answers.
"""

from __future__ import annotations

import json
import re
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import handsfree.limits as limits
from handsfree.limits import (
    MEASURANDS,
    Count,
    LimitsError,
    MissingFact,
    Outcome,
    Policy,
    Rule,
    Sense,
    Severity,
    Verdict,
    Window,
    answer,
    as_json,
    count,
    exact,
    explain,
    judge,
    named_policy,
    parse_policy,
    plausible,
    rule,
    rules,
    rules_page,
    spoken,
    table,
    tread_report,
    window,
)
from handsfree.limits._compare import Bound, Interval, interval, outcome, show, show_number
from handsfree.quantity import UNITS, Quantity

IN, OUT, CLOSE = Outcome.INSIDE, Outcome.OUTSIDE, Outcome.CLOSE


def _example(item: Rule) -> Policy:
    """The policy the rule's example is judged under."""
    return named_policy(item.example_base)


ALL = pytest.mark.parametrize("item", rules(), ids=lambda item: item.id)


@ALL
def test_rule_is_complete(item: Rule) -> None:
    assert re.fullmatch(r"[a-z_]+(\.[a-z_]+)*", item.id)
    assert rule(item.id) is item
    assert item.title
    assert item.formula
    assert item.applies
    assert item.measurand in MEASURANDS
    assert item.limits
    for limit in item.limits.values():
        assert len(limit.source) > 10
        if limit.value is not None:
            assert limit.value.resolution is None
            assert limit.value.value > 0
    if item.sense is not Sense.NONE and not item.computed:
        assert all(
            UNITS[limit.value.unit].kind == UNITS[item.unit].kind
            for limit in item.limits.values()
            if limit.value
        )


@ALL
def test_example_answers(item: Rule) -> None:
    result = answer(item.id, item.example, _example(item))
    assert result.rule == item.id
    assert result.source
    assert result.reason.endswith(".")
    assert "\n" not in result.reason
    assert isinstance(result, {"verdict": Verdict, "window": Window, "count": Count}[item.kind])
    assert set(item.example) <= set(MEASURANDS)


@ALL
def test_every_fact_of_the_example_is_needed_or_refined(item: Rule) -> None:
    for name in item.example:
        rest = {key: value for key, value in item.example.items() if key != name}
        if name in {"surface.temperature", "temp.leak_start", "temp.leak_end"}:
            assert (
                answer(item.id, rest, _example(item)).reason
                != answer(item.id, item.example, _example(item)).reason
            )
            continue
        with pytest.raises(MissingFact) as gap:
            answer(item.id, rest, _example(item))
        assert gap.value.args == (name,)


@ALL
def test_a_fact_of_the_wrong_kind_is_a_clear_error(item: Rule) -> None:
    for name, value in item.example.items():
        wrong: Quantity | str = exact("1", "min") if isinstance(value, str) else "crown"
        with pytest.raises(LimitsError, match=re.escape(name)):
            answer(item.id, {**item.example, name: wrong}, _example(item))
        if isinstance(value, Quantity):
            other = "psi" if UNITS[value.unit].kind != "pressure" else "mm"
            with pytest.raises(LimitsError, match=f"{name} must be a .*, not a .*: give it in"):
                answer(item.id, {**item.example, name: exact("1", other)}, _example(item))


@ALL
@pytest.mark.parametrize("bad", ["NaN", "Infinity", "-1"])
def test_numbers_that_are_none(item: Rule, bad: str) -> None:
    for name, value in item.example.items():
        if not isinstance(value, Quantity) or (bad == "-1" and UNITS[value.unit].kind == "temperature"):
            continue
        with pytest.raises(LimitsError, match=f"{name} (is not a number|can't be negative)"):
            answer(item.id, {**item.example, name: Quantity(Decimal(bad), value.unit)}, _example(item))
        with pytest.raises(LimitsError, match="resolution of zero"):
            answer(
                item.id, {**item.example, name: Quantity(value.value, value.unit, Decimal(0))}, _example(item)
            )


def test_the_three_questions_keep_to_their_kind() -> None:
    with pytest.raises(LimitsError, match="drying gives a window, not a verdict"):
        judge("drying", rule("drying").example)
    with pytest.raises(LimitsError, match=r"passes.inside gives a count, not a window"):
        window("passes.inside", {"tire.body_ply": "fabric"})
    with pytest.raises(LimitsError, match=r"injury.size.max gives a verdict, not a count"):
        count("injury.size.max", {"injury.size": exact("5", "mm")})
    with pytest.raises(LimitsError, match=r"unknown rule 'no.such'"):
        judge("no.such", {})


def test_ids_are_unique_and_the_needed_ones_are_there() -> None:
    ids = [item.id for item in rules()]
    assert len(ids) == len(set(ids))
    assert {
        "injury.size.max",
        "injury.angle.one_piece",
        "injury.edge.min",
        "injury.place.crown",
        "tread.depth.min",
        "tire.age",
        "pressure.seating.max",
        "pressure.set.placard",
        "pressure.leak",
        "buffer.rpm.max",
        "drill.rpm.max",
        "passes.inside",
        "passes.outside",
        "drying",
        "air.dew_point_margin",
        "air.temperature.min",
        "stem.trim_height.max",
        "torque.applied.target",
        "balance.residual.max",
        "pressure.sensor.threshold",
    } <= set(ids)


def test_exported_names_exist() -> None:
    assert all(hasattr(limits, name) for name in limits.__all__)
    assert len(set(limits.__all__)) == len(limits.__all__)


# --- rules answered by a name -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rule_id", "key", "good", "bad"),
    [
        ("injury.place.crown", "injury.place", ["crown"], ["shoulder", "sidewall"]),
        ("injury.grooves", "injury.in_grooves", ["yes"], ["no"]),
        ("repairs.overlap", "repairs.overlap", ["no"], ["yes"]),
        ("repairs.improper", "repairs.improper", ["no"], ["yes"]),
        ("tire.tubeless", "tire.tubeless", ["yes"], ["no"]),
        ("tire.sealant", "tire.sealant", ["no"], ["yes"]),
        ("tire.kind", "tire.kind", ["passenger", "light truck"], ["trailer", "spare"]),
        ("tire.load_range", "tire.load_range", ["SL", "XL", "B", "C", "D", "E"], list("FGHJLMN")),
        ("refit.axle", "refit.axle", ["front", "rear", "spare"], []),
    ],
)
def test_named_answers(rule_id: str, key: str, good: list[str], bad: list[str]) -> None:
    for seen in (*good, *bad):
        verdict = judge(rule_id, {key: seen})
        assert verdict.outcome is (IN if seen in good else OUT)
        assert verdict.measured == seen
        assert seen in verdict.reason
        assert verdict.outcome.value in verdict.reason
        assert (verdict.low, verdict.high, verdict.margin) == (None, None, None)
    with pytest.raises(LimitsError, match="choose one of"):
        judge(rule_id, {key: "maybe"})


def test_japan_keeps_a_repaired_tire_off_the_front() -> None:
    jp = named_policy("jp")
    assert [judge("refit.axle", {"refit.axle": a}, jp).outcome for a in ("front", "rear", "spare")] == [
        OUT,
        IN,
        IN,
    ]
    assert "JATMA" in judge("refit.axle", {"refit.axle": "front"}, jp).source
    assert judge("refit.axle", {"refit.axle": "rear"}, jp).reason == (
        "Axle the repaired tire goes to: rear; rule: not on the front; inside."
    )
    assert judge("refit.axle", {"refit.axle": "front"}).reason == (
        "Axle the repaired tire goes to: front; rule: any axle; inside."
    )


def test_speed_rating_after_repair() -> None:
    """The US chart: ask the tire maker; the Motorist Assurance Program: lost; Germany: no limit."""
    facts = {"tire.speed_symbol": "V"}
    assert judge("tire.speed_rating", facts).outcome is OUT
    assert judge("tire.speed_rating", facts).severity is Severity.NOTE
    assert "ask the tire maker" in judge("tire.speed_rating", facts).reason
    assert "lost" in judge("tire.speed_rating", facts, Policy(choose={"tire.speed_rating": "map"})).reason
    assert judge("tire.speed_rating", facts).reason == (
        "Speed symbol after repair: V; rule: ask before the rating is relied on; outside (ask the tire maker "
        "whether the rating survives)."
    )
    assert judge("tire.speed_rating", facts, named_policy("de")).reason == (
        "Speed symbol after repair: V; rule: no speed limit; inside."
    )


def test_sealant_in_germany() -> None:
    """A stop there, a warning under the US sources; and a shop can't quietly turn it back into a warning."""
    verdict = judge("tire.sealant", {"tire.sealant": "yes"}, named_policy("de"))
    assert verdict.severity is Severity.STOP
    assert "no repair after sealant" in verdict.source
    assert judge("tire.sealant", {"tire.sealant": "yes"}).severity is Severity.WARN
    assert re.search(r"tire\.sealant .* stop ", table(named_policy("de")))
    with pytest.raises(LimitsError, match="loosen"):
        parse_policy('name = "x"\nbase = "de"\n[limits."tire.sealant"]\nseverity = "warn"')
    sealants = next(e for e in json.loads(as_json()) if e["id"] == "tire.sealant")["variants"]
    assert {name: v["severity"] for name, v in sealants.items()} == {"us": "warn", "de": "stop"}


@pytest.mark.parametrize(
    ("kind", "ply", "load_range", "limit"),
    [
        ("light truck", "steel", "E", "9.525"),
        ("light truck", "steel", "F", "9.525"),
        ("light truck", "steel", "D", "6"),
        ("light truck", "fabric", "E", "6"),
        ("passenger", "steel", "E", "6"),
    ],
)
def test_size_by_body_ply(kind: str, ply: str, load_range: str, limit: str) -> None:
    """The TRMG splits at load range E by body ply; the US chart keeps 6 mm through E."""
    split = Policy(choose={"injury.size.max": "us_body_ply"})
    facts = {
        "tire.kind": kind,
        "tire.body_ply": ply,
        "tire.load_range": load_range,
        "injury.size": exact("1", "mm"),
    }
    verdict = judge("injury.size.max", facts, split)
    assert verdict.high == exact(limit, "mm")
    assert judge("injury.size.max", facts).high == exact("6", "mm")


def test_repairs_count_this_one() -> None:
    verdict = judge("repairs.count.max", {"repairs.earlier": exact("1", "1")}, named_policy("jp"))
    assert (verdict.outcome, verdict.measured) == (IN, exact("2", "1"))
    assert judge("repairs.count.max", {"repairs.earlier": exact("2", "1")}, named_policy("jp")).outcome is OUT
    assert "no limit published" in judge("repairs.count.max", {"repairs.earlier": exact("9", "1")}).reason


@pytest.mark.parametrize(
    ("rule_id", "key", "text", "unit", "result"),
    [
        ("run_flat.distance.max", "run_flat.distance", "159.9", "km", IN),
        ("run_flat.distance.max", "run_flat.distance", "160", "km", OUT),  # "under 160 km"
        ("run_flat.speed.max", "run_flat.speed", "54.9", "mph", IN),
        ("run_flat.speed.max", "run_flat.speed", "55", "mph", OUT),
        ("run_flat.speed.max", "run_flat.speed", "89", "km/h", OUT),  # 55 mph is 88.5 km/h: the stricter
        ("run_flat.pressure.min", "run_flat.pressure", "100", "kPa", IN),
        ("run_flat.pressure.min", "run_flat.pressure", "99.9", "kPa", OUT),
        ("tread.depth.legal", "tread.depth", "1.5875", "mm", IN),
        ("tread.depth.legal", "tread.depth", "1.58", "mm", OUT),
        ("hose.length.min", "hose.length", "24", "in", IN),
        ("hose.length.min", "hose.length", "609", "mm", OUT),
        ("tire.rest_time.min", "tire.rest_time", "180", "min", IN),
        ("tire.rest_time.min", "tire.rest_time", "2.9", "h", OUT),
        ("air.blow.max", "air.blow_pressure", "30", "psi", IN),
        ("air.blow.max", "air.blow_pressure", "207", "kPa", OUT),
    ],
)
def test_more_limits(rule_id: str, key: str, text: str, unit: str, result: Outcome) -> None:
    assert judge(rule_id, {key: exact(text, unit)}).outcome is result


@pytest.mark.parametrize(
    ("base", "floor"), [("us", "1.5875"), ("uk", "1.6"), ("de", "1.6"), ("jp", "1.6"), ("nz", "1.5")]
)
def test_legal_floor(base: str, floor: str) -> None:
    assert judge("tread.depth.legal", {"tread.depth": exact("9", "mm")}, named_policy(base)).low == exact(
        floor, "mm"
    ).to("in").to("mm")


def test_cold_after_two_hours_in_the_uk() -> None:
    assert judge("tire.rest_time.min", {"tire.rest_time": exact("2", "h")}, named_policy("uk")).outcome is IN


# --- tread in several grooves -------------------------------------------------------------------


def test_tread_report() -> None:
    report = tread_report(
        {"outer": spoken("5.0", "mm"), "center": spoken("7/32", "in"), "inner": spoken("3.9", "mm")}
    )
    assert report.lowest == "inner"
    assert report.outcome is IN
    assert list(report.repair) == list(report.legal) == ["outer", "center", "inner"]
    assert report.uneven.outcome is CLOSE  # 5.56 +/- 0.40 less 3.9 +/- 0.05, against 1.5875
    assert report.uneven.severity is Severity.NOTE


def test_tread_report_takes_the_worst_groove() -> None:
    worn = tread_report({"a": spoken("5.0", "mm"), "b": spoken("1.2", "mm")})
    assert (worn.outcome, worn.lowest, worn.uneven.outcome) == (OUT, "b", OUT)
    near = tread_report({"a": spoken("2.0", "mm"), "b": spoken("1.6", "mm")})
    assert (near.outcome, near.uneven.outcome) == (CLOSE, IN)
    both = tread_report({"a": spoken("1.6", "mm"), "b": spoken("1.2", "mm")})
    assert both.outcome is OUT
    # 1.6 mm exactly: allowed for repair in the UK, where the US chart's 2/32 in would be exceeded too.
    assert tread_report({"a": exact("1.6", "mm")}, named_policy("uk")).outcome is IN
    assert tread_report({"a": exact("1.59", "mm")}, named_policy("uk")).outcome is OUT
    with pytest.raises(LimitsError, match="no groove"):
        tread_report({})


def test_tread_report_follows_the_policy() -> None:
    depth = {"a": exact("1.595", "mm"), "b": exact("4", "mm")}
    assert tread_report(depth).outcome is IN
    uk = tread_report(depth, named_policy("uk"))
    assert (uk.repair["a"].outcome, uk.legal["a"].outcome) == (OUT, OUT)
    assert uk.repair["a"].low == exact("1.6", "mm") == uk.legal["a"].low
    shop = parse_policy('name = "x"\n[limits."tread.uneven.max"]\nlimit = "1 mm"')
    assert tread_report(depth).uneven.high == exact("1/16", "in").to("mm")
    assert tread_report(depth, shop).uneven.high == exact("1", "mm")


def test_uneven_wear() -> None:
    facts = {"tread.depth": exact("4", "mm"), "tread.depth.highest": exact("5.5875", "mm")}
    verdict = judge("tread.uneven.max", facts)
    assert (verdict.outcome, verdict.measured) == (IN, Quantity(Fraction("1.5875"), "mm"))
    assert judge("tread.uneven.max", {**facts, "tread.depth.highest": exact("5.6", "mm")}).outcome is OUT
    with pytest.raises(LimitsError, match="lower than the lowest"):
        judge("tread.uneven.max", {**facts, "tread.depth.highest": exact("3.9", "mm")})


# --- comparing and showing ----------------------------------------------------------------------


def test_interval() -> None:
    assert interval(spoken("6", "mm"), "mm") == Interval(Fraction(11, 2), Fraction(13, 2))
    assert interval(spoken("5.5", "mm"), "mm") == Interval(Fraction("5.45"), Fraction("5.55"))
    assert interval(spoken("3/8", "in"), "mm") == Interval(Fraction("7.9375"), Fraction("11.1125"))
    assert interval(exact("6", "mm"), "mm") == Interval(Fraction(6), Fraction(6))
    assert interval(spoken("41", "degF"), "degC") == Interval(5 - Fraction(5, 18), 5 + Fraction(5, 18))
    with pytest.raises(ValueError, match="upside down"):
        Interval(Fraction(2), Fraction(1))


@pytest.mark.parametrize(
    ("low", "high", "inclusive", "result"),
    [
        (1, 5, True, IN),
        (1, 6, True, IN),
        (6, 6, True, IN),
        (6, 7, True, CLOSE),
        (7, 8, True, OUT),
        (1, 6, False, CLOSE),
        (6, 6, False, OUT),
        (6, 7, False, OUT),
        (5, 7, False, CLOSE),
        (1, 5, False, IN),
    ],
)
def test_outcome_against_both_kinds_of_limit(low: int, high: int, inclusive: bool, result: Outcome) -> None:
    seen, bound = Interval(Fraction(low), Fraction(high)), Bound(Fraction(6), inclusive)
    assert outcome(seen, None, bound) is result
    mirrored = Interval(Fraction(-high), Fraction(-low))
    assert outcome(mirrored, Bound(Fraction(-6), inclusive), None) is result
    assert outcome(seen, None, None) is IN


def test_outcome_between_two_limits() -> None:
    low, high = Bound(Fraction(2)), Bound(Fraction(4))
    cases = {(2, 4): IN, (1, 3): CLOSE, (3, 5): CLOSE, (0, 9): CLOSE, (0, 1): OUT, (5, 6): OUT}
    for (a, b), result in cases.items():
        assert outcome(Interval(Fraction(a), Fraction(b)), low, high) is result


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (Fraction(6), "6"),
        (Fraction(11, 2), "5.5"),
        (Fraction(1, 3), "~0.3333"),
        (Fraction(-1, 3), "~-0.3333"),
        (Fraction(127, 80), "1.5875"),
        (Fraction(0), "0"),
        (Fraction(-5, 2), "-2.5"),
        (Fraction(1, 10**6), "~0"),
        (Fraction(100), "100"),
        (Fraction(3, 100), "0.03"),
    ],
)
def test_numbers_in_words_for_the_record(value: Fraction, text: str) -> None:
    assert show_number(value) == text


def test_show() -> None:
    assert show(exact("5", "1")) == "5"
    assert show(exact("1/4", "in")) == "0.25 in"
    assert show(exact("2", "32nd")) == "2/32 in"


def test_reasons_read_well() -> None:
    assert judge("stem.trim_height.max", {"stem.trim_height": exact("2", "mm")}).reason == (
        "Stem above the tread: 2 mm; most 3 mm; inside by 1 mm."
    )
    assert judge("stem.trim_height.max", {"stem.trim_height": exact("4.5", "mm")}).reason == (
        "Stem above the tread: 4.5 mm; most 3 mm; outside by 1.5 mm."
    )
    assert judge("stem.trim_height.max", {"stem.trim_height": spoken("3", "mm")}).reason == (
        "Stem above the tread: 3 mm; most 3 mm; too close to call: measure finer."
    )
    assert judge("tire.kind", {"tire.kind": "spare"}).reason == (
        "Tire kind: spare; rule: passenger or light truck; outside."
    )
    assert judge("pressure.set.placard", rule("pressure.set.placard").example).reason == (
        "Cold pressure against placard: 35 psi; least 34 psi, most 36 psi; inside by 1 psi."
    )
    note = judge("injury.angle.max", {"injury.angle": exact("30", "deg")}).reason
    assert note.startswith("Injury angle: 30 deg; no limit published under this policy (two-piece")


def test_limits_come_back_in_the_unit_of_the_reading() -> None:
    verdict = judge("injury.size.max", {"injury.size": exact("1/8", "in")})
    assert verdict.high == exact("6", "mm").to("in")
    assert verdict.margin is not None
    assert verdict.margin.to("mm") == Quantity(6 - Fraction("3.175"), "mm")
    warm = judge("air.temperature.min", {"air.temperature": exact("50", "degF")})
    assert (warm.low, warm.margin) == (exact("41", "degF").to("degC").to("degF"), Quantity(Fraction(5), "K"))


def test_spoken_sets_the_resolution() -> None:
    assert spoken("6", "mm").resolution == 1
    assert spoken("5.50", "mm").resolution == Decimal("0.01")
    assert spoken("3/8", "in") == Quantity(Fraction(3, 8), "in", Fraction(1, 8))
    assert exact("3/8", "in").resolution is None


def test_plausible() -> None:
    assert plausible("injury.size", exact("0", "mm"))
    assert plausible("injury.size", exact("10", "cm"))
    assert not plausible("injury.size", exact("10.1", "cm"))
    assert plausible("air.temperature", exact("-40", "degF"))
    assert not plausible("air.temperature", exact("-41", "degF"))
    with pytest.raises(LimitsError, match="must be a length"):
        plausible("injury.size", exact("5", "psi"))
    for item in MEASURANDS.values():
        assert bool(item.unit) != (item.kind == "choice")
        assert item.low <= item.high


@given(
    st.sampled_from(
        [item for item in rules() if item.kind == "verdict" and item.sense in (Sense.MAX, Sense.MIN)]
    ),
    st.integers(0, 60000),
    st.integers(1, 5000),
    st.sampled_from([None, Decimal("0.1"), Decimal(1)]),
)
def test_a_worse_reading_never_judges_better(item: Rule, tenths: int, more: int, res: Decimal | None) -> None:
    if item.computed or item.id in {"tire.age", "pressure.leak", "air.dew_point_margin", "tread.uneven.max"}:
        return
    unit = MEASURANDS[item.measurand].unit
    worse, better = Decimal(tenths + more) / 10, Decimal(tenths) / 10
    if item.sense is Sense.MIN:
        worse, better = better, worse
    order = [IN, CLOSE, OUT]
    bad = judge(item.id, {**item.example, item.measurand: Quantity(worse, unit, res)}).outcome
    good = judge(item.id, {**item.example, item.measurand: Quantity(better, unit, res)}).outcome
    assert order.index(bad) >= order.index(good)


# --- pages --------------------------------------------------------------------------------------


def test_table_lists_every_rule_with_the_limit_in_force() -> None:
    text = table()
    lines = text.splitlines()
    assert len(lines) == len(rules()) + 1
    assert lines[0].split() == ["id", "measurand", "limit", "severity", "policy", "source"]
    size = next(line for line in lines if line.startswith("injury.size.max"))
    assert re.split(r"  +", size)[:5] == ["injury.size.max", "injury.size", "<= 6 mm", "stop", "us"]
    assert "> 2/32 in" in text
    assert re.search(r"pressure\.set\.placard .*1 psi in the formula", text)
    assert re.search(r"injury\.channel\.crown .*by formula", text)
    strict = table(parse_policy('name = "x"\n[limits."injury.size.max"]\nlimit = "5 mm"\nseverity = "stop"'))
    assert "<= 6 mm (shop: 5 mm)" in strict
    assert re.search(
        r"tire\.age .* stop ", table(parse_policy('name = "x"\n[limits."tire.age"]\nseverity = "stop"'))
    )


def test_json_of_one_rule() -> None:
    text = as_json()
    assert text.startswith('[\n  {\n    "id": "injury.size.max",\n')
    assert text.endswith("]\n")
    entry = next(e for e in json.loads(text) if e["id"] == "tread.depth.min")
    variants = entry.pop("variants")
    assert entry == {
        "id": "tread.depth.min",
        "title": "Tread depth in the lowest groove",
        "kind": "verdict",
        "measurand": "tread.depth",
        "unit": "mm",
        "reading": "measured",
        "sense": "min",
        "severity": "stop",
        "applies": "passenger and light truck",
        "formula": "lowest groove > (US) or >= limit",
        "in_force": {
            "variant": "us",
            "limit": "2/32 in",
            "inclusive": False,
            "severity": "stop",
            "source": "USTMA truck/bus chart: 2/32 in or less in any groove is worn out",
        },
    }
    assert variants["us"] == {
        "limit": "2/32 in",
        "inclusive": False,
        "source": "USTMA truck/bus chart: 2/32 in or less in any groove is worn out",
        "note": "2/32 in is 1.5875 mm and is itself worn out",
        "severity": "stop",
    }
    assert next(e for e in json.loads(text) if e["id"] == "tire.kind")["variants"]["any"]["limit"] is None


def test_json_carries_every_rule_and_variant() -> None:
    listed = json.loads(as_json(named_policy("jp")))
    assert [entry["id"] for entry in listed] == [item.id for item in rules()]
    size = listed[0]
    assert size["in_force"]["variant"] == "jp"
    assert size["unit"] == "mm"
    assert size["reading"] == "measured"
    assert size["variants"]["us_body_ply.steel"]["limit"] == "0.375 in"
    assert {entry["id"]: entry["reading"] for entry in listed}["buffer.rpm.max"] == "setting"
    assert all(v["source"] for entry in listed for v in entry["variants"].values())


def test_json_shows_a_shops_own_limit() -> None:
    shop = parse_policy('name = "bay"\n[limits."injury.size.max"]\nlimit = "5 mm"\n')
    size = json.loads(as_json(shop))[0]
    assert size["in_force"]["limit"] == "5 mm"
    assert "tightened" in size["in_force"]["source"]
    assert size["variants"]["us"]["limit"] == "6 mm"


@ALL
def test_explain(item: Rule) -> None:
    text = explain(item.id)
    assert item.formula in text
    assert answer(item.id, item.example, _example(item)).reason in text
    for name, limit in item.limits.items():
        assert limit.source in text
        mark = "*" if name == item.variant(Policy()) else " "
        assert f"   {mark} {name}: " in text


def test_explain_in_full() -> None:
    assert explain("tread.depth.legal").splitlines() == [
        "tread.depth.legal: Tread depth for the road",
        "  applies to: passenger and light truck",
        "  severity:   stop",
        "  formula:    lowest groove >= limit",
        "  published:",
        "   * us: >= 2/32 in: 49 CFR 570.9, from memory: 2/32 in",
        "     uk: >= 1.6 mm: UK police Q405: 1.6 mm over the central 3/4",
        "     de: >= 1.6 mm: Directive 89/459/EEC: 1.6 mm in the main grooves",
        "     nz: >= 1.5 mm: New Zealand warrant of fitness, dealer page",
        "     jp: >= 1.6 mm: JATMA safety standard, as reproduced in tire makers' questions and answers",
        "  example:",
        "    tread.depth = 4.5 mm",
        "    gives: Tread depth for the road: 4.5 mm; least 1.5875 mm; inside by 2.9125 mm.",
    ]
    assert explain("stem.trim_height.max").endswith("inside by 1 mm.\n")
    assert "common practice, no published source (margin all round the injury on the liner)\n" in explain(
        "patch.size.min"
    )


def test_explain_marks_the_variant_in_force() -> None:
    assert "* jp: <= 6 mm: JATMA" in explain("injury.size.max", named_policy("jp"))
    assert "injury.size = 5.5 mm" in explain("injury.size.max")
    for wrong, meant in (
        ("drill.rpm", "drill.rpm.max"),
        ("Cement", "drying"),
        ("injury.sise.max", "injury.size.max"),
    ):
        with pytest.raises(LimitsError, match=f"unknown rule '{wrong}': .*; perhaps {meant}.* is meant$"):
            limits.explain(wrong)
    with pytest.raises(LimitsError, match=r"unknown rule 'zzzz': list them with 'handsfree limits'$"):
        limits.explain("zzzz")
    with pytest.raises(LimitsError, match="unknown rule"):
        explain("no.such")


def test_the_page_in_the_package_is_the_generated_one() -> None:
    page = Path(limits.__file__).with_name("RULES.md").read_text(encoding="utf-8")
    assert page == rules_page()
    for item in rules():
        assert f"## {item.id}\n" in page


@pytest.mark.parametrize(
    ("rule_id", "value", "resolution"),
    [
        ("air.dew_point_margin", "5.7395", "0.6892"),
        ("tire.age", "2.5654", "0.0164"),
        ("pressure.leak", "-0.1649", "2.2368"),
        ("injury.channel.crown", "37.756", None),
        ("injury.band", "42.5", None),
        ("tread.uneven.max", "1", "0.2"),
    ],
)
def test_computed_values_are_short_in_the_record(rule_id: str, value: str, resolution: str | None) -> None:
    item = rule(rule_id)
    found = judge(rule_id, item.example, _example(item)).measured
    assert isinstance(found, Quantity)
    assert (str(found.value), None if found.resolution is None else str(found.resolution)) == (
        value,
        resolution,
    )


def test_a_computed_value_in_tens_has_no_exponent() -> None:
    facts = {"tread.depth": exact("0", "mm"), "tread.depth.highest": exact("20", "mm")}
    found = judge("tread.uneven.max", facts)
    assert isinstance(found.measured, Quantity)
    assert str(found.measured.value) == "20"
    assert found.margin is not None
    assert str(found.margin.value) == "-18.4125"
