"""The session room: the only loop and the only clock."""

from handsfree.session._clock import Clock, SimulatedClock, SystemClock, stamp
from handsfree.session._ears import AudioEars, Closed, Ears, Heard, Lost, Quiet, TypedEars
from handsfree.session._job import (
    PINNED,
    Job,
    book_of,
    create_job,
    header_of,
    job_folder,
    limits_hash,
    open_job,
    packaged_procedure,
    packaged_procedures,
    prompts_text,
)
from handsfree.session._replay import OWN, Replayed, entry, replay
from handsfree.session._scenario import Scenario, demo_folder, read_scenario, script_lines
from handsfree.session._session import UNFINISHED, Session
from handsfree.session._view import NoView, PlainView, View

__all__ = [
    "OWN",
    "PINNED",
    "UNFINISHED",
    "AudioEars",
    "Clock",
    "Closed",
    "Ears",
    "Heard",
    "Job",
    "Lost",
    "NoView",
    "PlainView",
    "Quiet",
    "Replayed",
    "Scenario",
    "Session",
    "SimulatedClock",
    "SystemClock",
    "TypedEars",
    "View",
    "book_of",
    "create_job",
    "demo_folder",
    "entry",
    "header_of",
    "job_folder",
    "limits_hash",
    "open_job",
    "packaged_procedure",
    "packaged_procedures",
    "prompts_text",
    "read_scenario",
    "replay",
    "script_lines",
    "stamp",
]
