"""The command line. Thin: it reads options, calls one function, turns errors into one line and an exit code.

Exit codes: 0 done, 1 an error (one line on standard error), 2 wrong usage, 3 the job is not finished and can
be resumed.
"""

from __future__ import annotations

import os
import shlex
import shutil
import sys
from collections.abc import Callable, Sequence
from importlib.metadata import version
from importlib.util import find_spec
from pathlib import Path
from typing import Annotated, Any

import typer

from handsfree import _enrolment as enrolment
from handsfree import _evidence as evidence
from handsfree import _models as models
from handsfree import _wiring as wiring
from handsfree import limits
from handsfree._archive import archive_app
from handsfree._evidence import ShopKeys, shop_keys
from handsfree._shop_file import shop_faults, shop_text
from handsfree.audio import AudioError, Microphone, MicrophoneLost
from handsfree.grammar import GrammarError
from handsfree.hearing import ENGINES, EngineError
from handsfree.limits import LimitsError
from handsfree.procedure import ProcedureError, PromptError
from handsfree.record import (
    RECORD,
    RecordError,
    as_signed,
    counted,
    find_job,
    lacking_told,
    read_log,
    show_text,
    summary_text,
    what_is_damaged,
    what_signatures_lack,
)
from handsfree.record import explain as explain_error
from handsfree.session import (
    SCREENS,
    UNFINISHED,
    JobCompleted,
    LiveView,
    PlainView,
    View,
    check_job,
    choose_screen,
    demo_folder,
    read_scenario,
)
from handsfree.shop import ShopError, parse_shop
from handsfree.speaking import SpeakingError

__all__ = ["app", "main"]

NOT_FINISHED = 3
_WIDE = 110  # columns of text that goes to a file

app = typer.Typer(
    name="handsfree",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
    rich_markup_mode=None,  # markup would eat the [table] names of a policy file
    help="Guides, checks and records a tire puncture repair by voice. Works offline. "
    "Local codes, the tire and vehicle makers' instructions and trained judgement come first.",
    epilog="Exit codes: 0 done, 1 error, 2 wrong usage, 3 job not finished (handsfree resume JOB).",
)

_ERRORS = (
    AudioError,
    MicrophoneLost,
    EngineError,
    GrammarError,
    LimitsError,
    ProcedureError,
    PromptError,
    RecordError,
    ShopError,
    SpeakingError,
)

Jobs = Annotated[Path, typer.Option("--jobs", help="Folder that holds the jobs.", metavar="DIR")]
EngineName = Annotated[str, typer.Option("--engine", help="Recognizer: pocketsphinx, vosk or typed.")]
Model = Annotated[
    Path | None,
    typer.Option(
        "--model", help="Model folder for vosk. Default: the one in the models folder.", metavar="DIR"
    ),
]
Wav = Annotated[
    Path | None,
    typer.Option(
        "--wav", help="Hear a WAV or FLAC file or a folder of them instead of the microphone.", metavar="PATH"
    ),
]
DeviceName = Annotated[
    str | None,
    typer.Option("--device", help="Microphone, by a part of its name (see doctor).", metavar="NAME"),
]
Loudspeaker = Annotated[
    str | None,
    typer.Option("--loudspeaker", help="Loudspeaker, by a part of its name (see doctor).", metavar="NAME"),
]
Headset = Annotated[
    bool,
    typer.Option(
        "--headset",
        help="The microphone can't hear the loudspeaker: speak while a question plays and it stops. Cautions, "
        "read-backs and refusals are always played whole.",
    ),
]
Replies = Annotated[
    str,
    typer.Option(
        "--replies",
        help="Where replies go: card (loudspeaker), files (WAV files in the job), text (screen only). "
        "Default: card with a microphone, files with --wav, text with the keyboard.",
    ),
]
PolicyFile = Annotated[
    Path | None,
    typer.Option("--policy", help="Shop policy file (see handsfree limits --help).", metavar="FILE"),
]
ShopFile = Annotated[
    Path | None,
    typer.Option(
        "--shop", help="Shop file: who works here, who releases (see handsfree shop --help).", metavar="FILE"
    ),
]
Realtime = Annotated[
    bool, typer.Option("--realtime/--fast", help="With --wav: keep the pace of the clock, or go faster.")
]
Screen = Annotated[
    str,
    typer.Option(
        "--screen",
        help="live: one picture for a glance from the wheel; lines: a plain line for each thing, as for a screen "
        "reader. Default: live on a terminal, lines elsewhere, with NO_COLOR or TERM=dumb.",
    ),
]


