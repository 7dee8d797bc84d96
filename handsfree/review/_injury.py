"""What the limits engine makes of the injuries of one tire: the numbers that the pictures are drawn from."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from handsfree import limits
from handsfree.limits import Channel, Lean, LimitsError, Policy
from handsfree.procedure import complete
from handsfree.procedure._derived import belongs
from handsfree.quantity import Quantity, UnitError
from handsfree.record import value_of

from ._own import UNIT, Own
from ._values import parse

__all__ = ["Injury", "clock_words", "injuries_of"]

FactMap = Mapping[str, Quantity | str]


@dataclass(frozen=True, slots=True)
class Injury:
    """One injury; lengths in mm, None for what was not read. ``zone``: half width of the crown zone in force."""

    number: int
    facts: FactMap
    repaired: bool
    clock: Quantity | None
    channel: Channel | None
    lean: Lean
    angle: float
    thickness: Fraction | None
    tread_width: Fraction | None
    zone: Fraction | None
    patch: Fraction | None
    stem: Fraction | None
    margin: Fraction | None
    trim: Fraction | None
    needs_patch: Fraction | None
    needs_stem: Fraction | None

    @property
    def name(self) -> str:
        place = "" if self.clock is None else f" at {clock_words(self.clock)}"
        return f"Injury {self.number}{place}"

    @property
    def outline(self) -> Fraction | None:
        """Diameter of the buffed outline: the patch and the margin on both sides."""
        return None if self.patch is None or self.margin is None else self.patch + 2 * self.margin


def clock_words(clock: Quantity) -> str:
    """ "4 o'clock", "half past 4"."""
    hour, part = divmod(Fraction(clock.value), 1)
    hour = int(hour) % 12 or 12
    return (
        f"{hour} o\u2019clock"
        if not part
        else f"half past {hour}"
        if part == Fraction(1, 2)
        else f"{float(clock.value):g} on the clock"
    )


def injuries_of(
    facts: FactMap,
    archived: Sequence[tuple[str, FactMap]],
    policy: Policy,
    measured: Sequence[Fraction] = (),
    own: Sequence[Own] = (),
) -> tuple[Injury, ...]:
    """Every injury of a job's facts, numbered as the reasons against a tire number them: as they were measured.

    ``measured``: the clock positions in the order of the record (taking one up again moves it to the end). ``own``:
    what belongs to each, those put aside first and the present one last; none: all were repaired with the unit of the
    facts, and their limits are asked for again.
    """
    shared = {name: value for name, value in facts.items() if not (own and name.startswith(UNIT))}
    of_all = {name: value for name, value in shared.items() if not belongs(name, "injury")}
    present = any(name.startswith("injury.") for name in facts)
    groups = [*archived, ("injury", shared)] if present else list(archived)
    known = [
        (complete({**of_all, **group, **its.unit}), its)
        for (name, group), its in zip(groups, own or [Own()] * len(groups), strict=False)
        if name == "injury"
    ]
    known.sort(key=lambda one: _turn(one[0], measured))
    return tuple(_injury(number, *one, policy) for number, one in enumerate(known, start=1))


def _turn(facts: FactMap, measured: Sequence[Fraction]) -> int:
    clock = facts.get("injury.clock")
    at = Fraction(clock.value) if isinstance(clock, Quantity) else None
    return measured.index(at) if at in measured else len(measured)


def _mm(facts: FactMap, name: str) -> Fraction | None:
    value = facts.get(name)
    return Fraction(value.to("mm").value) if isinstance(value, Quantity) else None


def _injury(number: int, facts: FactMap, own: Own, policy: Policy) -> Injury:
    channel = _channel(facts)
    clock, angle = facts.get("injury.clock"), facts.get("injury.angle")
    return Injury(
        number=number,
        facts=facts,
        repaired=facts.get("injury.repaired") == "yes",
        clock=clock if isinstance(clock, Quantity) else None,
        channel=channel,
        lean=_lean(facts),
        angle=float(angle.to("deg").value) if isinstance(angle, Quantity) else 0.0,
        thickness=_mm(facts, "tire.thickness"),
        tread_width=_mm(facts, "tire.tread_width"),
        zone=_zone(facts, own, policy),
        patch=_mm(facts, "patch.size"),
        stem=_mm(facts, "stem.length"),
        margin=_mm(facts, "buff.outline_margin"),
        trim=_mm(facts, "stem.trim_height"),
        needs_patch=_least("patch.size.min", facts, own, policy),
        needs_stem=_least("stem.length.min", facts, own, policy),
    )


def _lean(facts: FactMap) -> Lean:
    """Where no lean was asked for, the injury goes straight out: the way the procedure reckons too."""
    try:
        return Lean(str(facts.get("injury.lean", Lean.ROUND)))
    except ValueError:
        return Lean.ROUND


def _channel(facts: FactMap) -> Channel | None:
    """As the rule on the channel reckons it: the place is taken as measured on the liner."""
    needed = [facts.get(f"injury.{name}") for name in ("size", "angle", "center_distance")]
    needed.insert(2, facts.get("tire.thickness"))
    values = [value for value in needed if isinstance(value, Quantity)]
    if len(values) < 4:
        return None
    try:
        return limits.trace(values[0], values[1], values[2], values[3], _lean(facts))
    except LimitsError:
        return None


def _zone(facts: FactMap, own: Own, policy: Policy) -> Fraction | None:
    """Half the crown zone: what the channel was judged by, else what the least edge distance leaves."""
    high = _end("injury.channel.crown", "high", facts, own, policy)
    if high is not None:
        return high
    width = _mm(facts, "tire.tread_width")
    try:
        least = limits.rule("injury.edge.min").effective(facts, policy).value
    except LimitsError:
        least = None
    return None if width is None or least is None else width / 2 - Fraction(least.to("mm").value)


def _least(rule: str, facts: FactMap, own: Own, policy: Policy) -> Fraction | None:
    """What the limit asks for, mm, in hundredths and not under it: the number that the table of readings has."""
    low = _end(rule, "low", facts, own, policy)
    return None if low is None else Fraction(math.ceil(low * 100), 100)


def _end(rule: str, end: str, facts: FactMap, own: Own, policy: Policy) -> Fraction | None:
    """A limit, mm, as the record's last verdict has it; only where none judged is the rule asked."""
    if rule in own.judged:
        limit = parse(value_of(own.judged[rule], end))
    else:
        try:
            verdict = limits.judge(rule, facts, policy)
        except LimitsError:
            return None
        limit = verdict.high if end == "high" else verdict.low
    try:
        return None if limit is None else Fraction(limit.to("mm").value)
    except UnitError:
        return None
