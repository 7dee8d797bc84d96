"""Starting a job and opening it again: the book it works from is kept beside its record."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Mapping, Sequence, Set
from dataclasses import dataclass
from importlib import resources
from importlib.metadata import version
from pathlib import Path

from handsfree.limits import DEFAULT, Policy, as_json, parse_policy
from handsfree.procedure import (
    Book,
    Event,
    Machine,
    Mode,
    Prompts,
    Record,
    Resumed,
    Say,
    Sealed,
    Spoken,
    Start,
    event_body,
    read_procedure,
)
from handsfree.record import (
    PINNED,
    REJECTED,
    JobLog,
    Line,
    RecordError,
    check_words,
    how_to_do_again,
    in_present_form,
    items,
    last_signed,
    read_log,
    rejection,
    value_of,
    write_private,
)
from handsfree.session._clock import Clock, SimulatedClock, SystemClock
from handsfree.session._replay import Replayed, entry, replay

__all__ = [
    "Job",
    "JobCompleted",
    "book_of",
    "create_job",
    "header_of",
    "job_book",
    "job_folder",
    "limits_hash",
    "open_job",
    "packaged_procedure",
    "packaged_procedures",
    "prompts_text",
]

_PROCEDURE, _PROMPTS, _POLICY = "procedure.toml", "prompts.toml", "policy.toml"
_LATE = {
    "held_typed", "held_release", "held_badge", "held_silence", "not_held", "here", "worked_here", "outside_bay",
    "wait_again_window", "say_stand_by", "say_stop_work", "caution_unheard", "too_loud", "too_soft",
}  # fmt: skip
#: Prompts that came later than a line format began: a job begun in it may be without them, and goes on so.
_NOT_YET: Mapping[object, Set[str]] = {
    "1": {"check_words", "limit_loosened", "limit_of", *_LATE},
    "2": {"limit_of", *_LATE},
}


@dataclass(frozen=True, slots=True)
class Job:
    """A machine ready for its first event, and the log it goes to."""

    machine: Machine
    log: JobLog
    first: Start | Resumed


class JobCompleted(RecordError):
    """The job had ended, and not its record: it was completed, and there is nothing to go on with."""


def _package(*parts: str) -> str:
    return resources.files("handsfree.procedure").joinpath(*parts).read_text(encoding="utf-8")


def prompts_text() -> str:
    """The packaged prompt file."""
    return _package(_PROMPTS)


def packaged_procedures() -> tuple[str, ...]:
    """Names of the procedures in the package."""
    folder = resources.files("handsfree.procedure").joinpath("procedures")
    return tuple(sorted(f.name.removesuffix(".toml") for f in folder.iterdir() if f.name.endswith(".toml")))


def packaged_procedure(name: str) -> str:
    """The text of a packaged procedure. Raises FileNotFoundError."""
    return _package("procedures", f"{name}.toml")


def job_folder(jobs: Path, name: str, stamp: str) -> Path:
    """A folder for a new job: when it began and what it is called."""
    slug = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "job"
    base = f"{stamp[:10]}-{stamp[11:19].replace(':', '')}-{slug}"
    folder, number = jobs / base, 2
    while folder.exists():
        folder, number = jobs / f"{base}-{number}", number + 1
    return folder


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def book_of(
    texts: Mapping[str, str], schema: object = None, *, to_work_by: bool = True, called: str = _PROCEDURE
) -> Book:
    """What a machine works from, of the texts of the pinned files by name. ``schema``: the record's line format.

    ``to_work_by``: every prompt that could be wanted must be there; a replay wants only those that were. ``called``:
    the procedure file's name, for a complaint about it.
    Raises ProcedureError, PromptError, LimitsError.
    """
    spoken = Prompts(texts[_PROMPTS], _PROMPTS)
    if to_work_by:
        spoken.must_cover(Prompts(prompts_text(), _PROMPTS), but=_NOT_YET.get(schema, frozenset()))
    policy = parse_policy(texts[_POLICY]) if texts[_POLICY] else DEFAULT
    return Book(read_procedure(texts[_PROCEDURE], called), spoken, policy)


def header_of(book: Book) -> dict[str, object]:
    """What the first line says of the procedure and the policy, in words."""
    return {
        "procedure": book.procedure.id,
        "procedure_title": book.procedure.title,
        "procedure_version": book.procedure.version,
        "policy": book.policy.name,
        "policy_moved": _moved(book.policy),
    }


def limits_hash(policy: Policy) -> str:
    """Hash of every rule as it stands under a policy: limits, severities, sources."""
    return _sha256(as_json(policy))


def _moved(policy: Policy) -> list[str]:
    """Every limit the shop moved, and who allowed it, in words: it shows in the record's first line."""
    found = []
    for rule_id, change in sorted(policy.overrides.items()):
        limit = f" {change.limit.value} {change.limit.unit}" if change.limit is not None else ""
        who = f", loosened, allowed by {change.allowed_by}: {change.why}" if change.allowed_by else ""
        weight = f" {change.severity}" if change.severity is not None else ""
        found.append(f"{rule_id}{limit}{weight}{who}")
    return found


