"""May this tire go back on the road? What the record says of it, in one word and with every reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from handsfree.record import (
    NAMED,
    OLDER,
    REJECTED,
    STRANGER,
    Finding,
    Told,
    as_it_stands,
    items,
    last_signed,
    phrase,
    practice_of,
    rejection,
    value_of,
    why_rejected,
)

from ._clock import Clock
from ._source import Source

__all__ = ["Status", "closing", "status_of"]


@dataclass(frozen=True, slots=True)
class Status:
    """``answer``: yes or no, with the shortest reason; ``tone``: yes, look or no, for color and sign beside it.

    ``group``: what it is filed under in an index. ``released``: the work came to an end that releases a tire,
    be it practice. ``accepted``: somebody whose key is the shop's has looked, and signed that it may.
    ``warnings`` stand in red above everything else.
    """

    tone: str
    answer: str
    disposition: str
    group: str
    released: bool = False
    accepted: bool = False
    reasons: Sequence[str] = ()
    warnings: Sequence[str] = ()
    after: Sequence[str] = ()


def closing(source: Source) -> Told | None:
    """The line that closed the job, None while it is open."""
    return next((row for row in reversed(source.rows) if row.get("kind") == "close"), None)


def status_of(source: Source, exceptions: int, clock: Clock | None = None) -> Status:
    """Only a whole, replayed, finished job of a real tire, without an open reason, is ever a yes."""
    closed = closing(source)
    opened = next((row for row in source.rows if row.get("kind") == "open"), Told())
    disposition = _disposition(source, closed)
    reasons = items(closed, "reasons") if closed else list(source.state.reasons) if source.state else []
    warnings = [_damage(finding) for finding in source.damage]
    signed = last_signed(source.rows)
    if signed is not None and source.changed:
        by = f"{value_of(signed, 'name')} on {(clock or Clock()).both(signed)}"
        warnings.insert(0, f"SIGNED by {by}, and {_since(source)} Do not rely on it.")
    rejected = rejection(source.rows)
    if rejected is not None:
        reasons = [f"rejected by {value_of(rejected, 'name')}: {why_rejected(source.rows)}", *reasons]
    practice = practice_of(opened)
    accepted = ""
    if source.altered:
        tone, answer, group = "no", "No: the record is damaged", "damaged record"
    elif source.changed:
        tone, answer, group = "no", f"No: {_unaltered(source)}", "damaged record"
    elif source.damage:
        tone, answer, group = "no", "No: signed by an unknown key", "unknown signature"
    elif source.newer:
        tone, answer, group = "no", f"No: an older copy; see {source.newer}", "older copy"
    elif closed is None:
        tone, answer, group = "no", "No: the job is not finished", "not finished"
    elif source.doubt:
        tone, answer, group = "no", "No: the record does not hold up", "damaged record"
    elif practice:
        what = (
            f"{REJECTED}; practice, not a real tire" if rejected is not None else "practice, not a real tire"
        )
        tone, answer, group = "no", f"No: {what}", "practice"
    elif rejected is not None:
        tone, answer, group = "no", f"No: {REJECTED}", "rejected"
    elif not _released(source, closed) or reasons:
        tone, answer, group = "no", f"No: {disposition}", disposition
    elif accepted := _accepted(source, clock or Clock()):
        # What is out of the ordinary is no less so: the sign for it stays.
        tone, answer, group = "look" if exceptions else "yes", f"Yes: {accepted}", disposition
    elif any(text.startswith("concession") for text in items(closed, "exceptions")):
        tone, answer, group = "look", "Yes, by concession: look first", disposition
    elif exceptions:
        tone, answer, group = "look", "Yes, after you have looked", disposition
    else:
        tone, answer, group = "yes", "Yes", disposition
    if source.doubt and not any(one.check == "pinned" for one in source.damage):  # else told already
        warnings.append(f"The record can\u2019t be replayed: {source.doubt}")
    released = closed is not None and not source.damage and _released(source, closed) and not reasons
    stands = as_it_stands(source.rows, disposition)
    return Status(
        tone, answer, stands, group, released, bool(accepted), reasons, warnings, _after(source, closed)
    )


def _unaltered(source: Source) -> str:
    """Why a record that nobody altered is no evidence all the same."""
    wrong = any(one.sort == NAMED for one in source.damage)
    return "the record of another job" if wrong else "an older copy, or its end was cut off"


def _since(source: Source) -> str:
    """What became of a signed record that does not hold up as it lies there."""
    if source.altered:
        return "CHANGED since, or the signature is false."
    if any(one.sort == NAMED for one in source.damage):
        return "in another folder than the one it was signed in."
    return (
        "SIGNED AGAIN in another copy: this is an older copy, or its end was cut off. It is as it was signed."
    )


def _accepted(source: Source, clock: Clock) -> str:
    """Who has accepted it and when, by a signature that was held against the shop's keys; "" for nobody."""
    signed = last_signed(source.rows)
    if signed is None or source.keys is None or source.damage:
        return ""
    by = {"accept": "accepted by", "concession": "accepted by concession of"}.get(
        value_of(signed, "decision")
    )
    return f"{by} {value_of(signed, 'name')} on {clock.both(signed)}, signature checked" if by else ""


def _damage(finding: Finding) -> str:
    if finding.check == "pinned":
        return f"CHANGED FILE: {finding.message}; put it back from a copy. Do not rely on this record."
    where = f", line {finding.line}" if finding.line else ""
    if finding.sort == OLDER:
        return f"OLDER COPY: {finding.message}. Do not rely on it."
    if finding.sort == NAMED:
        return f"WRONG FOLDER: {finding.message}. Do not rely on it."
    if finding.check == "end":
        return f"INCOMPLETE RECORD: {finding.message}. Do not rely on it."
    what = "SIGNATURE OF AN UNKNOWN KEY" if finding.sort == STRANGER else "DAMAGED RECORD"
    return f"{what}{where}: {finding.message}. Do not rely on it."


def _disposition(source: Source, closed: Told | None) -> str:
    if closed is not None:
        return value_of(closed, "disposition") or value_of(closed, "outcome") or "closed, no outcome given"
    stopped = any(row.get("kind") == "stop" for row in source.rows[-3:])
    return "work stopped, not closed" if stopped else "not finished"


def _released(source: Source, closed: Told) -> bool:
    """Whether the procedure that was followed calls this ending a release."""
    if source.book is None or source.state is None:
        return False
    ending = source.book.procedure.end(value_of(closed, "outcome"))
    return ending is not None and ending.released


def _after(source: Source, closed: Told | None) -> list[str]:
    """Whatever was added to the chain once the job was closed, but for signatures: they have a place of their own."""
    if closed is None:
        return []
    rows = source.rows[list(map(id, source.rows)).index(id(closed)) + 1 :]
    told = [phrase(row) for row in rows if row.get("kind") not in ("event", "signed")]
    return [f"{one.label}: {one.text.plain}" for one in told if one is not None]
