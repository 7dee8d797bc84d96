"""The procedure room: what to ask next. Pure: no clock, no I/O, no threads."""

from handsfree.procedure._answers import UNSURE
from handsfree.procedure._asked import answers, limit_words, question
from handsfree.procedure._check import check, vocabulary
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
    Sealed,
    SetAside,
    Spoken,
    Start,
    StartTimer,
    TakenUp,
    TimerDue,
    event_body,
    event_from_body,
    parse_exact,
)
from handsfree.procedure._judging import judged_by
from handsfree.procedure._machine import NOT_BEGUN, TABLE, Machine
from handsfree.procedure._model import Choice, Kind, Procedure, ProcedureError, Reading, read_procedure
from handsfree.procedure._prompts import PromptError, Prompts
from handsfree.procedure._sounds import alike, phrase_phones
from handsfree.procedure._state import Mode, State
from handsfree.procedure._turn import COMMANDS, Book
from handsfree.procedure._words import written

__all__ = [
    "COMMANDS",
    "EVENTS",
    "NOT_BEGUN",
    "TABLE",
    "UNSURE",
    "Answer",
    "Arm",
    "Book",
    "CancelTimer",
    "Chime",
    "Choice",
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
    "Reading",
    "Record",
    "Resumed",
    "Say",
    "Sealed",
    "SetAside",
    "Spoken",
    "Start",
    "StartTimer",
    "State",
    "TakenUp",
    "TimerDue",
    "alike",
    "answers",
    "check",
    "complete",
    "event_body",
    "event_from_body",
    "judged_by",
    "limit_words",
    "parse_exact",
    "phrase_phones",
    "question",
    "read_procedure",
    "vocabulary",
    "written",
]