def create_job(
    folder: Path,
    *,
    procedure: str,
    prompts: str,
    policy: str = "",
    called: str = _PROCEDURE,
    about: Mapping[str, str],
    pins: Mapping[str, str],
    clock: Clock,
) -> Job:
    """A new job in ``folder``.

    ``policy`` is a shop policy file's text, "" for the default. ``called`` is the procedure file's own name, for a
    complaint about it. ``about`` (technician and the like) goes to the machine, ``pins`` (engine, grammar hash,
    voice) to the first line. Raises RecordError, ProcedureError, PromptError, LimitsError.
    """
    texts = {_PROCEDURE: procedure, _PROMPTS: prompts, _POLICY: policy}
    book = book_of(texts, called=called)
    header: dict[str, object] = {
        "tool": f"handsfree {version('handsfree')}",
        **header_of(book),
        "limits_sha256": limits_hash(book.policy),
        **{key: _sha256(texts[name]) for name, key in PINNED.items()},
        "clock": clock.name,
        "about": sorted(about),
        **about,
        **pins,
    }
    log = JobLog.create(folder, header, clock=clock.reading)
    try:
        for (
            name,
            text,
        ) in texts.items():  # on disk before the job begins: without them it can't be opened again
            write_private(folder / name, text.encode())
    except OSError as error:
        log.close()
        raise RecordError(f"can't write {folder}: {error.strerror}; free the disk or choose --jobs") from None
    return Job(Machine(book), log, Start(clock.now(), tuple(sorted(about.items()))))


def job_book(folder: Path, header: Mapping[str, object], *, to_work_by: bool = True) -> Book:
    """The book a job works from, read from the files beside its record.

    ``header`` is the body of its first line, which pins them ({}: nothing to compare with). Raises RecordError
    (a file is missing or was changed), ProcedureError, PromptError, LimitsError.
    """
    texts = {}
    for name, key in PINNED.items():
        try:
            texts[name] = (folder / name).read_bytes().decode("utf-8")
        except (OSError, UnicodeDecodeError):
            raise RecordError(
                f"{folder / name} can't be read; the job needs the files it began with"
            ) from None
        if header and header.get(key) != _sha256(texts[name]):
            raise RecordError(f"{folder / name} was changed since the job began; put the original back")
    return book_of(texts, header.get("schema"), to_work_by=to_work_by)


def open_job(folder: Path, make_clock: Callable[[int], Clock]) -> tuple[Job, Clock]:
    """Open an interrupted job: replay its record, write what a crash kept from being written, go on.

    ``make_clock`` gets the time of the last event, which the new clock must not go behind.
    Raises RecordError (damaged, finished, in use, or its pinned files changed); JobCompleted where the job was
    finished and lines of its end were missing, which are written now, by the kind of clock it was worked by.
    """
    read = read_log(folder)
    if not read.lines:
        raise RecordError(
            f"{folder}: its record has no whole line, so there is nothing to go on with: put the record back from a "
            "copy, or start a new job"
        )
    rows = [line.entry for line in read.lines]
    _not_signed(folder, rows)
    header = read.lines[0].body
    book = job_book(folder, header)
    clock = make_clock(0)
    if not _same_kind_of_time(rows, clock):
        ended = _ended_at(book, read.lines)
        _may_be_completed(folder, rows, clock, ended)
        make_clock = _clock_of(rows)
        clock = make_clock(ended or 0)
    log = JobLog.open(folder, clock=lambda: clock.reading())
    try:
        replayed = _replayed(book, log.lines)
        machine = replayed.machine
        clock = make_clock(machine.state.at)
        begun = len(log.lines)  # after what the power cut off was moved aside, which completes nothing
        log.append(_with_its_event(log, replayed))  # a finished job's too: its disposition may be among them
        if machine.state.mode is Mode.FINISHED:
            words = machine.state.sealed
            _seal(log, replayed, clock)
            rows = [line.entry for line in log.lines]
            raise _completed(folder, rows, words=words) if len(rows) > begun else _finished(folder, rows)
    except BaseException:
        log.close()
        raise
    if machine.state.mode is Mode.IDLE:
        return Job(machine, log, Start(clock.now(), _about(log.lines[0].body))), clock
    return Job(machine, log, Resumed(clock.now())), clock


