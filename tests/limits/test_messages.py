"""Every error is one plain line that says what to do; the words are part of the interface."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest

from handsfree.limits import (
    Lean,
    LimitsError,
    Override,
    Policy,
    Severity,
    Site,
    answer,
    crown_half_width,
    dew_point,
    drying_times,
    ellipse,
    exact,
    judge,
    load_index,
    named_policy,
    parse_date_code,
    parse_designation,
    parse_policy,
    parse_quantity,
    pressure_at,
    rule,
    seating_stops,
    spacing,
    speed_symbol,
    spoken,
    star_sequence,
    surface_speed,
    torque_stages,
    trace,
    tread_report,
)
from handsfree.limits._rule import Effective
from handsfree.quantity import Quantity

SITE = Site("a", exact("0", "deg"), exact("0", "mm"), exact("40", "mm"))

MESSAGES: list[tuple[Callable[[], object], str]] = [
    (lambda: load_index(59), "load index 59 is not in the table of 60 to 126: read it again"),
    (lambda: speed_symbol("Z"), "Z only says over 240 km/h: read the symbol after the load index"),
    (lambda: speed_symbol("I"), "speed symbol 'I' does not exist: read it again"),
    (lambda: parse_designation("x"), "'x' is no tire size: write it as on the sidewall, like 215/65R15 96H"),
    (
        lambda: parse_designation("206/55R16"),
        "'206/55R16': section width 206 mm is not one of 105, 115, ... 405",
    ),
    (lambda: parse_designation("205/57R16"), "'205/57R16': aspect ratio 57 is not one of 20, 25, ... 95"),
    (
        lambda: parse_designation("205/55R31"),
        "'205/55R31': a rim of 31 in is outside 8 to 30 in, read it again",
    ),
    (
        lambda: parse_designation("205/401R16"),
        "'205/401R16': the tire would be smaller than its rim, read it again",
    ),
    (
        lambda: parse_designation("31x3.5R15"),
        "'31x3.5R15': a width of 3.5 in is outside 4 to 16 in, read it again",
    ),
    (
        lambda: parse_designation("205/55ZR16 91H"),
        "'205/55ZR16 91H': ZR says over 240 km/h, but H is 210 km/h",
    ),
    (
        lambda: parse_designation("LT235/85R16 XL"),
        "'LT235/85R16 XL': XL does not go with LT, which has a load range letter",
    ),
    (
        lambda: parse_designation("205/55R16 F"),
        "'205/55R16 F': load range F does not go with a passenger size",
    ),
    (
        lambda: parse_designation("205/55R16 (91Y"),
        "'205/55R16 (91Y': write load index and speed symbol like 96H, 104/101S or (97Y)",
    ),
    (
        lambda: parse_designation("185/75R14C 101/104S"),
        "'185/75R14C 101/104S': the second (dual) load index can't exceed the first",
    ),
    (
        lambda: parse_designation("205/55R16 91I"),
        "'205/55R16 91I': speed symbol 'I' does not exist, read it again",
    ),
    (
        lambda: parse_designation("205/55R16 (91V)"),
        "'205/55R16 (91V)': only (..Y) stands in brackets, for over 300 km/h",
    ),
    (
        lambda: parse_date_code("x"),
        "date code 'x' is not digits only: read the last four digits of the tire number",
    ),
    (
        lambda: parse_date_code("031"),
        "date code 031 has three digits: made before July 2000, decade unknown, too old",
    ),
    (lambda: parse_date_code("03"), "date code 03 has 2 digits: read four, week then year"),
    (lambda: parse_date_code("5322"), "date code 5322 can't be: 2022 has weeks 01 to 52, not 53"),
    (
        lambda: judge("tire.age", {"tire.date_code": "0130", "today": "2026-01-01"}),
        "date code 0130 lies in the future of 2026-01-01: read it again",
    ),
    (
        lambda: judge("tire.age", {"tire.date_code": "0124", "today": "x"}),
        "today must be year-month-day, like 2026-03-31",
    ),
    (lambda: dew_point(60, 50), "air at 60 degC is outside -40 to 50 degC: check the thermometer"),
    (lambda: dew_point(20, 0), "humidity of 0 % is outside 1 to 100 %: check the hygrometer"),
    (
        lambda: drying_times(exact("4", "degC"), exact("50", "%"), exact("3", "min")),
        "air below 5 degC: no cement may be applied, warm the bay first",
    ),
    (
        lambda: drying_times(exact("20", "degC"), exact("91", "%"), exact("3", "min")),
        "humidity above 90 %: no cement may be applied, dry the bay first",
    ),
    (
        lambda: pressure_at(exact("2", "bar"), exact("20", "degC"), exact("-300", "degC")),
        "temperature at or below absolute zero: check the thermometer",
    ),
    (
        lambda: seating_stops(exact("0", "psi")),
        "seating pressure and step must be above zero: read them again",
    ),
    (lambda: star_sequence(3), "a wheel with 3 nuts is not covered: 4 to 10"),
    (
        lambda: torque_stages(exact("0", "N.m")),
        "torque needs at least one stage and a target above zero: read the target again",
    ),
    (
        lambda: surface_speed(exact("0", "mm"), exact("1", "rpm")),
        "a tool needs a diameter above zero and a speed of zero or more: read them again",
    ),
    (
        lambda: ellipse(exact("6", "mm"), exact("80.5", "deg")),
        "injury angle of 80.5 deg is outside 0 to 75 deg: a cut, not a puncture",
    ),
    (
        lambda: trace(exact("6", "mm"), exact("8", "deg"), exact("0", "mm"), exact("1", "mm"), Lean.ROUND),
        "thickness must be above zero, place and size at least zero: read them again",
    ),
    (
        lambda: crown_half_width("x", {}),
        "unknown crown rule 'x': choose one of half_inch, one_inch, inch_and_half, grooves, belts, band",
    ),
    (lambda: crown_half_width("belts", {}), "tire.belt_width"),
    (
        lambda: crown_half_width("one_inch", {"tread_width": exact("40", "mm")}),
        "no crown zone is left under rule 'one_inch': read the tread_width again",
    ),
    (
        lambda: crown_half_width("band", {"section_width": exact("0", "mm")}),
        "section width must be above zero: read the tire's size again",
    ),
    (lambda: spacing([], exact("2", "m"), exact("12", "mm")), "no injury to judge: read at least one place"),
    (
        lambda: spacing([SITE, SITE], exact("2", "m"), exact("12", "mm")),
        "two places carry the same name: name each injury and repair once",
    ),
    (
        lambda: spacing([SITE], exact("1", "cm"), exact("12", "mm")),
        "the tire is thicker than it is round: read size and thickness again",
    ),
    (lambda: tread_report({}), "no groove was read: read the depth of at least one"),
    (
        lambda: judge(
            "tread.uneven.max", {"tread.depth": exact("5", "mm"), "tread.depth.highest": exact("4", "mm")}
        ),
        "the highest groove is lower than the lowest: read the grooves again",
    ),
    (lambda: judge("injury.size.max", {}), "injury.size"),
    (
        lambda: judge("injury.size.max", {"injury.size": "big"}),
        "injury.size must be a length with a unit, not 'big'",
    ),
    (
        lambda: judge("injury.size.max", {"injury.size": exact("1", "psi")}),
        "injury.size must be a length, not a pressure: give it in mm",
    ),
    (
        lambda: judge("injury.size.max", {"injury.size": exact("-1", "mm")}),
        "injury.size can't be negative: read it again",
    ),
    (
        lambda: judge("injury.size.max", {"injury.size": exact("NaN", "mm")}),
        "injury.size is not a number: read it again",
    ),
    (
        lambda: judge("injury.size.max", {"injury.size": Quantity(Decimal(1), "mm", Decimal(0))}),
        "injury.size has a resolution of zero or less: leave it out for an exact value",
    ),
    (lambda: judge("tire.kind", {"tire.kind": exact("1", "mm")}), "tire.kind must be a word, not a number"),
    (
        lambda: judge("tire.kind", {"tire.kind": "bus"}),
        "tire.kind is 'bus': choose one of passenger, light truck, trailer, spare",
    ),
    (lambda: rule("x"), "unknown rule 'x': list them with 'handsfree limits'"),
    (lambda: judge("drying", rule("drying").example), "rule drying gives a window, not a verdict"),
    (lambda: named_policy("fr"), "unknown policy 'fr': choose one of us, uk, jp, de, nz"),
    (lambda: parse_policy("name = 'x'\nbase = 'fr'"), "policy: base 'fr' is not one of us, uk, jp, de, nz"),
    (lambda: parse_policy("x = 1"), "policy: name: field required"),
    (
        lambda: parse_policy("name = 'x'\n[choose]\n'tire.age' = 'x'"),
        "policy: tire.age has no variant 'x': choose one of any, us_none, six_years",
    ),
    (
        lambda: parse_policy("name = 'x'\n[limits.drying]\nwhy = 'x'"),
        "policy: drying moves nothing: give it a limit or a severity",
    ),
    (
        lambda: parse_policy("name = 'x'\n[limits.drying]\nlimit = '1 min'"),
        "policy: drying would loosen a stop limit: say who allowed it (allowed_by) and why (why)",
    ),
    (
        lambda: parse_policy("name = 'x'\n[limits.'tire.kind']\nlimit = '1 min'"),
        "policy: tire.kind has no number to move: only its severity can be raised",
    ),
    (
        lambda: parse_policy("name = 'x'\n[limits.drying]\nlimit = '1 mm'"),
        "policy: drying is given in s, not mm: 1 mm",
    ),
    (
        lambda: parse_policy("name = 'x'\n[limits.drying]\nwhen = 'x'\nlimit = '1 min'"),
        "policy: limits.drying.when: extra inputs are not permitted",
    ),
    (lambda: parse_quantity("x"), "'x' is no limit: write a number and a unit, like 5 mm or 1/4 in"),
    (lambda: parse_policy("name ="), "policy is not TOML: Invalid value (at end of document)"),
]


@pytest.mark.parametrize(("call", "words"), MESSAGES, ids=[words[:50] for _, words in MESSAGES])
def test_message(call: Callable[[], object], words: str) -> None:
    with pytest.raises(LimitsError) as wrong:
        call()
    assert str(wrong.value) == words


BASE = Effective(
    exact("6", "mm"),
    True,
    rule("injury.size.max").limits["us"].source,
    Severity.STOP,
    "us",
    "of the published pair 1/4 in (6 mm) the stricter counts",
)


@pytest.mark.parametrize(
    ("override", "value", "source", "severity"),
    [
        (Override(), "6", "{}", Severity.STOP),
        (Override(exact("5", "mm")), "5", "shop policy 'bay', tightened; published: {}", Severity.STOP),
        (Override(exact("7", "mm")), "6", "{}", Severity.STOP),
        (
            Override(exact("7", "mm"), None, "A", "b"),
            "7",
            "shop policy 'bay', LOOSENED from 6 mm by A: b; published: {}",
            Severity.STOP,
        ),
        (
            Override(None, Severity.WARN, "A", "b"),
            "6",
            "{}; shop policy 'bay': warn, not stop by A: b",
            Severity.WARN,
        ),
        (
            Override(exact("5", "mm"), Severity.NOTE),
            "5",
            "shop policy 'bay', tightened; published: {}; shop policy 'bay': note, not stop",
            Severity.NOTE,
        ),
    ],
)
def test_what_a_moved_limit_shows(override: Override, value: str, source: str, severity: Severity) -> None:
    policy = Policy("bay", overrides={"injury.size.max": override})
    found = rule("injury.size.max").effective({}, policy)
    # The published note speaks of the published number; beside a shop's own it would mislead.
    note = BASE.note if value == "6" else ""
    assert found == Effective(exact(value, "mm"), True, source.format(BASE.source), severity, "us", note)


def test_a_loosened_warning_without_a_name_shows_all_the_same() -> None:
    policy = Policy("bay", overrides={"balance.residual.max": Override(exact("9", "g"))})
    found = rule("balance.residual.max").effective({}, policy)
    assert found.source.startswith("shop policy 'bay', LOOSENED from 7 g; published: vehicle service manual")
    assert not rule("tread.depth.min").effective({}, Policy()).inclusive
    strict = Policy("bay", overrides={"tread.depth.min": Override(exact("3", "mm"))})
    assert not rule("tread.depth.min").effective({}, strict).inclusive


def test_counts_and_windows_read_well() -> None:
    assert answer("passes.inside", {"tire.body_ply": "steel"}).reason == (
        "Cutter passes from the inside: 6 for a steel body ply."
    )
    assert answer(
        "drying", {"air.temperature": exact("10", "degC"), "air.humidity": exact("50", "%")}
    ).reason == (
        "Cement drying: at least 360 s, then at most 480 s before cementing again; cold or damp: longer than 180 s."
    )
    assert answer(
        "drying", {"air.temperature": exact("25", "degC"), "air.humidity": exact("40", "%")}
    ).reason == (
        "Cement drying: at least 180 s, then at most 264 s before cementing again; ordinary climate."
    )
    assert answer("torque.tightenings", {"nut.count": exact("4", "1")}).reason == (
        "Tightenings in star order: 8, each nut 2 times, order 1 3 2 4."
    )


def test_small_but_real_values_are_not_refused() -> None:
    """Just above zero is above zero, in whatever unit."""
    assert seating_stops(exact("1", "bar"), exact("1", "bar")) == (Quantity(Fraction(1), "bar"),)
    assert len(seating_stops(exact("0.5", "psi"), exact("0.5", "psi"))) == 1
    assert torque_stages(exact("0.5", "N.m"), 1) == (exact("0.5", "N.m"),)
    assert surface_speed(exact("0.5", "mm"), exact("0.5", "rpm")).value > 0
    thin = trace(exact("0", "mm"), exact("0", "deg"), exact("0.5", "mm"), exact("0.5", "mm"), Lean.ROUND)
    assert thin.reach.high == Fraction(1, 2)
    assert crown_half_width("one_inch", {"tread_width": exact("51", "mm")}).value == Fraction("0.1")
    assert spacing([SITE], exact("76", "mm"), exact("12", "mm")).pairs == ()


def test_reasons_of_the_named_extras() -> None:
    facts = {"pressure.leak_start": spoken("240", "kPa"), "pressure.leak_end": spoken("237", "kPa")}
    assert judge("pressure.leak", facts).reason == (
        "Pressure loss in the leak test: 3 kPa; most 10 kPa; inside by 7 kPa (temperature taken as steady); but the "
        "readings do show a loss: soap it and test longer."
    )
    lamp = {"sensor.pressure": exact("27", "psi"), "pressure.placard": exact("35", "psi")}
    assert "(25 % under placard)." in judge("pressure.sensor.threshold", lamp).reason
    floor = judge(
        "pressure.sensor.threshold", {**lamp, "pressure.placard": exact("26", "psi"), "tire.load_range": "SL"}
    )
    assert floor.reason.endswith("(floor of 49 CFR 571.138 Table 1, from memory).")
    dry = judge(
        "air.dew_point_margin", {"air.temperature": exact("20", "degC"), "air.humidity": exact("50", "%")}
    )
    assert dry.reason.endswith("(surface not read: taken at air temperature).")
    count = judge("repairs.count.max", {"repairs.earlier": exact("1", "1")}, named_policy("jp"))
    assert count.reason == "Repairs in this tire: 2; most 2; inside by 0 (counting this repair)."


def test_a_policy_built_by_hand_with_a_foreign_unit() -> None:
    odd = Policy("bay", overrides={"injury.size.max": Override(exact("5", "psi"))})
    with pytest.raises(LimitsError) as wrong:
        judge("injury.size.max", {"injury.size": exact("5", "mm")}, odd)
    assert str(wrong.value) == "injury.size.max: psi is pressure, mm is length"


def test_a_rule_without_a_variant_for_the_policy() -> None:
    item = rule("injury.size.max")
    foreign = replace(item, limits={"jp": item.limits["jp"]})
    with pytest.raises(LimitsError) as wrong:
        foreign.variant(Policy("bay"))
    assert str(wrong.value) == "rule injury.size.max has no variant for policy 'bay'"
    assert foreign.variant(named_policy("jp")) == "jp"


def test_age_as_a_note_names_its_source() -> None:
    note = judge("tire.age", {"tire.date_code": "0118", "today": "2026-01-01"})
    assert note.source == "vehicle maker's owner information, 2018: replace by six years"
