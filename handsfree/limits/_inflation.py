"""Seating the beads in steps, and the pressure to set on a tire that is not at its cold temperature.

Cal/OSHA Title 8 s.3325(e): at most 40 psi unless the maker says otherwise, a look at the beads in steps of
20 psi or less; not seated by then: deflate fully. A shop may stop at the placard where that
is lower (US Army PS Magazine 571, June 2000). Warm tires follow the gas law with absolute pressure.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from handsfree.limits._leak import pressure_at
from handsfree.limits._types import LimitsError
from handsfree.quantity import Quantity

__all__ = ["pressure_to_set", "seating_stops"]

_STEP = Quantity(Decimal(20), "psi")


def seating_stops(highest: Quantity, step: Quantity = _STEP) -> tuple[Quantity, ...]:
    """Gauge pressures at which to stop and look, in the unit of ``highest``; the last is ``highest`` itself.

    Steps are equal and none exceeds ``step``. Raises LimitsError for a pressure or step of zero or less.
    """
    top, most = Fraction(highest.value), Fraction(step.to(highest.unit).value)
    if top <= 0 or most <= 0:
        raise LimitsError("seating pressure and step must be above zero: read them again")
    count = -(-top // most)
    return tuple(Quantity(top * i / count, highest.unit) for i in range(1, count + 1))


def pressure_to_set(placard: Quantity, cold: Quantity, tire: Quantity) -> Quantity:
    """Gauge pressure to set at tire temperature ``tire`` so that it is the placard's at ``cold``; same unit.

    32 psi at 70 degF cold reads 31.12 psi at 60 degF. Raises LimitsError at absolute zero.
    """
    return pressure_at(placard, cold, tire)
