"""Everything that affects what the machine does next lives here, frozen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType

from handsfree.procedure._events import Answer, Pairs, Say
from handsfree.quantity import Quantity

__all__ = ["Entry", "Finding", "Mode", "Pending", "State", "Timer", "Visit"]

FactMap = Mapping[str, Quantity | str]
EMPTY: FactMap = MappingProxyType({})


class Mode(StrEnum):
    """Where the dialogue stands within a step."""

    IDLE = "idle"  # not started
    ASKING = "asking"  # armed for the step's answer
    CONFIRMING = "confirming"  # read back, armed for affirmative or negative
    DISPOSING = "disposing"  # out of limit: measure again, or confirm it
    TELLING = "telling"  # a caution is being spoken; nothing is armed
    READING_BACK = "reading_back"  # the technician reads the caution's key words back
    PROVING = "proving"  # a supervisor's badge is confirmed; armed for the code word
    SIGNING = "signing"  # another technician takes over; armed for the badge number, or for its confirmation
    WAITING = "waiting"  # a wait runs
    HELD = "held"  # on hold; timers run on
    STOPPED = "stopped"  # stop work was said; only opening the job again goes on
    FINISHED = "finished"


@dataclass(frozen=True, slots=True)
class Pending:
    """What was heard and waits for its confirmation, or a verdict that waits for its disposition.

    ``kind``: reading, option, found, release, reject, technician, verdict, or doubted: an ``answer`` heard
    unsurely. ``spoken``: what is said of it, also once more. ``holder``: whose badge it is, when the shop's file says
    so.
    """

    kind: str
    heard: str
    spoken: str
    value: Quantity | str
    option: str = ""
    holder: str = ""
    answer: Answer | None = None


@dataclass(frozen=True, slots=True)
class Entry:
    """One confirmed entry that a correction can reopen. ``record`` is its number in the record."""

    step: str
    record: int
    index: int = 0


@dataclass(frozen=True, slots=True)
class Timer:
    """A wait. ``over``: the shortest time has passed and only ``longest_due``, if any, still counts."""

    step: str
    started: int
    shortest_due: int
    longest_due: int | None
    over: bool = False

    @property
    def due(self) -> int | None:
        """The next moment at which this timer has something to say."""
        return self.longest_due if self.over else self.shortest_due


@dataclass(frozen=True, slots=True)
class Visit:
    """A step on the way, with what was known when it was entered, so that going back is exact."""

    step: str
    facts: FactMap
    archived: tuple[tuple[str, FactMap], ...]
    entries: tuple[Entry, ...]
    onward: str = ""
    """Of a supervisor's hold point for a corrected finding: where the answer that replaced it leads."""


@dataclass(frozen=True, slots=True)
class Finding:
    """A reason against the repair, and the answer that gave it: step and condition. ``step`` is "" where no answer
    can take it back any more, that of an injury that was put aside."""

    step: str
    index: int
    reason: str


@dataclass(frozen=True, slots=True)
class State:
    mode: Mode = Mode.IDLE
    step: str = ""
    path: tuple[Visit, ...] = ()
    facts: FactMap = field(default_factory=lambda: EMPTY)
    archived: tuple[tuple[str, FactMap], ...] = ()
    entries: tuple[Entry, ...] = ()
    pending: Pending | None = None
    awaiting: int = 0  # id of a Say that must be played to its end before an answer counts
    misses: int = 0
    index: int = 0  # condition of an inspection, or passes done
    found: bool = False  # this inspection found something
    timers: tuple[Timer, ...] = ()
    return_to: str = ""  # where a correction goes on afterwards
    return_index: int = 0
    held_from: Mode | None = None
    signing_from: Mode | None = None  # where a change of technician goes on afterwards
    technician: str = ""  # who has taken over; "" while it is who began
    worked: tuple[str, ...] = ()  # the badges of all who have worked on this job
    wrong_codes: int = 0  # code words that were wrong since the last right one
    unheard: int = 0  # what was not understood while on hold
    overrun: str = ""  # a wait that ran over while on hold
    #: A step whose setting was outside, and what was said to do about it.
    put_right: tuple[str, str] = ("", "")
    last: Say | None = None
    says: int = 0
    records: int = 0
    reasons: tuple[
        str, ...
    ] = ()  # why the tire must not be repaired; only a supervisor's release erases them
    findings: tuple[Finding, ...] = ()  # what gave the reasons, as the answers are now
    withdrawn: tuple[
        Finding, ...
    ] = ()  # findings that a later answer has replaced; their reasons stand all the same
    exceptions: tuple[str, ...] = ()  # what a supervisor should look at first
    armed: Pairs = ()
    job: Pairs = ()
    outcome: str = ""
    sealed: bool = False  # the check words were given
    at: int = 0

    @property
    def next_due(self) -> int | None:
        """When the earliest timer is due, in milliseconds, or None."""
        return min((t.due for t in self.timers if t.due is not None), default=None)
