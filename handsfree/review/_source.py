"""What a page is made from: one job as it is on the disk. The only reading module of the room."""

from __future__ import annotations

import base64
import contextlib
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from handsfree.limits import LimitsError
from handsfree.procedure import Book, ProcedureError, PromptError, State
from handsfree.procedure._model import Step
from handsfree.record import (
    AUDIO,
    NAMED,
    OLDER,
    RECORD,
    STRANGER,
    Finding,
    LogRead,
    RecordError,
    Told,
    as_signed,
    check_name,
    check_read,
    exceptions_of,
    hash_prefix,
    in_present_form,
    read_log,
    tell,
    value_of,
)
from handsfree.session import end_findings, job_book, replay

from ._own import Own, own_of

__all__ = ["AUDIO_LIMIT", "Sound", "Source", "beside", "read_source"]

#: Sound in one page, bytes before base64: a page that a phone still opens and a mail still carries.
AUDIO_LIMIT = 24 << 20

_TYPES = {".wav": "audio/wav", ".flac": "audio/flac"}


@dataclass(frozen=True, slots=True)
class Sound:
    """One utterance for the page: a data URI, or why there is none. ``kept``: the record names a sound file."""

    uri: str = ""
    note: str = ""
    kept: bool = True


@dataclass(frozen=True, slots=True)
class Source:
    """``rows``: the record's lines, tied; ``doubt``: why the record could not be replayed, "" when it was;
    ``keys``: the shop's folder of public keys that its signatures were held against, None: they were not;
    ``own``: what belongs to each injury, those put aside first and the present one last;
    ``newer``: the job beside it that holds this record whole and goes on where it ends, "" for none;
    ``twin``: another copy of the job beside it that holds a signature which this one lacks, "" for none."""

    name: str
    rows: Sequence[Told]
    findings: Sequence[Finding] = ()
    book: Book | None = None
    state: State | None = None
    doubt: str = ""
    sounds: Mapping[str, Sound] = field(default_factory=dict)
    keys: Path | None = None
    newer: str = ""
    twin: str = ""
    own: Sequence[Own] = ()

    def step(self, name: str) -> Step | None:
        """A step of the procedure that was followed; None when it is not known."""
        if self.book is None:
            return None
        return next((step for step in self.book.procedure.step if step.id == name), None)

    @property
    def damage(self) -> list[Finding]:
        """What makes the record untrustworthy."""
        return [finding for finding in self.findings if finding.severity == "error"]

    @property
    def changed(self) -> bool:
        """Whether it is damaged by more than a signature of a key that the folder of keys does not hold."""
        return any(finding.sort != STRANGER for finding in self.damage)

    @property
    def altered(self) -> bool:
        """Whether what stands in it is not what was written: not so of an untouched record that only lacks a later
        signature, or lies in another job's folder."""
        return any(finding.sort not in (STRANGER, OLDER, NAMED) for finding in self.damage)


def read_source(folder: Path, *, audio_limit: int = AUDIO_LIMIT, keys: Path | None = None) -> Source:
    """Read a job, damage and all, changing nothing. Raises RecordError when there is no record to read."""
    read = read_log(folder)
    findings = [*check_read(read), *check_name(read), *_about_signatures(read, keys)]
    rows = tell(read.lines)
    book, state, doubt, own = None, None, "", tuple[Own, ...]()
    broken = read.broken
    try:
        book = job_book(folder, read.lines[0].body if read.lines else {}, to_work_by=False)
        lines = in_present_form(read.lines)
        replayed = replay(book, lines)
        state = replayed.machine.state
        findings += end_findings(read, book, replayed) if broken is None else ()
        own = own_of(book, lines)
    except (RecordError, ProcedureError, PromptError, LimitsError) as error:
        # After a damaged line the replay stumbles somewhere: the line that is damaged is the one to name.
        doubt = str(error) if broken is None else f"its line {broken.line} is damaged: {broken.reason}"
    sounds = _sounds(folder, rows, audio_limit)
    name = folder.name if folder.name not in ("", "..") else folder.resolve().name
    return Source(name, rows, as_signed(findings, findings), book, state, doubt, sounds, keys, own=own)


