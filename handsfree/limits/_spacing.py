"""Several injuries and earlier repairs in one tire: how far apart, do patches overlap, how many are allowed.

Places are a clock angle from the valve and a signed distance across from the center line. On the liner the
arc is shorter than on the tread, so overlap is judged there (circumference less twice pi times thickness);
the published spacings are "round the tire" and are judged on the tread. Readings' resolutions combine.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from handsfree.limits._compare import Bound, Interval, interval, outcome
from handsfree.limits._policy import DEFAULT, Policy
from handsfree.limits._registry import judge, rule
from handsfree.limits._types import Facts, LimitsError, Outcome, Verdict
from handsfree.quantity import Quantity

__all__ = ["Pair", "Site", "Spacing", "arc", "spacing"]

_WORST = (Outcome.OUTSIDE, Outcome.CLOSE, Outcome.INSIDE)


@dataclass(frozen=True, slots=True)
class Site:
    """One injury or repair. ``clock`` in deg from the valve; ``across`` signed; ``patch`` a diameter."""

    name: str
    clock: Quantity
    across: Quantity
    patch: Quantity


@dataclass(frozen=True, slots=True)
class Pair:
    """Two sites. ``round_mm`` on the tread, ``apart_mm`` straight on the liner, ``slack_mm`` what is left.

    ``slack_mm`` is the least, over the two rules, of distance less distance needed; negative when violated.
    """

    first: str
    second: str
    round_mm: Interval
    apart_mm: Interval
    slack_mm: Fraction
    overlap: Outcome
    spaced: Outcome

    @property
    def outcome(self) -> Outcome:
        """The worse of the two."""
        return min((self.overlap, self.spaced), key=_WORST.index)


@dataclass(frozen=True, slots=True)
class Spacing:
    """All pairs, tightest first; ``binding`` is the first; ``count`` judges the number of repairs."""

    pairs: tuple[Pair, ...]
    count: Verdict

    @property
    def binding(self) -> Pair | None:
        return self.pairs[0] if self.pairs else None

    @property
    def outcome(self) -> Outcome:
        """The worst of every pair and of the count."""
        return min((self.count.outcome, *(pair.outcome for pair in self.pairs)), key=_WORST.index)


def arc(angle: Quantity, circumference: Quantity) -> Quantity:
    """Distance round the tire for a clock angle (the short way), mm. 30 deg of 2,075 mm: 173 mm."""
    turn = Fraction(angle.to("deg").value) % 360
    return Quantity(min(turn, 360 - turn) / 360 * Fraction(circumference.to("mm").value), "mm")


def spacing(
    sites: Sequence[Site],
    circumference: Quantity,
    thickness: Quantity,
    facts: Facts | None = None,
    policy: Policy = DEFAULT,
) -> Spacing:
    """Judge every pair of sites, and their number. ``facts``: what the policy's rules ask of the tire.

    Raises LimitsError for two sites of one name, or a tire thicker than round.
    """
    if len({site.name for site in sites}) != len(sites):
        raise LimitsError("two places carry the same name: name each injury and repair once")
    if not sites:
        raise LimitsError("no injury to judge: read at least one place")
    known = dict(facts or {})
    known["repairs.earlier"] = Quantity(Fraction(len(sites) - 1), "1")
    tread = Fraction(circumference.to("mm").value)
    liner = tread - 2 * Fraction(math.pi) * Fraction(thickness.to("mm").value)
    if liner <= 0:
        raise LimitsError("the tire is thicker than it is round: read size and thickness again")
    law = rule("repairs.spacing.min").effective(known, policy)
    least = None if law.value is None else Bound(Fraction(law.value.to("mm").value), law.inclusive)
    pairs = [_pair(a, b, tread, liner, least) for a, b in itertools.combinations(sites, 2)]
    pairs.sort(key=lambda pair: (pair.slack_mm, pair.first, pair.second))
    return Spacing(tuple(pairs), judge("repairs.count.max", known, policy))


def _pair(a: Site, b: Site, tread: Fraction, liner: Fraction, least: Bound | None) -> Pair:
    turn = _turn(a.clock, b.clock)
    across = _gap(a.across, b.across)
    arcs = Interval(turn.low / 360 * tread, turn.high / 360 * tread)
    apart = Interval(_hypot(turn.low / 360 * liner, across.low), _hypot(turn.high / 360 * liner, across.high))
    patches = (Fraction(a.patch.to("mm").value) + Fraction(b.patch.to("mm").value)) / 2
    slack = [(apart.low + apart.high) / 2 - patches]
    if least is not None:
        slack.append((arcs.low + arcs.high) / 2 - least.value)
    return Pair(
        a.name,
        b.name,
        arcs,
        apart,
        min(slack),
        outcome(apart, Bound(patches), None),
        outcome(arcs, least, None),
    )


def _turn(a: Quantity, b: Quantity) -> Interval:
    """Clock angle between two places, the short way round, with both resolutions."""
    one, two = interval(a, "deg"), interval(b, "deg")
    width = (one.high - one.low + two.high - two.low) / 2
    turn = (Fraction(a.to("deg").value) - Fraction(b.to("deg").value)) % 360
    short = min(turn, 360 - turn)
    return Interval(max(short - width, Fraction(0)), min(short + width, Fraction(180)))


def _gap(a: Quantity, b: Quantity) -> Interval:
    one, two = interval(a, "mm"), interval(b, "mm")
    low, high = one.low - two.high, one.high - two.low
    if low <= 0 <= high:
        return Interval(Fraction(0), max(-low, high))
    return Interval(min(abs(low), abs(high)), max(abs(low), abs(high)))


def _hypot(a: Fraction, b: Fraction) -> Fraction:
    """Exact along one axis, so that a limit on the axis is met exactly; else float, error below 1e-15."""
    if not a or not b:
        return a + b
    return Fraction(math.hypot(float(a), float(b)))
