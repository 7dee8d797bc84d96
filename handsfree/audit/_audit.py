"""One job, all checks, in the order in which they depend on each other."""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from importlib.metadata import version
from pathlib import Path

from handsfree.limits import LimitsError
from handsfree.procedure import Book, ProcedureError, PromptError, Start
from handsfree.record import (
    NOT_PLAYED,
    RECORD,
    Finding,
    LogRead,
    RecordError,
    as_it_stands,
    as_signed,
    check_name,
    check_read,
    check_words,
    current,
    in_present_form,
    not_told,
    pinned,
    read_log,
    why_rejected,
)
from handsfree.record._models import misfit
from handsfree.session import book_of, header_of, limits_hash

from ._course import course
from ._heard import grammar_hash, parsed_again
from ._judged import judged_again
from ._listen import Listener, VoiceOf, heard_again
from ._report import Report
from ._time import times, waits
from ._walk import Walk, walk

__all__ = ["audit"]

#: Checks the signatures of a record: everything it finds, and who signed last, in words.
Signatures = Callable[[LogRead], tuple[list[Finding], str]]


def audit(
    folder: Path,
    *,
    signatures: Signatures | None = None,
    listener: Listener | None = None,
    voice: VoiceOf = lambda _: None,
    words: Sequence[str] = (),
) -> Report:
    """Check a job's record. Changes nothing. Raises RecordError only when there is no record to read.

    ``signatures`` checks who signed it, ``listener`` hears the kept sound again (some minutes for a long job) by
    the adaptations that ``voice`` finds by the hash in the record,
    ``words`` are the check words that somebody wrote down when the job ended.
    """
    read = read_log(folder)
    found = [*check_read(read), *check_name(read)]
    found += _lines(read)
    found += _files(read)
    found += _completed_later(read)
    present = _in_present_form(read)
    header: Mapping[str, object] = read.lines[0].body if read.lines else {}
    found += _circumstances(header)
    walked = Walk(broken=True)
    # Without a first line nothing says which files the job began with: they are not to blame.
    texts, faults = pinned(folder, header) if header else ({}, {})
    found += [Finding("pinned", 1, why) for why in faults.values()]
    if header and not faults:
        more, walked = _worked(present, texts, header, listener, voice)
        found += more
    numbered = list(zip(read.numbers, read.lines, strict=True))
    found += times(numbered)
    found += waits(numbered)
    if words and list(words) != _sealed(read):
        found.append(
            Finding("head", 0, "the check words are not those the job was sealed with: another record")
        )
    signed = ""
    if signatures is not None:
        more, signed = signatures(read)
        found = as_signed([*found, *more], more)
    report = _report(read, sorted(set(found), key=lambda f: (f.line, f.check, f.message)), walked, signed)
    told = bool(_sealed(read)) and not not_told([line.entry for line in read.lines])
    return replace(report, words=_how_told(_sealed(read), words, told=told), told=told)


def _how_told(sealed: Sequence[str], words: Sequence[str], *, told: bool) -> str:
    """What is known of the check words: that they are those on the work order only where somebody compared them."""
    how = " told at the end" if told else NOT_PLAYED
    if not words:
        return f"{how} (compare with the work order's)"
    return f"{how}, {'the same as' if list(words) == list(sealed) else 'NOT'} those given with --words"


def _sealed(read: LogRead) -> list[str]:
    words = next((line.body.get("words") for line in reversed(read.lines) if line.kind == "seal"), None)
    return [str(word) for word in words] if isinstance(words, list) else []


def _opened(header: Mapping[str, object], book: Book, walked: Walk) -> Iterator[Finding]:
    """The first line says the same as the files it pins and the event that began the job."""
    for key, value in header_of(book).items():
        if header.get(key) != value:
            yield Finding("open", 1, f"{key} is {header.get(key)!r}, by the pinned file {value!r}")
    if header.get("limits_sha256", (ours := limits_hash(book.policy))) != ours:
        told = "the rules have changed since: it was judged again by those of this program"
        yield Finding("judged", 1, told, "warn")
    first = walked.turns[0].event if walked.turns else None
    names = header.get("about")
    about = {name: header.get(name) for name in names} if isinstance(names, list) else {}
    if isinstance(first, Start) and dict(first.job) != about:
        yield Finding("open", 1, "who, where and when are not what the job was started with")


