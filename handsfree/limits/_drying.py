"""How long the cement must dry: our own stated, conservative model over the trade's three to five minutes.

At an ordinary climate (20 degC and warmer, 50 % RH and drier) the shortest wait is the trade's 3 minutes
(Tire Business, 19 Aug 2014). The model, which is ours and has no published source:

* cold: the wait doubles for each 10 K below 20 degC. The vapor pressure of n-heptane, the usual solvent,
  falls by a factor of about 2.2 from 20 to 5 degC (from memory); doubling gives 2.8, on the long side;
* damp: the wait grows by one part for each 50 % RH above 50 % (twice as long at 100 %);
* never shorter than at the ordinary climate, and never judged below 5 degC or above 90 % RH, where a
  rubber-fabric adhesive may not be applied at all (TM 10-5430-237-12&P, an analogue).

The longest open time is the shortest wait plus the trade's two minutes (3 to 5); above 20 degC those two
minutes halve for each 10 K, but never fall under one minute. After that it is cemented again; cold never
stretches it: damp air settles on a cemented surface that stands.
"""

from __future__ import annotations

import math
from fractions import Fraction

from handsfree.limits._compare import interval
from handsfree.limits._types import LimitsError
from handsfree.quantity import Quantity

__all__ = ["drying_times"]

_ORDINARY_C, _ORDINARY_RH = 20.0, 50.0
_COLDEST_C, _DAMPEST_RH = 5, 90
_OPEN_S, _LEAST_OPEN_S = 120.0, 60.0


def drying_times(temperature: Quantity, humidity: Quantity, base: Quantity) -> tuple[int, int]:
    """Shortest and longest wait in whole seconds; ``base`` is the wait at the ordinary climate.

    Each reading counts at the end of its resolution that makes the window narrower. Raises LimitsError below
    5 degC or above 90 % RH.
    """
    t, h = interval(temperature, "degC"), interval(humidity, "%")
    if Fraction(temperature.to("degC").value) < _COLDEST_C:
        raise LimitsError("air below 5 degC: no cement may be applied, warm the bay first")
    if Fraction(humidity.to("%").value) > _DAMPEST_RH:
        raise LimitsError("humidity above 90 %: no cement may be applied, dry the bay first")
    cold = 2.0 ** (max(_ORDINARY_C - float(t.low), 0.0) / 10.0)
    damp = 1.0 + max(float(h.high) - _ORDINARY_RH, 0.0) / 50.0
    shortest = math.ceil(_stable(float(base.to("s").value) * cold * damp))
    hot = 2.0 ** (max(float(t.high) - _ORDINARY_C, 0.0) / 10.0)
    return shortest, shortest + math.floor(_stable(max(_OPEN_S / hot, _LEAST_OPEN_S)))


def _stable(seconds: float) -> float:
    """Drop float dust, so that 68 degF and 20 degC give the same whole second."""
    return round(seconds, 6)
