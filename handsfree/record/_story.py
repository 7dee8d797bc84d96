"""Ties the lines of a record together for a reader: what a correction replaced, what a wait had planned."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from ._clocks import clocks_set
from ._line import Line
from ._people import at_work
from ._wording import Entry, has, value_of

__all__ = ["COMPUTED_FROM", "Told", "tell"]


#: A wait by its rule's title, and what that rule computes it from (limits/_drying.py).
COMPUTED_FROM = {"Cement drying": ("air.temperature", "air.humidity")}


#: Kinds of line that verdicts may follow.
_JUDGED = ("reading", "answer")


class Told(dict[str, Any]):
    """One line, and the other lines that a reader needs beside it (empty where there are none)."""

    cause: Entry = {}  # noqa: RUF012 - replaced as a whole, never changed: the event this line answers
    replaced: Entry = {}  # noqa: RUF012 - the line whose value this one replaces
    plan: Entry = {}  # noqa: RUF012 - the line that started this wait
    inputs: tuple[Told, ...] = ()  # the readings that this wait was computed from
    technician: str = ""  # who worked when this line was written, by the rule of _people
    step_kind: str = ""  # what kind of step this line's step is, as its own line said
    reopened: bool = False  # whether a correction had asked for this line's replacement
    judged: Told | None = None  # the reading or the answer that this verdict is about
    replaced_by: Told | None = None
    verdicts: tuple[Entry, ...] = ()  # the verdicts on this reading or answer
    clock: str = ""  # that the computer's clock was set before this line, or is older than the line before

    @property
    def latest(self) -> Told:
        """The line that holds now what this one recorded: itself, or the last of those that replaced it."""
        row = self
        while row.replaced_by is not None:
            row = row.replaced_by
        return row

    @property
    def correction(self) -> bool:
        """Whether this takes back a recorded value, rather than measuring again or coming by a second time.

        A value whose replaced line is not here counts as one: somebody must look.
        """
        if not has(self, "replaces"):
            return False
        if not self.replaced:
            return True
        same = value_of(self, "outcome") == value_of(self.replaced, "outcome")
        return self.reopened and not (value_of(self, "kind") == "answer" and same)

    @property
    def inside(self) -> bool:
        """Whether every verdict on this reading found it inside."""
        return all(value_of(verdict, "outcome") in ("inside", "") for verdict in self.verdicts)


def tell(entries: Iterable[Line | Mapping[str, Any]]) -> list[Told]:
    """The lines in order, tied."""
    rows = [Told(entry.entry if isinstance(entry, Line) else entry) for entry in entries]
    by_number: dict[str, Told] = {}
    plans: dict[str, Entry] = {}
    reopened: set[str] = set()
    event: Entry = {}
    reading: Told | None = None
    made: dict[str, Told] = {}  # the last reading or answer of each step
    held: dict[str, Told] = {}
    step_kinds: dict[str, str] = {}
    for row in rows:
        kind, step = value_of(row, "kind"), value_of(row, "step")
        if kind == "step":
            step_kinds[step] = value_of(row, "step_kind")
        row.step_kind = step_kinds.get(step, "")
        if kind == "event":
            event = row
        row.cause = event
        _tie_replaced(row, by_number.get(value_of(row, "replaces")), reopened)
        if has(row, "record"):
            by_number[value_of(row, "record")] = row
        if kind == "correction":
            reopened.add(value_of(row, "record_no"))
        if kind == "reading":
            held[value_of(row, "measurand")] = row
        if kind in _JUDGED:
            made[step] = row
        if kind == "wait":
            if has(row, "planned_s"):
                plans[step] = row
                named = COMPUTED_FROM.get(value_of(row, "reason").partition(":")[0], ())
                row.inputs = tuple(held[name] for name in named if name in held)
            row.plan = plans.get(step, {})
        reading = _tie_verdict(row, reading, made)
    for row, technician in zip(rows, at_work(rows), strict=True):
        row.technician = technician
    for index, told in clocks_set(rows).items():
        rows[index].clock = told
    return rows


def _tie_replaced(row: Told, old: Told | None, reopened: set[str]) -> None:
    row.reopened = has(row, "replaces") and value_of(row, "replaces") in reopened
    if old is not None:
        row.replaced = old
        old.replaced_by = row


def _tie_verdict(row: Told, reading: Told | None, made: Mapping[str, Told]) -> Told | None:
    """The verdicts that follow a reading or an answer at once are its own, but for those on another step's, which
    this one had judged again: of several by one rule the last holds. Returns the line whose verdicts may follow."""
    if value_of(row, "kind") != "verdict":
        return row if value_of(row, "kind") in _JUDGED else None
    if reading is not None:
        step = value_of(row, "step")
        judged = reading if step == value_of(reading, "step") else made.get(step, reading)
        row.judged = judged
        judged.verdicts = (*(v for v in judged.verdicts if v.get("rule") != row.get("rule")), row)
    return reading
