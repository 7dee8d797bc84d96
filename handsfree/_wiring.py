"""Putting a session together from what the command line asked for: the only place where all rooms meet."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path

from handsfree._checking import pronounce
from handsfree._shop_file import hears_codes, read_shop, same_shop
from handsfree.audio import (
    AudioError,
    Microphone,
    WavScript,
    choose_device,
    list_devices,
    native_messages_hidden,
    rescan_devices,
)
from handsfree.enrolment import VoiceStore
from handsfree.grammar import Library, load_pronunciations, typed_to_words
from handsfree.hearing import AgreedEngine, Engine, VoskEngine, engine_pins, make_engine
from handsfree.limits import LimitsError
from handsfree.procedure import Procedure, ProcedureError, read_procedure, vocabulary
from handsfree.record import RecordError
from handsfree.session import (
    TIRE_NAMES,
    AudioEars,
    Clock,
    Ears,
    Job,
    People,
    Session,
    SimulatedClock,
    SystemClock,
    Tire,
    TypedEars,
    View,
    Voices,
    create_job,
    job_folder,
    open_job,
    packaged_procedure,
    packaged_procedures,
    prompts_text,
    script_lines,
)
from handsfree.shop import Shop
from handsfree.speaking import (
    CardPlayer,
    FilePlayer,
    NullPlayer,
    Pyttsx3Voice,
    SilentVoice,
    Speaker,
)

__all__ = [
    "Setup",
    "build_engine",
    "policy_text",
    "procedure_text",
    "run_job",
    "unheard",
]

REPLIES = ("card", "files", "text")


@dataclass(frozen=True, slots=True)
class Setup:
    """Everything the command line can say about a session."""

    procedure: str = "passenger-one-piece"
    engine: str = "pocketsphinx"
    model: Path | None = None
    wav: Path | None = None
    device: str | None = None
    loudspeaker: str | None = None
    headset: bool = False
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
    shop: Path | None = None


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


def _keyboard(clock: Clock, view: View) -> TypedEars:
    return TypedEars(make_engine("typed", normalise=typed_to_words), clock, view.keyboard())


def _ears(setup: Setup, clock: Clock, view: View) -> Ears:
    if setup.engine == "typed":
        return _keyboard(clock, view)
    engine = build_engine(setup)
    if setup.wav is not None:
        return AudioEars(WavScript(script_lines(setup.wav)), engine, clock)
    return AudioEars(_microphone(setup), engine, clock, headset=setup.headset)


def _knows_words(engine: Engine, procedures: list[Procedure], setup: Setup, library: Library) -> None:
    """A word that a vosk model lacks is told before the job, not in the middle. Raises MissingWord."""
    if isinstance(engine, AgreedEngine) and isinstance(engine.first, VoskEngine):
        name = setup.procedure
        for procedure in procedures or [read_procedure(procedure_text(name), name)]:
            engine.first.check(vocabulary(procedure, library))


def _microphone(setup: Setup) -> Microphone:
    return Microphone(setup.device, headset=setup.headset)


def _replies(setup: Setup) -> str:
    return setup.replies or ("text" if setup.engine == "typed" else "card" if _live(setup) else "files")


def unheard(setup: Setup) -> str:
    """Why no loudspeaker is used, "" where one is."""
    replies = _replies(setup)
    return "" if replies == "card" else f"with replies as {replies}"


def _speakers(setup: Setup, card: CardPlayer | None) -> Callable[[Path], Speaker]:
    """Who speaks for the job in a folder: one for all, or one that keeps each job's replies beside its record."""
    if _replies(setup) == "text" or card is not None:
        one = Speaker(Pyttsx3Voice(), card) if card is not None else Speaker(SilentVoice(), NullPlayer())
        return lambda _: one
    voice = Pyttsx3Voice()
    return cache(lambda folder: Speaker(voice, FilePlayer(folder / "spoken")))


def _clock(setup: Setup) -> Clock:
    wall = SystemClock()
    if setup.practice or (setup.wav is not None and not setup.realtime):
        return SimulatedClock(wall.now())
    # Sound files have no clock of their own: their frames set the pace.
    return SimulatedClock(wall.now(), realtime=True) if setup.wav is not None else wall


def _carried_on(clock: Clock) -> Callable[[int], Clock]:
    """One clock for all jobs of a session, never behind the last event of any."""

    def not_before(ms: int) -> Clock:
        clock.catch_up(ms)
        return clock

    return not_before


def _practice(setup: Setup, clock: Clock) -> str:
    """Why a job is not for a real tire, "" when it is."""
    if setup.demonstration:
        return "demonstration by recorded voices"
    return "simulated clock, waits passed at once" if clock.name == "simulated" else ""


def _card(setup: Setup) -> CardPlayer:
    """The loudspeaker, asked for before a job begins. Raises AudioError."""
    device = choose_device(list_devices(), setup.loudspeaker, kind="loudspeaker")
    # By its whole name: its number may be another after a microphone was plugged in.
    return CardPlayer(device.name if setup.loudspeaker is not None else None)


def devices_told(setup: Setup) -> list[str]:
    """Which sound devices a job listens and speaks with, since a part of a name does not say."""
    told = []
    with contextlib.suppress(
        AudioError
    ):  # they were there a moment ago: the job itself tells when they vanish
        if _live(setup):
            told.append(f"Microphone: {choose_device(list_devices(), setup.device).name}")
        if _replies(setup) == "card":
            speaks = choose_device(list_devices(), setup.loudspeaker, kind="loudspeaker")
            told.append(f"Loudspeaker: {speaks.name}")
    return told


