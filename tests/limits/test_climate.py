"""Dew point and drying against psychrolib, published tables and the model's own promises."""

from __future__ import annotations

import itertools
from decimal import Decimal
from fractions import Fraction

import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.limits import (
    LimitsError,
    MissingFact,
    Outcome,
    dew_point,
    drying_times,
    exact,
    judge,
    saturation_pressure_hpa,
    spoken,
    surface_margin,
    window,
)
from handsfree.quantity import Quantity, convert

# Air degC, RH % -> dew point degC with the constants of Alduchov and Eskridge 1996 (computed); the third
# number is what a published table prints, where one was read: coating glossary (30/55), building table
# (10/70 ... 8/65).
DEW = [
    (20, 50, 9.26),
    (20, 60, 12.00),
    (20, 80, 16.44),
    (25, 40, 10.47),
    (25, 60, 16.70),
    (25, 85, 22.30),
    (30, 55, 19.98),
    (10, 70, 4.78),
    (10, 90, 8.43),
    (13, 60, 5.41),
    (11, 70, 5.74),
    (8, 65, 1.82),
    (35, 75, 29.90),
    (15, 50, 4.66),
    (0, 50, -9.20),
]


@pytest.mark.parametrize(("air", "damp", "dew"), DEW)
def test_dew_point(air: float, damp: float, dew: float) -> None:
    assert dew_point(air, damp) == pytest.approx(dew, abs=0.006)


@pytest.mark.parametrize(
    ("air", "damp", "dew"),
    [(30, 55, 20.0), (10, 70, 4.78), (10, 90, 8.44), (13, 60, 5.42), (11, 70, 5.74), (8, 65, 1.82)],
)
def test_dew_point_as_printed(air: float, damp: float, dew: float) -> None:
    assert dew_point(air, damp) == pytest.approx(dew, abs=0.03)


@pytest.mark.parametrize(("air", "damp", "dew"), [(75, 35, 45.5), (70, 65, 57.7), (80, 50, 59.7)])
def test_dew_point_in_fahrenheit(air: int, damp: int, dew: float) -> None:
    celsius = dew_point(float(convert(Fraction(air), "degF", "degC")), damp)
    assert celsius * 9 / 5 + 32 == pytest.approx(dew, abs=0.06)


def test_inverse_example() -> None:
    """Dew point 70 degF at 90 % RH: air at 73.11 degF (question and answer page)."""
    assert dew_point((73.11 - 32) / 1.8, 90) * 1.8 + 32 == pytest.approx(70, abs=0.01)


def test_published_errors_do_not_come_out() -> None:
    """A building table prints -0.72 for 8 degC/60 %, 1.32 for 11 degC/55 %, and frost points below zero."""
    assert dew_point(8, 60) == pytest.approx(0.70, abs=0.02)
    assert dew_point(11, 55) == pytest.approx(2.30, abs=0.02)
    assert dew_point(0, 50) < -9.0  # over water; the frost point would be -8.16
    # Lawrence's rule of thumb fails where the air is dry: 13.0 by the rule at 25 degC/40 %.
    assert dew_point(25, 40) < 11


@pytest.mark.parametrize(("air", "hpa"), [(0, 6.109), (10, 12.26), (20, 23.33), (25, 31.62), (30, 42.37)])
def test_saturation_pressure(air: float, hpa: float) -> None:
    assert saturation_pressure_hpa(air) == pytest.approx(hpa, abs=0.006)


def test_against_psychrolib_over_a_grid() -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    for air, damp in itertools.product(range(5, 46, 2), range(20, 100, 4)):
        wanted = psychrolib.GetTDewPointFromRelHum(air, damp / 100)
        if wanted > 0:  # below zero psychrolib gives the frost point
            assert dew_point(air, damp) == pytest.approx(wanted, abs=0.1)
    # The Magnus form keeps within 0.4 % of the full formulation (Alduchov and Eskridge, abstract, from
    # memory).
    for air in range(1, 46):
        assert saturation_pressure_hpa(air) == pytest.approx(psychrolib.GetSatVapPres(air) / 100, rel=4e-3)


@given(st.floats(-40, 50), st.floats(1, 100), st.floats(0, 5), st.floats(0, 5))
def test_dew_point_rises_with_both_and_stays_under_the_air(
    air: float, damp: float, up: float, more: float
) -> None:
    here = dew_point(air, damp)
    assert here <= air + 1e-9
    assert dew_point(min(air + up, 50), damp) >= here - 1e-9
    assert dew_point(air, min(damp + more, 100)) >= here - 1e-9


@pytest.mark.parametrize(
    ("air", "damp"), [(-40.1, 50), (50.1, 50), (20, 0.9), (20, 100.1), (20, 0), (20, -5)]
)
def test_dew_point_domain(air: float, damp: float) -> None:
    with pytest.raises(LimitsError, match="outside"):
        dew_point(air, damp)


@pytest.mark.parametrize(("air", "damp"), [(-40, 50), (50, 50), (20, 1), (20, 100)])
def test_dew_point_domain_ends(air: float, damp: float) -> None:
    assert dew_point(air, damp) <= air + 1e-9


def _dew(air: str, damp: str, surface: str | None, unit: str = "degC") -> Outcome:
    facts = {"air.temperature": exact(air, unit), "air.humidity": exact(damp, "%")}
    if surface is not None:
        facts["surface.temperature"] = exact(surface, unit)
    return judge("air.dew_point_margin", facts).outcome


