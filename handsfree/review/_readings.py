"""The readings with what they were judged by, and the answers: rows for a page's tables."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from handsfree import limits
from handsfree.limits import MEASURANDS, LimitsError
from handsfree.quantity import inward
from handsfree.record import Told, limit_of, measured, value_of

from ._clock import Clock
from ._injury import clock_words
from ._source import Source
from ._values import both, customary, parse, reading, shown, told

__all__ = ["Answer", "Judged", "Reading", "answers", "in_brackets", "judged_of", "name_of", "readings_of"]


@dataclass(frozen=True, slots=True)
class Judged:
    """One verdict. ``outcome``: inside, outside, close or none; ``word`` says it with the margin."""

    title: str
    outcome: str
    word: str
    limit: str
    source: str
    severity: str


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading as the page shows it; ``instead``: the value that took its place, "" while it is in force."""

    seq: str
    at: str
    phase: str
    name: str
    measurand: str
    spoken: str
    converted: str
    resolution: str
    judged: Sequence[Judged]
    no_limit: str
    instead: str
    corrects: str


@dataclass(frozen=True, slots=True)
class Answer:
    """A choice, a condition inspected, or an action confirmed."""

    seq: str
    at: str
    phase: str
    name: str
    text: str
    found: bool


def readings_of(source: Source, clock: Clock, *, customer: bool = False) -> list[Reading]:
    """Every reading of the record in order, also those that another one replaced; for a ``customer`` only those in
    force, in the digits of a workshop's instruments."""
    rows = [
        row
        for row in source.rows
        if row.get("kind") == "reading" and not (customer and row.replaced_by is not None)
    ]
    names = [name_of(source, row) for row in rows]
    total, seen = Counter(names), Counter[str]()
    found = []
    wanted = {id(row) for row in rows}
    for phase, row in _phased(source.rows):
        if id(row) not in wanted:
            continue
        name = name_of(source, row)
        seen[name] += 1
        label = f"{name}, {seen[name]}" if total[name] > 1 else name
        found.append(_reading(source, row, label, phase, clock, customer=customer))
    return found


def _reading(source: Source, row: Told, name: str, phase: str, clock: Clock, *, customer: bool) -> Reading:
    value = reading(value_of(row, "value"), value_of(row, "unit"), value_of(row, "resolution"))
    spoken, converted = both(value) if value is not None else (_bare(row), "")
    if customer and value is not None:
        spoken, converted = customary(value, heard=True)
    if value is not None and value_of(row, "measurand") == "injury.clock":
        spoken = clock_words(value)
    step = source.step(value_of(row, "step"))
    return Reading(
        seq=value_of(row, "seq"),
        at=clock.time(row),
        phase=phase,
        name=name,
        measurand=value_of(row, "measurand"),
        spoken=spoken,
        converted=converted,
        resolution=value_of(row, "resolution"),
        judged=[judged_of(verdict, customer=customer) for verdict in row.verdicts],
        no_limit=getattr(step, "no_limit", "") or "no limit judges this reading",
        instead="" if row.replaced_by is None else _bare(row.latest),
        corrects=_bare(row.replaced) if row.replaced else "",
    )


def _bare(row: Mapping[str, Any]) -> str:
    """A row's value without its measurand."""
    value = reading(value_of(row, "value"), value_of(row, "unit"))
    return told(value) if value is not None else measured({**row, "measurand": ""})


def name_of(source: Source, row: Told) -> str:
    """A reading's name as the procedure speaks it, else its measurand's."""
    step, measurand = source.step(value_of(row, "step")), value_of(row, "measurand")
    named: str = getattr(step, "name", "")
    return named or (MEASURANDS[measurand].title if measurand in MEASURANDS else measurand)


def _ends(row: Mapping[str, Any], end: str, *, customer: bool) -> str:
    """A limit in the digits of its unit, cut to the strict side."""
    text = value_of(row, end)
    value = parse(text)
    if value is None:
        return shown(text)
    own, other = customary(value, end)
    return in_brackets(own, other if customer else both(value)[1])


def in_brackets(value: str, other: str) -> str:
    """ "4.5 mm (0.18 in)"."""
    return f"{value} ({other})" if other else value


def judged_of(row: Mapping[str, Any], *, customer: bool) -> Judged:
    """A line of a verdict as a page shows it."""
    parts = value_of(row, "reason").rstrip(".").split("; ")
    low, high = (_ends(row, end, customer=customer) for end in ("low", "high"))
    limit = limit_of(Told({**row, "low": low, "high": high}))
    if not limit and len(parts) > 1:
        limit = parts[1].removeprefix("rule: ")
    outcome, margin = value_of(row, "outcome"), parse(value_of(row, "margin"))
    gap = ""
    if margin is not None and outcome != "close":
        by = in_brackets(*customary(margin, "gap")) if customer else told(margin, 3)
        gap = f" by {by.replace(chr(0x2212), '')}"
        if customer and not any(digit in by for digit in "123456789"):
            gap = ""  # by less than the instrument shows
    word = {"close": "too close to call"}.get(outcome, outcome)
    return Judged(
        title=_title(value_of(row, "rule")),
        outcome=outcome,
        word=f"{word}{gap}",
        limit=limit or "no number under this policy",
        source=inward(value_of(row, "source")),
        severity=value_of(row, "severity"),
    )


def _title(rule: str) -> str:
    try:
        return limits.rule(rule).title
    except LimitsError:
        return rule


def _phased(rows: Sequence[Told]) -> Iterator[tuple[str, Told]]:
    """Every row with the phase of the work it belongs to."""
    phase = ""
    for row in rows:
        if row.get("kind") == "step":
            phase = value_of(row, "phase")
        yield phase, row


def answers(source: Source, clock: Clock) -> list[Answer]:
    """Choices, inspections and confirmed actions in force."""
    found = []
    for phase, row in _phased(source.rows):
        kind = row.get("kind")
        if kind not in ("answer", "inspect") or row.replaced_by is not None:
            continue
        name, text = _asked(source, row)
        bad = value_of(row, "outcome") == "found"
        found.append(Answer(value_of(row, "seq"), clock.time(row), phase, name, text, bad))
    return found


def _asked(source: Source, row: Told) -> tuple[str, str]:
    step, outcome = source.step(value_of(row, "step")), value_of(row, "outcome")
    if row.get("kind") == "inspect":
        conditions = getattr(step, "conditions", ())
        asked = next((c.ask for c in conditions if c.id == value_of(row, "condition")), "")
        return asked or value_of(row, "condition"), {"clear": "nothing found", "found": "DEFECT FOUND"}.get(
            outcome, outcome
        )
    options = getattr(step, "options", ())
    text = next((option.name for option in options if option.id == outcome), outcome)
    return getattr(step, "ask", "") or value_of(row, "step"), text
