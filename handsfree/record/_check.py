"""Is a record what was written? Numbers, chain, the files it was made by, and the sound files it names."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from ._audio import AUDIO, WITHHELD, hash_prefix
from ._clocks import clocks_set
from ._forget import dropped_too_soon
from ._line import Json, Line
from ._pinned import PINNED, pinned
from ._read import LogRead, read_log
from ._wording import counted, days_of, joined
from ._words import check_words

__all__ = [
    "ABSENT",
    "NAMED",
    "OLDER",
    "RESUME",
    "STRANGER",
    "Finding",
    "as_signed",
    "check_chain",
    "check_read",
    "what_is_damaged",
]

_MISSING = "the file is missing"
_MOST_STRAYS = 3  # named one by one
#: ``Finding.sort``: a sound file that is not there; a signature that the shop's list knows and the record lacks; a
#: signature that fits the record, by a key that is not in the folder it was held against: perhaps the wrong folder.
#: And a record that the list knows as that of another folder.
ABSENT, NAMED, OLDER, STRANGER = "absent", "named", "older", "stranger"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found wrong. ``line`` counts from 1 (0: not about a line); ``severity`` is "error" where the
    record can't be trusted, "warn" where a person must look, "note" for what is only to be known; ``sort`` is what a
    reader of findings tells apart within a check, "" for most: never by the message."""

    check: str  # "line" | "torn" | "pinned" | "audio" | "head", and what an audit adds
    line: int
    message: str
    severity: str = "error"
    sort: str = ""


def check_chain(folder: Path | str) -> list[Finding]:
    """Check every line's form, number, chain and hash, the files that the first line pins, every audio file's hash,
    and the closing line's head.

    Changes nothing. A chain shows every change inside it but not a cut at a line's end: compare the last hash
    with the one spoken or signed at the close for that. Raises RecordError when there is no record.
    """
    return check_read(read_log(folder))


def check_read(read: LogRead) -> list[Finding]:
    """The same for a record that has been read already."""
    found = [Finding("torn" if damage.torn else "line", damage.line, damage.reason) for damage in read.damage]
    found += _pinned_findings(read)
    found += _audio_findings(read)
    found += _close_findings(read)
    found += _dates(read)
    return sorted(found, key=lambda finding: (finding.line, finding.check, finding.message))


def what_is_damaged(findings: Iterable[Finding]) -> str:
    """In a few words, "" where no finding is an error: how many of the record, each pinned file by name, and that
    its end is missing."""
    errors = [finding for finding in findings if finding.severity == "error"]
    named = [finding.message for finding in errors if finding.check in ("pinned", "end")]
    many = len(errors) - len(named)
    damaged = f"the record is damaged: {counted(many, 'finding')}" if many else ""
    return joined(damaged, *named, sep="; ")


#: What to do where the end is missing, and where somebody had signed it.
RESUME, _COPY = "handsfree resume completes it", "put it back from a copy"


def as_signed(findings: Iterable[Finding], signatures: Iterable[Finding]) -> list[Finding]:
    """The findings, where the shop's list knows a signature that the record lacks: its missing end is then not to be
    written anew, but to be put back."""
    if not any(finding.sort == OLDER for finding in signatures):
        return list(findings)
    return [
        replace(one, message=one.message.replace(RESUME, _COPY)) if one.check == "end" else one
        for one in findings
    ]


def _pinned_findings(read: LogRead) -> Iterator[Finding]:
    """Of a first line that pins files; where it is lost there is nothing to hold them against, and that is told."""
    header = read.lines[0].body if read.lines and read.lines[0].kind == "open" else {}
    if any(key in header for key in PINNED.values()):
        for why in pinned(read.folder, header)[1].values():
            yield Finding("pinned", 1, why)


