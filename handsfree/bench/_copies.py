"""Many jobs from a few: real simulated jobs, copied to another time and bay, each chained anew.

A copy is a valid record of its own: other first line, other times, its own hashes, check words and head. What was
said and measured is the template's.
"""

from __future__ import annotations

import hashlib
import re
import uuid
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import rfc8785

from handsfree.archive._derive import Rows, derive
from handsfree.archive._push import Sealed, read_files
from handsfree.bench._channel import Arming
from handsfree.bench._simulation import Work, run_job
from handsfree.procedure import read_procedure
from handsfree.record import GENESIS, LogRead, check_words, read_log
from handsfree.record._line import RESERVED, Line, build
from handsfree.session import packaged_procedures

__all__ = ["BAYS", "Template", "copied", "copied_rows", "simulated"]

BAYS = 40
_DAYS = 365


_SLOT = "slot of %s"


@dataclass(frozen=True, slots=True)
class _Mold:
    """A line of which only times and chain change: its canonical bytes between them. ``at_ms`` and the text between
    ``at`` and ``hash`` are cut apart there only where a line has one."""

    before: bytes
    between: tuple[bytes, ...]
    after: bytes
    last: bytes
    at: datetime
    at_ms: int | None


@dataclass(frozen=True, slots=True)
class Template:
    """One simulated job. ``entries``: its lines without chain keys; ``molds``: the same for those lines that a copy
    can take by their bytes (a hundred thousand times the canonical form of each would take hours)."""

    name: str
    entries: Sequence[dict[str, Any]]
    files: dict[str, bytes]
    rows: Rows
    molds: Sequence[_Mold | None]


def simulated(folder: Path, seeds: Iterable[int], passes: Callable[[Path], bool]) -> list[Template]:
    """Simulated jobs on disk, shared out over the packaged procedures; those that ``passes`` (a folder) refuses are
    left out, so that every copy is one that a push would take."""
    arming, found = Arming(), []
    names = packaged_procedures()
    for seed in seeds:
        name = names[seed % len(names)]
        place = folder / f"template-{seed:04}"
        run_job(Work(name), seed, arming, place)
        if passes(place):
            read, files = read_log(place), read_files(place, sound=False)
            entries = [_unchained(line) for line in read.lines]
            procedure = read_procedure(files["procedure.toml"].decode())
            rows = derive(place.name, read, procedure)
            molds = [_mold(entry, seq) for seq, entry in enumerate(entries)]
            found.append(Template(place.name, entries, files, rows, molds))
    return found


def _unchained(line: Line) -> dict[str, Any]:
    return {key: value for key, value in line.entry.items() if key not in ("seq", "prev", "hash")}


def _mold(entry: Mapping[str, Any], seq: int) -> _Mold | None:
    """None where a copy changes more than times and chain."""
    if entry["kind"] in ("open", "seal") or entry.get("type") in ("start", "sealed"):
        return None
    if entry.get("type") == "spoken" and str(entry["text"]).startswith("Check words:"):
        return None
    names = ("at", "at_ms", "hash", "prev") if "at_ms" in entry else ("at", "hash", "prev")
    whole = rfc8785.dumps({**entry, "seq": seq, **{name: _SLOT % name for name in names}}) + b"\n"
    parts = re.split(rb'(?<=")slot of \w+(?=")', whole)
    if len(parts) != len(names) + 1:
        raise ValueError(f"line {seq + 1} of a template holds the text of a slot")
    *first, before_hash, after_hash, last = parts
    hash_key = b'"hash":"'
    *between, open_hash = *first[1:], before_hash.removesuffix(hash_key)
    return _Mold(
        first[0],
        (*between, open_hash),
        after_hash.removeprefix(b'",'),
        last,
        datetime.fromisoformat(entry["at"]).replace(tzinfo=None),
        int(entry["at_ms"]) if "at_ms" in entry else None,
    )