def run_job(
    setup: Setup, view: View, *, resume: Sequence[Path] = (), started: Callable[[Path], None]
) -> list[tuple[Path, str, str]]:
    """Run a job, new or opened again (or several at once), to the end or the end of the input.

    Returns each job's folder, outcome and tire (its spoken name, "" where there was only one); ``started`` is told a
    job's folder as soon as it exists. Raises the rooms' own errors, one line each.
    """
    sound_card = _live(setup) or _replies(setup) == "card"
    with native_messages_hidden() if sound_card else contextlib.nullcontext():
        return _run_job(setup, view, resume, started)


def _run_job(
    setup: Setup, view: View, resume: Sequence[Path], started: Callable[[Path], None]
) -> list[tuple[Path, str, str]]:
    library, shop, clock = Library.load(), read_shop(setup.shop, resume), _clock(setup)
    jobs: list[Job] = []
    try:
        for folder in resume:
            jobs.append(open_job(folder, _carried_on(clock))[0])
            same_shop(jobs[-1], shop)
        # Ears and voice first: without them there is no job to begin. A model of another language is told now.
        ears = _ears(setup, clock, view)
        commands = library.arm({"command": "<commands.command>", "bay": "<commands.bay>"})
        ears.engine.arm(commands)
        _knows_words(ears.engine, [job.machine.book.procedure for job in jobs], setup, library)
        hears_codes(ears.engine, library, shop)
        card = _card(setup) if _replies(setup) == "card" else None
        if not jobs:
            jobs.append(_new_job(setup, clock, library, ears.engine.name, shop))
        speakers = _speakers(setup, card)
        speaker = speakers(jobs[0].log.folder)
        if isinstance(ears, AudioEars):
            ears.hear_room(commands)
    except BaseException:
        for job in jobs:
            job.log.close()
        raise

    def another(name: str) -> Job:
        try:
            job = _new_job(setup, clock, library, ears.engine.name, shop, tire=name)
        except (LimitsError, ProcedureError) as error:  # a file was changed since the first job began
            raise RecordError(str(error)) from None
        started(job.log.folder)
        return job

    for job in jobs:
        started(job.log.folder)
    first, *others = _named(jobs)
    session = Session(
        first.machine,
        library=library,
        ears=ears,
        speaker=speaker,
        log=first.log,
        clock=clock,
        view=view,
        spare=(lambda: _keyboard(clock, view)) if setup.spare_keyboard and sys.stdin is not None else None,
        comeback=(lambda: _microphone_again(setup, clock)) if _live(setup) else None,
        people=People(shop, pronounce),
        name=first.name,
        another=None if setup.demonstration else another,
        speaker_in=speakers,
        voices=None if setup.demonstration or setup.engine == "typed" else Voices(VoiceStore().find),
    )
    try:
        session.run(jobs[0].first, [(tire, job.first) for tire, job in zip(others, jobs[1:], strict=True)])
    except KeyboardInterrupt:
        pass  # everything that was recorded is on the disk; the jobs can be resumed
    finally:
        speaker.close()
        session.close()
    return session.tires


def _named(jobs: Sequence[Job]) -> list[Tire]:
    """The jobs with the names they had; one whose name is taken gets the next free one."""
    tires: list[Tire] = []
    for job in jobs:
        taken = {tire.name for tire in tires}
        had = str(job.log.lines[0].body.get("tire", TIRE_NAMES[0]))
        free = (name for name in (had, *TIRE_NAMES) if name not in taken)
        tires.append(Tire(job.machine, job.log, next(free, had)))
    return tires


def _live(setup: Setup) -> bool:
    return setup.engine != "typed" and setup.wav is None


def _microphone_again(setup: Setup, clock: Clock) -> Ears | None:
    """The lost microphone, when it is there and gives sound; else None."""
    try:
        rescan_devices()
        source = _microphone(setup)
    except AudioError:
        return None
    try:
        source.read()
    except AudioError:
        source.close()
        return None
    return AudioEars(source, build_engine(setup), clock, headset=setup.headset)


def _new_job(
    setup: Setup, clock: Clock, library: Library, engine: str, shop: Shop | None, *, tire: str = ""
) -> Job:
    """``tire``: its spoken name when other jobs are open beside it."""
    folder = _own_folder(setup, clock)
    try:
        return _job_in(folder, setup, clock, library, engine, shop, tire)
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


def _job_in(
    folder: Path, setup: Setup, clock: Clock, library: Library, engine: str, shop: Shop | None, tire: str
) -> Job:
    technician = shop.find(setup.technician) if shop is not None and setup.technician else setup.technician
    about = {
        "technician": technician,
        "shop": shop.name if shop is not None else "",
        "tire": tire,
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
        called=setup.procedure,
        about={key: value for key, value in about.items() if value},
        pins={
            "engine": engine,
            **engine_pins(engine, setup.model),
            "grammar_sha256": library.sha256,
            **({"shop_sha256": shop.sha256} if shop is not None else {}),
            "input": _input(setup),
        },
        clock=clock,
    )


def _input(setup: Setup) -> str:
    if not _live(setup):
        return "keyboard" if setup.engine == "typed" else "files"
    return "headset" if setup.headset else "microphone"
