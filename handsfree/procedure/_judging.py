"""What the machine asks of the limits engine beyond one verdict: a limit without a reading, and the whole tire."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from handsfree import limits
from handsfree.limits import Decision, LimitsError, MissingFact, Outcome, Policy, Sense, Severity
from handsfree.procedure._derived import complete, spacing_reasons
from handsfree.procedure._state import State
from handsfree.quantity import UNITS, Quantity

__all__ = ["Bounds", "Disposition", "bounds", "dispose", "refuses"]

FactMap = Mapping[str, Quantity | str]


@dataclass(frozen=True, slots=True)
class Bounds:
    low: Quantity | None
    high: Quantity | None
    source: str
    reason: str
    inclusive: bool = True


@dataclass(frozen=True, slots=True)
class Disposition:
    """The strictest decision over all injuries, every reason against the repair, every warning, the sources."""

    decision: Decision
    reasons: tuple[str, ...]
    warnings: tuple[str, ...]
    sources: tuple[str, ...]
    unclear: bool = False
    """Whether nothing is surely against the repair: every reason is too close to call, or can't be judged."""


def bounds(rule_id: str, facts: FactMap, unit: str, policy: Policy) -> Bounds:
    """The limit a rule sets now, in the technician's unit; without low and high when it follows from a formula."""
    rule = limits.rule(rule_id)
    effective = rule.effective(complete(facts), policy)
    value = effective.value
    if value is None or rule.computed or rule.sense not in (Sense.MAX, Sense.MIN):
        return Bounds(None, None, effective.source, rule.formula or rule.title)
    if unit and UNITS[unit].kind == UNITS[value.unit].kind:
        value = value.to(unit)
    low, high = (value, None) if rule.sense is Sense.MIN else (None, value)
    return Bounds(low, high, effective.source, rule.formula, effective.inclusive)


def refuses(state: State, policy: Policy, *, two_piece: bool = False) -> bool:
    """Whether the tire, as it is known now, has a reason against it."""
    return bool(state.reasons or dispose(state.facts, state.archived, policy, two_piece=two_piece).reasons)


def dispose(
    facts: FactMap, archived: Sequence[tuple[str, FactMap]], policy: Policy, *, two_piece: bool = False
) -> Disposition:
    """Judge everything that is known of the tire, injury by injury, and keep every reason.

    ``two_piece``: the procedure can make a two-piece repair; else calling for one is a reason against it.
    """
    decisions: list[Decision] = []
    reasons: dict[str, bool] = {}  # whether it is sure
    warnings: dict[str, None] = {}
    sources: dict[str, None] = {}
    injuries = [complete({**facts, **group}) for _, group in archived]
    if not injuries or any(fact.startswith("injury.") for fact in facts):
        injuries.append(complete(facts))
    for known in injuries:
        decisions.append(_decision(known, policy))
        for rule in limits.rules():
            if rule.kind != "verdict" or rule.measurand not in known:
                continue
            try:
                verdict = limits.judge(rule.id, known, policy)
            except MissingFact:
                continue
            except LimitsError as error:
                reasons.setdefault(str(error), False)
                continue
            sources[verdict.source] = None
            if verdict.outcome is not Outcome.INSIDE and verdict.severity is Severity.STOP:
                reasons[verdict.reason] = verdict.outcome is Outcome.OUTSIDE
            elif verdict.outcome is not Outcome.INSIDE:
                warnings[verdict.reason] = None
    for text, sure in spacing_reasons(facts, injuries, policy):
        reasons[text] = sure
    decision = max(decisions, key=list(Decision).index)
    if decision is Decision.TWO_PIECE and not two_piece:
        reasons["a two-piece repair is called for"] = True
    unclear = bool(reasons) and not any(reasons.values())
    return Disposition(decision, tuple(reasons), tuple(warnings), tuple(sources), unclear)


def _decision(known: FactMap, policy: Policy) -> Decision:
    try:
        return limits.dispose(known, policy).decision
    except LimitsError:
        return Decision.MEASURE
