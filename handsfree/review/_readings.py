"""The readings with what they were judged by, and the answers: rows for a page's tables."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from handsfree import limits
from handsfree.limits import MEASURANDS, LimitsError
from handsfree.quantity import Quantity, inward
from handsfree.record import AddedUp, Told, judged_numbers, limit_in_words, measured, value_of

from ._clock import Clock
from ._injury import clock_words
from ._source import Source
from ._values import both, customary, gap_told, in_brackets, limit_told, parse, reading, shown, told

__all__ = ["Answer", "Judged", "Reading", "answers", "judged_of", "name_of", "readings_of"]


@dataclass(frozen=True, slots=True)
class Judged:
    """One verdict. ``outcome``: inside, outside, close or none; ``word`` says it with the margin."""

    title: str
    outcome: str
    word: str
    limit: str
    source: str
    severity: str
    value: str = ""  # what was judged, where it was computed from the reading


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
        judged=[judged_of(verdict) for verdict in row.verdicts],
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


def judged_of(row: Mapping[str, Any]) -> Judged:
    """A line of a verdict as a page shows it: each names the same limit and margin, and ``show`` does too."""
    outcome = value_of(row, "outcome")
    sums = judged_numbers(row, getattr(row, "judged", None))
    limit, gap, value = _as_added_up(row, sums) if sums is not None else _as_recorded(row)
    parts = value_of(row, "reason").rstrip(".").split("; ")
    if not limit and len(parts) > 1:
        limit = parts[1].removeprefix("rule: ")
    word = {"close": "too close to call"}.get(outcome, outcome)
    return Judged(
        title=_title(value_of(row, "rule")),
        outcome=outcome,
        word=f"{word} by {gap}" if gap and outcome != "close" else word,
        limit=limit or "no number under this policy",
        source=inward(value_of(row, "source")),
        severity=value_of(row, "severity"),
        value=value,
    )


def _as_added_up(row: Mapping[str, Any], sums: AddedUp) -> tuple[str, str, str]:
    """Limit, margin and, where it was computed, the value that was judged."""
    ends = {}
    for end, digits in (("low", sums.low), ("high", sums.high)):
        exact = parse(value_of(row, end))
        shown_as = Quantity(Decimal(digits), sums.unit) if digits else None
        ends[end] = limit_told(shown_as, exact, end) if shown_as is not None and exact is not None else ""
    margin = parse(value_of(row, "margin").replace("-", ""))
    exact = margin if margin is not None and margin.unit == sums.unit else None
    gap = gap_told(Quantity(abs(Decimal(sums.margin)), sums.unit), exact)
    judged = Quantity(Decimal(sums.value), sums.unit)
    value = in_brackets(*customary(judged, heard=True)) if sums.computed else ""
    return limit_in_words(row, ends["low"], ends["high"]), gap, value


def _as_recorded(row: Mapping[str, Any]) -> tuple[str, str, str]:
    """The same of a line whose numbers don't fit each other: each as it stands."""
    low, high = (shown(value_of(row, end)) for end in ("low", "high"))
    margin = parse(value_of(row, "margin"))
    gap = "" if margin is None else told(margin, 3).replace(chr(0x2212), "")
    return limit_in_words(row, low, high), gap, ""


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