def _report(read: LogRead, found: list[Finding], walked: Walk, signed: str) -> Report:
    closed = next((line.body for line in reversed(read.lines) if line.kind == "close"), {})
    rows = [line.entry for line in read.lines]
    return Report(
        folder=read.folder,
        findings=tuple(found),
        lines=len(read.lines),
        head=read.head,
        head_words=check_words(read.head),
        check_words=tuple(_sealed(read)),
        disposition=as_it_stands(rows, str(closed.get("disposition", ""))),
        rejection=why_rejected(rows),
        signed=signed,
        finished=walked.finished,
        first=read.lines[0].hash if read.lines and read.numbers[0] == 1 else "",
    )


def _in_present_form(read: LogRead) -> LogRead:
    """The record as today's machine would have written it; as it is where its version is not known."""
    try:
        return replace(read, lines=in_present_form(read.lines))
    except RecordError:
        return read


def _lines(read: LogRead) -> Iterator[Finding]:
    """Every line is one of the format's."""
    try:
        entries = current(read.lines)
    except RecordError as error:
        yield Finding("format", 1, str(error))
        return
    for number, entry in zip(read.numbers, entries, strict=True):
        why = misfit(entry)
        if why:
            yield Finding("format", number, f"not a line of the format: {why}")


def _completed_later(read: LogRead) -> Iterator[Finding]:
    """A job that had ended when its record was opened again: it may have been cut off to get another end."""
    closed = False
    for number, line in zip(read.numbers, read.lines, strict=True):
        if line.kind == "reopened" and closed:
            told = (
                "the end of the record was missing, and was completed when the job was opened again: what was told "
                "at the end of the work, check words too, may be other than stands here; compare with the work order"
            )
            yield Finding("end", number, told, "warn")
        closed = closed or line.kind == "close"


def _files(read: LogRead) -> Iterator[Finding]:
    """Files beside the record: what was set aside is still what it was, and only the owner can read it all."""
    aside = {}
    for number, line in zip(read.numbers, read.lines, strict=True):
        if line.kind == "recovered":
            name = aside[number] = Path(str(line.body.get("file"))).name
            try:
                content = (read.folder / name).read_bytes()
            except OSError:
                yield Finding("file", number, f"{name} was set aside, and is not there")
                continue
            if hashlib.sha256(content).hexdigest() != line.body.get("torn_sha256"):
                yield Finding("file", number, f"{name} was set aside, and has been changed since")
    for path in sorted(read.folder.glob("record.torn-*")):
        if path.name not in aside.values():
            yield Finding("file", 0, f"{path.name}: no line names it", "warn")
    if os.name != "nt" and stat.S_IMODE((read.folder / RECORD).stat().st_mode) & 0o077:
        yield Finding(
            "file", 0, "others on this computer may read the record (chmod -R go= the folder)", "note"
        )


def _circumstances(header: Mapping[str, object]) -> Iterator[Finding]:
    if header.get("practice"):
        yield Finding("clock", 1, f"practice, not for a real tire: {header['practice']}", "note")
    if header.get("clock") == "simulated" and not header.get("practice"):
        yield Finding("clock", 1, "its clock was simulated, and yet it is not called practice")
    ours = f"handsfree {version('handsfree')}"
    if header.get("tool") not in (None, ours):  # None: nothing is left to tell
        yield Finding("tool", 1, f"written by {header.get('tool')}, checked by {ours}", "note")


def _worked(
    read: LogRead,
    texts: Mapping[str, str],
    header: Mapping[str, object],
    listener: Listener | None,
    voice: VoiceOf,
) -> tuple[list[Finding], Walk]:
    """What the procedure, the limits and the grammars say of it."""
    try:
        book: Book = book_of(texts, header.get("schema"), to_work_by=False)
    except (ProcedureError, PromptError, LimitsError) as error:
        return [Finding("pinned", 1, f"this program can't work by the job's own files: {error}")], Walk(
            broken=True
        )
    walked = walk(book, read)
    walked.findings += _opened(header, book, walked)
    found = [*walked.findings, *judged_again(book, walked)]
    numbered = list(zip(read.numbers, read.lines, strict=True))
    try:
        found += course(book.procedure, numbered)
    except (KeyError, ValueError) as error:
        found.append(Finding("course", 0, f"a line names something the procedure does not have: {error}"))
    if header.get("grammar_sha256") in (None, grammar_hash()):
        found += parsed_again(walked)
    else:
        found.append(
            Finding(
                "parse", 1, "other grammars are installed now: what was heard is not parsed again", "warn"
            )
        )
    if listener is not None:
        found += heard_again(read, walked, header, listener, voice)
    return found, walked
