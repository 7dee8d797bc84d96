"""Opening a job again: the machine is fed every event of the record and must say the same once more."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from handsfree.procedure import Book, EventError, Machine, Record, Resumed, Say, Spoken, event_from_body
from handsfree.record import Line, RecordError

__all__ = ["OWN", "Replayed", "entry", "replay"]


@dataclass(frozen=True, slots=True)
class Replayed:
    """``missing``: lines that the last event called for and a crash kept from being written.

    ``unspoken``: what was to be said, and of which no line tells whether it was.
    """

    machine: Machine
    missing: tuple[dict[str, object], ...]
    unspoken: tuple[Say, ...] = ()


def entry(effect: Record) -> dict[str, object]:
    """A Record effect as the log takes it."""
    body = {key: list(value) if isinstance(value, tuple) else value for key, value in effect.body}
    return {**body, "kind": effect.kind}


#: Lines the machine knows nothing of; everything else is an event or an effect of one.
OWN = ("open", "event", "recovered", "reopened", "note", "sound_lost", "voice", "signed", "audio_dropped")


def replay(book: Book, lines: Sequence[Line]) -> Replayed:
    """Feed a record's events to a new machine. Raises RecordError where the record is not what it would say."""
    machine = Machine(book)
    due: list[dict[str, object]] = []
    unspoken: dict[int, Say] = {}
    for line in lines:
        if line.kind == "event":
            if due:
                raise _differs(line, f"line kind {due[0]['kind']!r} is missing before it")
            try:
                event = event_from_body(line.body)
                effects = machine.feed(event)
            except EventError as error:
                raise _differs(line, str(error)) from None
            due = [entry(effect) for effect in effects if isinstance(effect, Record)]
            if isinstance(event, Resumed):
                unspoken.clear()  # cut off in another session: nobody was waiting for the rest of it
            unspoken |= {effect.id: effect for effect in effects if isinstance(effect, Say)}
            if isinstance(event, Spoken):
                unspoken.pop(event.say, None)
        elif line.kind not in OWN:
            if not due or {**line.body, "kind": line.kind} != due[0]:
                raise _differs(line, "the procedure would not have written this")
            due.pop(0)
    return Replayed(machine, tuple(due), tuple(unspoken.values()))


def _differs(line: Line, why: str) -> RecordError:
    return RecordError(f"record line {line.seq + 1} does not replay: {why}")
