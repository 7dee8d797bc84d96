"""What can happen to a job (events) and what the machine asks for (effects). Frozen data; times come in.

``at`` is wall-clock milliseconds since the epoch as the session's clock gives them: never going back within a
session, carried over between sessions, so that a wait is counted while the power is off too.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Final

from handsfree.grammar import Number
from handsfree.quantity import Exact

__all__ = [
    "EVENTS",
    "TOO_LOUD",
    "TOO_SOFT",
    "TYPED",
    "Answer",
    "Arm",
    "CancelTimer",
    "Chime",
    "Command",
    "DeviceBack",
    "DeviceLost",
    "Effect",
    "Event",
    "EventError",
    "Finish",
    "NoInput",
    "NoMatch",
    "Record",
    "Resumed",
    "Say",
    "Sealed",
    "SetAside",
    "Spoken",
    "Start",
    "StartTimer",
    "TakenUp",
    "TimerDue",
    "event_body",
    "event_from_body",
    "exact_text",
    "parse_exact",
]

Pairs = tuple[tuple[str, str], ...]
#: The engine that a record names for the keyboard.
TYPED: Final = "typed"
#: How an utterance came where that is to be said.
TOO_LOUD: Final = "too loud"
TOO_SOFT: Final = "too soft"


class EventError(ValueError):
    """An event's record line can't be read back."""


@dataclass(frozen=True, slots=True)
class Start:
    at: int
    job: Pairs = ()


@dataclass(frozen=True, slots=True)
class Answer:
    """A sentence of the armed answer grammar: slots and, for a reading, the exact number. ``unsure``: it was heard
    well enough to be asked about, not to be acted on. Here and below: ``typed``, by keyboard; ``loudness``, TOO_LOUD
    or TOO_SOFT where that is to be said first, else ""."""

    at: int
    text: str
    label: str = "answer"
    slots: Pairs = ()
    number: Number | None = None
    unsure: bool = False
    typed: bool = False
    loudness: str = ""


@dataclass(frozen=True, slots=True)
class Command:
    """One of the always-armed commands. ``elsewhere``: where time left was asked for, the waits of the other tires of
    the bay: (name, "wait" or "open", milliseconds left)."""

    at: int
    name: str
    text: str = ""
    elsewhere: tuple[tuple[str, str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class NoMatch:
    """``level``: the utterance's signal-to-noise ratio in whole dB where that is the reason, else "". ``tire``: the
    name of the tire that was called and is worked on already, else ""."""

    at: int
    text: str = ""
    reason: str = ""
    level: str = ""
    typed: bool = False
    tire: str = ""
    loudness: str = ""


@dataclass(frozen=True, slots=True)
class NoInput:
    at: int
    typed: bool = False


@dataclass(frozen=True, slots=True)
class Spoken:
    """A Say effect was played; ``completed`` only when its last sample left the player."""

    at: int
    say: int
    completed: bool = True


@dataclass(frozen=True, slots=True)
class TimerDue:
    """``tire``: the job's spoken name, said first while more than one job is open, else ""."""

    at: int
    tire: str = ""


@dataclass(frozen=True, slots=True)
class Resumed:
    """The job was opened again after its session ended, for whatever reason.

    ``tire``: the job's spoken name when several are opened together, else "". ``aside``: another goes on first.
    """

    at: int
    tire: str = ""
    aside: bool = False


@dataclass(frozen=True, slots=True)
class SetAside:
    """The technician turns to another tire: this job is on hold until it is taken up. ``tire``: its name."""

    at: int
    tire: str = ""


@dataclass(frozen=True, slots=True)
class TakenUp:
    """The technician turns (back) to this job, which was set aside. ``tire``: its name."""

    at: int
    tire: str = ""


@dataclass(frozen=True, slots=True)
class DeviceLost:
    at: int
    device: str


@dataclass(frozen=True, slots=True)
class DeviceBack:
    at: int
    device: str


