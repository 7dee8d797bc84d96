"""One turn of the machine: a scratch copy of the state and the effects collected so far.

A turn that raises Refusal is thrown away whole; that is how an illegal event changes nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Set
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

from handsfree.limits import Policy
from handsfree.procedure._events import Arm, Chime, Effect, Pairs, Record, Say, StartTimer
from handsfree.procedure._model import Inspect, Procedure, Step
from handsfree.procedure._prompts import Prompts
from handsfree.procedure._state import Entry, Finding, Mode, State
from handsfree.quantity import Quantity

__all__ = ["COMMANDS", "Book", "Refusal", "Turn"]


class Refusal(Exception):
    """The event does not fit the state: it is recorded as refused and changes nothing."""


_OPEN = ("say_again", "hold", "go_back", "correction", "limit", "time_left", "stop_work")
_BETWEEN = (*_OPEN, "change_technician")  # nothing waits for its confirmation
#: Which commands are armed in which mode. Nothing is armed while a caution is spoken or after the end.
COMMANDS: Mapping[Mode, tuple[str, ...]] = {
    Mode.ASKING: _BETWEEN,
    Mode.CONFIRMING: _OPEN,
    Mode.DISPOSING: _OPEN,
    Mode.READING_BACK: _OPEN,
    Mode.PROVING: _OPEN,
    Mode.SIGNING: _OPEN,
    Mode.WAITING: _BETWEEN,
    Mode.HELD: ("resume", "hold", "say_again", "limit", "time_left", "stop_work"),
}


@dataclass(frozen=True, slots=True)
class Book:
    """What a machine works from: all of it pinned by hash in the record's first line."""

    procedure: Procedure
    prompts: Prompts
    policy: Policy


class Turn:
    """Collects effects and the next state. ``at`` is the event's time."""

    def __init__(self, book: Book, state: State, at: int) -> None:
        self.book = book
        self.state = state
        self.at = at
        self.effects: list[Effect] = []
        self.typed = False  # it came by keyboard
        self.elsewhere: tuple[
            tuple[str, str, str], ...
        ] = ()  # waits of other tires: name, wait or open, ms left
        self.tire = ""  # the job's spoken name, when it must be told from another's

    @property
    def step(self) -> Step:
        return self.book.procedure.at(self.state.step)

    @property
    def expert(self) -> bool:
        """Whether this technician asked for the short prompts. Cautions are never shortened."""
        return "expert" in dict(self.state.job)

    @property
    def question(self) -> str:
        """What the present step asks."""
        return (self.expert and self.step.brief) or self.step.ask

    def set(self, **changes: Any) -> None:
        self.state = replace(self.state, **changes)

    def prompt(self, key: str, **variables: str) -> str:
        return self.book.prompts.say(key, self.expert, **variables)

    def prompt_of(self, *keys: str, **variables: str) -> str:
        """The first of these sentences that the prompt file has: a job begun before goes on as it was."""
        key = next((key for key in keys if key in self.book.prompts.templates), keys[-1])
        return self.prompt(key, **variables)

    def say(
        self, text: str, kind: str = "prompt", *, must_be_heard: bool = False, whole: bool = False
    ) -> None:
        """Speak. ``whole``: no barge-in. ``must_be_heard``: nor does an answer count before it was played whole."""
        number = self.state.says + 1
        text = text[:1].upper() + text[1:]
        if self.tire:
            text = self.prompt("of_tire", tire=self.tire, text=text)
        effect = Say(number, text, kind, barge_in=not (must_be_heard or whole))
        self.effects.append(effect)
        self.set(says=number, last=effect, awaiting=number if must_be_heard else self.state.awaiting)

    def chime(self, name: str) -> None:
        self.effects.append(Chime(name))

    def record(self, kind: str, **body: str | tuple[str, ...]) -> int:
        """Write a line. Returns its number, which a correction points at."""
        number = self.state.records + 1
        self.effects.append(Record(kind, (("record", str(number)), *body.items())))
        self.set(records=number)
        return number

    def arm(self, *answers: tuple[str, str], no_input_s: int | None = None) -> None:
        """Listen for the mode's commands and these answers."""
        names = COMMANDS.get(self.state.mode, ())
        commands = " | ".join(f"<commands.{name}>" for name in names)
        grammar: Pairs = ((("command", commands),) if commands else ()) + answers
        if answers:
            self.chime("armed")
        self.effects.append(Arm(grammar, no_input_s))
        self.set(armed=grammar)

    def disarm(self) -> None:
        self.effects.append(Arm(()))
        self.set(armed=())

    def start_timer(self, name: str, due: int) -> None:
        self.effects.append(StartTimer(name, due))

    def learn(self, fact: str, value: Quantity | str) -> None:
        self.set(facts=MappingProxyType({**self.state.facts, fact: value}))

    def forget(self, facts: Set[str]) -> None:
        if facts:
            left = {key: value for key, value in self.state.facts.items() if key not in facts}
            self.set(facts=MappingProxyType(left))

    def enter_in_list(self, record: int, index: int = 0) -> None:
        """Remember a confirmed entry, so that a correction can reopen it."""
        kept = tuple(e for e in self.state.entries if (e.step, e.index) != (self.state.step, index))
        self.set(entries=(*kept, Entry(self.state.step, record, index)))

    def reason(self, text: str) -> None:
        """A reason against the repair, given by the present answer. Reasons are only ever added."""
        if text not in self.state.reasons:
            self.set(reasons=(*self.state.reasons, text))
        found = Finding(*self._answer, text)
        if found not in self.state.findings:
            withdrawn = tuple(f for f in self.state.withdrawn if f != found)
            self.set(findings=(*self.state.findings, found), withdrawn=withdrawn)

    def withdraw(self, steps: Set[str] | None = None) -> None:
        """What the answer before this one found, or the answers of ``steps``, is found no longer. Reasons stand."""
        gone = tuple(
            f
            for f in self.state.findings
            if (f.step in steps if steps is not None else (f.step, f.index) == self._answer)
        )
        if gone:
            rest = tuple(f for f in self.state.findings if f not in gone)
            self.set(findings=rest, withdrawn=(*self.state.withdrawn, *gone))

    @property
    def _answer(self) -> tuple[str, int]:
        return self.state.step, self.state.index if isinstance(self.step, Inspect) else 0

    def exception(self, text: str) -> None:
        """Something a supervisor should see first."""
        self.set(exceptions=(*self.state.exceptions, text))