def test_surface_margin_example() -> None:
    """Air 20 degC at 80 %: dew point 16.44, so 19.44 is needed; a tire at 15 fails. At 50 %: 12.26 is
    needed.
    """
    assert _dew("20", "80", "15") is Outcome.OUTSIDE
    assert _dew("20", "80", "19.3") is Outcome.OUTSIDE
    assert _dew("20", "80", "19.44") is Outcome.CLOSE  # within the 0.1 K the formulas differ by
    assert _dew("20", "80", "19.6") is Outcome.INSIDE
    assert _dew("20", "50", "12.1") is Outcome.OUTSIDE
    assert _dew("20", "50", "12.4") is Outcome.INSIDE
    assert _dew("68", "50", "54.4", "degF") is Outcome.INSIDE


def test_surface_is_taken_at_air_temperature_when_not_read() -> None:
    assert _dew("20", "50", None) is Outcome.INSIDE
    verdict = judge(
        "air.dew_point_margin", {"air.temperature": exact("20", "degC"), "air.humidity": exact("95", "%")}
    )
    assert verdict.outcome is Outcome.OUTSIDE
    assert "surface not read" in verdict.reason
    assert verdict.margin is not None
    assert verdict.margin.unit == "K"


def test_surface_margin_combines_three_resolutions() -> None:
    sharp = surface_margin(exact("20", "degC"), exact("20", "degC"), exact("50", "%"))
    assert sharp.high - sharp.low == Fraction(1, 5)  # the model's own +/-0.1 K
    blunt = surface_margin(spoken("20", "degC"), spoken("20", "degC"), spoken("50", "%"))
    assert blunt.low < sharp.low - 1
    assert blunt.high > sharp.high + 1
    assert float(sharp.low + sharp.high) / 2 == pytest.approx(20 - 9.26, abs=0.01)


def test_resolution_at_the_ends_of_the_domain_is_clipped() -> None:
    edge = surface_margin(exact("50", "degC"), spoken("50", "degC"), spoken("100", "%"))
    assert edge.low >= Fraction(-11, 100)
    cold = surface_margin(exact("-40", "degC"), spoken("-40", "degC"), spoken("1", "%"))
    assert cold.high > cold.low
    with pytest.raises(LimitsError, match="thermometer"):
        surface_margin(exact("20", "degC"), exact("51", "degC"), exact("50", "%"))
    with pytest.raises(LimitsError, match="hygrometer"):
        surface_margin(exact("20", "degC"), exact("20", "degC"), exact("100.5", "%"))


BASE = exact("180", "s")


@pytest.mark.parametrize(
    ("air", "damp", "shortest", "longest"),
    [
        ("20", "50", 180, 300),  # the trade's 3 to 5 minutes (Tire Business, 19 Aug 2014)
        ("25", "30", 180, 264),  # 120 / 2^0.5 = 84.85 s more
        ("30", "50", 180, 240),
        ("45", "20", 180, 240),  # never under one minute
        ("10", "50", 360, 480),  # twice at 10 K colder
        ("20", "75", 270, 390),  # half as long again at 75 %
        ("10", "75", 540, 660),
        ("5", "90", 917, 1037),  # 180 x 2^1.5 x 1.8 = 916.4
    ],
)
def test_drying_model(air: str, damp: str, shortest: int, longest: int) -> None:
    assert drying_times(exact(air, "degC"), exact(damp, "%"), BASE) == (shortest, longest)
    wait = window(
        "drying", {"air.temperature": exact(air, "degC").to("degF"), "air.humidity": exact(damp, "%")}
    )
    assert (wait.shortest_s, wait.longest_s) == (shortest, longest)
    assert "Tire Business" in wait.source
    assert ("ordinary" in wait.reason) == (shortest == 180)


def test_drying_takes_the_careful_end_of_each_reading() -> None:
    assert drying_times(spoken("20", "degC"), exact("50", "%"), BASE)[0] == 187  # may be 19.5 degC: 186.3
    assert drying_times(exact("20", "degC"), spoken("50", "%"), BASE)[0] == 182  # may be 50.5 %: 181.8
    shortest, longest = drying_times(spoken("20", "degC"), exact("50", "%"), BASE)
    assert longest - shortest == 115  # may be 20.5 degC: 120 / 2^0.05 = 115.9


_AIR = st.integers(50, 500).map(lambda n: Quantity(Decimal(n) / 10, "degC"))
_DAMP = st.integers(10, 900).map(lambda n: Quantity(Decimal(n) / 10, "%"))


@given(_AIR, _DAMP, _AIR, _DAMP)
def test_drying_is_monotone_and_never_shorter_than_the_minimum(
    air: Quantity, damp: Quantity, other: Quantity, damper: Quantity
) -> None:
    cold, warm = sorted((air, other), key=lambda q: q.value)
    dry, wet = sorted((damp, damper), key=lambda q: q.value)
    hard, easy = drying_times(cold, wet, BASE), drying_times(warm, dry, BASE)
    assert hard[0] >= easy[0] >= 180
    assert 60 <= easy[1] - easy[0] <= hard[1] - hard[0] <= 120


@given(_AIR, _DAMP)
def test_drying_does_not_depend_on_the_unit(air: Quantity, damp: Quantity) -> None:
    assert drying_times(air, damp, BASE) == drying_times(air.to("degF"), damp, BASE.to("min"))


@pytest.mark.parametrize(("air", "damp", "word"), [("4.99", "50", "below 5"), ("20", "90.1", "above 90")])
def test_drying_is_refused_where_no_cement_may_be_applied(air: str, damp: str, word: str) -> None:
    with pytest.raises(LimitsError, match=word):
        drying_times(exact(air, "degC"), exact(damp, "%"), BASE)


def test_drying_needs_both_readings() -> None:
    with pytest.raises(MissingFact) as gap:
        window("drying", {"air.temperature": exact("20", "degC")})
    assert gap.value.args == ("air.humidity",)
