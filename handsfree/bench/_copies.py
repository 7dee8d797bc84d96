"""Many jobs from a few: real simulated jobs, copied to another time and bay, each chained anew.

A copy is a valid record of its own: other first line, other times, its own hashes, check words and head. What was
said and measured is the template's.
"""

from __future__ import annotations

import hashlib
import json
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
from handsfree.record._line import RESERVED, Line
from handsfree.session import packaged_procedures

__all__ = ["BAYS", "Template", "copied", "copied_rows", "simulated"]

BAYS = 40
_DAYS = 365


_SLOT = "slot of %s"
_SLOTS = re.compile(rb"slot of (\w+)")
_HASH_KEY = b'"hash":"'


@dataclass(frozen=True, slots=True)
class _Mold:
    """A line's canonical bytes before and after its hash, cut apart where a copy differs: text, slot, text, slot ...
    ``body``: its keys, where a copy has the same but for ``at_ms``; else None."""

    before: Sequence[bytes]
    after: Sequence[bytes]
    kind: str
    at: datetime
    at_ms: int | None
    mono_ms: int
    seals: bool
    body: Mapping[str, Any] | None


@dataclass(frozen=True, slots=True)
class Template:
    """One simulated job. ``molds``: its lines, to be copied by their bytes (the canonical form of each line of a
    hundred thousand jobs would take hours)."""

    name: str
    files: dict[str, bytes]
    rows: Rows
    molds: Sequence[_Mold]


def simulated(folder: Path, seeds: Iterable[int], passes: Callable[[Path], bool]) -> list[Template]:
    """Simulated jobs on disk, shared out over the packaged procedures; those that ``passes`` (a folder) refuses are
    left out, so that every copy is one that a push would take. What was made there before is taken as it is."""
    arming, found = Arming(), []
    names = packaged_procedures()
    for seed in seeds:
        name = names[seed % len(names)]
        place = folder / f"template-{seed:04}"
        if not place.exists():
            run_job(Work(name), seed, arming, place)
        if passes(place):
            read, files = read_log(place), read_files(place, sound=False)
            procedure = read_procedure(files["procedure.toml"].decode())
            rows = derive(place.name, read, procedure)
            found.append(Template(place.name, files, rows, [_mold(line.entry) for line in read.lines]))
    return found


def _mold(entry: Mapping[str, Any]) -> _Mold:
    body = {**entry, **{name: _SLOT % name for name in ("at", "hash", "prev")}}
    if "at_ms" in body:
        body["at_ms"] = _SLOT % "at_ms"
    plain = False
    if body["kind"] == "open":
        body |= {"bay": _SLOT % "bay", "about": sorted({*body["about"], "bay"})}
    elif body.get("type") == "start":
        body["job"] = {**body["job"], "bay": _SLOT % "bay"}
    elif body["kind"] == "seal" or body.get("type") == "sealed":
        body |= {"head": _SLOT % "head", "words": [_SLOT % f"word{n}" for n in range(len(body["words"]))]}
    elif body.get("type") == "spoken" and str(body["text"]).startswith("Check words:"):
        body["text"] = f"Check words: {_SLOT % 'told'}."
    else:
        plain = True
    before, after = (rfc8785.dumps(body) + b"\n").split(_HASH_KEY + (_SLOT % "hash").encode() + b'",')
    at = datetime.fromisoformat(entry["at"]).replace(tzinfo=None)
    at_ms = int(entry["at_ms"]) if "at_ms" in entry else None
    kept = {key: value for key, value in entry.items() if key not in RESERVED}
    return _Mold(
        _SLOTS.split(before),
        _SLOTS.split(after),
        entry["kind"],
        at,
        at_ms,
        entry["mono_ms"],
        entry["kind"] == "event" and entry.get("type") == "sealed",
        kept if plain else None,
    )


def _filled(parts: Sequence[bytes], values: Mapping[bytes, bytes]) -> bytes:
    filled = list(parts)
    for n in range(1, len(filled), 2):
        filled[n] = values[filled[n]]
    return b"".join(filled)


def _cast(
    mold: _Mold, seq: int, values: dict[bytes, bytes], shift: timedelta, step: int
) -> tuple[bytes, Line]:
    """The line's bytes, and the line. ``values``: what is in the slots; ``prev`` is set to this line's hash."""
    at = (mold.at + shift).isoformat(timespec="milliseconds") + "Z"
    prev = values[b"prev"]
    values[b"at"] = at.encode()
    body = mold.body
    if mold.at_ms is not None:
        values[b"at_ms"] = b"%d" % (mold.at_ms + step)
        body = None if body is None else {**body, "at_ms": str(mold.at_ms + step)}
    before, after = _filled(mold.before, values), _filled(mold.after, values)
    own = hashlib.sha256(before + after[:-1]).hexdigest()  # without the line's end
    values[b"prev"] = own.encode()
    data = b'%b"hash":"%b",%b' % (before, values[b"prev"], after)
    if body is None:
        body = {key: value for key, value in json.loads(data).items() if key not in RESERVED}
    return data, Line(seq, prev.decode(), own, mold.kind, at, mold.mono_ms, body)


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
    values = {b"prev": GENESIS.encode(), b"bay": bay.encode()}
    for seq, mold in enumerate(template.molds):
        if mold.seals:
            words = check_words(values[b"prev"].decode())
            values |= {b"head": values[b"prev"], b"told": ", ".join(words).encode()}
            values |= {b"word%d" % n: word.encode() for n, word in enumerate(words)}
        data, line = _cast(mold, seq, values, shift, step)
        raw.append(data)
        lines.append(line)
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
