"""The short form of a job, for the end of a session: what became of it, and every value that counts."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from ._read import read_log

__all__ = ["summary_text"]

Entry = Mapping[str, Any]


def summary_text(folder: Path | str) -> str:
    """Disposition, reasons, readings in force with their verdicts, waits, cautions, passes. Raises RecordError."""
    entries: list[Entry] = [line.entry for line in read_log(folder).lines]
    kinds: defaultdict[str, list[Entry]] = defaultdict(list)
    for one in entries:
        kinds[str(one["kind"])].append(one)
    closing: Entry = kinds["close"][-1] if kinds["close"] else {}
    lines = [f"Disposition: {closing.get('disposition', 'not closed')}"]
    lines += [f"Reason: {reason}" for reason in closing.get("reasons", [])]
    lines += [f"Exception: {text}" for text in closing.get("exceptions", [])]
    return "\n".join([*lines, "", *_readings(entries), "", *_counts(kinds)])


def _readings(entries: Sequence[Entry]) -> list[str]:
    """One row a reading in force: replaced readings are left to the whole record."""
    replaced = {one["replaces"] for one in entries if one.get("replaces")}
    rows = ["Readings in force:"]
    for index, one in enumerate(entries):
        if one["kind"] == "reading" and one.get("record") not in replaced:
            unit = one.get("unit", "")
            value = f"{one.get('value')} {'' if unit == '1' else unit}".strip()
            verdicts = ", ".join(_verdicts(entries[index + 1 :])) or "no limit"
            rows.append(f"  {one.get('measurand'):<22} {value:<14} {verdicts}")
    return rows


def _verdicts(later: Sequence[Entry]) -> list[str]:
    """The verdicts that follow a reading at once are its own."""
    found = []
    for one in later:
        if one["kind"] != "verdict":
            break
        found.append(f"{one.get('outcome')}: {one.get('rule')}")
    return found


def _counts(kinds: Mapping[str, Sequence[Entry]]) -> list[str]:
    over = [one for one in kinds.get("wait", []) if one.get("outcome") == "over"]
    waits = ", ".join(f"{one.get('step')} {one.get('waited_s')} s" for one in over) or "none"
    corrected = sum(1 for one in kinds.get("reading", []) if one.get("replaces"))
    return [
        f"Cautions read back: {len(kinds.get('caution', []))}; passes counted: {len(kinds.get('pass', []))}",
        f"Waits kept: {waits}",
        f"Readings corrected after they were recorded: {corrected}; taken back before: "
        f"{len(kinds.get('not_confirmed', []))}; not understood: {len(kinds.get('missed', []))}; "
        f"refused: {len(kinds.get('refused', []))}",
    ]