@dataclass(frozen=True, slots=True)
class Sealed:
    """The finished job's chain head (a SHA-256, hex), and the words that stand for it in speech."""

    at: int
    head: str
    words: tuple[str, ...]


Event = (
    Start
    | Answer
    | Command
    | NoMatch
    | NoInput
    | Spoken
    | TimerDue
    | Resumed
    | SetAside
    | TakenUp
    | DeviceLost
    | DeviceBack
    | Sealed
)
EVENTS: Mapping[str, type[Event]] = {
    "start": Start,
    "answer": Answer,
    "command": Command,
    "no_match": NoMatch,
    "no_input": NoInput,
    "spoken": Spoken,
    "timer": TimerDue,
    "resumed": Resumed,
    "set_aside": SetAside,
    "taken_up": TakenUp,
    "device_lost": DeviceLost,
    "device_back": DeviceBack,
    "sealed": Sealed,
}
_NAMES = {cls: name for name, cls in EVENTS.items()}


@dataclass(frozen=True, slots=True)
class Say:
    """Speak ``text``. ``kind`` is prompt, read_back, verdict, caution, answer or notice."""

    id: int
    text: str
    kind: str = "prompt"
    barge_in: bool = True


@dataclass(frozen=True, slots=True)
class Chime:
    name: str


@dataclass(frozen=True, slots=True)
class Arm:
    """Listen for these alternatives (label -> JSGF expansion); after ``no_input_s`` of silence say so."""

    grammar: Pairs
    no_input_s: int | None = None


@dataclass(frozen=True, slots=True)
class StartTimer:
    name: str
    due: int


@dataclass(frozen=True, slots=True)
class CancelTimer:
    name: str


@dataclass(frozen=True, slots=True)
class Record:
    """A line for the log; all Records of a turn are durable before any of its Says is played."""

    kind: str
    body: tuple[tuple[str, str | tuple[str, ...]], ...]


@dataclass(frozen=True, slots=True)
class Finish:
    outcome: str


Effect = Say | Chime | Arm | StartTimer | CancelTimer | Record | Finish


def exact_text(value: Exact) -> str:
    """Exact text of a value: "5.50" keeps its digits, a Fraction is "3/8"."""
    return str(value) if isinstance(value, Fraction) else format(value, "f")


#: Plain figures only: no exponent, no NaN, and no more digits than anybody can say in one breath.
_EXACT = re.compile(r"-?\d{1,40}(\.\d{1,40}|/\d{1,40})?", re.ASCII)


def parse_exact(text: str) -> Exact:
    """The inverse of exact_text. Raises ValueError."""
    if not _EXACT.fullmatch(text):
        raise ValueError(f"not a number: {text[:40]!r}")
    try:
        return Fraction(text) if "/" in text else Decimal(text)
    except ZeroDivisionError:
        raise ValueError(f"not a number: {text!r}") from None


def event_body(event: Event) -> dict[str, object]:
    """An event as the body of its record line (strings, lists and objects only)."""
    body: dict[str, object] = {"type": _NAMES[type(event)], "at_ms": str(event.at)}
    if getattr(event, "typed", False):
        body["engine"] = TYPED
    if loudness := getattr(event, "loudness", ""):
        body["loudness"] = loudness
    match event:
        case Start(job=job):
            body["job"] = dict(job)
        case Answer():
            body |= {"text": event.text, "label": event.label, "slots": [list(s) for s in event.slots]}
            body |= {"unsure": "true"} if event.unsure else {}
            if event.number is not None:
                body["number"] = {
                    "value": exact_text(event.number.value),
                    "resolution": exact_text(event.number.resolution),
                    "spelled": event.number.spelled,
                }
        case Command():
            body |= {"name": event.name, "text": event.text}
            if event.elsewhere:
                body["elsewhere"] = [list(wait) for wait in event.elsewhere]
        case NoMatch():
            body |= {"text": event.text, "reason": event.reason}
            if event.level:
                body["level_db"] = event.level
            if event.tire:
                body["tire"] = event.tire
        case Spoken():
            body |= {"say": str(event.say), "completed": "true" if event.completed else "false"}
        case DeviceLost() | DeviceBack():
            body["device"] = event.device
        case TimerDue(tire=name) | Resumed(tire=name) | SetAside(tire=name) | TakenUp(tire=name):
            body |= {"tire": name} if name else {}
            body |= {"aside": "true"} if isinstance(event, Resumed) and event.aside else {}
        case Sealed():
            body |= {"head": event.head, "words": list(event.words)}
        case _:
            pass
    return body


