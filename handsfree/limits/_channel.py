"""The channel a nail leaves: its ellipse on the inner liner, its exit on the tread, and how far it reaches.

Model (ours, plane geometry): near the injury the tire is a flat slab of the given thickness; the channel is a
straight round cylinder of the injury's size, leaning by the angle from the normal. A plane cuts a leaning
cylinder in an ellipse: minor axis d, major axis d / cos(a), along the lean. From liner to tread it wanders by
t tan(a). All lengths stay exact but for cos and tan (floats, relative error below 1e-15; at 0 degrees exact).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from handsfree.limits._compare import Interval, interval
from handsfree.limits._types import LimitsError
from handsfree.quantity import Quantity

__all__ = ["STEEPEST_DEG", "Channel", "End", "Lean", "ellipse", "trace"]

STEEPEST_DEG = Fraction(75)  # beyond this a "channel" is a cut along the tire, and tan runs away


class Lean(StrEnum):
    """Which way the channel leans on its way from the liner out to the tread."""

    OUTWARD = "outward"  # toward the shoulder the injury is nearer to
    INWARD = "inward"  # toward, and perhaps past, the tread's center line
    ROUND = "round"  # along the circumference


class End(StrEnum):
    """Where the place of the injury was measured."""

    LINER = "liner"
    TREAD = "tread"


@dataclass(frozen=True, slots=True)
class Channel:
    """Lengths in mm. ``across`` is positive on the side of the center line where the place was measured.

    ``reach``: the farthest the channel gets from the center line at either end, over everything the
    resolutions of all readings allow.
    """

    minor: Fraction
    major: Fraction
    length: Fraction
    liner_across: Fraction
    tread_across: Fraction
    round_shift: Fraction
    reach: Interval

    @property
    def nominal_reach(self) -> Fraction:
        """Reach of the readings as they stand."""
        half = (self.minor if self.round_shift else self.major) / 2
        return max(abs(self.liner_across), abs(self.tread_across)) + half


def _cos(degrees: Fraction) -> Fraction:
    return Fraction(1) if degrees == 0 else Fraction(math.cos(math.radians(float(degrees))))


def _tan(degrees: Fraction) -> Fraction:
    return Fraction(0) if degrees == 0 else Fraction(math.tan(math.radians(float(degrees))))


def _angles(angle: Quantity) -> Interval:
    at = Fraction(angle.to("deg").value)
    if not 0 <= at <= STEEPEST_DEG:
        raise LimitsError(f"injury angle of {float(at):g} deg is outside 0 to 75 deg: a cut, not a puncture")
    spread = interval(angle, "deg")
    return Interval(max(spread.low, Fraction(0)), min(spread.high, STEEPEST_DEG))


def ellipse(size: Quantity, angle: Quantity) -> tuple[Quantity, Quantity]:
    """Minor and major axis of the injury on the liner, mm. Raises LimitsError outside 0 to 75 deg."""
    d = Fraction(size.to("mm").value)
    _angles(angle)
    return Quantity(d, "mm"), Quantity(d / _cos(Fraction(angle.to("deg").value)), "mm")


def trace(
    size: Quantity,
    angle: Quantity,
    thickness: Quantity,
    center_distance: Quantity,
    lean: Lean,
    measured_at: End = End.LINER,
) -> Channel:
    """Follow the channel from liner to tread. ``center_distance`` is from the tread's center line, >= 0.

    Raises LimitsError for angles outside 0 to 75 deg, a tire without thickness, a negative place.
    """
    angles, d = _angles(angle), interval(size, "mm")
    t, x = interval(thickness, "mm"), interval(center_distance, "mm")
    if Fraction(thickness.value) <= 0 or Fraction(center_distance.value) < 0 or Fraction(size.value) < 0:
        raise LimitsError("thickness must be above zero, place and size at least zero: read them again")
    at, thick = Fraction(angle.to("deg").value), Fraction(thickness.to("mm").value)
    place = Fraction(center_distance.to("mm").value)
    wander = thick * _tan(at)
    sign = _sign(lean, measured_at)
    other = place + sign * wander
    across = (place, other) if measured_at is End.LINER else (other, place)
    half = _halves(d, angles, lean)
    thick_low = max(t.low, Fraction(0))
    shift = Interval(thick_low * _tan(angles.low), t.high * _tan(angles.high))
    return Channel(
        minor=Fraction(size.to("mm").value),
        major=Fraction(size.to("mm").value) / _cos(at),
        length=thick / _cos(at),
        liner_across=across[0],
        tread_across=across[1],
        round_shift=wander if lean is Lean.ROUND else Fraction(0),
        reach=_reach(x, shift, half, sign),
    )


def _sign(lean: Lean, measured_at: End) -> int:
    """Which way the far end lies from the measured one: +1 toward the near shoulder."""
    outward = {Lean.OUTWARD: 1, Lean.INWARD: -1, Lean.ROUND: 0}[lean]
    return outward if measured_at is End.LINER else -outward


def _halves(d: Interval, angles: Interval, lean: Lean) -> Interval:
    low, high = max(d.low, Fraction(0)) / 2, d.high / 2
    if lean is Lean.ROUND:  # the long axis lies along the tire, the short one across
        return Interval(low, high)
    return Interval(low / _cos(angles.low), high / _cos(angles.high))


def _reach(x: Interval, shift: Interval, half: Interval, sign: int) -> Interval:
    """The larger of the two ends' distances, each as an interval; every term is monotone."""
    ends = [Interval(x.low, x.high)]
    if sign > 0:
        ends.append(Interval(x.low + shift.low, x.high + shift.high))
    elif sign < 0:
        ends.append(Interval(x.low - shift.high, x.high - shift.low))
    sizes = [_absolute(end) for end in ends]
    low, high = max(s.low for s in sizes), max(s.high for s in sizes)
    return Interval(low + half.low, high + half.high)


def _absolute(at: Interval) -> Interval:
    if at.low >= 0:
        return at
    if at.high <= 0:
        return Interval(-at.high, -at.low)
    return Interval(Fraction(0), max(-at.low, at.high))