def _model(engine: str, given: Path | None) -> Path | None:
    return models.chosen_model() if engine == "vosk" and given is None else given


def _write(text: str) -> None:
    typer.echo(text)


_COLORS = {
    "said": typer.colors.CYAN,
    "heard": typer.colors.WHITE,
    "verdict": typer.colors.YELLOW,
    "recorded": typer.colors.GREEN,
    "refused": typer.colors.RED,
    "phase": typer.colors.BRIGHT_WHITE,
}


def _style(label: str, line: str) -> str:
    """Color only helps; every line says what it is in words. click drops it where there is no terminal."""
    return typer.style(line, fg=_COLORS.get(label), bold=label == "phase")


def _width() -> int:
    """The terminal's width or COLUMNS, kept readable; a file or a pipe gets a fixed one."""
    if sys.stdout.isatty() or os.environ.get("COLUMNS", "").isdigit():
        return min(max(shutil.get_terminal_size((_WIDE, 24)).columns, 60), 200)
    return _WIDE


def _view(screen: str, setup: wiring.Setup) -> View:
    if screen not in ("", *SCREENS):
        raise typer.BadParameter(f"choose one of {', '.join(SCREENS)}", param_hint="--screen")
    try:
        chosen = choose_screen(
            screen,
            tty=sys.stdout.isatty(),
            keys=find_spec("termios") is not None,
            fast=setup.wav is not None and not setup.realtime,
            encoding=getattr(sys.stdout, "encoding", None) or "",
            environ=os.environ,
        )
    except ValueError as error:
        raise typer.BadParameter(str(error), param_hint="--screen") from None
    if chosen == "live":
        return LiveView(lambda note: typer.echo(f"handsfree: {note}", err=True))
    plain = bool(os.environ.get("NO_COLOR")) or not sys.stdout.isatty()
    width = shutil.get_terminal_size().columns if sys.stdout.isatty() else 0
    by_voice = setup.wav is None and setup.engine != "typed"
    return PlainView(_write, None if plain else _style, width=width, marks=by_voice)


def _go_on(folders: Sequence[Path], setup: wiring.Setup) -> str:
    """The command that opens the jobs again in the way it was run: without its options it might not even start."""
    usual = wiring.Setup()
    words = ["handsfree", "resume", *map(str, folders)]
    for option in ("engine", "model", "wav", "device", "loudspeaker", "replies", "shop"):
        value = getattr(setup, option)
        if value != getattr(usual, option):
            words += [f"--{option}", str(value)]
    words += ["--fast"] if setup.wav is not None and not setup.realtime else []
    words += ["--headset"] if setup.headset else []
    words += ["--practice"] if setup.practice else []
    return shlex.join(words)


def _finish(done: Sequence[tuple[Path, str, str]], setup: wiring.Setup) -> None:
    open_jobs = [(folder, outcome) for folder, outcome, _ in done if outcome in (UNFINISHED, "stopped")]
    for folder, outcome, tire in done:
        if (folder, outcome) not in open_jobs:
            _write("")
            if tire:
                _write(f"TIRE {tire.upper()}")
            _write(summary_text(folder))
            _write("")
            _write(f"The record: {folder / 'record.jsonl'}")
            _write(f"Read it with: handsfree show {folder}")
    if open_jobs:
        _write("")
        stopped = any(outcome == "stopped" for _, outcome in open_jobs)
        several = f"{counted(len(open_jobs), 'job')} are" if len(open_jobs) > 1 else "The job is"
        what = "Work was stopped." if stopped else f"{several} not finished."
        _write(f"{what} Go on with: {_go_on([folder for folder, _ in open_jobs], setup)}")
        if setup.wav is not None:
            _write(
                "Sound files are heard from the first one on: name the ones that follow, or --engine typed."
            )
        raise typer.Exit(NOT_FINISHED)


