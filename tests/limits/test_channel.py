"""Injury geometry: closed forms, limiting cases, mirrored injuries, and a brute-force walk over the corners."""

from __future__ import annotations

import itertools
import math
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.limits import (
    CROWN_RULES,
    End,
    Lean,
    LimitsError,
    MissingFact,
    Outcome,
    Override,
    Policy,
    UnitKind,
    band_share,
    crown_half_width,
    crown_zones,
    ellipse,
    exact,
    judge,
    named_policy,
    size_unit,
    spoken,
    trace,
    unit_kind,
)
from handsfree.limits._channel import _absolute
from handsfree.limits._compare import Interval
from handsfree.quantity import Quantity

IN, OUT, CLOSE = Outcome.INSIDE, Outcome.OUTSIDE, Outcome.CLOSE


def test_ellipse() -> None:
    """A cylinder of diameter d cut at an angle a: axes d and d / cos a; at 60 degrees twice as long."""
    assert ellipse(exact("6", "mm"), exact("0", "deg")) == (exact("6", "mm"), Quantity(Fraction(6), "mm"))
    minor, major = ellipse(exact("6", "mm"), exact("60", "deg"))
    assert minor.value == 6
    assert float(major.value) == pytest.approx(12)
    inch, _ = ellipse(exact("1/4", "in"), exact("10", "deg"))
    assert inch == Quantity(Fraction("6.35"), "mm")


@pytest.mark.parametrize("angle", ["-1", "75.1", "90", "120"])
def test_angle_domain(angle: str) -> None:
    with pytest.raises(LimitsError, match="0 to 75"):
        ellipse(exact("6", "mm"), exact(angle, "deg"))


def test_angle_domain_end() -> None:
    assert float(ellipse(exact("6", "mm"), exact("75", "deg"))[1].value) == pytest.approx(
        6 / math.cos(math.radians(75))
    )


def _trace(lean: Lean, at: End = End.LINER, angle: str = "45", place: str = "20") -> list[float]:
    channel = trace(exact("4", "mm"), exact(angle, "deg"), exact("10", "mm"), exact(place, "mm"), lean, at)
    return [
        float(x)
        for x in (channel.liner_across, channel.tread_across, channel.round_shift, channel.nominal_reach)
    ]


def test_the_channel_wanders_by_t_tan_a() -> None:
    half = 2 / math.cos(math.radians(45))
    assert _trace(Lean.OUTWARD) == pytest.approx([20, 30, 0, 30 + half])
    assert _trace(Lean.INWARD) == pytest.approx([20, 10, 0, 20 + half])
    assert _trace(Lean.ROUND) == pytest.approx([20, 20, 10, 22])
    assert _trace(Lean.OUTWARD, End.TREAD) == pytest.approx([10, 20, 0, 20 + half])
    assert _trace(Lean.INWARD, End.TREAD) == pytest.approx([30, 20, 0, 30 + half])
    assert _trace(Lean.ROUND, End.TREAD) == pytest.approx([20, 20, 10, 22])
    assert _trace(Lean.INWARD, place="3") == pytest.approx([3, -7, 0, 7 + half])  # past the center line


def test_length_and_axes() -> None:
    channel = trace(exact("4", "mm"), exact("60", "deg"), exact("10", "mm"), exact("0", "mm"), Lean.ROUND)
    assert float(channel.length) == pytest.approx(20)
    assert float(channel.major) == pytest.approx(8)
    assert channel.minor == 4


@pytest.mark.parametrize("lean", list(Lean))
def test_straight_through_is_exact_and_leans_nowhere(lean: Lean) -> None:
    channel = trace(exact("4", "mm"), exact("0", "deg"), exact("10", "mm"), exact("20", "mm"), lean)
    assert (channel.liner_across, channel.tread_across, channel.length, channel.major) == (20, 20, 10, 4)
    assert (channel.reach.low, channel.reach.high, channel.nominal_reach) == (22, 22, 22)


@pytest.mark.parametrize(
    ("size", "thick", "place"), [("4", "0", "20"), ("4", "-1", "20"), ("4", "10", "-1"), ("-1", "10", "20")]
)
def test_lengths_that_can_not_be(size: str, thick: str, place: str) -> None:
    with pytest.raises(LimitsError, match="above zero"):
        trace(exact(size, "mm"), exact("10", "deg"), exact(thick, "mm"), exact(place, "mm"), Lean.ROUND)


_MM = st.integers(1, 400).map(lambda n: Decimal(n) / 10)
_RES = st.sampled_from([Decimal("0.1"), Decimal("0.5"), Decimal(1)])


