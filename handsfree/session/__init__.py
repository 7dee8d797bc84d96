"""The session room: the only loop and the only clock."""

from handsfree.session._bay import BAY, NEEDLESS, TIRE_NAMES, Listening, Tire
from handsfree.session._clock import Clock, SimulatedClock, SystemClock, stamp
from handsfree.session._ears import AudioEars, Closed, Ears, Heard, Level, Lost, Quiet, TypedEars
from handsfree.session._heard import NO_ANSWER, event_of
from handsfree.session._job import (
    Job,
    JobCompleted,
    book_of,
    create_job,
    header_of,
    job_book,
    job_folder,
    limits_hash,
    open_job,
    packaged_procedure,
    packaged_procedures,
    prompts_text,
)
from handsfree.session._people import People
from handsfree.session._replay import OWN, Replayed, entry, replay
from handsfree.session._scenario import Scenario, demo_folder, read_scenario, script_lines
from handsfree.session._screen import SCREENS, LiveView, choose_screen
from handsfree.session._session import UNFINISHED, Session
from handsfree.session._twice import LEAST_PROBABILITY, Twice
from handsfree.session._view import NoView, PlainView, View
from handsfree.session._voices import Voices
from handsfree.session._whole import check_job, end_findings, missing_end

__all__ = [
    "BAY",
    "LEAST_PROBABILITY",
    "NEEDLESS",
    "NO_ANSWER",
    "OWN",
    "SCREENS",
    "TIRE_NAMES",
    "UNFINISHED",
    "AudioEars",
    "Clock",
    "Closed",
    "Ears",
    "Heard",
    "Job",
    "JobCompleted",
    "Level",
    "Listening",
    "LiveView",
    "Lost",
    "NoView",
    "People",
    "PlainView",
    "Quiet",
    "Replayed",
    "Scenario",
    "Session",
    "SimulatedClock",
    "SystemClock",
    "Tire",
    "Twice",
    "TypedEars",
    "View",
    "Voices",
    "book_of",
    "check_job",
    "choose_screen",
    "create_job",
    "demo_folder",
    "end_findings",
    "entry",
    "event_of",
    "header_of",
    "job_book",
    "job_folder",
    "limits_hash",
    "missing_end",
    "open_job",
    "packaged_procedure",
    "packaged_procedures",
    "prompts_text",
    "read_scenario",
    "replay",
    "script_lines",
    "stamp",
]
