"""A shop's policy: which published rule counts, and which limits the shop moved. Pure data and look-up."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from handsfree.limits._types import LimitsError, Severity
from handsfree.quantity import Quantity

__all__ = ["BASES", "DEFAULT", "Override", "Policy", "named_policy"]

#: Named starting points: the US industry chart, and what the sources carry of other countries.
BASES: Mapping[str, str] = MappingProxyType(
    {
        "us": "United States: industry puncture repair chart",
        "uk": "United Kingdom: BS AU 159 as summarized by the BTMA",
        "jp": "Japan: JATMA safety standard",
        "de": "Germany: guideline to StVZO section 36",
        "nz": "New Zealand: NZS 5423 as cited by the trade",
    }
)


@dataclass(frozen=True, slots=True)
class Override:
    """A limit moved by the shop. ``allowed_by`` and ``why`` are only filled for a loosened limit."""

    limit: Quantity | None = None
    severity: Severity | None = None
    allowed_by: str = ""
    why: str = ""

    @property
    def who(self) -> str:
        """Who allowed it and why, as the record shows it; empty if nobody had to."""
        return f" by {self.allowed_by}: {self.why}" if self.allowed_by else ""


@dataclass(frozen=True, slots=True)
class Policy:
    """``choose`` maps rule id -> variant name; ``overrides`` maps rule id -> moved limit."""

    name: str = "us"
    base: str = "us"
    choose: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    overrides: Mapping[str, Override] = field(default_factory=lambda: MappingProxyType({}))

    @property
    def loosened(self) -> tuple[str, ...]:
        """Rule ids that somebody loosened by name; every record shows them."""
        return tuple(sorted(rule for rule, change in self.overrides.items() if change.allowed_by))


DEFAULT = Policy()


def named_policy(base: str) -> Policy:
    """The plain policy of one country: us, uk, jp, de or nz."""
    if base not in BASES:
        raise LimitsError(f"unknown policy {base!r}: choose one of {', '.join(BASES)}")
    return Policy(name=base, base=base)
