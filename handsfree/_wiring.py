"""Putting a session together from what the command line asked for: the only place where all rooms meet."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from handsfree.audio import Microphone, WavScript, list_devices
from handsfree.grammar import Library, load_pronunciations, typed_to_words
from handsfree.hearing import Engine, engine_pins, make_engine
from handsfree.limits import LimitsError
from handsfree.record import RecordError
from handsfree.session import (
    AudioEars,
    Clock,
    Ears,
    Job,
    Session,
    SimulatedClock,
    SystemClock,
    TypedEars,
    View,
    create_job,
    job_folder,
    open_job,
    packaged_procedure,
    packaged_procedures,
    prompts_text,
    script_lines,
)
from handsfree.speaking import (
    CardPlayer,
    FilePlayer,
    NullPlayer,
    Pyttsx3Voice,
    SilentVoice,
    Speaker,
    SpeakingError,
)

__all__ = ["Setup", "build_engine", "find_job", "policy_text", "procedure_text", "run_job"]

REPLIES = ("card", "files", "text")


@dataclass(frozen=True, slots=True)
class Setup:
    """Everything the command line can say about a session."""

    procedure: str = "passenger-one-piece"
    engine: str = "pocketsphinx"
    model: Path | None = None
    wav: Path | None = None
    device: str | None = None
    jobs: Path = Path("jobs")
    technician: str = ""
    bay: str = ""
    replies: str = ""
    realtime: bool = True
    practice: bool = False
    name: str = "job"
    spare_keyboard: bool = True
    policy: Path | None = None
    demonstration: bool = False
    expert: bool = False


def find_job(job: str, jobs: Path) -> Path:
    """A job by its folder, or by its name in the jobs folder. Raises RecordError."""
    for path in (Path(job), jobs / job):
        if (path / "record.jsonl").is_file():
            return path
    raise RecordError(f"{job}: no job there; give its folder, or its name in {jobs}")


def procedure_text(name: str) -> str:
    """The text of a procedure file, or of a packaged procedure by name. Raises OSError-free RecordError."""
    if name in packaged_procedures():
        return packaged_procedure(name)
    try:
        return Path(name).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        known = ", ".join(packaged_procedures())
        raise RecordError(f"{name}: {_why(error)}; give a procedure file, or one of: {known}") from None


def _why(error: OSError | UnicodeDecodeError) -> str:
    return str(error.strerror) if isinstance(error, OSError) else "not UTF-8 text"


def policy_text(path: Path | None) -> str:
    """The text of a shop policy file, "" for none. Raises LimitsError."""
    if path is None:
        return ""
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise LimitsError(f"{path}: {_why(error)}; give a policy file, or leave --policy out") from None


def build_engine(setup: Setup) -> Engine:
    """The recognizer, with the pronunciations that its dictionary lacks."""
    return make_engine(
        setup.engine,
        setup.model,
        pronunciations=load_pronunciations(),
        normalise=typed_to_words,
    )


def _keyboard(clock: Clock) -> TypedEars:
    return TypedEars(make_engine("typed", normalise=typed_to_words), clock)


def _ears(setup: Setup, clock: Clock) -> Ears:
    if setup.engine == "typed":
        return _keyboard(clock)
    engine = build_engine(setup)
    if setup.wav is not None:
        return AudioEars(WavScript(script_lines(setup.wav)), engine, clock)
    return AudioEars(Microphone(setup.device), engine, clock)


def _replies(setup: Setup) -> str:
    live = setup.engine != "typed" and setup.wav is None
    return setup.replies or ("text" if setup.engine == "typed" else "card" if live else "files")


def _speaker(setup: Setup, folder: Path, card: CardPlayer | None) -> Speaker:
    if _replies(setup) == "text":
        return Speaker(SilentVoice(), NullPlayer())
    return Speaker(Pyttsx3Voice(), card or FilePlayer(folder / "spoken"))


def _clock(setup: Setup, not_before: int) -> Clock:
    wall = SystemClock(not_before)
    if setup.practice or (setup.wav is not None and not setup.realtime):
        return SimulatedClock(wall.now())
    # Sound files have no clock of their own: their frames set the pace.
    return SimulatedClock(wall.now(), realtime=True) if setup.wav is not None else wall


def _practice(setup: Setup, clock: Clock) -> str:
    """Why a job is not for a real tire, "" when it is."""
    if setup.demonstration:
        return "demonstration by recorded voices"
    return "simulated clock, waits passed at once" if clock.name == "simulated" else ""


def _card() -> CardPlayer:
    """The loudspeaker, asked for before a job begins. Raises AudioError or SpeakingError."""
    if not any(device.outputs for device in list_devices()):
        raise SpeakingError(
            "this machine has no loudspeaker; plug one in, or use --replies files or --replies text"
        )
    return CardPlayer()


def run_job(setup: Setup, view: View, *, resume: Path | None = None, started: Callable[[Path], None]) -> str:
    """Run a job, new or opened again, to its end or the end of its input. Returns the outcome.

    ``started`` is told the job's folder as soon as it exists. Raises the rooms' own errors, one line each.
    """
    library = Library.load()
    job: Job | None = None
    clock = _clock(setup, 0)
    if resume is not None:
        job, clock = open_job(resume, lambda not_before: _clock(setup, not_before))
    try:
        # Ears and voice first: without them there is no job to begin. A model of another language is told now.
        ears = _ears(setup, clock)
        ears.engine.arm(library.arm({"command": "<commands.command>"}))
        card = _card() if _replies(setup) == "card" else None
        job = job or _new_job(setup, clock, library, ears.engine.name)
        folder = job.log.folder
        speaker = _speaker(setup, folder, card)
    except BaseException:
        if job is not None:
            job.log.close()
        raise
    started(folder)
    session = Session(
        job.machine,
        library=library,
        ears=ears,
        speaker=speaker,
        log=job.log,
        clock=clock,
        view=view,
        spare=(lambda: _keyboard(clock)) if setup.spare_keyboard and sys.stdin is not None else None,
    )
    try:
        return session.run(job.first)
    finally:
        speaker.close()
        session.close()


def _new_job(setup: Setup, clock: Clock, library: Library, engine: str) -> Job:
    folder = _own_folder(setup, clock)
    try:
        return _job_in(folder, setup, clock, library, engine)
    except BaseException:
        with contextlib.suppress(OSError):
            folder.rmdir()  # only if nothing was written into it
        raise


def _own_folder(setup: Setup, clock: Clock) -> Path:
    """A new folder that is nobody else's, also when two jobs are begun in the same second."""
    while True:
        folder = job_folder(setup.jobs, setup.name, clock.reading()[0])
        try:
            folder.mkdir(mode=0o700, parents=True)
        except FileExistsError:
            continue
        except OSError as error:
            raise RecordError(
                f"can't make the job folder {folder}: {error.strerror}; choose another --jobs"
            ) from None
        return folder


def _job_in(folder: Path, setup: Setup, clock: Clock, library: Library, engine: str) -> Job:
    about = {
        "technician": setup.technician,
        "bay": setup.bay,
        "today": date.today().isoformat(),
        "practice": _practice(setup, clock),
        "expert": "short prompts" if setup.expert else "",
    }
    return create_job(
        folder,
        procedure=procedure_text(setup.procedure),
        prompts=prompts_text(),
        policy=policy_text(setup.policy),
        about={key: value for key, value in about.items() if value},
        pins={
            "engine": engine,
            **engine_pins(engine, setup.model),
            "grammar_sha256": library.sha256,
            "input": "keyboard" if setup.engine == "typed" else "files" if setup.wav else "microphone",
        },
        clock=clock,
    )
