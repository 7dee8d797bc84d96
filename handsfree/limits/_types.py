"""What the limits engine is asked and what it answers. Pure data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from handsfree.quantity import Quantity

__all__ = ["Count", "Facts", "LimitsError", "MissingFact", "Outcome", "Severity", "Verdict", "Window"]

#: What is known of the tire, the injury and the bay: measurand id -> measured value or named choice.
#: Example: {"injury.size": Quantity(Decimal("5.5"), "mm", Decimal("0.1")), "tire.body_ply": "fabric"}
Facts = Mapping[str, Quantity | str]


class LimitsError(ValueError):
    """A rule can't be applied: unknown rule, wrong unit, value outside the formula's domain."""


class MissingFact(LimitsError):
    """A rule needs a measurand that has not been read yet; ``args[0]`` names it."""


class Outcome(StrEnum):
    INSIDE = "inside"
    OUTSIDE = "outside"
    CLOSE = "close"  # the reading's resolution straddles the limit: measure finer


class Severity(StrEnum):
    STOP = "stop"
    WARN = "warn"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Verdict:
    """One judgement. ``low``/``high`` are the limits in the unit of ``measured`` (None where unbounded)."""

    rule: str
    outcome: Outcome
    measured: Quantity | str
    low: Quantity | None
    high: Quantity | None
    margin: Quantity | None  # distance to the nearest limit, negative when outside
    severity: Severity
    source: str
    reason: str  # one plain sentence for the record and the supervisor
    inclusive: bool = True  # whether the limit itself is still inside

    @property
    def unlimited(self) -> bool:
        """Whether the policy in force has no limit for this: inside, but inside of nothing."""
        return isinstance(self.measured, Quantity) and self.margin is None


@dataclass(frozen=True, slots=True)
class Window:
    """Shortest and longest time of a wait, whole seconds. ``longest`` None: no upper bound."""

    rule: str
    shortest_s: int
    longest_s: int | None
    source: str
    reason: str


@dataclass(frozen=True, slots=True)
class Count:
    """How many passes (or turns) a step needs."""

    rule: str
    target: int
    source: str
    reason: str
