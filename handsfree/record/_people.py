"""Who worked: one rule for every report, so that one technician is one name.

A technician is the badge that was read back and confirmed, with the name that the shop's file gives it: "Mara
Lindqvist, badge 17", or "badge 17" in a shop without a file. The name typed when the job was begun is nobody's
voice: it counts only in a record in which no badge was ever given. A badge misheard and corrected was nobody.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

from ._wording import value_of

if TYPE_CHECKING:
    from ._story import Told

__all__ = ["at_work", "badge_of", "crew", "one_name_each"]

_BADGE = re.compile(r"(?:^|.*, )(badge [0-9]+)", re.DOTALL)
#: Kinds of line that are the work of whoever made them.
_MADE = frozenset({"reading", "inspect", "answer", "pass", "caution", "technician", "open"})


def at_work(rows: Sequence[Told]) -> list[str]:
    """Who worked, line by line ("" where nobody is named). The rows must be tied to what replaced them."""
    given: dict[int, Told] = {}  # a line in which somebody signs in -> the reading of that badge after it
    signing: Told | None = None
    for row in rows:
        if row.get("kind") == "technician":
            signing = row
        elif signing is not None and row.get("kind") == "reading":
            if value_of(row, "measurand") == "job.technician" and _same_step(row, signing):
                given[id(signing)] = row
            signing = None
    names = {id(given[id(row)]): value_of(row, "now") for row in rows if id(row) in given}
    begun = next((_settled(reading, names) for reading in given.values()), "")
    technician, found = "", []
    for row in rows:
        if row.get("kind") == "open":
            technician = begun or value_of(row, "technician")
        elif row.get("kind") == "technician":
            own = given.get(id(row))
            technician = value_of(row, "now") if own is None else _settled(own, names)
        found.append(technician)
    return found


def _same_step(row: Told, other: Told) -> bool:
    return value_of(row, "step") == value_of(other, "step")


def _settled(reading: Told, names: Mapping[int, str]) -> str:
    """Who signed in, by the badge as it stood after corrections."""
    while reading.replaced_by is not None and reading.replaced_by.correction:
        if id(reading.replaced_by) not in names:
            break
        reading = reading.replaced_by
    return names[id(reading)]


def crew(rows: Sequence[Told]) -> list[str]:
    """Everybody who worked on the tire, in turn, each once."""
    made = (row.technician for row in rows if row.get("kind") in _MADE)
    return list(dict.fromkeys(name for name in made if name))


def badge_of(technician: str) -> str:
    """ "badge 17" of "Mara Lindqvist, badge 17"; "" of a name without a badge."""
    found = _BADGE.fullmatch(technician)
    return found.group(1) if found else ""


def one_name_each(technicians: Iterable[str]) -> dict[str, str]:
    """Each of them -> what to call them by: "badge 17", from before there was a shop file, is whoever else of these
    has that badge; when two have had it nobody can say whose it was, and it stays by itself."""
    named: defaultdict[str, set[str]] = defaultdict(set)
    every = set(technicians)
    for one in every:
        if badge_of(one) and badge_of(one) != one:
            named[badge_of(one)].add(one)
    return {one: next(iter(named[one])) if len(named.get(one, ())) == 1 else one for one in every}
