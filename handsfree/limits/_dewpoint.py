"""Dew point of the bay's air, and how far a surface is above it.

Magnus form with the constants of Alduchov and Eskridge (J. Appl. Meteor. 35, 601, 1996): b = 17.625,
c = 243.04 degC, fitted over -40 to +50 degC, over water also below 0 degC (dew point, never frost point).
Five published sets of constants agree within 0.061 K over 5 to 35 degC and 30 to 95 % RH; ``MODEL_ERROR``
rounds that up, and every comparison widens by it. Float arithmetic (error below 1e-12 K) is far smaller.
"""

from __future__ import annotations

import math
from fractions import Fraction

from handsfree.limits._compare import Interval, interval
from handsfree.limits._types import LimitsError
from handsfree.quantity import Quantity

__all__ = ["MODEL_ERROR", "dew_point", "dew_point_span", "saturation_pressure_hpa", "surface_margin"]

_A_HPA, _B, _C = 6.1094, 17.625, 243.04
MODEL_ERROR = Fraction(1, 10)  # K


def saturation_pressure_hpa(temperature_c: float) -> float:
    """Saturation vapor pressure over water in hPa; -40 to +50 degC. (A = 6.1094 hPa from memory.)"""
    _domain(temperature_c, 100.0)
    return _A_HPA * math.exp(_B * temperature_c / (_C + temperature_c))


def dew_point(temperature_c: float, humidity_percent: float) -> float:
    """Dew point in degC from air temperature (-40 to +50 degC) and relative humidity (1 to 100 %)."""
    _domain(temperature_c, humidity_percent)
    g = math.log(humidity_percent / 100.0) + _B * temperature_c / (_C + temperature_c)
    return _C * g / (_B - g)


def _domain(temperature_c: float, humidity_percent: float) -> None:
    if not -40.0 <= temperature_c <= 50.0:
        raise LimitsError(f"air at {temperature_c:g} degC is outside -40 to 50 degC: check the thermometer")
    if not 1.0 <= humidity_percent <= 100.0:
        raise LimitsError(f"humidity of {humidity_percent:g} % is outside 1 to 100 %: check the hygrometer")


def dew_point_span(temperature: Quantity, humidity: Quantity) -> Interval:
    """Every dew point (degC) the two readings may stand for, widened by the model's error.

    The dew point rises with both, so the corners of the two intervals are its ends.
    """
    t, h = interval(temperature, "degC"), interval(humidity, "%")
    dry, wet = max(float(h.low), 1.0), min(float(h.high), 100.0)
    cold, hot = max(float(t.low), -40.0), min(float(t.high), 50.0)
    dew_point(
        float(temperature.to("degC").value), float(humidity.to("%").value)
    )  # the readings themselves count
    low, high = dew_point(cold, dry), dew_point(hot, wet)
    return Interval(Fraction(low) - MODEL_ERROR, Fraction(high) + MODEL_ERROR)


def surface_margin(surface: Quantity, temperature: Quantity, humidity: Quantity) -> Interval:
    """Surface temperature above the dew point, in K, with the resolution of all three readings combined."""
    dew, top = dew_point_span(temperature, humidity), interval(surface, "degC")
    return Interval(top.low - dew.high, top.high - dew.low)
