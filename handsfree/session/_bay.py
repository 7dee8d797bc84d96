"""The jobs that are open at once: one is listened to, the others are on hold and their waits run on."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from handsfree.grammar import Armed
from handsfree.procedure import Event, Machine
from handsfree.record import JobLog
from handsfree.session._job import Job
from handsfree.session._loudness import Loudness

__all__ = ["BAY", "NEEDLESS", "TIRE_NAMES", "Bay", "Listening", "Tire"]

#: Jobs open at once are told apart by the ICAO spelling alphabet (Annex 10 vol. II, 5.2.1.3); a car has four wheels.
TIRE_NAMES = ("alfa", "bravo", "charlie", "delta")
#: The label of what the session itself answers: another tire, or which one.
BAY = "bay"
#: To go on while nothing is on hold: were it not listened for, a number or another command would be heard in it. Of
#: 76 "resume work" by four synthetic voices, beside the packaged procedure's grammars, 75 are heard surely, and none
#: of the demo's 167 sentences is heard otherwise for it. Without it 9 were an unsure command. "Resume" is too short.
NEEDLESS = (("needless", "resume work | resume the job"),)

Pairs = tuple[tuple[str, str], ...]


@dataclass(slots=True)
class Listening:
    """What is armed now, and after how many milliseconds silence is to be remarked on."""

    armed: Armed | None = None
    grammar: Pairs = ()
    answer: bool = False
    silence_ms: int | None = None


@dataclass(slots=True, eq=False)
class Tire:
    """One job, and its spoken name. ``outcome`` is "" while it is open."""

    machine: Machine
    log: JobLog
    name: str = TIRE_NAMES[0]
    outcome: str = ""
    #: The adaptation its record names last, "" for none; None before it was looked up.
    voice: str | None = None
    listening: Listening = field(default_factory=Listening)
    loudness: Loudness = field(default_factory=Loudness)

    @property
    def due(self) -> int | None:
        """When its next wait has something to say."""
        return None if self.outcome else self.machine.state.next_due


class Bay:
    """``another`` makes a new job of a name; without it there is one job and no names are listened for."""

    def __init__(self, first: Tire, another: Callable[[str], Job] | None) -> None:
        self.active = first
        self.tires = [first]
        self._another = another

    @property
    def open(self) -> Iterator[Tire]:
        return (tire for tire in self.tires if not tire.outcome)

    @property
    def several(self) -> bool:
        return sum(1 for _ in self.open) > 1

    @property
    def due(self) -> int | None:
        """When the earliest wait of all jobs has something to say."""
        return min((tire.due for tire in self.open if tire.due is not None), default=None)

    def earliest(self) -> Tire:
        """The job whose wait that is."""
        return min((tire for tire in self.open if tire.due is not None), key=lambda tire: tire.due or 0)

    def waits_elsewhere(self, now: int) -> tuple[tuple[str, str, str], ...]:
        """Of each other open job with a wait: its name, "wait", or "open" once its shortest time is over, and how
        many milliseconds are left."""
        return tuple(
            (tire.name, "open" if timer.over else "wait", str(max(0, timer.due - now)))
            for tire in self.open
            if tire is not self.active
            for timer in tire.machine.state.timers
            if timer.due is not None
        )

    def add(self, tire: Tire, *, active: bool = False) -> None:
        self.tires.append(tire)
        if active:
            self.active = tire

    def begin(self) -> tuple[Tire, Event]:
        """A new job beside the others, and its first event. Raises RecordError."""
        assert self._another is not None  # it is not listened for otherwise
        name = self._free_name()
        job = self._another(name)
        return Tire(job.machine, job.log, name), job.first

    def named(self, name: str) -> Tire:
        """The open job of that name."""
        return next(tire for tire in self.open if tire.name == name)

    def next_open(self) -> Tire:
        """The job to go on with when the active one has ended: the newest."""
        return list(self.open)[-1]

    def grammar(self, tire: Tire) -> Pairs:
        """What may be said of the tires, beside the commands. Its own name beside the others': were it not listened
        for, another would be heard in it."""
        if self._another is None:
            return ()
        names = [f"tire_{other.name}" for other in self.open] if self.several else []
        names += ["another_tire"] if self._free_name() else []
        return ((BAY, " | ".join(f"<commands.{name}>" for name in names)),) if names else ()

    def beside(self, tire: Tire, command: str) -> Pairs:
        """What is listened for beside a tire's commands, of which ``command`` is the expansion."""
        return self.grammar(tire) + (() if "<commands.resume>" in command else NEEDLESS)

    def needless(self) -> Pairs:
        """What is said where there is nothing to do for it: to go on while nothing is held, the tire one is on."""
        command = (("command", "<commands.resume>"),)
        return command if self._another is None else (*command, (BAY, f"<commands.tire_{self.active.name}>"))

    def told(self) -> tuple[str, tuple[str, ...], tuple[str, ...]]:
        """For a screen: the tire that is listened to ("" where there can be no other), those that wait, and what may
        be said of them."""
        if self._another is None:
            return "", (), ()
        waiting = tuple(other.name for other in self.open if other is not self.active)
        more = ("start another tire",) if self._free_name() else ()
        return self.active.name, waiting, (*(f"tire {name}" for name in waiting), *more)

    def _free_name(self) -> str:
        taken = {tire.name for tire in self.open}
        return next((name for name in TIRE_NAMES if name not in taken), "")
