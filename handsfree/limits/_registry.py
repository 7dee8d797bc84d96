"""The one registry of rules, and the three questions asked of it: judge, window, count."""

from __future__ import annotations

from collections.abc import Mapping
from difflib import get_close_matches
from types import MappingProxyType

from handsfree.limits._policy import DEFAULT, Policy
from handsfree.limits._rule import Rule
from handsfree.limits._rules_bay import BAY_RULES
from handsfree.limits._rules_injury import INJURY_RULES
from handsfree.limits._rules_tire import TIRE_RULES
from handsfree.limits._rules_wheel import WHEEL_RULES
from handsfree.limits._types import Count, Facts, LimitsError, Verdict, Window
from handsfree.quantity import UnitError

__all__ = ["RULES", "answer", "count", "judge", "near", "rule", "rules", "window"]

RULES: Mapping[str, Rule] = MappingProxyType(
    {item.id: item for group in (INJURY_RULES, TIRE_RULES, BAY_RULES, WHEEL_RULES) for item in group}
)


def rules() -> tuple[Rule, ...]:
    """Every rule, in the order of the work."""
    return tuple(RULES.values())


def rule(rule_id: str) -> Rule:
    """One rule by id. Raises LimitsError if there is none."""
    try:
        return RULES[rule_id]
    except KeyError:
        raise LimitsError(f"unknown rule {rule_id!r}: list them with 'handsfree limits'") from None


def near(name: str, most: int = 3) -> list[str]:
    """Ids of rules that may be meant by a name that is none: those that begin with it, hold it, or whose title does;
    else those that are spelled nearly so."""
    lower = name.strip().lower()
    if not lower:
        return []
    begin = [item.id for item in rules() if item.id.startswith(lower)]
    hold = [item.id for item in rules() if len(lower) > 2 and lower in f"{item.id} {item.title.lower()}"]
    return (list(dict.fromkeys(begin + hold)) or get_close_matches(lower, RULES))[:most]


def answer(rule_id: str, facts: Facts, policy: Policy = DEFAULT) -> Verdict | Window | Count:
    """Whatever the rule gives. Raises MissingFact (names the measurand) or LimitsError (one plain line)."""
    item = rule(rule_id)
    try:
        return item.run(item, facts, policy)
    except UnitError as wrong:
        raise LimitsError(f"{rule_id}: {wrong}") from None


def judge(rule_id: str, facts: Facts, policy: Policy = DEFAULT) -> Verdict:
    """Judge the facts by one rule of kind "verdict"."""
    result = answer(rule_id, facts, policy)
    if not isinstance(result, Verdict):
        raise LimitsError(f"rule {rule_id} gives a {rule(rule_id).kind}, not a verdict")
    return result


def window(rule_id: str, facts: Facts, policy: Policy = DEFAULT) -> Window:
    """Shortest and longest time of a wait, by one rule of kind "window"."""
    result = answer(rule_id, facts, policy)
    if not isinstance(result, Window):
        raise LimitsError(f"rule {rule_id} gives a {rule(rule_id).kind}, not a window")
    return result


def count(rule_id: str, facts: Facts, policy: Policy = DEFAULT) -> Count:
    """How many passes, by one rule of kind "count"."""
    result = answer(rule_id, facts, policy)
    if not isinstance(result, Count):
        raise LimitsError(f"rule {rule_id} gives a {rule(rule_id).kind}, not a count")
    return result
