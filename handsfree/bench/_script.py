"""The packaged recordings with the grammar that was armed when each was said."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from handsfree.audio import read_sound
from handsfree.grammar import Armed, Library
from handsfree.limits import DEFAULT
from handsfree.procedure import (
    Answer,
    Arm,
    Book,
    Command,
    Effect,
    Event,
    Machine,
    Mode,
    NoMatch,
    Prompts,
    Say,
    Spoken,
    Start,
    TimerDue,
    read_procedure,
)
from handsfree.session import BAY, NEEDLESS, demo_folder, packaged_procedure, prompts_text, read_scenario

__all__ = ["Recording", "denial", "recorded_lines"]


def _beside(armed: Mapping[str, str]) -> dict[str, str]:
    """What a session that may begin another tire listens for beside the procedure's own."""
    needless = {} if "<commands.resume>" in armed.get("command", "") else dict(NEEDLESS)
    return {BAY: "<commands.another_tire>", **needless}


@dataclass(frozen=True, slots=True)
class Recording:
    """One recording: what is said, by which voice, its sound, and what a session listened for. ``known``: it is a
    sentence of that grammar (chatter is not)."""

    say: str
    voice: str
    pcm: bytes
    armed: Armed
    known: bool


class _Walk:
    """The machine, driven by what the lines say instead of by sound, to learn what is armed when."""

    def __init__(self) -> None:
        procedure = read_procedure(packaged_procedure("passenger-one-piece"))
        self.machine = Machine(Book(procedure, Prompts(prompts_text()), DEFAULT))
        self.now = 1_700_000_000_000
        self.armed: tuple[tuple[str, str], ...] = ()

    def feed(self, event: Event) -> None:
        effects: list[Effect] = self.machine.feed(event)
        for effect in effects:
            if isinstance(effect, Arm):
                self.armed = effect.grammar
        for effect in effects:
            if isinstance(effect, Say):
                self.feed(Spoken(self.now, effect.id))

    def until_asked(self, interjects: bool) -> None:
        """Let waits pass, unless the next line is said during one."""
        while self.machine.state.mode is Mode.WAITING and not interjects:
            due = self.machine.state.next_due
            assert due is not None
            self.now = due
            self.feed(TimerDue(due))


def recorded_lines(folder: Path | None = None) -> list[Recording]:
    """Every line of a scenario folder (default: the packaged demo), in order."""
    folder = folder or demo_folder()
    scenario = read_scenario(folder)
    assert scenario is not None
    library, walk, found = Library.load(), _Walk(), []
    walk.feed(Start(walk.now, (("technician", scenario.scenario.technician), ("today", "2026-01-01"))))
    for line in scenario.line:
        walk.until_asked(line.interjects)
        armed = library.arm({**dict(walk.armed), **_beside(dict(walk.armed))})
        meaning = armed.interpret(line.say)
        voice = str((line.model_extra or {}).get("voice", ""))
        found.append(Recording(line.say, voice, read_sound(folder / line.file), armed, meaning is not None))
        walk.now += 3000
        if meaning is None:
            walk.feed(NoMatch(walk.now, line.say))
        elif meaning.label == "command":
            walk.feed(Command(walk.now, meaning.slot("command") or "", line.say))
        else:
            walk.feed(Answer(walk.now, meaning.text, meaning.label, meaning.slots, meaning.number))
    return found


def denial(lines: Sequence[Recording]) -> Recording | None:
    """The line that says no to a read-back."""
    meanings = ((line, line.armed.interpret(line.say)) for line in lines)
    return next((line for line, meaning in meanings if meaning and meaning.slot("answer") == "no"), None)