@given(
    _MM,
    st.integers(0, 74),
    _MM,
    st.integers(0, 1000).map(lambda n: Decimal(n) / 10),
    st.sampled_from(list(Lean)),
    st.sampled_from(list(End)),
    _RES,
)
def test_reach_is_the_range_over_every_corner(
    size: Decimal, angle: int, thick: Decimal, place: Decimal, lean: Lean, at: End, res: Decimal
) -> None:
    """Try both ends of every reading's resolution: the stated range holds them all and touches its top."""
    channel = trace(
        Quantity(size, "mm", res),
        Quantity(Decimal(angle), "deg", Decimal(1)),
        Quantity(thick, "mm", res),
        Quantity(place, "mm", res),
        lean,
        at,
    )
    half = res / 2
    found = []
    for d, t, x in itertools.product(*((v - half, v + half) for v in (size, thick, place))):
        for a in (max(angle - 0.5, 0.0), min(angle + 0.5, 75.0)):
            d_, t_ = max(float(d), 0.0), max(float(t), 0.0)
            shift = t_ * math.tan(math.radians(a)) * {"outward": 1, "inward": -1, "round": 0}[lean.value]
            far = float(x) + (shift if at is End.LINER else -shift)
            axis = d_ if lean is Lean.ROUND else d_ / math.cos(math.radians(a))
            found.append(max(abs(float(x)), abs(far)) + axis / 2)
    low, high = float(channel.reach.low), float(channel.reach.high)
    assert min(found) >= low - 1e-6
    if (lean is Lean.OUTWARD) == (at is End.LINER) and place >= half:  # no end crosses the center line
        assert min(found) == pytest.approx(low, rel=1e-9, abs=1e-9)
    assert max(found) == pytest.approx(high, rel=1e-9, abs=1e-9)
    assert low - 1e-9 <= float(channel.nominal_reach) <= high + 1e-9


@given(_MM, st.integers(0, 74), _MM, st.integers(0, 100), st.sampled_from(list(Lean)))
def test_a_bigger_or_steeper_injury_reaches_no_less(
    size: Decimal, angle: int, thick: Decimal, place: int, lean: Lean
) -> None:
    def reach(d: Decimal, a: int) -> Fraction:
        return trace(
            Quantity(d, "mm"), exact(str(a), "deg"), Quantity(thick, "mm"), exact(str(place), "mm"), lean
        ).reach.high

    assert reach(size + 1, angle) > reach(size, angle)
    if lean is Lean.OUTWARD:
        assert reach(size, angle + 1) > reach(size, angle)


@given(_MM, st.integers(0, 74), _MM, st.integers(0, 100))
def test_measured_at_either_end_it_is_the_same_channel(
    size: Decimal, angle: int, thick: Decimal, place: int
) -> None:
    liner = trace(
        Quantity(size, "mm"),
        exact(str(angle), "deg"),
        Quantity(thick, "mm"),
        exact(str(place), "mm"),
        Lean.OUTWARD,
    )
    tread = trace(
        Quantity(size, "mm"),
        exact(str(angle), "deg"),
        Quantity(thick, "mm"),
        Quantity(liner.tread_across, "mm"),
        Lean.OUTWARD,
        End.TREAD,
    )
    assert (tread.liner_across, tread.tread_across, tread.reach.high) == (
        place,
        liner.tread_across,
        liner.reach.high,
    )


def test_reach_low_of_a_channel_that_leans_in() -> None:
    channel = trace(exact("4", "mm"), exact("45", "deg"), exact("10", "mm"), spoken("2", "mm"), Lean.INWARD)
    half = 2 / math.cos(math.radians(45))  # the tread end lies 7.5 to 8.5 mm past the center line
    assert float(channel.reach.low) == pytest.approx(7.5 + half)
    assert float(channel.reach.high) == pytest.approx(8.5 + half)


@pytest.mark.parametrize(
    ("low", "high", "wanted"),
    [(1, 3, (1, 3)), (0, 3, (0, 3)), (-3, 0, (0, 3)), (-3, -1, (1, 3)), (-3, 1, (0, 3)), (-1, 3, (0, 3))],
)
def test_distance_from_the_center_line(low: int, high: int, wanted: tuple[int, int]) -> None:
    found = _absolute(Interval(Fraction(low), Fraction(high)))
    assert (found.low, found.high) == wanted


def test_unit_size() -> None:
    channel = trace(exact("5", "mm"), exact("0", "deg"), exact("14", "mm"), exact("20", "mm"), Lean.ROUND)
    unit = size_unit(channel)
    assert (unit.stem_diameter, unit.stem_length) == (exact("5", "mm"), exact("24", "mm"))
    assert (unit.patch, unit.outline) == (exact("29", "mm"), exact("41", "mm"))
    wide = size_unit(channel, Fraction(20), Fraction(10), Fraction(15))
    assert (wide.patch, wide.outline, wide.stem_length) == (
        exact("45", "mm"),
        exact("65", "mm"),
        exact("29", "mm"),
    )


