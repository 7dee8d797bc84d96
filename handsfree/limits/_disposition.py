"""Disposition of one tire: which repair, measure again, or scrap; with every reason, not only the first."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from handsfree.limits._policy import DEFAULT, Policy
from handsfree.limits._registry import judge, rule
from handsfree.limits._types import Facts, MissingFact, Outcome, Severity, Verdict
from handsfree.limits._unit import UnitKind, unit_kind

__all__ = ["Decision", "Disposition", "dispose", "second_opinion"]


class Decision(StrEnum):
    """In order of strictness."""

    ONE_PIECE = "repair, one-piece unit"
    TWO_PIECE = "repair, two-piece"
    MEASURE = "measure again"
    SCRAP = "scrap"


@dataclass(frozen=True, slots=True)
class Disposition:
    """``reasons``: every verdict that isn't inside, gravest first; ``missing``: still to be read."""

    decision: Decision
    reasons: tuple[Verdict, ...]
    clear: tuple[Verdict, ...]
    missing: tuple[str, ...] = ()


_ONE_PIECE = "injury.angle.one_piece"
_ALWAYS = ("injury.place.crown", "injury.size.max", _ONE_PIECE, "injury.angle.max", "tread.depth.min")
#: The channel needs the lean, which is only read for an injury that leans.
_TRIGGER = {"injury.channel.crown": "injury.lean"}
_RUN_FLAT = ("run_flat.distance.max", "run_flat.speed.max")
_WHEN_KNOWN = (
    "injury.grooves",
    "injury.channel.crown",
    "tread.depth.legal",
    "tread.uneven.max",
    "repairs.count.max",
    "repairs.spacing.min",
    "repairs.overlap",
    "repairs.improper",
    "tire.kind",
    "tire.load_range",
    "tire.tubeless",
    "tire.sealant",
    "tire.age",
    "tire.speed_rating",
    *_RUN_FLAT,
    "run_flat.pressure.min",
)
_GRAVITY = {Outcome.OUTSIDE: 0, Outcome.CLOSE: 1, Outcome.INSIDE: 2}
_SEVERITY = {Severity.STOP: 0, Severity.WARN: 1, Severity.NOTE: 2}


def dispose(facts: Facts, policy: Policy = DEFAULT) -> Disposition:
    """Judge everything known of a tire.

    Place, size, angle, tread depth and the crown zone (edge distance; for the UK the central band) must
    be read; a run-flat tire's history too. Everything else counts as soon as it is known. A stop rule outside
    is scrap; one too close to call, or a missing reading, asks for a measurement. LimitsError on bad facts.
    """
    banded = rule("injury.band").variant(policy) == "uk"
    needed = [*_ALWAYS, "injury.band" if banded else "injury.edge.min"]
    if facts.get("tire.run_flat") == "yes":
        needed += _RUN_FLAT
    triggers = {name: _TRIGGER.get(name, rule(name).measurand) for name in _WHEN_KNOWN if name not in needed}
    known = [name for name, trigger in triggers.items() if trigger in facts]
    verdicts: list[Verdict] = []
    missing: list[str] = []
    for name in (*needed, *known):
        try:
            verdicts.append(judge(name, facts, policy))
        except MissingFact as gap:
            missing.append(str(gap.args[0]))
    decision = _decide(verdicts, bool(missing))
    return Disposition(decision, _reasons(verdicts), _clear(verdicts), tuple(dict.fromkeys(missing)))


def _decide(verdicts: list[Verdict], incomplete: bool) -> Decision:
    stops = {v.outcome for v in verdicts if v.severity is Severity.STOP}
    if Outcome.OUTSIDE in stops:
        return Decision.SCRAP
    if incomplete or Outcome.CLOSE in stops:
        return Decision.MEASURE
    angle = next(v.outcome for v in verdicts if v.rule == _ONE_PIECE)
    return Decision.ONE_PIECE if unit_kind(angle) is UnitKind.ONE_PIECE else Decision.TWO_PIECE


def _reasons(verdicts: list[Verdict]) -> tuple[Verdict, ...]:
    bad = [v for v in verdicts if v.outcome is not Outcome.INSIDE]
    return tuple(sorted(bad, key=lambda v: (_SEVERITY[v.severity], _GRAVITY[v.outcome], v.rule)))


def _clear(verdicts: list[Verdict]) -> tuple[Verdict, ...]:
    return tuple(v for v in verdicts if v.outcome is Outcome.INSIDE)


def second_opinion(first: Disposition, second: Disposition) -> Disposition:
    """Join two judgements of one tire: no reason of the first is erased, and scrap stays scrap.

    "Measure again" gives way to what the new measurement says; else the stricter decision holds.
    """
    order = list(Decision)
    settled = first.decision is Decision.MEASURE
    decision = second.decision if settled else max(first.decision, second.decision, key=order.index)
    reasons = list(dict.fromkeys((*first.reasons, *second.reasons)))
    clear = tuple(dict.fromkeys((*first.clear, *second.clear)))
    return Disposition(decision, _reasons(reasons), clear, second.missing)
