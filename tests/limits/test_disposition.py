"""Disposition of a whole tire: every reason counts, and none is erased."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.limits import (
    Decision,
    Facts,
    LimitsError,
    Outcome,
    Policy,
    Severity,
    dispose,
    exact,
    named_policy,
    parse_policy,
    second_opinion,
    spoken,
)
from handsfree.quantity import Quantity

GOOD: dict[str, Quantity | str] = {
    "injury.place": "crown",
    "injury.size": spoken("4.5", "mm"),
    "injury.angle": spoken("10", "deg"),
    "injury.edge_distance": spoken("60", "mm"),
    "tread.depth": spoken("5.0", "mm"),
}
ORDER = list(Decision)


def _rules(facts: Facts, policy: Policy | None = None) -> list[str]:
    return [verdict.rule for verdict in dispose(facts, policy or Policy()).reasons]


def test_a_good_tire() -> None:
    found = dispose(GOOD)
    assert found.decision is Decision.ONE_PIECE
    assert (found.reasons, found.missing) == ((), ())
    assert {v.rule for v in found.clear} == {
        "injury.place.crown",
        "injury.size.max",
        "injury.angle.one_piece",
        "injury.angle.max",
        "tread.depth.min",
        "tread.depth.legal",
        "injury.edge.min",
    }


@pytest.mark.parametrize(
    ("angle", "decision"),
    [
        ("24", Decision.ONE_PIECE),
        ("25", Decision.TWO_PIECE),
        ("26", Decision.TWO_PIECE),
        ("60", Decision.TWO_PIECE),
    ],
)
def test_the_angle_chooses_the_unit(angle: str, decision: Decision) -> None:
    assert dispose({**GOOD, "injury.angle": spoken(angle, "deg")}).decision is decision


@pytest.mark.parametrize(
    ("change", "rule"),
    [
        ({"injury.size": spoken("7", "mm")}, "injury.size.max"),
        ({"injury.place": "shoulder"}, "injury.place.crown"),
        ({"injury.edge_distance": spoken("20", "mm")}, "injury.edge.min"),
        ({"tread.depth": spoken("1.4", "mm")}, "tread.depth.min"),
        ({"repairs.overlap": "yes"}, "repairs.overlap"),
        ({"repairs.improper": "yes"}, "repairs.improper"),
        ({"tire.load_range": "F"}, "tire.load_range"),
        ({"tire.kind": "trailer"}, "tire.kind"),
        ({"tire.tubeless": "no"}, "tire.tubeless"),
        ({"injury.in_grooves": "no"}, "injury.grooves"),
        ({"run_flat.distance": spoken("200", "km")}, "run_flat.distance.max"),
        ({"run_flat.speed": spoken("100", "km/h")}, "run_flat.speed.max"),
        ({"run_flat.pressure": spoken("60", "kPa")}, "run_flat.pressure.min"),
    ],
)
def test_each_stop_scraps(change: dict[str, Quantity | str], rule: str) -> None:
    found = dispose({**GOOD, **change})
    assert found.decision is Decision.SCRAP
    assert rule in [v.rule for v in found.reasons]


def test_all_reasons_not_only_the_first() -> None:
    bad = {
        **GOOD,
        "injury.size": spoken("9", "mm"),
        "injury.place": "sidewall",
        "tread.depth": spoken("1.0", "mm"),
        "tire.sealant": "yes",
        "tire.speed_symbol": "H",
        "injury.angle": spoken("30", "deg"),
    }
    found = dispose(bad)
    assert found.decision is Decision.SCRAP
    assert [v.rule for v in found.reasons] == [
        "injury.place.crown",
        "injury.size.max",
        "tread.depth.legal",
        "tread.depth.min",
        "injury.angle.one_piece",
        "tire.sealant",
        "tire.speed_rating",
    ]
    ranks = [[Severity.STOP, Severity.WARN, Severity.NOTE].index(v.severity) for v in found.reasons]
    assert ranks == sorted(ranks)


def test_outside_comes_before_close() -> None:
    found = dispose({**GOOD, "injury.size": spoken("6", "mm"), "tread.depth": spoken("1.0", "mm")})
    assert [v.rule for v in found.reasons] == ["tread.depth.legal", "tread.depth.min", "injury.size.max"]


def test_too_close_to_call_asks_for_a_measurement() -> None:
    found = dispose({**GOOD, "injury.size": spoken("6", "mm")})
    assert found.decision is Decision.MEASURE
    assert [v.outcome for v in found.reasons] == [Outcome.CLOSE]
    assert (
        dispose({**GOOD, "injury.size": spoken("6", "mm"), "injury.place": "sidewall"}).decision
        is Decision.SCRAP
    )


def test_warnings_do_not_scrap() -> None:
    aged = {**GOOD, "tire.date_code": "0110", "today": "2026-01-01", "tire.sealant": "yes"}
    assert dispose(aged).decision is Decision.ONE_PIECE
    assert _rules(aged) == ["tire.age", "tire.sealant"]
    strict = parse_policy('name = "strict"\n[limits."tire.age"]\nseverity = "stop"')
    assert dispose(aged, strict).decision is Decision.SCRAP


@pytest.mark.parametrize("gap", list(GOOD))
def test_missing_readings_are_named(gap: str) -> None:
    found = dispose({key: value for key, value in GOOD.items() if key != gap})
    assert found.decision is Decision.MEASURE
    assert found.missing == (gap,)


def test_missing_everything_names_each_once() -> None:
    found = dispose({})
    assert found.decision is Decision.MEASURE
    assert sorted(found.missing) == sorted(GOOD)


def test_missing_does_not_hide_a_scrap() -> None:
    found = dispose({"injury.size": spoken("9", "mm")})
    assert found.decision is Decision.SCRAP
    assert "injury.place" in found.missing


def test_a_known_reading_brings_its_rule_s_other_needs() -> None:
    found = dispose({**GOOD, "tire.date_code": "0124"})
    assert (found.decision, found.missing) == (Decision.MEASURE, ("today",))


def test_run_flat_needs_its_history() -> None:
    flat = {**GOOD, "tire.run_flat": "yes"}
    assert dispose(flat).missing == ("run_flat.distance", "run_flat.speed")
    told = {**flat, "run_flat.distance": spoken("20", "km"), "run_flat.speed": spoken("60", "km/h")}
    assert dispose(told).decision is Decision.ONE_PIECE
    assert dispose({**GOOD, "tire.run_flat": "no"}).missing == ()


def test_the_uk_needs_the_band() -> None:
    uk = named_policy("uk")
    assert dispose(GOOD, uk).missing == ("injury.center_distance",)
    banded = {**GOOD, "injury.center_distance": spoken("30", "mm"), "tire.section_width": exact("205", "mm")}
    assert dispose(banded, uk).decision is Decision.ONE_PIECE
    near_edge = {**banded, "injury.edge_distance": spoken("15", "mm")}
    assert dispose(near_edge, uk).decision is Decision.ONE_PIECE  # the US edge rule has no say here
    assert dispose({**banded, "injury.center_distance": spoken("80", "mm")}, uk).decision is Decision.SCRAP


def test_a_reading_only_another_country_asks_for_does_no_harm() -> None:
    """The UK band must not scrap, nor hold up, a tire under the US chart; a US shop may choose it, though."""
    far = {**GOOD, "injury.center_distance": spoken("80", "mm"), "tire.section_width": exact("205", "mm")}
    assert dispose(far).decision is Decision.ONE_PIECE
    assert dispose({**GOOD, "injury.center_distance": spoken("80", "mm")}).decision is Decision.ONE_PIECE
    assert dispose(far, Policy(choose={"injury.band": "uk"})).decision is Decision.SCRAP


def test_the_channel_counts_once_its_lean_is_read() -> None:
    leaning = {**GOOD, "injury.center_distance": spoken("62", "mm"), "injury.lean": "outward"}
    assert dispose(leaning).missing == ("tire.tread_width",)
    whole = {**leaning, "tire.thickness": spoken("14", "mm"), "tire.tread_width": spoken("170", "mm")}
    assert _rules(whole) == ["injury.channel.crown"]
    assert dispose(whole).decision is Decision.SCRAP


def test_other_countries() -> None:
    steep = {**GOOD, "injury.angle": spoken("50", "deg")}
    assert dispose(steep, named_policy("nz")).decision is Decision.SCRAP
    assert dispose(steep).decision is Decision.TWO_PIECE
    sealed = {**GOOD, "repairs.earlier": exact("2", "1")}
    assert dispose(sealed, named_policy("jp")).decision is Decision.SCRAP
    assert dispose(sealed, named_policy("nz")).decision is Decision.ONE_PIECE


def test_bad_facts_are_errors() -> None:
    with pytest.raises(LimitsError, match=r"injury.size must be a length, not a pressure"):
        dispose({**GOOD, "injury.size": exact("5", "psi")})


def test_a_second_opinion_never_erases_a_reason() -> None:
    scrap = dispose({**GOOD, "injury.size": spoken("9", "mm")})
    good = dispose(GOOD)
    for joined in (second_opinion(scrap, good), second_opinion(good, scrap)):
        assert joined.decision is Decision.SCRAP
        assert [v.rule for v in joined.reasons] == ["injury.size.max"]
    steep = dispose({**GOOD, "injury.angle": spoken("30", "deg")})
    assert second_opinion(steep, good).decision is Decision.TWO_PIECE
    assert second_opinion(good, steep).decision is Decision.TWO_PIECE
    assert second_opinion(good, good) == good
    coarse = dispose({**GOOD, "injury.size": spoken("6", "mm")})
    finer = second_opinion(coarse, dispose({**GOOD, "injury.size": spoken("5.8", "mm")}))
    assert finer.decision is Decision.ONE_PIECE
    assert [v.outcome for v in finer.reasons] == [Outcome.CLOSE]  # stays in the record
    assert second_opinion(coarse, scrap).decision is Decision.SCRAP
    assert second_opinion(good, dispose({})).decision is Decision.MEASURE
    assert second_opinion(good, dispose({})).missing == dispose({}).missing
    clear = {v.rule for v in second_opinion(dispose({}), good).clear}
    assert "injury.size.max" in clear


_SIZE = st.integers(0, 120).map(lambda n: Decimal(n) / 10)
_UNIT = st.sampled_from(["mm", "cm", "in", "32nd"])


def _facts(size: Decimal, angle: int, edge: int, tread: Decimal, res: Decimal) -> dict[str, Quantity | str]:
    return {
        "injury.place": "crown",
        "injury.size": Quantity(size, "mm", res),
        "injury.angle": spoken(str(angle), "deg"),
        "injury.edge_distance": spoken(str(edge), "mm"),
        "tread.depth": Quantity(tread, "mm", res),
    }


_CASES = (_SIZE, st.integers(0, 75), st.integers(0, 80), _SIZE, st.sampled_from([Decimal("0.1"), Decimal(1)]))


@given(*_CASES, st.integers(0, 50), st.sampled_from(["us", "jp", "de", "nz"]))
def test_a_worse_tire_never_comes_off_better(
    size: Decimal, angle: int, edge: int, tread: Decimal, res: Decimal, more: int, base: str
) -> None:
    policy = named_policy(base)
    here = ORDER.index(dispose(_facts(size, angle, edge, tread, res), policy).decision)
    step = Decimal(more) / 10
    worse = [
        _facts(size + step, angle, edge, tread, res),
        _facts(size, min(angle + more, 80), edge, tread, res),
        _facts(size, angle, max(edge - more, 0), tread, res),
        _facts(size, angle, edge, max(tread - step, Decimal(0)), res),
    ]
    for facts in worse:
        assert ORDER.index(dispose(facts, policy).decision) >= here


@given(*_CASES, _UNIT)
def test_the_unit_of_input_does_not_change_the_disposition(
    size: Decimal, angle: int, edge: int, tread: Decimal, res: Decimal, unit: str
) -> None:
    facts = _facts(size, angle, edge, tread, res)
    other = {
        key: value.to(unit) if isinstance(value, Quantity) and value.unit == "mm" else value
        for key, value in facts.items()
    }
    here, there = dispose(facts), dispose(other)
    assert here.decision is there.decision
    assert [(v.rule, v.outcome) for v in here.reasons] == [(v.rule, v.outcome) for v in there.reasons]