def _audio_findings(read: LogRead) -> Iterator[Finding]:
    named: set[str] = set()
    gone: list[Finding] = []
    dropped = {path: line for line in read.lines if line.kind == "audio_dropped" for path in _files_of(line)}
    for number, line in zip(read.numbers, read.lines, strict=True):
        for path in _audio_of(line.body):
            named.add(path)
            fault = _audio_fault(read.folder, path)
            if fault == _MISSING and path in dropped:
                continue
            if fault:
                sort = ABSENT if fault == _MISSING else ""
                gone.append(Finding("audio", number, f"{path}: {fault}", sort=sort))
    lacking = [finding for finding in gone if finding.sort == ABSENT]
    if len(lacking) > 1 and not (read.folder / AUDIO).is_dir():
        told = f"the sound folder is gone ({counted(len(lacking), 'file')})"
        gone = [Finding("audio", 0, told, sort=ABSENT), *(one for one in gone if one not in lacking)]
    yield from gone
    for number, line in zip(read.numbers, read.lines, strict=True):
        if line.kind == "audio_dropped":
            yield from _drop_findings(read, number, line, named)
    yield from _strays(read.folder, named)


def _strays(folder: Path, named: set[str]) -> Iterator[Finding]:
    """Sound that no line names: a record that was cut leaves all of it, and that must not bury what is wrong."""
    found = [
        path for file in sorted((folder / AUDIO).glob("*")) if (path := f"{AUDIO}/{file.name}") not in named
    ]
    if len(found) <= _MOST_STRAYS:
        yield from (Finding("audio", 0, f"{path}: no line names it", "note") for path in found)
        return
    first, last = (path.rpartition("/")[2].partition("-")[0] for path in (found[0], found[-1]))
    told = f"{AUDIO}/{first}-... to {last}-..."
    yield Finding("audio", 0, f"{len(found)} files, {told}: no line names them", "note")


def _files_of(line: Line) -> list[str]:
    files = line.body.get("files")
    return [path for path in files if isinstance(path, str)] if isinstance(files, list) else []


def _drop_findings(read: LogRead, number: int, line: Line, named: set[str]) -> Iterator[Finding]:
    files = _files_of(line)
    for path in files:
        if path not in named:
            yield Finding("audio", number, f"{path} is said to be dropped, but no line names it")
        elif (read.folder / path).exists():
            yield Finding("audio", number, f"{path} is said to be dropped, and is still there", "note")
    if dropped_too_soon(read.lines, line):
        yield Finding("audio", number, "utterances were dropped before the policy's days were over")
    days = f"older than {days_of(line.body)}"
    yield Finding(
        "audio",
        number,
        f"{counted(len(files), 'utterance')} dropped on {line.at[:10]} by policy ({days})",
        "note",
    )


def _audio_of(body: Mapping[str, Json]) -> Iterator[str]:
    path = body.get("audio")
    if isinstance(path, str) and path not in ("", WITHHELD):
        yield path


def _audio_fault(folder: Path, path: str) -> str:
    place, _, name = path.rpartition("/")
    prefix = hash_prefix(name)
    if place != AUDIO or prefix is None:
        return "not the name of a kept utterance"
    try:
        content = (folder / AUDIO / name).read_bytes()
    except FileNotFoundError:
        return _MISSING
    except OSError as error:
        return f"can't be read ({error.strerror})"
    return sound_fault(prefix, content)


def sound_fault(prefix: str, content: bytes) -> str:
    """What is wrong with a sound file, by the hash digits in its name; "" when nothing is."""
    return "" if hashlib.sha256(content).hexdigest().startswith(prefix) else "the sound was changed"


def _dates(read: LogRead) -> Iterator[Finding]:
    """A signature verifies whatever its date says: it is held against the line before it."""
    for index, told in clocks_set([line.entry for line in read.lines]).items():
        if read.lines[index].kind == "signed":
            yield Finding("signed", read.numbers[index], f"the signature is {told}", "warn")


def _close_findings(read: LogRead) -> Iterator[Finding]:
    for number, line in zip(read.numbers, read.lines, strict=True):
        head = line.body.get("head")
        if line.kind == "event" and line.body.get("type") == "sealed":
            if head != line.prev:
                yield Finding(
                    "head", number, "the job was sealed with another chain head than the line before"
                )
            elif line.body.get("words") != list(check_words(line.prev)):
                yield Finding("head", number, "the check words are not those of the chain head")
        elif line.kind == "close" and head not in (None, "", line.prev):
            yield Finding("head", number, "the closing line names another chain head")