def _must_do_something(setup: wiring.Setup) -> None:
    """An option that would do nothing is refused: who gave it counts on it. Raises typer.BadParameter."""
    typed, files = setup.engine == "typed", setup.wav is not None
    no_microphone = "with --engine typed" if typed else "with --wav" if files else ""
    useless = (
        ("--wav", typed and files, "with --engine typed", "take another engine, or leave it out"),
        ("--device", setup.device is not None, no_microphone, "leave it out"),
        ("--headset", setup.headset, no_microphone, "leave it out"),
        (
            "--fast",
            not setup.realtime,
            "" if files else "without --wav",
            "--practice lets waits pass at once",
        ),
        ("--loudspeaker", setup.loudspeaker is not None, wiring.unheard(setup), "take --replies card"),
    )
    for option, given, why, instead in useless:
        if given and why:
            raise typer.BadParameter(f"does nothing {why}: {instead}", param_hint=option)


def _run(setup: wiring.Setup, screen: str, resume: Sequence[Path] = ()) -> list[tuple[Path, str, str]]:
    if setup.replies not in ("", *wiring.REPLIES):
        raise typer.BadParameter(f"choose one of {', '.join(wiring.REPLIES)}", param_hint="--replies")
    _must_do_something(setup)
    view = _view(screen, setup)
    _policy(setup.policy)  # before anything is begun, and with the file's name in the error

    told: list[str] = []

    def started(folder: Path) -> None:
        if not told:
            told.extend(wiring.devices_told(setup))
            for line in told:
                _write(line)
        _write(f"Job: {folder}")

    try:
        return wiring.run_job(setup, view, resume=resume, started=started)
    except JobCompleted as done:
        if len(resume) > 1:  # the others were not opened, and that is no success
            raise RecordError(f"{done}; the other jobs were not opened: give them without it") from None
        _write(str(done))
        raise typer.Exit(0) from None
    except KeyboardInterrupt:  # before there was a job
        raise typer.Exit(NOT_FINISHED) from None


def _version(wanted: bool) -> None:
    if wanted:
        _write(f"handsfree {version('handsfree')}")
        raise typer.Exit


@app.callback()
def options(
    _: Annotated[
        bool,
        typer.Option("--version", help="The version, and nothing else.", callback=_version, is_eager=True),
    ] = False,
) -> None:
    """What holds for every command."""


@app.command(
    short_help="Run a job by microphone, files or keyboard.",
    epilog="Example: handsfree run --technician Mara --bay 2",
)
def run(
    procedure: Annotated[
        str, typer.Option("--procedure", help="A packaged procedure's name, or a procedure file.")
    ] = "passenger-one-piece",
    engine: EngineName = "pocketsphinx",
    model: Model = None,
    wav: Wav = None,
    device: DeviceName = None,
    loudspeaker: Loudspeaker = None,
    headset: Headset = False,
    technician: Annotated[str, typer.Option("--technician", help="Who does the work.")] = "",
    bay: Annotated[str, typer.Option("--bay", help="Where.")] = "",
    replies: Replies = "",
    policy: PolicyFile = None,
    shop: ShopFile = None,
    realtime: Realtime = True,
    practice: Annotated[
        bool,
        typer.Option(
            "--practice", help="Training: waits pass at once. The record says so; not for a real tire."
        ),
    ] = False,
    expert: Annotated[
        bool, typer.Option("--expert", help="Short prompts for those who know the job. Cautions stay whole.")
    ] = False,
    screen: Screen = "",
    jobs: Jobs = Path("jobs"),
) -> None:
    """Run a job, from the microphone, sound files or the keyboard (--engine typed)."""
    setup = wiring.Setup(
        procedure=procedure,
        engine=engine,
        model=_model(engine, model),
        wav=wav,
        device=device,
        loudspeaker=loudspeaker,
        headset=headset,
        technician=technician,
        bay=bay,
        replies=replies,
        policy=policy,
        shop=shop,
        realtime=realtime,
        practice=practice,
        expert=expert,
        jobs=jobs,
    )
    _finish(_run(setup, screen), setup)


def _engine_of(folders: Sequence[Path], wav: Path | None) -> str:
    """The recognizer that the jobs were begun with; sound files are never typed."""
    lines = [read_log(folder).lines[:1] for folder in folders]
    begun = {str(line.body.get("engine", "")) for one in lines for line in one} & {*ENGINES}
    if wav is not None:
        begun -= {"typed"}
    if len(begun) > 1:
        raise typer.BadParameter(
            f"the jobs were begun with {' and '.join(sorted(begun))}: choose one", param_hint="--engine"
        )
    return next(iter(begun), "pocketsphinx")