def _replayed(book: Book, lines: Sequence[Line]) -> Replayed:
    try:
        return replay(book, in_present_form(lines))
    except RecordError as error:
        raise RecordError(f"{error}; keep the folder and start a new job") from None


def _not_signed(folder: Path, rows: Sequence[Mapping[str, object]]) -> None:
    """Nothing may follow a signature, and no option opens such a job: that is said before anything else."""
    if last_signed(rows) is not None:
        raise _finished(folder, rows)


def _finished(folder: Path, rows: Sequence[Mapping[str, object]]) -> RecordError:
    how = _closed_as(rows) if rejection(rows) is None else REJECTED
    return RecordError(
        f"{folder.name} is finished: {how}; {how_to_do_again(rows) or 'see it with handsfree show'}"
    )


def _closed_as(rows: Sequence[Mapping[str, object]]) -> str:
    closed = next((row for row in reversed(rows) if row.get("kind") == "close"), {})
    return value_of(closed, "disposition")


def _completed(folder: Path, rows: Sequence[Mapping[str, object]], *, words: bool) -> JobCompleted:
    """``words``: its check words were there before."""
    told = next((row for row in reversed(rows) if row.get("kind") == "seal"), None)
    if words or told is None:
        new = "whether its check words were told to their end is not known"
    else:
        new = f"its check words are new, told to nobody: {' '.join(items(told, 'words'))}"
    return JobCompleted(
        f"{folder.name} is finished: {_closed_as(rows)}; the end of its record was missing and was "
        f"completed; {new}; compare with the work order's, and see it with handsfree show"
    )


def _with_its_event(log: JobLog, replayed: Replayed) -> list[dict[str, object]]:
    """The missing lines, with the time of the event that they belong to."""
    event = next((line for line in reversed(log.lines) if line.kind == "event"), None)
    time = {"at": event.at, "mono_ms": event.mono_ms} if event else {}
    return [{**line, **time} for line in replayed.missing]


def _seal(log: JobLog, replayed: Replayed, clock: Clock) -> None:
    """What a crash kept a finished job from: nobody hears the rest now, and the record says so."""
    machine, unspoken = replayed.machine, list(replayed.unspoken)
    sealed = machine.state.sealed or "check_words" not in machine.book.prompts.templates
    if unspoken or not sealed:
        log.append([{"kind": "reopened", "reason": "the job had ended, but not its record"}])
    _note_unspoken(log, machine, unspoken, clock)
    if sealed:
        return
    head = log.head
    said = _log_event(log, machine, Sealed(clock.now(), head, check_words(head)))
    _note_unspoken(log, machine, said, clock)


def _note_unspoken(log: JobLog, machine: Machine, unspoken: list[Say], clock: Clock) -> None:
    for say in unspoken:
        _log_event(log, machine, Spoken(clock.now(), say.id, False), text=say.text, say_kind=say.kind)


def _log_event(log: JobLog, machine: Machine, event: Event, **extra: object) -> list[Say]:
    """Append an event with its lines; returns what it would have said."""
    effects = machine.feed(event)
    lines = [entry(effect) for effect in effects if isinstance(effect, Record)]
    log.append([{**event_body(event), **extra, "kind": "event"}, *lines])
    return [effect for effect in effects if isinstance(effect, Say)]


def _same_kind_of_time(rows: Sequence[Mapping[str, object]], clock: Clock) -> bool:
    """A wait of a real job must really last; a practice job must not turn into a real one."""
    return (rows[0].get("clock") == "simulated") == (clock.name == "simulated")


def _clock_of(rows: Sequence[Mapping[str, object]]) -> Callable[[int], Clock]:
    """The kind of clock that a job was begun with."""
    return SimulatedClock if rows[0].get("clock") == "simulated" else SystemClock


def _ended_at(book: Book, lines: Sequence[Line]) -> int | None:
    """The machine's time at the end of a job that is finished, None for one that is not, or does not replay."""
    try:
        state = replay(book, in_present_form(lines)).machine.state
    except RecordError:
        return None
    return state.at if state.mode is Mode.FINISHED else None


def _may_be_completed(
    folder: Path, rows: Sequence[Mapping[str, object]], clock: Clock, ended: int | None
) -> None:
    """By another kind of clock a job does not go on; but a finished one has nothing to wait for."""
    if ended is None and clock.name != "simulated":
        raise RecordError(f"{folder.name} is a practice job; resume it with --practice, or start a new job")
    if ended is None:
        raise RecordError(
            f"{folder.name} is a real job, its waits must last: resume it without --practice or --fast"
        )


def _about(header: Mapping[str, object]) -> tuple[tuple[str, str], ...]:
    """What the job was to be started with, from its first line."""
    names = header.get("about")
    return tuple((str(n), str(header.get(str(n), ""))) for n in (names if isinstance(names, list) else ()))
