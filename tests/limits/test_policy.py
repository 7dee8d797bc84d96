"""A shop's policy: choosing is free, tightening is free, loosening a stop limit needs a name and a reason."""

from __future__ import annotations

from fractions import Fraction

import pytest

from handsfree.limits import (
    BASES,
    DEFAULT,
    LimitsError,
    Outcome,
    Policy,
    Severity,
    count,
    exact,
    judge,
    named_policy,
    parse_policy,
    parse_quantity,
    rule,
    rules,
    window,
)
from handsfree.quantity import Quantity

IN, OUT, CLOSE = Outcome.INSIDE, Outcome.OUTSIDE, Outcome.CLOSE
SIX = {"injury.size": exact("6", "mm")}


def _policy(body: str, base: str = "us") -> Policy:
    return parse_policy(f'name = "bay"\nbase = "{base}"\n{body}')


def test_default_is_the_us_chart() -> None:
    assert DEFAULT.base == "us"
    assert DEFAULT.loosened == ()
    assert parse_policy('name = "plain"').base == "us"
    assert parse_policy('name = "plain"').name == "plain"
    assert judge("injury.size.max", SIX).source.startswith("USTMA")
    assert named_policy("jp") == Policy("jp", "jp")
    with pytest.raises(LimitsError, match="us, uk, jp, de, nz"):
        named_policy("fr")


@pytest.mark.parametrize("base", BASES)
def test_every_rule_has_a_limit_under_every_base(base: str) -> None:
    for item in rules():
        assert item.variant(named_policy(base)) in item.limits


@pytest.mark.parametrize(
    ("base", "source"),
    [("us", "USTMA"), ("uk", "BS AU 159"), ("jp", "JATMA"), ("de", "StVZO"), ("nz", "NZS 5423")],
)
def test_the_source_follows_the_base(base: str, source: str) -> None:
    assert source in judge("injury.size.max", SIX, named_policy(base)).source


def test_a_country_without_its_own_rule_falls_back_on_the_us_chart() -> None:
    assert rule("injury.edge.min").variant(named_policy("jp")) == "us"
    assert rule("balance.residual.max").variant(named_policy("jp")) == "any"


def test_choosing_among_published_rules() -> None:
    policy = _policy('[choose]\n"injury.edge.min" = "inch_and_half"')
    facts = {"injury.edge_distance": exact("30", "mm")}
    assert judge("injury.edge.min", facts).outcome is IN
    assert judge("injury.edge.min", facts, policy).outcome is OUT
    assert policy.loosened == ()
    assert _policy("[choose.balance.residual]\nmax = 'fifteen_grams'").choose == {
        "balance.residual.max": "fifteen_grams"
    }


def test_tightening_is_free_and_shows() -> None:
    policy = _policy('[limits."injury.size.max"]\nlimit = "5 mm"')
    verdict = judge("injury.size.max", {"injury.size": exact("5.5", "mm")}, policy)
    assert verdict.outcome is OUT
    assert verdict.high == exact("5", "mm")
    assert verdict.severity is Severity.STOP
    assert verdict.source.startswith("shop policy 'bay', tightened; published: USTMA")
    assert policy.loosened == ()
    same = _policy('[limits."injury.size.max"]\nlimit = "6 mm"')
    assert judge("injury.size.max", SIX, same).outcome is IN
    least = _policy('[limits."injury.edge.min"]\nlimit = "30 mm"')
    assert judge("injury.edge.min", {"injury.edge_distance": exact("29", "mm")}, least).outcome is OUT


def test_rule_names_need_no_quotes() -> None:
    bare = _policy('[limits.injury.size.max]\nlimit = "5 mm"\n[limits.injury.edge.min]\nlimit = "2 in"')
    assert set(bare.overrides) == {"injury.size.max", "injury.edge.min"}
    assert bare.overrides["injury.edge.min"].limit == exact("2", "in")


def test_the_published_limit_itself_is_no_loosening() -> None:
    for table, limit in (
        ("injury.edge.min", "1 in"),
        ("injury.size.max", "6 mm"),
        ("tread.depth.min", "2 32nd"),
    ):
        policy = _policy(f'[limits."{table}"]\nlimit = "{limit}"')
        assert policy.loosened == ()
        assert "tightened" in rule(table).effective({}, policy).source


def test_a_limit_may_be_set_where_none_is_published() -> None:
    policy = _policy(
        '[limits."repairs.count.max"]\nlimit = "2"\n[limits."injury.angle.max"]\nlimit = "40 deg"'
    )
    assert judge("repairs.count.max", {"repairs.earlier": exact("2", "1")}, policy).outcome is OUT
    assert judge("injury.angle.max", {"injury.angle": exact("41", "deg")}, policy).outcome is OUT
    assert policy.loosened == ()


