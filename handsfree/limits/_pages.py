"""The rules as text: a table, JSON, one rule explained with a worked example, and the page for readers."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

from handsfree.limits._compare import show
from handsfree.limits._policy import BASES, DEFAULT, Override, Policy, named_policy
from handsfree.limits._registry import answer, near, rule, rules
from handsfree.limits._rule import Effective, Limit, Rule
from handsfree.limits._types import LimitsError, MissingFact
from handsfree.quantity import Quantity, inward

__all__ = ["as_json", "explain", "rules_page", "table"]

_HEAD = ("id", "measurand", "limit", "severity", "policy", "source")


def table(policy: Policy = DEFAULT) -> str:
    """Every rule with the limit the policy puts in force, as aligned plain text."""
    rows = [_HEAD, *(_row(item, policy) for item in rules())]
    widths = [max(len(row[i]) for row in rows) for i in range(len(_HEAD) - 1)]
    lines = []
    for row in rows:
        cells = [row[i].ljust(width) for i, width in enumerate(widths)]
        lines.append("  ".join((*cells, row[-1])))
    return "\n".join(lines) + "\n"


def _row(item: Rule, policy: Policy) -> tuple[str, ...]:
    key = item.variant(policy)
    published = item.limits[key]
    change = policy.overrides.get(item.id, Override())
    text = _limit(item, published)
    if change.limit is not None:
        text += f" (shop: {show(change.limit)})"
    severity = change.severity or published.severity or item.severity
    return item.id, item.measurand, text, severity.value, key, inward(published.source)


_SIGNS = {"max": "<=", "min": ">=", "tolerance": "+/-", "none": ""}


def _limit(item: Rule, limit: Limit) -> str:
    if limit.value is None:
        return "by formula" if item.computed else "-"
    if item.computed:
        return f"{show(limit.value)} in the formula"
    sign = _SIGNS[item.sense.value]
    strict = sign if limit.inclusive else sign.replace("=", "")
    return f"{strict} {show(limit.value)}"


def as_json(policy: Policy = DEFAULT) -> str:
    """Every rule with all its published variants, as JSON text."""
    return json.dumps([_json(item, policy) for item in rules()], indent=2) + "\n"


def _json(item: Rule, policy: Policy) -> dict[str, Any]:
    force = _force(item, policy)
    return {
        "id": item.id,
        "title": item.title,
        "kind": item.kind,
        "measurand": item.measurand,
        "unit": item.unit,
        "reading": "setting" if item.setting else "measured",
        "sense": item.sense.value,
        "severity": item.severity.value,
        "applies": item.applies,
        "formula": item.formula,
        "in_force": {
            "variant": force.key,
            "limit": None if force.value is None else show(force.value),
            "inclusive": force.inclusive,
            "severity": force.severity.value,
            "source": force.source,
        },
        "variants": {
            name: {
                "limit": None if limit.value is None else show(limit.value),
                "inclusive": limit.inclusive,
                "source": limit.source,
                "note": limit.note,
                "severity": (limit.severity or item.severity).value,
            }
            for name, limit in item.limits.items()
        },
    }


def explain(rule_id: str, policy: Policy = DEFAULT) -> str:
    """Formula, every published variant with its source, and a worked example, judged as it is printed.

    A star marks what is in force under ``policy`` for the example: a published variant, or the shop's own limit.
    Raises LimitsError for a name that is no rule's, with those that are near.
    """
    try:
        item = rule(rule_id)
    except LimitsError as error:
        perhaps = near(rule_id)
        raise LimitsError(
            f"{error}; perhaps {' or '.join(perhaps)} is meant" if perhaps else str(error)
        ) from None
    judged_by = _judged_by(item, policy)
    force = _force(item, judged_by)
    change = policy.overrides.get(item.id, Override())
    # The stricter of a shop's limit and a published one can be the published one.
    shop = change.limit if change.limit is not None and force.value == change.limit else None
    lines = [
        f"{item.id}: {item.title}",
        f"  applies to: {item.applies}",
        f"  severity:   {force.severity.value}"
        + (f" (shop policy {policy.name!r})" if change.severity else ""),
        f"  formula:    {item.formula}",
    ]
    if shop is not None:
        moved = replace(item.limits[force.key], value=shop, inclusive=force.inclusive)
        lines += ["  in force:", f"   * {_limit(item, moved)}: {inward(force.source)}"]
    lines += ["  published:"]
    for name, limit in item.limits.items():
        note = f" ({limit.note})" if limit.note else ""
        mark = "*" if shop is None and name == item.variant(policy) else " "
        lines.append(f"   {mark} {name}: {_limit(item, limit)}: {inward(limit.source)}{note}")
    lines += ["  example:", *(f"    {key} = {_fact(value)}" for key, value in item.example.items())]
    lines.append(f"    {_worked(item, judged_by)}")
    return "\n".join(lines) + "\n"


def _judged_by(item: Rule, policy: Policy) -> Policy:
    """The policy of the example: without a shop's, the one that the rule is about."""
    return named_policy(item.example_base) if policy == DEFAULT else policy


def _force(item: Rule, policy: Policy) -> Effective:
    try:
        return item.effective(item.example, policy)
    except MissingFact:  # the variant is refined by facts that this example does not have
        return replace(item, pick=None).effective(item.example, policy)


def _worked(item: Rule, policy: Policy) -> str:
    """What the example gives; where the policy's variant asks for more facts, what it gives under its own base."""
    under = "" if policy.name in BASES else f" under {policy.name!r}"
    try:
        return f"gives{under}: {answer(item.id, item.example, policy).reason}"
    except MissingFact as missing:
        result = answer(item.id, item.example, named_policy(item.example_base))
        need = f"{policy.name!r} also needs {missing.args[0]}"
        return f"gives under {item.example_base!r} ({need}): {result.reason}"


def _fact(value: Quantity | str) -> str:
    return show(value) if isinstance(value, Quantity) else value


def rules_page() -> str:
    """The generated page of all rules, Markdown."""
    lines = [
        "# Rules",
        "",
        "Generated from the registry by `python -m handsfree.bench.limits --page FILE`; do not edit.",
        "",
        "A reading counts as everything its resolution allows: one astride a limit is too close to call.",
        "Of a published pair in two units the stricter counts. Where a country has no rule of its own in the",
        "sources read, the US industry chart stands in. Policies: "
        + "; ".join(f"`{k}` {v}" for k, v in BASES.items())
        + ".",
        "",
    ]
    for item in rules():
        lines += _section(item)
    return "\n".join(lines).rstrip() + "\n"


def _section(item: Rule) -> list[str]:
    result = answer(item.id, item.example, named_policy(item.example_base))
    facts = "; ".join(f"{key} = {_fact(value)}" for key, value in item.example.items())
    rows = [
        f"| {name} | {_limit(item, limit)} | {inward(limit.source)}{'; ' + limit.note if limit.note else ''} |"
        for name, limit in item.limits.items()
    ]
    return [
        f"## {item.id}",
        "",
        f"{item.title}; {item.severity.value}; {item.applies}. `{item.formula}`",
        "",
        "| variant | limit | source |",
        "|---|---|---|",
        *rows,
        "",
        f"Example: {facts}. {result.reason}",
        "",
    ]
