"""From a job's lines to the rows that reports count. Pure: the same lines give the same rows."""

from __future__ import annotations

import uuid
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime
from typing import Any

from handsfree.procedure import Procedure
from handsfree.record import (
    REJECTED,
    LogRead,
    Told,
    clock_of,
    current,
    exceptions_of,
    items,
    last_signed,
    measured,
    rejection,
    tell,
    value_of,
)
from handsfree.review._look import HEADINGS, sort_of

from ._errors import ArchiveError

__all__ = ["REJECTED", "Rows", "derive", "job_key"]

Row = dict[str, Any]
#: Table name -> its rows, in the order of their keys.
Rows = Mapping[str, list[Row]]

#: Characters of a text that stands in an index: PostgreSQL takes no more than 2.7 kB of a row there.
_INDEXED = 400
_HEARD = ("answer", "command", "no_match")


def job_key(read: LogRead) -> Row:
    """What names a job: 128 bits of its first line's hash, and that line's UTC day. Raises ArchiveError."""
    if not read.lines:
        raise ArchiveError("no line can be read")
    first = read.lines[0]
    try:
        return {"job_id": uuid.UUID(hex=first.hash[:32]), "day": date.fromisoformat(first.at[:10])}
    except ValueError:
        raise ArchiveError(f"its first line has no day: {first.at!r}") from None


def derive(name: str, read: LogRead, procedure: Procedure) -> Rows:
    """Every derived row of a closed job. Raises ArchiveError (no lines), RecordError (an unknown line format)."""
    rows = tell(current(read.lines))
    key, opened = job_key(read), rows[0]
    place = {"bay": value_of(opened, "bay"), "practice": bool(value_of(opened, "practice"))}

    def scoped(row: Mapping[str, Any], technician: str) -> Row:
        return {**key, **place, "technician": technician, **row}

    job = _job(name, read, rows, procedure)
    who = opened.technician
    repaired = job["disposition"].startswith("repaired")
    return {
        "job": [scoped(job, who)],
        "reading": [scoped(_reading(row), row.technician) for row in rows if row["kind"] == "reading"],
        "verdict": [scoped(_verdict(row), row.technician) for row in rows if row["kind"] == "verdict"],
        "exception": [
            scoped(
                {"seq": row["seq"], "n": n, "sort": HEADINGS[sort_of(row, text)], "text": text},
                row.technician,
            )
            for row in rows
            # Not that the clock was set: archives made before that was told must still be what the lines say.
            for n, text in enumerate(one for one in exceptions_of(row) if one != clock_of(row))
        ],
        "reason": [scoped(row, who) for row in _reasons(rows)] if not job["released"] else [],
        "repair": [scoped(row, row.pop("by")) for row in _repairs(rows)] if repaired else [],
        "hearing": [
            scoped({"engine": value_of(opened, "engine"), **counts}, technician)
            for technician, counts in sorted(_hearing(rows).items())
        ],
    }


def _job(name: str, read: LogRead, rows: Sequence[Told], procedure: Procedure) -> Row:
    opened = rows[0]
    closed = next(row for row in reversed(rows) if row["kind"] == "close")
    ending = procedure.end(value_of(closed, "outcome"))
    told = value_of(closed, "disposition")
    told = told.partition(": ")[2] or told if value_of(opened, "practice") else told
    disposition = ending.disposition if ending is not None else told
    signed = last_signed(rows)
    rejected = rejection(rows) is not None
    if rejected:  # what the work came to no longer holds: a supervisor's decision counts
        disposition = REJECTED
    begin, end = (datetime.fromisoformat(value_of(row, "at")) for row in (opened, closed))
    return {
        "name": name,
        "shop": value_of(opened, "shop"),
        "procedure": value_of(opened, "procedure"),
        "procedure_version": value_of(opened, "procedure_version"),
        "tool": value_of(opened, "tool"),
        "engine": value_of(opened, "engine"),
        "started": value_of(opened, "at"),
        "ended": value_of(closed, "at"),
        "seconds": int((end - begin).total_seconds()),
        "outcome": value_of(closed, "outcome"),
        "disposition": disposition[:_INDEXED],
        "released": ending is not None and ending.released and not rejected,
        "may_scrap": any(one.disposition == "scrap" for one in procedure.ending),
        "scrapped": disposition == "scrap",
        "signed": value_of(signed, "decision") if signed is not None else "",
        "lines": len(read.lines),
        "bytes": sum(len(line.encode()) for line in read.lines),
        "head": read.head,
    }


def _reading(row: Told) -> Row:
    texts = {key: value_of(row, key) for key in ("step", "measurand", "value", "unit")}
    return {
        "seq": row["seq"],
        **texts,
        "in_force": row.replaced_by is None,
        "corrected": row.correction,
    }


def _verdict(row: Told) -> Row:
    texts = {key: value_of(row, key) for key in ("rule", "outcome", "severity")}
    # An answer's counts as one in force also after it was corrected: those that archives hold do, and are compared.
    read = row.judged if row.judged is not None and row.judged.get("kind") == "reading" else None
    in_force = read is None or read.replaced_by is None
    return {"seq": row["seq"], **texts, "in_force": in_force}


def _reasons(rows: Sequence[Told]) -> Iterator[Row]:
    """Why a tire was not released: the closing line's reasons, each with the rule that said it, if one did, and
    the supervisor's, who rejected it."""
    closed = next(row for row in reversed(rows) if row["kind"] == "close")
    said = {value_of(row, "reason"): value_of(row, "rule") for row in rows if row["kind"] == "verdict"}
    reasons = items(closed, "reasons")
    for n, text in enumerate(reasons):
        rule = next((rule for reason, rule in said.items() if reason and reason in text), "")
        yield {"n": n, "rule": rule, "label": _label(text)[:_INDEXED], "text": text}
    rejected = rejection(rows)
    if rejected is not None:
        yield {"n": len(reasons), "rule": "", "label": REJECTED, "text": value_of(rejected, "reason")}


def _label(text: str) -> str:
    """ "Tread depth in the lowest groove" of "Tread depth in the lowest groove: 0 mm; more than ..."."""
    head, _, rest = text.partition(": ")
    # "Injury 2: Injury size: 8 mm" is counted with "Injury size: 7 mm".
    return _label(rest) if rest and head.removeprefix("Injury ").isdigit() else head.rstrip(".")


def _repairs(rows: Sequence[Told]) -> Iterator[Row]:
    """Of a tire that was repaired: each patch in force, under whoever chose it."""
    for row in rows:
        if row["kind"] == "reading" and row.get("measurand") == "patch.size" and row.replaced_by is None:
            yield {"seq": row["seq"], "patch": measured({**row, "measurand": ""}), "by": row.technician}


_COUNTS = {"not_confirmed": "taken_back", "correction": "corrections", "missed": "not_understood",
           "refused": "refused"}  # fmt: skip
_HEARING = ("utterances", "no_match", "no_input", *_COUNTS.values())


def _hearing(rows: Sequence[Told]) -> dict[str, Row]:
    """How the recognizer did, for each technician who was heard."""
    found: defaultdict[str, Counter[str]] = defaultdict(Counter)
    for row in rows:
        kind, what = value_of(row, "kind"), value_of(row, "type")
        counts = found[row.technician] if kind == "event" or kind in _COUNTS else Counter[str]()
        if kind == "event":
            counts["utterances"] += what in _HEARD
            counts["no_match"] += what == "no_match"
            counts["no_input"] += what == "no_input"
        elif kind in _COUNTS:
            counts[_COUNTS[kind]] += 1
    return {who: {name: counts[name] for name in _HEARING} for who, counts in found.items()}
