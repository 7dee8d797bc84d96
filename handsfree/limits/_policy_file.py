"""Read a shop's policy from the text of a TOML file. The caller reads the file; here is no I/O.

name = "Main bay, spring"
base = "us"                      # us, uk, jp, de or nz

[choose]                         # among published rules that disagree: always free
"injury.edge.min" = "inch_and_half"

[limits."injury.size.max"]       # tightening a limit, or raising a severity, is free
limit = "5 mm"

[limits."buffer.rpm.max"]        # loosening a stop limit needs a name and a reason, and shows in every record
limit = "5500 rpm"
allowed_by = "A. Supervisor"
why = "buffer measured at 4,900 rpm under load"
"""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from handsfree._toml import TomlError, one_line, read_toml
from handsfree.limits._compare import show
from handsfree.limits._policy import BASES, Override, Policy
from handsfree.limits._registry import rule
from handsfree.limits._rule import Rule, Sense
from handsfree.limits._types import LimitsError, Severity
from handsfree.quantity import UNITS, Quantity, UnitError

__all__ = ["parse_policy", "parse_quantity"]

_QUANTITY = re.compile(r"^\s*(?P<number>\d+(?:\.\d+)?|\d+/0*[1-9]\d*)\s*(?P<unit>\S+)?\s*$")
_LONGEST = 60  # characters of a limit
_RANK = {Severity.NOTE: 0, Severity.WARN: 1, Severity.STOP: 2}


class _Moved(BaseModel):
    model_config = ConfigDict(extra="forbid", str_strip_whitespace=True)
    limit: str | None = None
    severity: Severity | None = None
    allowed_by: str = ""
    why: str = ""


class _File(BaseModel):
    model_config = ConfigDict(extra="forbid", str_strip_whitespace=True)
    name: str = Field(min_length=1)
    base: str = "us"
    choose: dict[str, str] = Field(default_factory=dict)
    limits: dict[str, _Moved] = Field(default_factory=dict)


def parse_policy(text: str) -> Policy:
    """Read and check a policy. Raises LimitsError with one line that names the table and what to do."""
    try:
        raw = read_toml(text)
    except TomlError as wrong:
        raise LimitsError(f"policy is not TOML: {wrong}") from None
    for table in ("choose", "limits"):
        if isinstance(raw.get(table), dict):
            raw[table] = dict(_flat(raw[table]))
    try:
        read = _File.model_validate(raw)
    except ValidationError as wrong:
        first = wrong.errors()[0]
        place = ".".join(str(part) for part in first["loc"])
        raise LimitsError(one_line(f"policy: {place}: {first['msg'].lower()}")) from None
    if read.base not in BASES:
        raise LimitsError(f"policy: base {read.base!r} is not one of {', '.join(BASES)}")
    for rule_id, variant in read.choose.items():
        _check_choice(rule_id, variant)
    plain = Policy(read.name, read.base, MappingProxyType(dict(read.choose)))
    moved = {rule_id: _override(rule_id, change, plain) for rule_id, change in read.limits.items()}
    return Policy(read.name, read.base, plain.choose, MappingProxyType(moved))


def _flat(table: dict[str, Any], prefix: str = "") -> list[tuple[str, Any]]:
    """``[limits.injury.size.max]`` without quotes means the same rule: join the nested names."""
    found: list[tuple[str, Any]] = []
    for key, value in table.items():
        inner = isinstance(value, dict) and value and not set(value) & set(_Moved.model_fields)
        found += _flat(value, f"{prefix}{key}.") if inner else [(f"{prefix}{key}", value)]
    return found


def _check_choice(rule_id: str, variant: str) -> None:
    known = [name for name in rule(rule_id).limits if "." not in name]
    if variant not in known:
        raise LimitsError(f"policy: {rule_id} has no variant {variant!r}: choose one of {', '.join(known)}")


def _override(rule_id: str, change: _Moved, policy: Policy) -> Override:
    item = rule(rule_id)
    limit = None if change.limit is None else _limit(item, change.limit)
    if limit is None and change.severity is None:
        raise LimitsError(f"policy: {rule_id} moves nothing: give it a limit or a severity")
    looser = limit is not None and _only_looser(item, limit, policy)
    usual = item.limits[item.variant(policy)].severity or item.severity
    lowered = change.severity is not None and _RANK[change.severity] < _RANK[usual]
    if not looser and not lowered:
        return Override(limit, change.severity)
    if usual is Severity.STOP and not (change.allowed_by and change.why):
        raise LimitsError(
            f"policy: {rule_id} would loosen a stop limit: say who allowed it (allowed_by) and why (why)"
        )
    return Override(limit, change.severity, change.allowed_by or "the shop", change.why or "no reason given")


def _only_looser(item: Rule, limit: Quantity, policy: Policy) -> bool:
    """True if the moved limit allows more than every published limit it could replace."""
    variant = item.variant(policy)
    # The variant itself and what the facts may refine it to ("nz", "nz.run_flat"); others are not chosen.
    keys = [k for k in item.limits if k == variant or k.startswith(f"{variant}.")]
    published = [value for k in keys if (value := item.limits[k].value) is not None]
    return bool(published) and all(item.looser(limit, value) for value in published)


def _limit(item: Rule, text: str) -> Quantity:
    if item.sense is Sense.NONE:
        raise LimitsError(f"policy: {item.id} has no number to move: only its severity can be raised")
    given = parse_quantity(text)
    wanted = next((v.value.unit for v in item.limits.values() if v.value is not None), item.unit)
    if UNITS[given.unit].kind != UNITS[wanted].kind:
        raise LimitsError(f"policy: {item.id} is given in {wanted}, not {given.unit}: {show(given)}")
    return given


def parse_quantity(text: str) -> Quantity:
    """ "5 mm", "1/4 in", "24" (a count) as an exact quantity. Raises LimitsError."""
    match = _QUANTITY.match(text) if len(text) <= _LONGEST else None
    if match is None:
        raise LimitsError(f"{text[:_LONGEST]!r} is no limit: write a number and a unit, like 5 mm or 1/4 in")
    number, unit = match["number"], match["unit"] or "1"
    try:
        return Quantity(Fraction(number) if "/" in number else Decimal(number), unit)
    except UnitError as wrong:
        raise LimitsError(f"{text!r}: {wrong}") from None
