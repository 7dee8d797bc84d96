"""Many jobs from a few: real simulated jobs, copied to another time and bay, each chained anew.

A copy is a valid record of its own: other first line, other times, its own hashes, check words and head. What was
said and measured is the template's.
"""

from __future__ import annotations

import hashlib
import uuid
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from handsfree.archive._derive import Rows, derive
from handsfree.archive._push import Sealed, read_files
from handsfree.bench._channel import Arming
from handsfree.bench._simulation import Work, run_job
from handsfree.procedure import read_procedure
from handsfree.record import GENESIS, LogRead, check_words, read_log
from handsfree.record._line import Line, build
from handsfree.session import packaged_procedures

__all__ = ["BAYS", "Template", "copied", "copied_rows", "simulated"]

BAYS = 40
_DAYS = 365


@dataclass(frozen=True, slots=True)
class Template:
    """One simulated job. ``entries``: its lines without chain keys."""

    name: str
    entries: Sequence[dict[str, Any]]
    files: dict[str, bytes]
    rows: Rows


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
            found.append(Template(place.name, entries, files, derive(place.name, read, procedure)))
    return found


def _unchained(line: Line) -> dict[str, Any]:
    return {key: value for key, value in line.entry.items() if key not in ("seq", "prev", "hash")}


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
    prev, words, head = GENESIS, [""], ""
    for entry in template.entries:
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
        prev = line.hash
    read = LogRead(Path(f"job-{number:06}"), tuple(lines), (), tuple(range(1, len(lines) + 1)))
    rows = copied_rows(template, number, read)
    return Sealed(f"job-{number:06}", read, [line.encode() for line in lines], rows, template.files)


def copied_rows(template: Template, number: int, read: LogRead | None = None) -> Rows:
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
        rows["job"][0]["bytes"] = sum(len(line.encode()) for line in read.lines)
    return rows
