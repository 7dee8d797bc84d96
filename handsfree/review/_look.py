"""What a supervisor must look at, sorted by how much it matters."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from handsfree.record import Told, exceptions_of, rejection, value_of

from ._source import Source

__all__ = ["Odd", "look_at", "sort_of", "sorted_out"]

#: In the order of the page: key, heading.
HEADINGS: Mapping[str, str] = {
    "release": "Released, refused or accepted by a person",
    "refused": "Not repairable by the limits",
    "outside": "Outside a limit",
    "close": "Too close to call",
    "judged": "Not judged",
    "found": "Found in an inspection",
    "loosened": "Limits loosened by the shop",
    "practice": "Practice",
    "wait": "Waits too short or too long",
    "clock": "The computer\u2019s clock",
    "caution": "Cautions",
    "correction": "Corrections and steps gone back",
    "weak": "Accepted, but heard only just well enough",
    "interrupted": "Interruptions",
    "other": "Other",
}

_KINDS: Mapping[str, str] = {
    "hold_point": "release", "disposed": "outside", "code": "release", "not_judged": "judged",
    "close": "release", "missed": "caution", "event": "weak",
    "inspect": "found", "wait": "wait", "caution": "caution", "cut_off": "caution", "reading": "correction",
    "answer": "correction", "back": "correction", "hold": "interrupted", "stop": "interrupted",
    "resumed": "interrupted", "device": "interrupted", "recovered": "interrupted", "technician": "interrupted",
    "signed": "release",
    "sound_lost": "interrupted",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Odd:
    """One thing out of the ordinary. ``seq``: the record's line it stands in, "" where it has none of its own.
    ``grave``: it is still so, and a limit or a person's release is at stake."""

    sort: str
    seq: str
    text: str
    grave: bool = False


def look_at(source: Source) -> list[Odd]:
    """Every exception of the record, each once, the gravest kind first and within a kind in order of time."""
    rejected = rejection(source.rows)
    found = [
        _odd(row, value_of(row, "seq"), text, rejected) for row in source.rows for text in exceptions_of(row)
    ]
    order = list(HEADINGS)
    return sorted(found, key=lambda odd: order.index(odd.sort))


def sorted_out(found: Sequence[Odd]) -> list[tuple[str, list[Odd]]]:
    """Heading and entries, in the order of the page."""
    return [(HEADINGS[key], list(group)) for key, group in groupby(found, key=lambda odd: odd.sort)]


_GRAVE = ("release", "refused", "outside", "close", "judged", "found", "wait", "loosened")


def _odd(row: Told, seq: str, text: str, rejected: Told | None) -> Odd:
    sort = sort_of(row, text)
    settled = row.judged is not None and row.judged.latest is not row.judged and row.judged.latest.inside
    mild = value_of(row, "severity") in ("warn", "note")
    # Of signatures only a rejection that still stands: an acceptance is what was decided, and settles the others.
    decided = row.get("kind") == "signed" and row is not rejected
    return Odd(sort, seq, text, sort in _GRAVE and not settled and not mild and not decided)


def sort_of(row: Told, text: str) -> str:
    """The key in HEADINGS of one of a line's exceptions."""
    kind = value_of(row, "kind")
    if row.clock and kind != "signed" and text == row.clock:
        return "clock"
    if kind == "open":
        return "loosened" if text.startswith("limit loosened") else "practice"
    if kind == "hold_point" and value_of(row, "by") == "disposition":
        return "refused"
    if kind == "verdict":
        return "close" if value_of(row, "outcome") == "close" else "outside"
    return _KINDS.get(kind, "other")