@pytest.mark.parametrize(
    "names", ["", 'allowed_by = "A. Chief"', 'why = "trial"', 'allowed_by = " "\nwhy = "x"']
)
def test_loosening_a_stop_limit_is_refused_without_name_and_reason(names: str) -> None:
    for table, limit in (
        ("injury.size.max", "7 mm"),
        ("injury.edge.min", "20 mm"),
        ("tread.depth.min", "1 mm"),
        ("drying", "2 min"),
        ("torque.applied.target", "6 %"),
    ):
        with pytest.raises(LimitsError, match=f"{table} would loosen a stop limit: say who") as wrong:
            _policy(f'[limits."{table}"]\nlimit = "{limit}"\n{names}')
        assert "\n" not in str(wrong.value)


def test_a_named_loosening_holds_and_shows_in_every_verdict() -> None:
    policy = _policy(
        '[limits."injury.size.max"]\nlimit = "7 mm"\nallowed_by = "A. Chief"\nwhy = "trial until May"'
    )
    verdict = judge("injury.size.max", {"injury.size": exact("6.5", "mm")}, policy)
    assert verdict.outcome is IN
    assert "LOOSENED from 6 mm by A. Chief: trial until May; published: USTMA" in verdict.source
    assert policy.loosened == ("injury.size.max",)


def test_loosening_a_warning_is_free_but_shows() -> None:
    policy = _policy('[limits."balance.residual.max"]\nlimit = "10 g"')
    verdict = judge("balance.residual.max", {"balance.residual": exact("9", "g")}, policy)
    assert verdict.outcome is IN
    assert "LOOSENED from 7 g by the shop: no reason given" in verdict.source
    assert policy.loosened == ("balance.residual.max",)


def test_the_number_that_tightens_one_tire_never_loosens_another() -> None:
    """8 mm would loosen the fabric limit (6 mm) but tighten the one for steel body ply (3/8 in)."""
    policy = _policy(
        '[choose]\n"injury.size.max" = "us_body_ply"\n[limits."injury.size.max"]\nlimit = "8 mm"'
    )
    seven = {"injury.size": exact("7", "mm"), "tire.kind": "light truck", "tire.load_range": "E"}
    assert judge("injury.size.max", {**seven, "tire.body_ply": "fabric"}, policy).outcome is OUT
    assert judge("injury.size.max", {**seven, "tire.body_ply": "steel"}, policy).outcome is IN
    nine = {**seven, "injury.size": exact("9", "mm"), "tire.body_ply": "steel"}
    assert judge("injury.size.max", nine, policy).outcome is OUT
    passes = _policy('[limits."passes.inside"]\nlimit = "4"')
    assert count("passes.inside", {"tire.body_ply": "fabric"}, passes).target == 4
    assert count("passes.inside", {"tire.body_ply": "steel"}, passes).target == 6
    with pytest.raises(LimitsError, match="loosen"):
        _policy('[limits."passes.inside"]\nlimit = "2"')


def test_severity_may_be_raised_freely_and_lowered_only_by_name() -> None:
    raised = _policy('[limits."tire.age"]\nseverity = "stop"')
    old = {"tire.date_code": "0110", "today": "2026-01-01"}
    assert judge("tire.age", old, raised).severity is Severity.STOP
    assert judge("tire.age", old).severity is Severity.WARN
    with pytest.raises(LimitsError, match="loosen"):
        _policy('[limits."tread.depth.min"]\nseverity = "warn"')
    lowered = _policy('[limits."tread.depth.min"]\nseverity = "note"\nallowed_by = "A"\nwhy = "spare only"')
    assert judge("tread.depth.min", {"tread.depth": exact("1", "mm")}, lowered).severity is Severity.NOTE
    assert lowered.loosened == ("tread.depth.min",)
    eased = _policy('[limits."tire.age"]\nseverity = "note"')
    assert eased.loosened == ("tire.age",)
    assert _policy('[limits."tire.age"]\nseverity = "warn"').loosened == ()