@app.command(
    short_help="Go on with a job that was stopped or cut off.",
    epilog="Example: handsfree resume 2026-11-25-142530-job",
)
def resume(
    job: Annotated[
        list[str],
        typer.Argument(help="The job's folder, or its name in the jobs folder; several go on side by side."),
    ],
    engine: Annotated[
        str,
        typer.Option(
            "--engine", help="Recognizer: pocketsphinx, vosk or typed. Default: the one it was begun with."
        ),
    ] = "",
    model: Model = None,
    wav: Wav = None,
    device: DeviceName = None,
    loudspeaker: Loudspeaker = None,
    headset: Headset = False,
    replies: Replies = "",
    shop: ShopFile = None,
    realtime: Realtime = True,
    practice: Annotated[bool, typer.Option("--practice", help="Training: waits pass at once.")] = False,
    screen: Screen = "",
    keys: ShopKeys = None,
    jobs: Jobs = Path("jobs"),
) -> None:
    """Go on with a job that was stopped or interrupted, at the step where it was.

    Of one that had ended, and its record had not, the end is written: one line says so.
    """
    folders = [find_job(one, jobs) for one in dict.fromkeys(job)]
    evidence.must_not_be_signed(folders, shop_keys(keys))
    engine = engine or _engine_of(folders, wav)
    setup = wiring.Setup(
        engine=engine,
        model=_model(engine, model),
        wav=wav,
        device=device,
        loudspeaker=loudspeaker,
        headset=headset,
        replies=replies,
        shop=shop,
        realtime=realtime,
        practice=practice,
        jobs=jobs,
    )
    _finish(_run(setup, screen, folders), setup)


@app.command(
    short_help="One whole repair, from recordings.", epilog="Example: handsfree demo --play --realtime"
)
def demo(
    play: Annotated[bool, typer.Option("--play", help="Play the replies on the sound card.")] = False,
    realtime: Annotated[bool, typer.Option("--realtime", help="Keep the pace of the clock.")] = False,
    engine: EngineName = "pocketsphinx",
    model: Model = None,
    wav: Annotated[
        Path | None, typer.Option("--wav", help="Another folder of recordings than the packaged one.")
    ] = None,
    screen: Screen = "",
    jobs: Jobs = Path("jobs"),
) -> None:
    """One whole repair: a recorded technician speaks, the tool listens, judges, replies and records."""
    folder = wav or demo_folder()
    scenario = read_scenario(folder)
    about = scenario.scenario if scenario else None
    setup = wiring.Setup(
        engine=engine,
        model=_model(engine, model),
        wav=folder,
        technician=about.technician if about else "",
        replies="card" if play else "files",
        realtime=realtime or play,
        jobs=jobs,
        name="demo",
        demonstration=True,
        spare_keyboard=False,
    )
    _finish(_run(setup, screen), setup)


@app.command(
    short_help="Print a job's record and check it.",
    epilog="Example: handsfree show jobs/2026-11-25-142530-demo",
)
def show(
    job: Annotated[str, typer.Argument(help="The job's folder, its record, or its name in the jobs folder.")],
    keys: ShopKeys = None,
    jobs: Jobs = Path("jobs"),
) -> None:
    """Print a job's record as a person would read it, and check its chain, its files and, by the keys, signatures."""
    folder = find_job(job, jobs)
    known = shop_keys(keys)
    signatures = None
    if known is not None:
        from handsfree.record.signing import check_signatures

        signatures, _ = check_signatures(read_log(folder), known)
    findings = as_signed(check_job(folder), signatures or ())
    _write(show_text(folder, width=_width(), signatures=signatures, findings=findings))
    # What an interruption leaves behind (a note) is shown, but it is no damage.
    damage = what_is_damaged(findings)
    lacking = what_signatures_lack(signatures or ())
    if damage:
        typer.echo(f"handsfree: {damage}; listed at its end", err=True)
    elif lacking:
        typer.echo(f"handsfree: {lacking_told(signatures or (), known)}", err=True)
    if damage or lacking:
        raise typer.Exit(1)


