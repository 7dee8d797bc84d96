"""Surface speed of a turning tool: v = pi d n."""

from __future__ import annotations

import math
from fractions import Fraction

from handsfree.limits._types import LimitsError
from handsfree.quantity import Quantity

__all__ = ["surface_speed"]


def surface_speed(diameter: Quantity, speed: Quantity) -> Quantity:
    """Surface speed in m/s of a wheel or cutter (50.8 mm at 5,000 rpm: 13.3 m/s). Raises LimitsError below 0.

    pi is a float, so the relative error is below 1e-15; diameter and speed stay exact.
    """
    d, n = Fraction(diameter.to("m").value), Fraction(speed.to("rpm").value)
    if d <= 0 or n < 0:
        raise LimitsError("a tool needs a diameter above zero and a speed of zero or more: read them again")
    return Quantity(Fraction(math.pi) * d * n / 60, "m/s")