def test_unit_kind_is_one_piece_only_when_sure() -> None:
    assert unit_kind(IN) is UnitKind.ONE_PIECE
    assert unit_kind(CLOSE) is UnitKind.TWO_PIECE
    assert unit_kind(OUT) is UnitKind.TWO_PIECE


@pytest.mark.parametrize(
    ("patch", "size", "angle", "outcome"),
    [("29", "5", "0", IN), ("28.99", "5", "0", OUT), ("34", "5", "60", IN), ("33.9", "5", "60", OUT)],
)
def test_patch(patch: str, size: str, angle: str, outcome: Outcome) -> None:
    facts = {
        "patch.size": exact(patch, "mm"),
        "injury.size": exact(size, "mm"),
        "injury.angle": exact(angle, "deg"),
    }
    if angle == "60":  # cos 60 in floats is a hair off one half
        facts["patch.size"] = Quantity(Fraction(patch) + Fraction(1, 10**9), "mm")
    assert judge("patch.size.min", facts).outcome is outcome


def test_patch_and_stem_cover_the_worst_the_readings_allow() -> None:
    facts = {
        "injury.size": spoken("5", "mm"),
        "injury.angle": spoken("20", "deg"),
        "tire.thickness": spoken("14", "mm"),
    }
    steep = 1 / math.cos(math.radians(20.5))
    patch = judge("patch.size.min", {**facts, "patch.size": exact("45", "mm")})
    stem = judge("stem.length.min", {**facts, "stem.length": exact("45", "mm")})
    assert patch.low is not None
    assert stem.low is not None
    assert float(patch.low.value) == pytest.approx(5.5 * steep + 24)
    assert float(stem.low.value) == pytest.approx(14.5 * steep + 10)
    sharp = judge(
        "stem.length.min", {**facts, "injury.angle": exact("20", "deg"), "stem.length": exact("45", "mm")}
    )
    assert sharp.low is not None
    assert float(sharp.low.value) == pytest.approx(14.5 / math.cos(math.radians(20)) + 10)
    edge = judge(
        "stem.length.min", {**facts, "injury.angle": spoken("75", "deg"), "stem.length": exact("99", "mm")}
    )
    assert edge.low is not None
    assert float(edge.low.value) == pytest.approx(14.5 / math.cos(math.radians(75)) + 10)


# BS AU 159 via the BTMA: section width -> band, mm. Printed to whole mm up to 195; 205 and up computed (70
# %).
AREA_T = [
    ("125", "75", "75"),
    ("135", "81", "81"),
    ("145", "87", "87"),
    ("155", "93", "93"),
    ("165", "107.25", "107"),
    ("175", "113.75", "114"),
    ("185", "120.25", "120"),
    ("195", "126.75", "127"),
    ("205", "143.5", None),
    ("215", "150.5", None),
    ("225", "157.5", None),
    ("235", "164.5", None),
    ("245", "171.5", None),
    ("255", "178.5", None),
    ("265", "185.5", None),
    ("275", "192.5", None),
    ("285", "199.5", None),
]


@pytest.mark.parametrize(("width", "band", "printed"), AREA_T)
def test_area_t(width: str, band: str, printed: str | None) -> None:
    half = crown_half_width("band", {"section_width": exact(width, "mm")})
    assert half == Quantity(Fraction(band) / 2, "mm")
    if printed is not None:
        assert abs(2 * Fraction(half.value) - Fraction(printed)) < 1


def test_area_t_steps() -> None:
    """155 uses 60 %, 156 65 %, 200 65 %, 201 70 %; so 205 gives 16.5 mm more than 195 (as printed)."""
    shares = [band_share(Fraction(w)) for w in (1, 155, 156, 200, 201)]
    assert shares == [Fraction(p, 100) for p in (60, 60, 65, 65, 70)]
    for width in (0, -5):
        with pytest.raises(LimitsError, match="section width"):
            band_share(Fraction(width))


def test_the_shop_page_that_widens_the_band_is_not_followed() -> None:
    """One page calls the central 3/4 of the tire the minor repair area."""
    assert crown_half_width("band", {"section_width": exact("205", "mm")}).value != Fraction(205) * 3 / 8