def event_from_body(body: Mapping[str, object]) -> Event:
    """Read an event back from its record line. Raises EventError."""
    try:
        return _event(body)
    except EventError:
        raise
    except KeyError as missing:
        raise EventError(f"event line has no {missing.args[0]!r}") from None
    except (TypeError, ValueError) as error:
        raise EventError(f"event line can't be read: {error}") from None


def _event(body: Mapping[str, object]) -> Event:
    at = int(str(body["at_ms"]))
    typed = body.get("engine") == TYPED
    match body["type"]:
        case "start":
            return Start(at, tuple(sorted((str(k), str(v)) for k, v in _mapping(body["job"]).items())))
        case "answer":
            number = _number(body.get("number"))
            unsure = body.get("unsure") == "true" and body.get("twice") != "true"
            slots = _pairs(body["slots"])
            loudness = str(body.get("loudness", ""))
            return Answer(at, str(body["text"]), str(body["label"]), slots, number, unsure, typed, loudness)
        case "command":
            return Command(
                at, str(body["name"]), str(body.get("text", "")), _waits(body.get("elsewhere", []))
            )
        case "no_match":
            level = str(body.get("level_db", ""))
            text, reason = str(body.get("text", "")), str(body.get("reason", ""))
            tire, loudness = str(body.get("tire", "")), str(body.get("loudness", ""))
            return NoMatch(at, text, reason, level, typed, tire, loudness)
        case "no_input":
            return NoInput(at, typed)
        case "spoken":
            return Spoken(at, int(str(body["say"])), body["completed"] == "true")
        case "timer":
            return TimerDue(at, str(body.get("tire", "")))
        case "resumed":
            return Resumed(at, str(body.get("tire", "")), body.get("aside") == "true")
        case "set_aside":
            return SetAside(at, str(body.get("tire", "")))
        case "taken_up":
            return TakenUp(at, str(body.get("tire", "")))
        case "device_lost":
            return DeviceLost(at, str(body["device"]))
        case "device_back":
            return DeviceBack(at, str(body["device"]))
        case "sealed":
            return Sealed(at, str(body["head"]), _texts(body["words"]))
        case other:
            raise EventError(f"unknown event type {other!r}")


def _waits(value: object) -> tuple[tuple[str, str, str], ...]:
    found = tuple(tuple(map(str, wait)) for wait in value) if isinstance(value, list) else ()
    if any(len(wait) != 3 or wait[1] not in ("wait", "open") or not wait[2].isdecimal() for wait in found):
        raise EventError("a wait elsewhere is a tire, wait or open, and milliseconds")
    return found  # type: ignore[return-value]  # of three each, as just seen


def _number(body: object) -> Number | None:
    if body is None:
        return None
    body = _mapping(body)
    return Number(parse_exact(str(body["value"])), parse_exact(str(body["resolution"])), str(body["spelled"]))


def _mapping(value: object) -> Mapping[str, object]:
    if not isinstance(value, Mapping):
        raise EventError(f"event line: an object was wanted, not {str(value)[:40]!r}")
    return value


def _texts(value: object) -> tuple[str, ...]:
    if not isinstance(value, list):
        raise EventError(f"event line: a list of words was wanted, not {str(value)[:40]!r}")
    return tuple(str(item) for item in value)


def _pairs(value: object) -> Pairs:
    if not isinstance(value, list):
        raise EventError(f"event line: a list of pairs was wanted, not {str(value)[:40]!r}")
    return tuple((str(key), str(slot)) for key, slot in value)