@app.command(
    short_help="Write a page of a job, or of a folder of jobs, to review.",
    epilog="Example: handsfree review jobs",
)
def review(
    job: Annotated[
        str, typer.Argument(help="A job's folder, record or name, or a folder of jobs.", metavar="JOB|FOLDER")
    ],
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            help="The page's file, or a folder. Default: review.html in the job's folder; for a folder of jobs "
            "its folder review, with index.html.",
            metavar="FILE|DIR",
        ),
    ] = None,
    customer: Annotated[
        bool, typer.Option("--customer", help="The customer's copy: one page, no names of staff, no sound.")
    ] = False,
    keys: ShopKeys = None,
    jobs: Jobs = Path("jobs"),
) -> None:
    """Write one self-contained HTML page of a job: disposition first, then what to look at, then everything.

    Of a folder of jobs: a page each, and an index with filters. Needs no network to read and no script.
    """
    from handsfree.review import review_folder, review_job

    keys = shop_keys(keys)
    folder = Path(job)
    many = folder.is_dir() and not (folder / RECORD).exists()
    done = (
        review_folder(folder, out, customer=customer, keys=keys)
        if many
        else review_job(find_job(job, jobs), out, customer=customer, keys=keys)
    )
    _write(f"{counted(done.jobs, 'job')}: {done.page}")
    for older in done.older[:5]:
        _write(str(older))
    if len(done.older) > 5:
        _write(f"and {len(done.older) - 5} more older pages, which the index names")
    if done.missing:
        lost = f"{counted(len(done.missing), 'signed job')} of the shop's list not here"
        typer.echo(f"handsfree: {lost}, the index says what to do: {', '.join(done.missing[:5])}", err=True)
    if done.damaged:
        bad = f"{counted(len(done.damaged), 'record')} can't be trusted"
        typer.echo(f"handsfree: {bad}, the page says why: {', '.join(done.damaged[:5])}", err=True)
        raise typer.Exit(1)


@app.command(
    short_help="Prove a procedure before it is used.", epilog="Example: handsfree check passenger-one-piece"
)
def check(
    procedure: Annotated[str, typer.Argument(help="A procedure file, or a packaged procedure's name.")],
) -> None:
    """Prove a procedure: reachable, no dead end, limits, cautions first, words known, answers distinct."""
    from handsfree._checking import check_procedure

    findings = check_procedure(wiring.procedure_text(procedure), procedure)
    for finding in findings:
        typer.echo(f"{procedure}: {finding}")
    if findings:
        raise typer.Exit(1)
    typer.echo(f"{procedure}: proved, nothing found")


_SHOP_HELP = """Prove a shop file (TOML), which says who works here and who may release a hold point:

\b
  name = "Harbor Row"

\b
  [[technician]]
  badge = "17"                   # two to six digits, spoken one by one
  name = "Mara Lindqvist"

\b
  [[supervisor]]
  badge = "409"
  name = "R. Holt"
  code = "granite window"        # one or two English words; never shown or recorded

Keep the file where only supervisors can read it. Use it: handsfree run --shop FILE"""


@app.command(
    "shop",
    short_help="Prove a shop file: its people and code words.",
    help=_SHOP_HELP,
    epilog="Example: handsfree shop harbor-row.toml",
)
def prove_shop(file: Annotated[Path, typer.Argument(help="The shop file.", metavar="FILE")]) -> None:
    """Badges are unique, code words are in the dictionary and none is alike another. No code word is printed."""
    shop = parse_shop(shop_text(file), str(file))
    faults = shop_faults(shop)
    for fault in faults:
        typer.echo(f"{file}: {fault}")
    if faults:
        raise typer.Exit(1)
    typer.echo(f"{file}: proved; technicians: {len(shop.technicians)}, supervisors: {len(shop.supervisors)}")


# \b keeps the lines as they are.
_POLICY_HELP = """A shop policy file (TOML) chooses among published rules that disagree and moves limits. A whole one:

\b
  name = "our shop"
  base = "us"                    # us, uk, jp, de or nz

\b
  [choose]                       # among published variants: always free
  "injury.edge.min" = "inch_and_half"

\b
  [limits."injury.size.max"]     # tightening is free
  limit = "5 mm"

\b
  [limits."buffer.rpm.max"]      # loosening shows in every record; a stop limit needs both lines below
  limit = "5500 rpm"
  allowed_by = "A. Supervisor"
  why = "buffer measured at 4900 rpm under load"

Try it: handsfree limits --policy FILE. One rule and its variants, for example: handsfree limits explain
injury.size.max"""

