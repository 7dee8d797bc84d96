"""What a supervisor must look at, sorted by how much it matters."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from handsfree.record import Told, exceptions_of, items, value_of

from ._source import Source
from ._status import closing

__all__ = ["Odd", "look_at", "sort_of", "sorted_out"]

#: An accepted utterance less likely to be what was said than this is shown (our own choice, no published source).
NEAR = 0.6

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
    "caution": "Cautions",
    "correction": "Corrections and steps gone back",
    "weak": "Accepted, but heard only just well enough",
    "interrupted": "Interruptions",
    "other": "Other",
}

_KINDS: Mapping[str, str] = {
    "hold_point": "release", "disposed": "release", "code": "release", "not_judged": "judged",
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
    found = [odd for row in source.rows for odd in _of(row, source)]
    found += _concessions(source)
    order = list(HEADINGS)
    return sorted(found, key=lambda odd: order.index(odd.sort))


def sorted_out(found: Sequence[Odd]) -> list[tuple[str, list[Odd]]]:
    """Heading and entries, in the order of the page."""
    return [(HEADINGS[key], list(group)) for key, group in groupby(found, key=lambda odd: odd.sort)]


def _of(row: Told, source: Source) -> Iterator[Odd]:
    seq = value_of(row, "seq")
    for text in exceptions_of(row):
        yield _odd(row, seq, text)
    if row.get("kind") == "missed" and _step_kind(source, value_of(row, "step")) == "caution":
        heard = f', "{value_of(row, "heard")}" was said' if value_of(row, "heard") else ""
        yield Odd("caution", seq, f"{value_of(row, 'step')}: not read back at once{heard}")
    weak = _weak(row)
    if weak:
        yield Odd("weak", seq, weak)


_GRAVE = ("release", "refused", "outside", "close", "judged", "found", "wait", "loosened")


def _odd(row: Told, seq: str, text: str) -> Odd:
    sort = sort_of(row, text)
    settled = row.judged is not None and row.judged.latest is not row.judged and row.judged.latest.inside
    mild = value_of(row, "severity") in ("warn", "note")
    return Odd(sort, seq, text, sort in _GRAVE and not settled and not mild)


def sort_of(row: Told, text: str) -> str:
    """The key in HEADINGS of one of a line's exceptions."""
    kind = value_of(row, "kind")
    if kind == "open":
        return "loosened" if text.startswith("limit loosened") else "practice"
    if kind == "hold_point" and value_of(row, "by") == "disposition":
        return "refused"
    if kind == "verdict":
        return "close" if value_of(row, "outcome") == "close" else "outside"
    return _KINDS.get(kind, "other")


def _step_kind(source: Source, step: str) -> str:
    found = source.step(step)
    return found.kind if found is not None else ""


def _weak(row: Told) -> str:
    """An utterance taken although its sound left much doubt: the acceptance is no proof, listen to it."""
    scores = row.get("scores")
    if row.get("kind") != "event" or value_of(row, "accepted") != "true" or not isinstance(scores, dict):
        return ""
    try:
        probability = float(scores["probability"])
    except (KeyError, TypeError, ValueError):
        return ""  # typed, or of another engine
    return f'"{value_of(row, "text")}": {probability:.0%} sure by its sound' if probability < NEAR else ""


def _concessions(source: Source) -> Iterator[Odd]:
    """The reasons a person released a tire over: they stand in the closing line, every other exception in its own."""
    closed = closing(source)
    told = items(closed, "exceptions") if closed else source.state.exceptions if source.state else ()
    for text in told:
        if text.startswith("concession"):
            yield Odd("release", value_of(closed, "seq") if closed else "", text, grave=True)
