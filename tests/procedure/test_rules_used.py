"""Every rule of the limits engine has its place in the packaged procedures, or a reason why not."""

from __future__ import annotations

from handsfree import limits
from handsfree.procedure._derived import ADVICE, DERIVED, GIVEN_BY_DESIGNATION
from handsfree.procedure._model import Choice, CountPasses, Inspect, Procedure, Reading, Wait, read_procedure
from handsfree.session import packaged_procedure, packaged_procedures

#: Rules that no step names and that no disposition judges, and why.
ELSEWHERE = {
    "air.blow.max": "the procedures forbid compressed air on a buffed surface",
    "torque.tightenings": "said in the advice on the star order",
    "repairs.improper": "reported as a condition of the inspection",
}


def procedures() -> list[Procedure]:
    return [read_procedure(packaged_procedure(name)) for name in packaged_procedures()]


def named() -> set[str]:
    """Rules that a step judges, counts or waits by."""
    found: set[str] = set()
    for procedure in procedures():
        for step in procedure.step:
            if isinstance(step, Reading | Choice):
                found |= set(step.limits)
            elif isinstance(step, CountPasses | Wait):
                found.add(step.rule)
    return found


def known_at_the_disposition() -> set[str]:
    """Facts that the passenger procedure knows before it disposes of the tire: rules over these are judged there."""
    steps = read_procedure(packaged_procedure("passenger-one-piece")).step
    facts = {step.fact for step in steps if isinstance(step, Reading | Choice) and step.fact}
    return facts | set(DERIVED) | set(GIVEN_BY_DESIGNATION)


def test_every_rule_is_used() -> None:
    known = known_at_the_disposition()
    disposed = {rule.id for rule in limits.rules() if rule.kind == "verdict" and rule.measurand in known}
    unused = {rule.id for rule in limits.rules()} - named() - disposed
    assert unused == set(ELSEWHERE)


def test_what_is_used_elsewhere_really_is() -> None:
    steps = [step for procedure in procedures() for step in procedure.step]
    assert any("No compressed air" in step.ask for step in steps)
    assert any("star-order" in step.advice for step in steps)
    assert "star-order" in ADVICE
    conditions = [c for step in steps if isinstance(step, Inspect) for c in step.conditions]
    assert any("improper" in condition.reason for condition in conditions)
