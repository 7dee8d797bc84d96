"""Opening a job again: the machine is fed every event of the record and must say the same once more."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from handsfree.procedure import Book, EventError, Machine, Record, event_from_body
from handsfree.record import Line, RecordError

__all__ = ["Replayed", "entry", "replay"]


@dataclass(frozen=True, slots=True)
class Replayed:
    """``missing``: lines that the last event called for and a crash kept from being written."""

    machine: Machine
    missing: tuple[dict[str, object], ...]


def entry(effect: Record) -> dict[str, object]:
    """A Record effect as the log takes it."""
    body = {key: list(value) if isinstance(value, tuple) else value for key, value in effect.body}
    return {**body, "kind": effect.kind}


#: Lines the session writes of its own accord; everything else is an event or an effect of one.
_OWN = ("open", "event", "recovered", "note")


def replay(book: Book, lines: Sequence[Line]) -> Replayed:
    """Feed a record's events to a new machine. Raises RecordError where the record is not what it would say."""
    machine = Machine(book)
    due: list[dict[str, object]] = []
    for line in lines:
        if line.kind == "event":
            if due:
                raise _differs(line, f"line kind {due[0]['kind']!r} is missing before it")
            try:
                effects = machine.feed(event_from_body(line.body))
            except EventError as error:
                raise _differs(line, str(error)) from None
            due = [entry(effect) for effect in effects if isinstance(effect, Record)]
        elif line.kind not in _OWN:
            if not due or {**line.body, "kind": line.kind} != due[0]:
                raise _differs(line, "the procedure would not have written this")
            due.pop(0)
    return Replayed(machine, tuple(due))


def _differs(line: Line, why: str) -> RecordError:
    return RecordError(
        f"record line {line.seq + 1} does not replay: {why}; keep the folder and start a new job"
    )