def _cast(mold: _Mold, shift: timedelta, step: int, prev: str) -> tuple[bytes, str, str]:
    """The line's bytes, its hash and its time."""
    at = (mold.at + shift).isoformat(timespec="milliseconds") + "Z"
    times = (
        at.encode() if mold.at_ms is None else b"%b%b%d" % (at.encode(), mold.between[0], mold.at_ms + step)
    )
    head = mold.before + times + mold.between[-1]
    tail = mold.after + prev.encode() + mold.last
    own = hashlib.sha256(head + tail[:-1]).hexdigest()  # without the line's end
    return b'%b"hash":"%b",%b' % (head, own.encode(), tail), own, at


def _moved(template: Template, number: int) -> tuple[timedelta, str]:
    """The ``number``-th copy: how far from its template, and in which bay. No two begin at the same time."""
    shift = timedelta(days=-(number % _DAYS), milliseconds=7 * number)
    return shift, str(1 + number * 7 % BAYS)


def _at(text: str, shift: timedelta) -> str:
    moved = datetime.fromisoformat(text) + shift
    return moved.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.") + f"{moved.microsecond // 1000:03}Z"


def copied(template: Template, number: int) -> Sealed:
    """The whole copy, lines and all."""
    shift, bay = _moved(template, number)
    step = int(shift.total_seconds() * 1000)
    lines: list[Line] = []
    raw: list[bytes] = []
    prev, words, head = GENESIS, [""], ""
    for entry, mold in zip(template.entries, template.molds, strict=True):
        if mold is not None:
            data, own, at = _cast(mold, shift, step, prev)
            kept = {key: value for key, value in entry.items() if key not in RESERVED}
            if mold.at_ms is not None:
                kept["at_ms"] = str(mold.at_ms + step)
            lines.append(Line(len(lines), prev, own, entry["kind"], at, entry["mono_ms"], kept))
            raw.append(data)
            prev = own
            continue
        body = dict(entry)
        if "at_ms" in body:
            body["at_ms"] = str(int(body["at_ms"]) + step)
        if body["kind"] == "open":
            body |= {"bay": bay, "about": sorted({*body["about"], "bay"})}
        elif body.get("type") == "start":
            body["job"] = {**body["job"], "bay": bay}
        elif body.get("type") == "sealed":
            words, head = list(check_words(prev)), prev
            body |= {"head": head, "words": words}
        elif body["kind"] == "seal":
            body |= {"head": head, "words": words}
        elif head and body.get("type") == "spoken" and str(body["text"]).startswith("Check words:"):
            body["text"] = f"Check words: {', '.join(words)}."
        body["at"] = _at(body["at"], shift)
        line = build(body, len(lines), prev, body["at"], body["mono_ms"])
        lines.append(line)
        raw.append(line.encode())
        prev = line.hash
    read = LogRead(Path(f"job-{number:06}"), tuple(lines), (), tuple(range(1, len(lines) + 1)))
    rows = copied_rows(template, number, read, sum(map(len, raw)))
    return Sealed(f"job-{number:06}", read, raw, rows, template.files)


def copied_rows(template: Template, number: int, read: LogRead | None = None, size: int = 0) -> Rows:
    """The copy's derived rows. Without its lines a key is made up: for tables of which only the size counts."""
    shift, bay = _moved(template, number)
    old = template.rows["job"][0]
    started = _at(old["started"], shift)
    if read is None:
        head = hashlib.sha256(str(number).encode()).hexdigest()
        job_id = uuid.UUID(hex=head[:32])
    else:
        head, job_id = read.head, uuid.UUID(hex=read.lines[0].hash[:32])
    same = {"job_id": job_id, "day": datetime.fromisoformat(started).date(), "bay": bay}
    rows = {name: [{**row, **same} for row in rows] for name, rows in template.rows.items()}
    rows["job"][0] |= {"name": f"job-{number:06}", "started": started, "ended": _at(old["ended"], shift)}
    rows["job"][0] |= {"head": head}
    if read is not None:
        rows["job"][0]["bytes"] = size
    return rows