rules_app = typer.Typer(
    invoke_without_command=True,
    rich_markup_mode=None,
    help="The rules readings are judged by: each with its limit, severity and published source.",
    epilog=_POLICY_HELP,
)
app.add_typer(rules_app, name="limits", short_help="The rules and limits, and shop policies.")


def _policy(path: Path | None) -> limits.Policy:
    """A policy file checked. Raises LimitsError that begins with the file's name."""
    text = wiring.policy_text(path)
    try:
        return limits.parse_policy(text) if text else limits.DEFAULT
    except LimitsError as error:
        raise LimitsError(f"{path}: {str(error).removeprefix('policy: ')}") from None


@rules_app.callback()
def list_limits(
    context: typer.Context,
    policy: PolicyFile = None,
    as_json: Annotated[bool, typer.Option("--json", help="As JSON, with every published variant.")] = False,
) -> None:
    """The rules readings are judged by: each with its limit, severity and published source."""
    if context.invoked_subcommand is None:
        chosen = _policy(policy)
        typer.echo(limits.as_json(chosen) if as_json else limits.table(chosen), nl=False)


@rules_app.command(epilog="Example: handsfree limits explain drying")
def explain(
    rule: Annotated[str, typer.Argument(help="The rule's id, from handsfree limits.")],
    policy: PolicyFile = None,
) -> None:
    """One rule: its formula, its source, and an example worked out now."""
    typer.echo(limits.explain(rule, _policy(policy)).rstrip())


@app.command(short_help="What works on this machine.", epilog="Example: handsfree doctor")
def doctor(
    jobs: Jobs = Path("jobs"),
    room: Annotated[
        bool,
        typer.Option(
            "--room",
            help="Measure the room instead: ten seconds of noise, five phrases; exit code 1: not good enough.",
        ),
    ] = False,
    wav: Annotated[
        Path | None,
        typer.Option(
            "--wav",
            help="With --room: a folder of six sound files, the noise and the phrases, by name.",
            metavar="DIR",
        ),
    ] = None,
    device: DeviceName = None,
) -> None:
    """What works on this machine: recognizer, voice, sound card, disk, clock; and what to install."""
    from handsfree._doctor import examine

    if room:
        _measure_room(wav, device)
        return
    if wav is not None or device is not None:
        raise typer.BadParameter("--wav and --device go with --room")
    bad = False
    for finding in examine(jobs):
        typer.echo(finding.line())
        bad = bad or finding.fails
    if bad:
        raise typer.Exit(1)


def _measure_room(wav: Path | None, device: str | None) -> None:
    from handsfree._room import from_files, from_source, measure

    engine = wiring.build_engine(wiring.Setup())
    if wav is not None:
        found = measure(from_files(wav, typer.echo), engine, typer.echo)
    else:
        source = Microphone(device)
        typer.echo(f"Microphone: {source.device.name}")
        try:
            found = measure(from_source(source), engine, typer.echo, lost=lambda: source.lost)
        finally:
            source.close()
    engine.close()
    for line in found.lines():
        typer.echo(line)
    if not found.good:
        raise typer.Exit(1)


evidence.register(app)
enrolment.register(app)
models.register(app)
app.add_typer(archive_app, name="archive", short_help="Closed jobs of many bays in one database; reports.")


def main(argv: list[str] | None = None) -> None:
    """Run the command line. Known errors are one line on standard error and exit code 1, never a traceback."""
    command: Callable[..., Any] = typer.main.get_command(app)
    try:
        command(args=argv, prog_name="handsfree")
    except _ERRORS as error:
        typer.echo(f"handsfree: {error}", err=True)
        sys.exit(1)
    except OSError as error:
        what = f"can't use {error.filename}" if error.filename else "can't write the output"
        told = explain_error(what, error, folder=False)
        typer.echo(f"handsfree: {told}", err=True)
        sys.exit(1)


if __name__ == "__main__":
    main()