def test_crown_rules() -> None:
    widths = {
        "tread_width": exact("170", "mm"),
        "groove_width": exact("110", "mm"),
        "belt_width": exact("160", "mm"),
        "section_width": exact("205", "mm"),
    }
    zones = {name: float(half.value) for name, half in crown_zones(widths).items()}
    assert zones == {
        "half_inch": 72.3,
        "one_inch": 59.6,
        "inch_and_half": 46.9,
        "grooves": 55,
        "belts": 80,
        "band": 71.75,
    }
    assert crown_zones({"belt_width": exact("160", "mm")}) == {"belts": exact("80", "mm")}
    assert all(rule.source for rule in CROWN_RULES.values())
    with pytest.raises(MissingFact) as gap:
        crown_half_width("grooves", {})
    assert gap.value.args == ("tire.groove_width",)
    with pytest.raises(LimitsError, match="unknown crown rule"):
        crown_half_width("wide", widths)
    for narrow in ("50.8", "40"):
        with pytest.raises(LimitsError, match="no crown zone is left"):
            crown_half_width("one_inch", {"tread_width": exact(narrow, "mm")})


CHANNEL = {
    "injury.size": exact("5", "mm"),
    "injury.angle": exact("0", "deg"),
    "injury.lean": "outward",
    "tire.thickness": exact("14", "mm"),
    "tire.tread_width": exact("170", "mm"),
    "tire.section_width": exact("205", "mm"),
}


@pytest.mark.parametrize(
    ("policy", "half"),
    [
        (named_policy("us"), "59.6"),
        (named_policy("uk"), "71.75"),
        (Policy(choose={"injury.channel.crown": "half_inch"}), "72.3"),
        (Policy(choose={"injury.channel.crown": "inch_and_half"}), "46.9"),
    ],
)
def test_whole_channel(policy: Policy, half: str) -> None:
    edge = Fraction(half) - Fraction(5, 2)
    for place, outcome in ((edge, IN), (edge + Fraction(1, 1000), OUT)):
        facts = {**CHANNEL, "injury.center_distance": Quantity(place, "mm")}
        verdict = judge("injury.channel.crown", facts, policy)
        assert verdict.outcome is outcome
        assert verdict.high == exact(half, "mm")
        inch = {**facts, "injury.center_distance": Quantity(place, "mm").to("in")}
        assert judge("injury.channel.crown", inch, policy).outcome is outcome


def test_an_angled_injury_that_runs_out_of_the_crown() -> None:
    """Inside on the liner, outside on the tread: the whole channel counts, not the place."""
    facts = {**CHANNEL, "injury.center_distance": exact("52", "mm"), "injury.angle": exact("30", "deg")}
    assert judge("injury.channel.crown", facts).outcome is OUT
    # Leaning inward it is the liner end that lies farther out, if the place was measured on the tread.
    assert judge("injury.channel.crown", {**facts, "injury.lean": "inward"}).outcome is OUT
    assert judge("injury.channel.crown", {**facts, "injury.lean": "round"}).outcome is IN
    assert judge("injury.channel.crown", {**facts, "injury.lean": "round"}).outcome is IN
    close = {**facts, "injury.angle": spoken("0", "deg"), "injury.center_distance": spoken("57", "mm")}
    assert judge("injury.channel.crown", close).outcome is CLOSE


def test_band_counts_half_the_injury() -> None:
    facts = {
        "injury.center_distance": exact("69.25", "mm"),
        "injury.size": exact("5", "mm"),
        "tire.section_width": exact("205", "mm"),
    }
    verdict = judge("injury.band", facts, named_policy("uk"))
    assert verdict.outcome is IN
    assert verdict.measured == Quantity(Fraction("71.75"), "mm")
    assert verdict.margin == Quantity(Fraction(0), "mm")
    assert (
        judge("injury.band", {**facts, "injury.size": exact("5.01", "mm")}, named_policy("uk")).outcome is OUT
    )
    assert (
        judge("injury.band", {**facts, "injury.size": spoken("5.0", "mm")}, named_policy("uk")).outcome
        is CLOSE
    )
    assert (
        judge(
            "injury.band", {**facts, "injury.center_distance": spoken("69", "mm")}, named_policy("uk")
        ).outcome
        is CLOSE
    )


def test_no_band_under_the_us_chart_unless_the_shop_sets_one() -> None:
    facts = {"injury.center_distance": exact("80", "mm"), "injury.size": exact("5", "mm")}
    free = judge("injury.band", facts)
    assert (free.outcome, free.high, free.margin) == (IN, None, None)
    assert "no central band in the US chart" in free.reason
    shop = Policy(overrides={"injury.band": Override(exact("80", "mm"))})
    assert judge("injury.band", facts, shop).outcome is OUT
    assert judge("injury.band", {**facts, "injury.center_distance": exact("77.5", "mm")}, shop).outcome is IN
