"""Ties the lines of a record together for a reader: what a correction replaced, what a wait had planned."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from ._line import Line
from ._wording import Entry, has, value_of

__all__ = ["Told", "tell"]


class Told(dict[str, Any]):
    """One line, and the earlier lines that a reader needs beside it (empty where there are none)."""

    cause: Entry = {}  # noqa: RUF012 - replaced as a whole, never changed: the event this line answers
    replaced: Entry = {}  # noqa: RUF012 - the line whose value this one replaces
    plan: Entry = {}  # noqa: RUF012 - the line that started this wait


def tell(entries: Iterable[Line | Mapping[str, Any]]) -> list[Told]:
    """The lines in order, tied."""
    rows = [Told(entry.entry if isinstance(entry, Line) else entry) for entry in entries]
    by_number: dict[str, Entry] = {}
    plans: dict[str, Entry] = {}
    event: Entry = {}
    for row in rows:
        kind, step = value_of(row, "kind"), value_of(row, "step")
        if kind == "event":
            event = row
        row.cause = event
        row.replaced = by_number.get(value_of(row, "replaces"), {})
        if has(row, "record"):
            by_number[value_of(row, "record")] = row
        if kind == "wait":
            if has(row, "planned_s"):
                plans[step] = row
            row.plan = plans.get(step, {})
    return rows
