"""What a rule is, and how a rule's limit is found under a policy."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

from handsfree.limits._compare import Bound, Interval, fraction, interval, outcome, show
from handsfree.limits._measurands import quantity
from handsfree.limits._policy import Override, Policy
from handsfree.limits._types import Count, Facts, LimitsError, Outcome, Severity, Verdict, Window
from handsfree.quantity import UNITS, Quantity

__all__ = [
    "COMMON_PRACTICE",
    "Effective",
    "Limit",
    "Rule",
    "Sense",
    "banded",
    "computed",
    "exact",
    "named",
    "plain",
    "spoken",
    "verdict",
]

COMMON_PRACTICE = "common practice, no published source"


class Sense(StrEnum):
    """Which way is strict: a smaller MAX, a larger MIN, a smaller TOLERANCE; NONE has no number to move."""

    MAX = "max"
    MIN = "min"
    TOLERANCE = "tolerance"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class Limit:
    """One published variant of a rule. ``value`` None: this source sets no limit. ``severity`` where it
    differs.
    """

    value: Quantity | None
    source: str
    inclusive: bool = True
    note: str = ""
    severity: Severity | None = None


@dataclass(frozen=True, slots=True)
class Effective:
    """The limit in force after the policy had its say."""

    value: Quantity | None
    inclusive: bool
    source: str
    severity: Severity
    key: str
    note: str = ""


Runner = Callable[["Rule", Facts, Policy], "Verdict | Window | Count"]


@dataclass(frozen=True, slots=True)
class Rule:
    """One judgement of the trade.

    ``limits`` maps a variant (a country, a named alternative, or "any") to its limit; ``pick`` refines the
    variant by the facts (body ply, load range). ``setting``: the number is a nameplate or a dial setting, not
    a measurement, so it is compared as it stands. ``computed``: the number in ``limits`` (if any) feeds the
    formula that gives the limit. ``example`` is judged anew whenever the rule is explained,
    under ``example_base``.
    """

    id: str
    title: str
    measurand: str
    unit: str
    severity: Severity
    sense: Sense
    limits: Mapping[str, Limit]
    run: Runner
    example: Facts
    applies: str = "passenger and light truck"
    formula: str = ""
    pick: Callable[[Facts, str], str] | None = None
    setting: bool = False
    computed: bool = False
    kind: str = "verdict"
    example_base: str = "us"

    def variant(self, policy: Policy) -> str:
        """The variant the policy asks for; a country without its own rule falls back on the US chart."""
        chosen = policy.choose.get(self.id)
        for name in (chosen, policy.base, "us", "any"):
            if name is not None and name in self.limits:
                return name
        raise LimitsError(f"rule {self.id} has no variant for policy {policy.name!r}")

    def effective(self, facts: Facts, policy: Policy) -> Effective:
        """The limit in force for these facts under this policy."""
        key = self.variant(policy)
        if self.pick is not None:
            key = self.pick(facts, key)
        published = self.limits[key]
        change = policy.overrides.get(self.id, Override())
        usual, source = published.severity or self.severity, published.source
        severity = change.severity or usual
        if severity is not usual:
            source = f"{source}; shop policy {policy.name!r}: {severity}, not {usual}{change.who}"
        force = Effective(published.value, published.inclusive, source, severity, key, published.note)
        return force if change.limit is None else self._moved(force, change.limit, change, policy)

    def _moved(self, force: Effective, limit: Quantity, change: Override, policy: Policy) -> Effective:
        shop = f"shop policy {policy.name!r}, "
        if force.value is None or not self.looser(limit, force.value):
            return replace(force, value=limit, source=f"{shop}tightened; published: {force.source}", note="")
        if self.severity is Severity.STOP and not change.allowed_by:
            # One number may tighten this construction's limit and loosen that one's: the stricter holds.
            return force
        source = f"{shop}LOOSENED from {show(force.value)}{change.who}; published: {force.source}"
        return replace(force, value=limit, source=source, note="")  # the note is about the published number

    def looser(self, moved: Quantity, published: Quantity) -> bool:
        """True if ``moved`` allows more than ``published``."""
        a, b = Fraction(moved.to(published.unit).value), Fraction(published.value)
        return a < b if self.sense is Sense.MIN else a > b


def plain(rule: Rule, facts: Facts, policy: Policy) -> Verdict:
    """The ordinary rule: one reading against one smallest or largest value."""
    reading = quantity(facts, rule.measurand)
    limit = rule.effective(facts, policy)
    seen = Quantity(reading.value, reading.unit) if rule.setting else reading
    return verdict(rule, reading, interval(seen, rule.unit), limit)


def verdict(rule: Rule, reading: Quantity, spread: Interval, limit: Effective, extra: str = "") -> Verdict:
    """Judge ``spread`` (rule's unit) against the limit in force; ``reading`` is what the record shows."""
    low = limit.value if rule.sense is Sense.MIN else None
    high = limit.value if rule.sense is not Sense.MIN else None
    return banded(rule, reading, spread, low, high, limit, extra)


def banded(
    rule: Rule,
    reading: Quantity,
    spread: Interval,
    low: Quantity | None,
    high: Quantity | None,
    limit: Effective,
    extra: str = "",
) -> Verdict:
    """Judge against both ends; limits and margin come back in the unit of the reading."""
    bounds = [
        None if end is None else Bound(fraction(end.to(rule.unit).value), limit.inclusive)
        for end in (low, high)
    ]
    result = outcome(spread, *bounds)
    low, high = (None if end is None else end.to(reading.unit) for end in (low, high))
    margin = _margin(reading, low, high)
    return Verdict(
        rule=rule.id,
        outcome=result,
        measured=reading,
        low=low,
        high=high,
        margin=margin,
        severity=limit.severity,
        source=limit.source,
        reason=_reason(rule, reading, (low, high), margin, result, extra or limit.note, limit.inclusive),
        inclusive=limit.inclusive,
    )


def computed(result: Verdict) -> Verdict:
    """A verdict on a computed value, its number and margin cut to four decimals for the record.

    The judgement is already made, on exact or unrounded values; "5739/1000.." of 16 digits helps no reader.
    """
    assert isinstance(result.measured, Quantity)
    margin = None if result.margin is None else _cut(result.margin)
    return replace(result, measured=_cut(result.measured), margin=margin)


def _cut(value: Quantity) -> Quantity:
    parts = [None if part is None else _decimal(fraction(part)) for part in (value.value, value.resolution)]
    number, resolution = parts
    assert number is not None
    return Quantity(number, value.unit, resolution or None)


def _decimal(value: Fraction) -> Decimal:
    short = Decimal(round(value * 10**4)).scaleb(-4).normalize()
    return short if short.as_tuple().exponent <= 0 else short.quantize(Decimal(1))  # type: ignore[operator]


def _margin(reading: Quantity, low: Quantity | None, high: Quantity | None) -> Quantity | None:
    value = fraction(reading.value)
    gaps = []
    if low is not None:
        gaps.append(value - fraction(low.value))
    if high is not None:
        gaps.append(fraction(high.value) - value)
    if not gaps:
        return None
    unit = UNITS[reading.unit]
    if unit.kind == "temperature":  # a distance between temperatures has no zero point of its own
        return Quantity(min(gaps) * unit.factor, "K")
    return Quantity(min(gaps), reading.unit)


_WORDS = {
    Outcome.INSIDE: "inside by {gap}",
    Outcome.OUTSIDE: "outside by {gap}",
    Outcome.CLOSE: "too close to call: measure finer",
}


def _reason(
    rule: Rule,
    reading: Quantity,
    limits: tuple[Quantity | None, Quantity | None],
    margin: Quantity | None,
    result: Outcome,
    extra: str,
    inclusive: bool,
) -> str:
    low, high = limits
    name = rule.title
    tail = f" ({extra})" if extra else ""
    if margin is None:
        return f"{name}: {show(reading)}; no limit published under this policy{tail}."
    gap = show(Quantity(abs(fraction(margin.value)), margin.unit))
    ends = []
    if low is not None:
        ends.append(f"{'least' if inclusive else 'more than'} {show(low)}")
    if high is not None:
        ends.append(f"{'most' if inclusive else 'under'} {show(high)}")
    word = _WORDS[result].format(gap=gap)
    return f"{name}: {show(reading)}; {', '.join(ends)}; {word}{tail}."


def named(rule: Rule, facts: Facts, policy: Policy, seen: str, good: bool, wanted: str) -> Verdict:
    """A verdict on a named choice: inside if it is the wanted one, never close."""
    limit = rule.effective(facts, policy)
    result = Outcome.INSIDE if good else Outcome.OUTSIDE
    tail = f" ({limit.note})" if limit.note else ""
    reason = f"{rule.title}: {seen}; rule: {wanted}; {result.value}{tail}."
    return Verdict(rule.id, result, seen, None, None, None, limit.severity, limit.source, reason)


def exact(text: str, unit: str) -> Quantity:
    """A limit written as digits ("6", "0.5") or as a fraction ("1/4"): exact, no resolution."""
    return Quantity(Fraction(text) if "/" in text else Decimal(text), unit)


def spoken(text: str, unit: str) -> Quantity:
    """A reading as spoken: its digits set the resolution ("5.5" -> 0.1, "3/8" -> 1/8, "6" -> 1)."""
    if "/" in text:
        return Quantity(Fraction(text), unit, Fraction(1, int(text.split("/")[1])))
    places = len(text.partition(".")[2])
    return Quantity(Decimal(text), unit, Decimal(1).scaleb(-places))
