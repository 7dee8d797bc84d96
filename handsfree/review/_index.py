"""The index of a folder of jobs: what must be looked at first, and filters that need no script. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import quote

from handsfree.record import OlderPage, crew, one_name_each

from ._clock import Clock
from ._look import look_at, sorted_out
from ._page import environment, facts_of
from ._signed import Signature, signature_state, signatures_of
from ._source import Source
from ._status import Status, closing, status_of

__all__ = ["Entry", "entry_of", "index_page", "missing", "unreadable"]


@dataclass(frozen=True, slots=True)
class Entry:
    """One job's row. ``page``: the file of its page beside the index, "" where none could be written. ``older``: its
    pages elsewhere that were made before its record went on."""

    name: str
    page: str
    status: Status
    date: str
    time: str
    technician: str
    crew: Sequence[str]
    subject: str
    exceptions: Sequence[str]
    reason: str = ""
    signature: str = "not known"
    signed: Sequence[Signature] = ()
    older: Sequence[OlderPage] = ()
    zone: str = ""


def entry_of(
    source: Source, page: str, clock: Clock | None = None, *, older: Sequence[OlderPage] = ()
) -> Entry:
    """What the index says of a job."""
    clock = clock or Clock()
    odd = look_at(source)
    status = status_of(source, len(odd), clock)
    facts = dict(facts_of(source, clock))
    first = source.rows[0] if source.rows else {}
    subject = ", ".join(
        f"{label.lower()} {facts[label]}"
        for label in ("Work order", "Vehicle", "Wheel", "Tire")
        if label in facts
    )
    return Entry(
        name=source.name,
        page=quote(page),
        status=status,
        date=clock.date(first) if first else "",
        time=clock.time(first)[:5] if first else "",
        zone=clock.zones([first]) if first else "",
        technician=facts.get("Technician", ""),
        crew=crew(source.rows),
        subject=subject,
        exceptions=[f"{heading} ({len(group)})" for heading, group in sorted_out(odd)],
        reason="; ".join(status.reasons) or _first(status.warnings)
        if closing(source) or status.warnings
        else "",
        signature=signature_state(source),
        signed=signatures_of(source, clock)[:1],
        older=older,
    )


def _first(warnings: Sequence[str]) -> str:
    """A sound for every line may be missing: the page has them all."""
    more = f"; and {len(warnings) - _MOST} more" if len(warnings) > _MOST else ""
    return "; ".join(warnings[:_MOST]) + more


_MOST = 3


def unreadable(name: str, why: str) -> Entry:
    """A folder whose record can't be read at all: it must not be missing from the list."""
    what, _, do = why.partition(": ")
    status = Status("no", "No: the record can\u2019t be read", "unknown", "damaged record", warnings=(why,))
    return Entry(name, "", status, "", "", "", (), "", (do or "the record itself",), what)


def missing(name: str, why: str, do: str) -> Entry:
    """A job that the shop's list of signatures knows and that is not among these."""
    status = Status("no", "Not known: the job is not here", "unknown", "signed, not here", warnings=(why,))
    return Entry(name, "", status, "", "", "", (), "", (do,), why, "its record is not here")


#: Group, heading: in the order a supervisor works through them.
_GROUPS = (
    ("damaged", "Damaged records"),
    ("missing", "In the shop\u2019s list of signatures, and not here"),
    ("unknown", "Signed by an unknown key: is it the shop's folder of keys?"),
    ("open", "Not finished"),
    ("look", "May go back on the road, after you have looked"),
    ("no", "Not for the road"),
    ("accepted", "May go back on the road, accepted when it was reviewed, signature checked"),
    ("yes", "May go back on the road, nothing out of the ordinary"),
    ("practice", "Practice"),
    ("older", "Older copies of other jobs here"),
)


def _group(entry: Entry) -> str:
    special = {
        "damaged record": "damaged",
        "unknown signature": "unknown",
        "signed, not here": "missing",
        "not finished": "open",
        "practice": "practice",
        "older copy": "older",
    }
    return special.get(entry.status.group, "accepted" if entry.status.accepted else entry.status.tone)


def index_page(title: str, entries: Sequence[Entry]) -> str:
    """One HTML page: groups in the order of urgency, newest first in each."""
    newest = sorted(entries, key=lambda one: (one.date, one.time, one.name), reverse=True)
    groups = [(heading, [one for one in newest if _group(one) == key], key) for key, heading in _GROUPS]
    called = one_name_each(who for one in entries for who in one.crew)
    keys = {one.name: _keys(one, called) for one in entries}
    filters = [
        (
            key,
            label,
            sorted({text for texts in keys.values() for text in texts[key]}, reverse=key == "date"),
        )
        for key, label in _FILTERS
    ]
    number = {(key, text): f"{key}-{n}" for key, _, texts in filters for n, text in enumerate(texts)}
    return (
        environment()
        .get_template("index.html")
        .render(
            title=title,
            groups=[group for group in groups if group[1]],
            filters=filters,
            keys=keys,
            number=number,
            total=len(entries),
        )
    )


_FILTERS = (
    ("technician", "Technician"),
    ("date", "Date"),
    ("disposition", "Disposition"),
    ("exceptions", "Exceptions"),
    ("signed", "Signature"),
)


def _keys(entry: Entry, called: Mapping[str, str]) -> dict[str, Sequence[str]]:
    """What a row is found by; by each technician who worked on the tire, as the archive's report names them."""
    return {
        "technician": sorted({called[who] for who in entry.crew}) or ["not named"],
        "date": [entry.date or "not known"],
        "disposition": [entry.status.group],
        "exceptions": ["with exceptions" if entry.exceptions else "without exceptions"],
        "signed": [entry.signature],
    }
