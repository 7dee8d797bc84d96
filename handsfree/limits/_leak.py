"""Leak test: two pressures, and two temperatures if read, give a loss referred to the starting temperature.

A closed volume of air keeps absolute pressure / absolute temperature, so the end pressure is scaled by
``T_start / T_end`` before it is compared, with absolute pressure (gauge + 101.325 kPa, standard atmosphere).
Scaling gauge pressure is a published mistake and gives a loss that is not there. All arithmetic is exact.
Resolutions combine by interval arithmetic: the loss is the whole range the four readings allow.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from handsfree.limits._compare import Interval, interval
from handsfree.limits._types import LimitsError
from handsfree.quantity import Quantity

__all__ = ["ATMOSPHERE_KPA", "Loss", "leak_loss", "pressure_at"]

ATMOSPHERE_KPA = Fraction("101.325")  # standard atmosphere, exact (ISO 2533)
_ZERO_C = Fraction("273.15")


@dataclass(frozen=True, slots=True)
class Loss:
    """Loss in kPa at the starting temperature: ``value``, its range, and half the range as uncertainty."""

    value: Fraction
    spread: Interval

    @property
    def uncertainty(self) -> Fraction:
        return (self.spread.high - self.spread.low) / 2


def _kelvin(temperature: Quantity) -> Interval:
    t = interval(temperature, "degC")
    if t.low <= -_ZERO_C:
        raise LimitsError("temperature at or below absolute zero: check the thermometer")
    return Interval(t.low + _ZERO_C, t.high + _ZERO_C)


def pressure_at(pressure: Quantity, now: Quantity, then: Quantity) -> Quantity:
    """Gauge pressure a closed tire will show at temperature ``then``, read at ``now``; same unit, exact."""
    ratio = _kelvin(_bare(then)).low / _kelvin(_bare(now)).low
    gauge = (Fraction(pressure.to("kPa").value) + ATMOSPHERE_KPA) * ratio - ATMOSPHERE_KPA
    return Quantity(gauge, "kPa").to(pressure.unit)


def leak_loss(start: Quantity, end: Quantity, warm: Quantity | None, cool: Quantity | None) -> Loss:
    """Pressure lost between two gauge readings, in kPa, referred to the first temperature ``warm``.

    Without both temperatures the tire is taken to have stayed at one temperature.
    """
    p1, p2 = interval(start, "kPa"), interval(end, "kPa")
    if warm is None or cool is None:
        value = Fraction(start.to("kPa").value) - Fraction(end.to("kPa").value)
        return Loss(value, Interval(p1.low - p2.high, p1.high - p2.low))
    t1, t2 = _kelvin(warm), _kelvin(cool)
    value = Fraction(start.to("kPa").value) - Fraction(pressure_at(end, cool, warm).to("kPa").value)
    low = p1.low + ATMOSPHERE_KPA - (p2.high + ATMOSPHERE_KPA) * t1.high / t2.low
    high = p1.high + ATMOSPHERE_KPA - (p2.low + ATMOSPHERE_KPA) * t1.low / t2.high
    return Loss(value, Interval(low, high))


def _bare(reading: Quantity) -> Quantity:
    return Quantity(reading.value, reading.unit)
