"""Through a record once more, event by event: the machine must say the same lines and the same sentences."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from handsfree.procedure import (
    Book,
    Effect,
    Event,
    EventError,
    Machine,
    Mode,
    PromptError,
    Record,
    Resumed,
    Say,
    Spoken,
    State,
    event_from_body,
)
from handsfree.record import Finding, Line, LogRead
from handsfree.session import OWN, entry, missing_end

__all__ = ["Turn", "Walk", "walk"]


@dataclass(slots=True)
class Turn:
    """One event and what came of it. ``number`` counts the file's lines from 1."""

    number: int
    line: Line
    event: Event
    before: State
    after: State
    effects: list[Effect]
    lines: list[tuple[int, Line]] = field(default_factory=list)

    def of(self, kind: str) -> Iterator[tuple[int, Line]]:
        """The lines of a kind that this event caused."""
        return ((number, line) for number, line in self.lines if line.kind == kind)


@dataclass(slots=True)
class Walk:
    """``turns`` up to where the record and the machine part (``broken``), if they do."""

    turns: list[Turn] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    broken: bool = False
    state: State = field(default_factory=State)

    @property
    def finished(self) -> bool:
        return self.state.mode is Mode.FINISHED


def walk(book: Book, read: LogRead) -> Walk:
    """Replay the record. Stops at the first line of a kind that the machine would not have written there."""
    found = Walk()
    machine = Machine(book)
    due: list[dict[str, object]] = []
    said: list[Say] = []  # what was to be said, and of which nothing is noted yet
    number = 0
    for number, line in zip(read.numbers, read.lines, strict=True):
        if line.kind == "event":
            if due:
                return _parted(found, number, f"a line of kind {due[0]['kind']} is missing before it")
            turn = _fed(machine, number, line)
            if isinstance(turn, str):
                return _parted(found, number, turn)
            found.findings += _speech(turn, said)
            found.turns.append(turn)
            found.state = machine.state
            due = [entry(effect) for effect in turn.effects if isinstance(effect, Record)]
        elif line.kind not in OWN:
            if not due or line.kind != due[0]["kind"]:
                return _parted(
                    found, number, f"by the procedure this line would not stand here ({_wanted(due)})"
                )
            found.findings += _compared(number, line, due.pop(0))
            found.turns[-1].lines.append((number, line))
    sealed = machine.state.sealed or "check_words" not in book.prompts.templates
    found.findings += _at_the_end(found, number, due, said, sealed=sealed)
    return found


def _body(line: Line) -> dict[str, object]:
    """A closing line may carry the chain's head, which the machine can't know; the chain check has compared it."""
    return {key: value for key, value in line.body.items() if not (line.kind == "close" and key == "head")}


def _compared(number: int, line: Line, wanted: dict[str, object]) -> Iterator[Finding]:
    """A line of the kind that is due, key by key."""
    body = {**_body(line), "kind": line.kind}
    for key in sorted(body.keys() | wanted.keys()):
        if body.get(key) != wanted.get(key):
            told = f"{key} is {str(body.get(key))[:60]!r}, by the procedure {str(wanted.get(key))[:60]!r}"
            yield Finding("replay", number, told)


def _wanted(due: list[dict[str, object]]) -> str:
    return f"a line of kind {due[0]['kind']} is due" if due else "nothing more is due"


def _parted(found: Walk, number: int, why: str) -> Walk:
    found.broken = True
    found.findings.append(Finding("replay", number, f"{why}; what follows it was not replayed"))
    return found


def _fed(machine: Machine, number: int, line: Line) -> Turn | str:
    try:
        event = event_from_body(line.body)
        before = machine.state
        effects = machine.feed(event)
    except (EventError, PromptError) as error:
        return str(error)
    return Turn(number, line, event, before, machine.state, effects)


def _speech(turn: Turn, said: list[Say]) -> Iterator[Finding]:
    """Every sentence is noted once, in its turn and as it was to be said, before the next thing happens.

    ``said`` holds those of which nothing is noted yet, the next one first.
    """
    event = turn.event
    fresh = [effect for effect in turn.effects if isinstance(effect, Say)]
    if isinstance(event, Spoken):
        wanted = said.pop(0) if said else None
        body = turn.line.body
        if wanted is None or wanted.id != event.say:
            yield Finding("spoken", turn.number, f"number {event.say} was not the next to be said")
        elif (body.get("text"), body.get("say_kind")) != (wanted.text, wanted.kind):
            yield Finding("spoken", turn.number, "what was said is not what the procedure says here")
        said[:0] = fresh  # what one sentence leads to is said before the one after it
        return
    if said and isinstance(event, Resumed):
        yield Finding("spoken", turn.number, "interrupted: the last sentence may not have been heard", "note")
    elif said:
        yield Finding("spoken", turn.number, f"before it no line says that number {said[0].id} was spoken")
    said[:] = fresh


def _at_the_end(
    found: Walk, number: int, due: list[dict[str, object]], said: list[Say], *, sealed: bool
) -> Iterator[Finding]:
    """A finished job is whole to its last line; one that is not finished may have been cut off anywhere."""
    if not found.turns:
        yield Finding("end", number, "the job never began", "warn")
    elif not found.finished:
        yield Finding(
            "end", number, f"the job is not finished: {found.state.step}, {found.state.mode}", "warn"
        )
    if not found.finished:
        return
    told = missing_end(str(due[0]["kind"]) if due else "", said=not said, sealed=sealed)
    if told:
        yield Finding("end", number, told)