def test_a_tightened_formula() -> None:
    slow = _policy('[limits.drying]\nlimit = "4 min"')
    air = {"air.temperature": exact("20", "degC"), "air.humidity": exact("50", "%")}
    assert (window("drying", air, slow).shortest_s, window("drying", air, slow).longest_s) == (240, 360)
    assert "ordinary" in window("drying", air, slow).reason
    tight = _policy('[limits."torque.applied.target"]\nlimit = "2 %"')
    torque = {"torque.target": exact("100", "N.m"), "torque.applied": exact("103", "N.m")}
    assert judge("torque.applied.target", torque).outcome is IN
    assert judge("torque.applied.target", torque, tight).outcome is OUT
    patch = _policy('[limits."patch.size.min"]\nlimit = "20 mm"')
    facts = {
        "patch.size": exact("44", "mm"),
        "injury.size": exact("5", "mm"),
        "injury.angle": exact("0", "deg"),
    }
    assert judge("patch.size.min", facts, patch).outcome is OUT
    band = _policy('[limits."injury.band"]\nlimit = "50 mm"', "uk")
    place = {
        "injury.center_distance": exact("50", "mm"),
        "injury.size": exact("1", "mm"),
        "tire.section_width": exact("205", "mm"),
    }
    assert judge("injury.band", place, named_policy("uk")).outcome is IN
    assert judge("injury.band", place, band).outcome is OUT
    wide = _policy('[limits."injury.band"]\nlimit = "90 mm"', "uk")
    assert judge("injury.band", {**place, "injury.center_distance": exact("72", "mm")}, wide).outcome is OUT
    channel = _policy('[limits."injury.channel.crown"]\nlimit = "40 mm"')
    lean = {
        **place,
        "injury.angle": exact("0", "deg"),
        "injury.lean": "round",
        "tire.thickness": exact("14", "mm"),
        "tire.tread_width": exact("170", "mm"),
    }
    assert judge("injury.channel.crown", lean).outcome is IN
    assert judge("injury.channel.crown", lean, channel).outcome is OUT
    lamp = _policy('[limits."pressure.sensor.threshold"]\nlimit = "20 %"')
    assert judge(
        "pressure.sensor.threshold",
        {"sensor.pressure": exact("27", "psi"), "pressure.placard": exact("35", "psi")},
        lamp,
    ).low == exact("28", "psi")


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("name = ", "not TOML"),
        ("base = 'us'", "name: field required"),
        ("name = ''", "name"),
        ("name = 'x'\nbase = 'fr'", "base 'fr'"),
        ("name = 'x'\nextra = 1", "extra"),
        ("name = 3", "name"),
        ("name = 'x'\n[choose]\n'no.rule' = 'us'", "unknown rule 'no.rule'"),
        (
            "name = 'x'\n[choose]\n'injury.edge.min' = 'wide'",
            "no variant 'wide'.*us, half_inch, inch_and_half",
        ),
        ("name = 'x'\n[choose]\n'injury.size.max' = 'us_body_ply.steel'", "no variant"),
        ("name = 'x'\n[choose]\n'injury.edge.min' = 3", "choose"),
        ("name = 'x'\nchoose = 3", "choose"),
        ("name = 'x'\nlimits = 3", "limits"),
        ("name = 'x'\n[limits.'no.rule']\nlimit = '1 mm'", "unknown rule"),
        ("name = 'x'\n[limits.'injury.size.max']\nlimit = '5 mm'\nnote = 'x'", "note"),
        ("name = 'x'\n[limits.'injury.size.max']\nlimit = '5 psi'", "given in mm, not psi"),
        ("name = 'x'\n[limits.'pressure.sensor.threshold']\nlimit = '5 psi'", "given in %, not psi"),
        ("name = 'x'\n[limits.'injury.band']\nlimit = '5 psi'", "given in mm, not psi"),
        ("name = 'x'\n[limits.'injury.size.max']\nlimit = 'five mm'", "is no limit"),
        ("name = 'x'\n[limits.'injury.size.max']\nlimit = '-5 mm'", "is no limit"),
        ("name = 'x'\n[limits.'injury.size.max']\nlimit = '1/0 in'", "is no limit"),
        ("name = 'x'\n[limits.'injury.size.max']\nlimit = '5 furlong'", "unknown unit"),
        ("name = 'x'\n[limits.'injury.size.max']\nlimit = '5'", "given in mm"),
        ("name = 'x'\n[limits.'injury.size.max']\nwhy = 'x'", "moves nothing"),
        ("name = 'x'\n[limits.'injury.place.crown']\nlimit = '5 mm'", "no number to move"),
        ("name = 'x'\n[limits.'injury.size.max']\nseverity = 'red'", "severity"),
    ],
)
def test_bad_policies_are_refused_in_one_line(text: str, word: str) -> None:
    with pytest.raises(LimitsError, match=word) as wrong:
        parse_policy(text)
    assert len(str(wrong.value).splitlines()) == 1


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("5 mm", exact("5", "mm")),
        ("1/4 in", exact("1/4", "in")),
        (" 0.5in ", exact("0.5", "in")),
        ("24", exact("24", "1")),
    ],
)
def test_quantities(text: str, value: Quantity) -> None:
    assert parse_quantity(text) == value
    assert parse_quantity(text).resolution is None
    assert isinstance(parse_quantity(text).value, Fraction) == ("/" in text)
    assert Fraction(parse_quantity("007/08 in").value) == Fraction(7, 8)