def beside(source: Source, folder: Path, jobs: Sequence[Path]) -> Source:
    """The same, where it lacks a signature that the shop's list knows and a job of ``jobs`` has it: then it is an
    older copy of that job, and no damage; but for one that is damaged itself. ``folder``: its own."""
    lacking = [one for one in source.damage if one.sort == OLDER]
    newer, twin = _newer(folder, jobs) if lacking else ("", "")
    if not newer:
        return replace(source, twin=twin)
    lacking += [one for one in source.findings if one.sort == NAMED and one.severity != "error"]
    told = Finding("signed", 0, f"an older copy of {newer}, which goes on where this one ends", "warn")
    return replace(source, findings=[*(f for f in source.findings if f not in lacking), told], newer=newer)


def _newer(folder: Path, jobs: Sequence[Path]) -> tuple[str, str]:
    """The job that goes on where this one ends, and one of the same first line that somebody signed."""
    own = read_log(folder).lines
    first, found, twin = own[0].hash.encode(), "", ""
    for other in jobs:
        if other == folder:
            continue
        with contextlib.suppress(OSError, RecordError):  # what can't be read is told in its own place
            with (other / RECORD).open("rb") as file:
                if first not in file.readline():  # the first line's own hash is in it
                    continue
            lines = read_log(other).lines
            if len(lines) > len(own) and lines[len(own) - 1].hash == own[-1].hash:
                own, found = (*own, *lines[len(own) :]), other.name
            if any(line.kind == "signed" for line in lines):
                twin = other.name
    return found, twin


def _about_signatures(read: LogRead, keys: Path | None) -> list[Finding]:
    if keys is None and not any(line.kind == "signed" for line in read.lines):
        return []
    from handsfree.record.signing import check_signatures  # its library takes time to load

    return check_signatures(read, keys)[0]


def _sounds(folder: Path, rows: Sequence[Told], limit: int) -> dict[str, Sound]:
    """Utterances behind something out of the ordinary first, then in the job's order, while there is room."""
    odd = {id(row.cause) for row in rows if exceptions_of(row)}
    heard = [row for row in rows if value_of(row, "audio")]
    found: dict[str, Sound] = {}
    left = limit
    for row in sorted(heard, key=lambda row: id(row) not in odd):
        path = value_of(row, "audio")
        if path not in found:
            found[path], size = _sound(folder, path, left)
            left -= size
    return found


def _sound(folder: Path, path: str, room: int) -> tuple[Sound, int]:
    """Only a file that its own name vouches for: no path of a record leads out of the job's folder."""
    place, _, name = path.rpartition("/")
    if not place:  # a word instead of a file says that this sound is not kept, and why
        return Sound(note=f"no sound: {path}", kept=False), 0
    prefix, kind = hash_prefix(name), _TYPES.get(Path(name).suffix)
    if place != AUDIO or prefix is None or kind is None:
        return Sound(note="not the name of a kept utterance"), 0
    file = folder / AUDIO / name
    try:
        if file.stat().st_size > room:
            return Sound(note=f"left out for size; it is in the job\u2019s folder: {path}"), 0
        content = file.read_bytes()
    except FileNotFoundError:
        return Sound(note=f"the sound is missing: {path}"), 0
    except OSError as error:
        return Sound(note=f"the sound can\u2019t be read ({error.strerror}): {path}"), 0
    if not hashlib.sha256(content).hexdigest().startswith(prefix):
        return Sound(note=f"THE SOUND WAS CHANGED: {path}"), 0
    return Sound(f"data:{kind};base64,{base64.b64encode(content).decode('ascii')}"), len(content)
