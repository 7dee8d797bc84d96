"""Tread depth in several grooves: the worst groove decides, and the spread shows uneven wear."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from handsfree.limits._policy import DEFAULT, Policy
from handsfree.limits._registry import judge
from handsfree.limits._types import LimitsError, Outcome, Verdict
from handsfree.quantity import Quantity

__all__ = ["TreadReport", "tread_report"]


@dataclass(frozen=True, slots=True)
class TreadReport:
    """Every groove judged for repair and for the road, in the order read; ``lowest`` names the worst."""

    lowest: str
    repair: Mapping[str, Verdict]
    legal: Mapping[str, Verdict]
    uneven: Verdict

    @property
    def outcome(self) -> Outcome:
        """OUTSIDE if any groove is surely worn out, CLOSE if any is too close to call."""
        found = {v.outcome for v in (*self.repair.values(), *self.legal.values())}
        return next(o for o in (Outcome.OUTSIDE, Outcome.CLOSE, Outcome.INSIDE) if o in found)


def tread_report(grooves: Mapping[str, Quantity], policy: Policy = DEFAULT) -> TreadReport:
    """Judge each groove by name, in any length unit. Raises LimitsError if no groove was read."""
    if not grooves:
        raise LimitsError("no groove was read: read the depth of at least one")
    depths = {name: Fraction(depth.to("mm").value) for name, depth in grooves.items()}
    lowest, highest = min(depths, key=lambda n: depths[n]), max(depths, key=lambda n: depths[n])
    ends = {"tread.depth": grooves[lowest], "tread.depth.highest": grooves[highest]}
    return TreadReport(
        lowest,
        {name: judge("tread.depth.min", {"tread.depth": depth}, policy) for name, depth in grooves.items()},
        {name: judge("tread.depth.legal", {"tread.depth": depth}, policy) for name, depth in grooves.items()},
        judge("tread.uneven.max", ends, policy),
    )
