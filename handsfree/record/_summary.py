"""The short form of a job, for the end of a session: what became of it, and every value that counts."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar

from ._exceptions import exceptions, exceptions_of
from ._read import read_log
from ._rejected import as_it_stands
from ._story import Told, tell
from ._wording import counted, in_use, items, measured, seconds, value_of

__all__ = ["NOT_PLAYED", "not_told", "readings", "sealed", "summary_text"]

Kinds = Mapping[str, Sequence[Told]]
_Row = TypeVar("_Row", bound=Mapping[str, Any])


def summary_text(folder: Path | str) -> str:
    """Disposition, reasons, readings in force with their verdicts, waits, cautions, passes. Raises RecordError."""
    rows = tell(read_log(folder).lines)
    kinds: defaultdict[str, list[Told]] = defaultdict(list)
    for row in rows:
        kinds[value_of(row, "kind")].append(row)
    closing = kinds["close"][-1] if kinds["close"] else Told()
    lines = [note for row in kinds["open"] for note in exceptions_of(row)]
    lines += [f"Disposition: {as_it_stands(rows, value_of(closing, 'disposition') or 'not closed')}"]
    lines += [f"Reason: {in_use(reason)}" for reason in items(closing, "reasons")]
    odd = exceptions(rows)
    lines += [f"Exceptions: {len(odd) or 'none'}", *(f"  {where:<9} {note}" for where, note in odd)]
    table = [f"  {name:<30} {value:<14} {verdicts}" for name, value, verdicts in readings(rows)]
    lines += _technicians(rows)
    return "\n".join([*lines, "", "Readings in force:", *table, "", *_counts(kinds), *sealed(rows)])


def sealed(rows: Sequence[Told]) -> list[str]:
    """What to write on the work order: by it somebody can tell later that the record is still this one. The head is
    that of the line before they were told: lines come after it."""
    return [
        f"Check words{'' if played else NOT_PLAYED}: {' '.join(items(row, 'words'))} "
        f"(chain head when they were {'told' if played else 'made'}: {value_of(row, 'head')[:16]})"
        for row, played in _seals(rows)
    ]


#: Of check words that nobody heard, or not whole: no work order can hold them.
NOT_PLAYED = ", NOT PLAYED TO THEIR END"


def not_told(rows: Sequence[Mapping[str, Any]]) -> bool:
    """Whether the record was sealed with check words that were not played to their end."""
    return any(not played for _, played in _seals(rows)[-1:])


def _seals(rows: Sequence[_Row]) -> list[tuple[_Row, bool]]:
    """Each line with check words, and whether the sentence that tells them, the next one, was played to its end."""
    found = []
    for number, row in enumerate(rows):
        if row.get("kind") == "seal":
            after = (one for one in rows[number + 1 :] if value_of(one, "type") == "spoken")
            said: Mapping[str, Any] = next(after, {})
            found.append((row, value_of(said, "completed") == "true"))
    return found


#: What a technician answers for: the kinds of line that record a thing done, found or measured.
_ENTRIES = ("reading", "inspect", "answer", "pass", "caution")


def _technicians(rows: Sequence[Told]) -> list[str]:
    """Who made how many entries, where more than one technician worked on the tire."""
    made = Counter(row.technician or "nobody named" for row in rows if row.get("kind") in _ENTRIES)
    if len(made) < 2:
        return []
    told = (f"{name}, {counted(count, 'entry', 'entries')}" for name, count in made.items())
    return [f"Technician: {'; '.join(told)}"]


def readings(rows: Sequence[Told]) -> list[tuple[str, str, str]]:
    """Measurand, value and verdicts of each reading in force: replaced ones are left to the whole record.

    A measurand read at several steps, or of several injuries, carries its step and is numbered.
    """
    held = [row for row in rows if row.get("kind") == "reading" and row.replaced_by is None]
    total = Counter(value_of(row, "measurand") for row in held)
    seen: Counter[str] = Counter()
    found = []
    for row in held:
        name = value_of(row, "measurand")
        seen[name] += 1
        label = f"{name} {seen[name]} ({value_of(row, 'step')})" if total[name] > 1 else name
        found.append((label, measured({**row, "measurand": ""}), _verdicts(row)))
    return found


def _verdicts(row: Told) -> str:
    found = (f"{value_of(one, 'outcome')}: {value_of(one, 'rule')}" for one in row.verdicts)
    return ", ".join(found) or "no limit"


def _counts(kinds: Kinds) -> list[str]:
    waits = ", ".join(_waits(kinds.get("wait", []))) or "none"
    corrected = sum(row.correction for row in kinds.get("reading", []))
    again = sum(bool(row.replaced) and not row.correction for row in kinds.get("reading", []))
    return [
        f"Cautions read back: {len(kinds.get('caution', []))}; passes counted: {len(kinds.get('pass', []))}",
        f"Waits kept: {waits}",
        f"Readings corrected after they were recorded: {corrected}; put right or measured again: {again}; "
        f"taken back before: {len(kinds.get('not_confirmed', []))}; "
        f"not understood: {len(kinds.get('missed', []))}; refused: {len(kinds.get('refused', []))}",
    ]


def _waits(rows: Sequence[Told]) -> list[str]:
    """How long each wait was, and after how long its step's work went on where that was timed too."""
    told: list[str] = []
    for row in rows:
        if row.get("outcome") == "over":
            told.append(f"{value_of(row, 'step')} {seconds(row, 'waited_s')}")
        elif row.get("outcome") == "used in time" and told:
            told[-1] += f" (used after {seconds(row, 'waited_s')})"
    return told
