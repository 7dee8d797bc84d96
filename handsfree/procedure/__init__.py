"""The procedure room: what to ask next. Pure: no clock, no I/O, no threads."""

from handsfree.procedure._check import check
from handsfree.procedure._derived import complete
from handsfree.procedure._events import (
    EVENTS,
    Answer,
    Arm,
    CancelTimer,
    Chime,
    Command,
    DeviceBack,
    DeviceLost,
    Effect,
    Event,
    EventError,
    Finish,
    NoInput,
    NoMatch,
    Record,
    Resumed,
    Say,
    Spoken,
    Start,
    StartTimer,
    TimerDue,
    event_body,
    event_from_body,
)
from handsfree.procedure._machine import TABLE, Machine
from handsfree.procedure._model import Kind, Procedure, ProcedureError, read_procedure
from handsfree.procedure._prompts import PromptError, Prompts
from handsfree.procedure._state import Mode, State
from handsfree.procedure._turn import COMMANDS, Book

__all__ = [
    "COMMANDS",
    "EVENTS",
    "TABLE",
    "Answer",
    "Arm",
    "Book",
    "CancelTimer",
    "Chime",
    "Command",
    "DeviceBack",
    "DeviceLost",
    "Effect",
    "Event",
    "EventError",
    "Finish",
    "Kind",
    "Machine",
    "Mode",
    "NoInput",
    "NoMatch",
    "Procedure",
    "ProcedureError",
    "PromptError",
    "Prompts",
    "Record",
    "Resumed",
    "Say",
    "Spoken",
    "Start",
    "StartTimer",
    "State",
    "TimerDue",
    "check",
    "complete",
    "event_body",
    "event_from_body",
    "read_procedure",
]
