"""Every judgement of the record once more, from the values as they stand in its lines."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal, InvalidOperation
from fractions import Fraction

from handsfree import limits
from handsfree.limits import LimitsError, Verdict
from handsfree.procedure import Book, Choice, Reading, judged_by, parse_exact, written
from handsfree.quantity import Exact, Quantity, UnitError
from handsfree.record import Finding, Line

from ._walk import Turn, Walk

__all__ = ["judged_again"]

_JUDGED = ("reading", "answer", "wait", "pass")


def judged_again(book: Book, walk: Walk) -> Iterator[Finding]:
    """Readings, choices, waits and passes, by the limits engine under the job's own policy."""
    known = {step.id for step in book.procedure.step}
    for turn in walk.turns:
        for number, line in turn.lines:
            if line.kind in _JUDGED and _text(line, "step") not in known:
                yield Finding("judged", number, f"the procedure has no step {_text(line, 'step')[:40]!r}")
            elif line.kind in ("reading", "answer"):
                yield from _verdicts(book, turn, number, line)
            elif line.kind == "wait" and line.body.get("outcome") == "started":
                yield from _window(book, turn, number, line)
            elif line.kind == "pass":
                yield from _count(book, turn, number, line)


def _text(line: Line, key: str) -> str:
    return str(line.body.get(key, ""))


def _value(line: Line) -> Quantity | str:
    """The value as the line holds it. Raises ValueError."""
    value, unit, resolution = (_text(line, key) for key in ("value", "unit", "resolution"))
    if not unit:
        return value
    try:
        step: Exact | None = None
        if resolution:
            step = Fraction(resolution) if "/" in resolution else Decimal(resolution)
        return Quantity(parse_exact(value), unit, step)
    except (UnitError, InvalidOperation, ZeroDivisionError) as error:
        raise ValueError(str(error)) from None


def _learned(book: Book, line: Line) -> dict[str, Quantity | str]:
    """The facts that a reading or a choice gives. Raises ValueError, LimitsError."""
    step = book.procedure.at(_text(line, "step"))
    if line.kind == "answer":
        chosen = [o for o in getattr(step, "options", ()) if o.id == line.body.get("outcome")]
        fact = getattr(step, "fact", None)
        return {fact: chosen[0].stored} if fact and chosen else {}
    value = _value(line)
    more = limits.parse_designation(str(value)).facts() if getattr(step, "form", "") == "designation" else {}
    return {_text(line, "measurand"): value, **more}


def _verdicts(book: Book, turn: Turn, number: int, line: Line) -> Iterator[Finding]:
    step = book.procedure.at(_text(line, "step"))
    lines = list(turn.of("verdict"))
    try:
        learned = _learned(book, line)
        known = {**turn.before.facts, **learned}
        judged = (
            judged_by(step, known, book.policy)
            if learned and isinstance(step, Reading | Choice)
            else ((), ())
        )
        verdicts = [*judged[0], *judged[1]]
    except (ValueError, LimitsError) as error:
        yield Finding("judged", number, f"{_text(line, 'step')}: can't be judged again: {error}")
        return
    if len(verdicts) != len(lines):
        yield Finding("judged", number, f"{len(verdicts)} verdicts are due on it, {len(lines)} are there")
    for (at, recorded), verdict in zip(lines, verdicts, strict=False):
        for key, value in _as_line(verdict).items():
            if _text(recorded, key) != value:
                yield Finding(
                    "judged",
                    at,
                    f"{verdict.rule}: {key} is recorded as {_text(recorded, key)!r}, judged {value!r}",
                )


def _as_line(verdict: Verdict) -> dict[str, str]:
    return {
        "rule": verdict.rule,
        "outcome": verdict.outcome,
        "severity": verdict.severity,
        "low": written(verdict.low),
        "high": written(verdict.high),
        "inclusive": "true" if verdict.inclusive else "false",
        "margin": written(verdict.margin),
        "source": verdict.source,
    }


def _rule(book: Book, line: Line) -> str:
    return str(getattr(book.procedure.at(_text(line, "step")), "rule", ""))


def _window(book: Book, turn: Turn, number: int, line: Line) -> Iterator[Finding]:
    try:
        window = limits.window(_rule(book, line), turn.after.facts, book.policy)
    except LimitsError as error:
        yield Finding("judged", number, f"{_text(line, 'step')}: the wait can't be worked out again: {error}")
        return
    longest = "" if window.longest_s is None else str(window.longest_s)
    if (_text(line, "planned_s"), _text(line, "longest_s")) != (str(window.shortest_s), longest):
        due = f"{window.shortest_s} s to {longest or 'any'} s"
        yield Finding("judged", number, f"{_text(line, 'step')}: the wait must be {due}, another was planned")


def _count(book: Book, turn: Turn, number: int, line: Line) -> Iterator[Finding]:
    try:
        count = limits.count(_rule(book, line), turn.before.facts, book.policy)
    except LimitsError as error:
        yield Finding(
            "judged", number, f"{_text(line, 'step')}: the passes can't be worked out again: {error}"
        )
        return
    if _text(line, "target") != str(count.target):
        yield Finding(
            "judged",
            number,
            f"{_text(line, 'step')}: {count.target} passes are due, not {_text(line, 'target')}",
        )
