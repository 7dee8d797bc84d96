"""What the machine asks of the limits engine beyond one verdict: a limit without a reading, and the whole tire."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from handsfree import limits
from handsfree.limits import Decision, LimitsError, MissingFact, Outcome, Policy, Sense, Severity, Verdict
from handsfree.procedure._derived import complete, spacing_reasons
from handsfree.procedure._model import Choice, HoldPoint, Reading
from handsfree.procedure._state import State
from handsfree.quantity import UNITS, Quantity

__all__ = ["Bounds", "Disposition", "bounds", "dispose", "judged_by", "limit_of", "refuses", "worst"]

FactMap = Mapping[str, Quantity | str]


@dataclass(frozen=True, slots=True)
class Bounds:
    low: Quantity | None
    high: Quantity | None
    source: str
    reason: str
    inclusive: bool = True
    of: str = ""
    """What is limited, where that is not the reading itself but computed from it (a loss, a spread)."""


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


def limit_of(
    rule_id: str,
    step: Reading | Choice,
    facts: FactMap,
    at_hand: Quantity | str | None,
    policy: Policy,
) -> Bounds:
    """The limit that the verdict on the step's reading will name, in the unit in use; ``at_hand``: the value that is
    being confirmed or disposed of. As ``bounds`` where the reading can't be judged yet, or the limit moves with it.
    """
    if not isinstance(step, Reading) or not step.unit or step.plausible is None:
        return bounds(rule_id, facts, "", policy)
    unit = _unit_in_use(step, facts, at_hand)
    low, high = (Quantity(Decimal(f"{end:g}"), step.unit).to(unit) for end in step.plausible)
    span = Fraction(high.value) - Fraction(low.value)
    judged: list[tuple[Quantity, Verdict]] = []
    for n in range(_TRIED + 1):
        value = Quantity(Fraction(low.value) + span * n / _TRIED, unit)
        try:
            verdict = limits.judge(rule_id, complete({**facts, step.fact: value}), policy)
        except LimitsError:  # a fact is missing, or the value contradicts another
            continue
        judged.append((value, verdict))
    ends = {(v.low, v.high, v.inclusive) for _, v in judged}
    if len(judged) < 2 or len(ends) > 1:
        return bounds(rule_id, facts, unit, policy)
    last = judged[-1][1]
    if last.low is None and last.high is None:
        return bounds(rule_id, facts, unit, policy)
    direct = all(isinstance(v.measured, Quantity) and v.measured == value for value, v in judged)
    of = "" if direct else limits.rule(rule_id).title
    return Bounds(last.low, last.high, last.source, last.reason, last.inclusive, of)


_TRIED = 4  # steps over the reading's range: a limit that is the same at every one does not depend on it


def _unit_in_use(step: Reading, facts: FactMap, at_hand: Quantity | str | None) -> str:
    """The unit of the value itself, else of the last reading of its sort (another tread depth, the torque wanted),
    else the one that a bare number is taken in."""
    family, kind = step.fact.partition(".")[0], UNITS[step.unit].kind
    alike = [value for name, value in list(facts.items())[::-1] if name.partition(".")[0] == family]
    for value in (at_hand, facts.get(step.fact), *alike):
        if isinstance(value, Quantity) and UNITS[value.unit].kind == kind:
            return value.unit
    return step.unit


def judged_by(step: Reading | Choice, facts: FactMap, policy: Policy) -> tuple[list[Verdict], list[Verdict]]:
    """The step's own limits over what is known and what follows from it; and, unless one of them stops, those of
    readings made before that depend on this one (``Reading.fits``). Raises LimitsError."""
    known = complete(facts)
    own = [limits.judge(rule, known, policy) for rule in step.limits]
    if not isinstance(step, Reading) or worst(own, step.binding) is not None:
        return own, []
    return own, [limits.judge(rule, known, policy) for rule in step.fits]


def worst(verdicts: Sequence[Verdict], binding: Sequence[str]) -> Verdict | None:
    """The stop verdict that needs a disposition, outside before too close to call."""
    stops = [
        v
        for v in verdicts
        if (v.severity is Severity.STOP or v.rule in binding) and v.outcome is not Outcome.INSIDE
    ]
    return next((v for v in stops if v.outcome is Outcome.OUTSIDE), stops[0] if stops else None)


def refuses(state: State, policy: Policy, step: HoldPoint) -> bool:
    """Whether the tire, as it is known now, has a reason against it at this hold point."""
    return bool(state.reasons or dispose(state.facts, state.archived, policy, step).reasons)


def dispose(
    facts: FactMap, archived: Sequence[tuple[str, FactMap]], policy: Policy, step: HoldPoint
) -> Disposition:
    """Judge everything that is known of the tire, injury by injury, and keep every reason; or only how far injuries
    lie apart, where that is what ``step`` judges (a patch chosen for one is nothing against the next).

    ``step.two_piece``: the procedure can make a two-piece repair; else calling for one is a reason against it.
    """
    two_piece = step.two_piece
    rules = limits.rules() if step.judges == "tire" else ()
    decisions: list[Decision] = []
    reasons: dict[str, bool] = {}  # whether it is sure
    warnings: dict[str, None] = {}
    sources: dict[str, None] = {}
    injuries = [complete({**facts, **group}) for _, group in archived]
    if not injuries or any(fact.startswith("injury.") for fact in facts):
        injuries.append(complete(facts))
    for known in injuries:
        decisions.append(_decision(known, policy))
        for rule in rules:
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
