"""The short form of a job, for the end of a session: what became of it, and every value that counts."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from ._read import read_log

__all__ = ["summary_text"]


def summary_text(folder: Path | str) -> str:
    """Disposition, reasons, readings in force with their verdicts, waits, cautions, passes. Raises RecordError."""
    entries: list[dict[str, Any]] = [line.entry for line in read_log(folder).lines]
    kinds: dict[str, list[dict[str, Any]]] = {}
    for one in entries:
        kinds.setdefault(one["kind"], []).append(one)
    closing = (kinds.get("close") or [{}])[-1]
    lines = [f"Disposition: {closing.get('disposition', 'not closed')}"]
    lines += [f"Reason: {reason}" for reason in _split(closing.get("reasons"))]
    lines += [f"Exception: {text}" for text in _split(closing.get("exceptions"))]
    lines.append("")
    lines += _readings(entries)
    lines.append("")
    lines += _counts(kinds)
    return "\n".join(lines)


def _split(text: str | None) -> list[str]:
    return [part for part in (text or "").split("; ") if part]


def _readings(entries: list[dict[str, Any]]) -> list[str]:
    """One row a reading in force: replaced readings are left to the whole record."""
    replaced = {one["replaces"] for one in entries if one.get("replaces")}
    rows: list[str] = []
    for index, one in enumerate(entries):
        if one["kind"] != "reading" or one["record"] in replaced:
            continue
        verdicts = []
        for later in entries[index + 1 :]:
            if later["kind"] != "verdict":
                break
            verdicts.append(f"{later['outcome']}: {later['rule']}")
        value = f"{one['value']} {one['unit']}".strip()
        rows.append(f"  {one['measurand']:<22} {value:<14} {', '.join(verdicts) or 'no limit'}")
    return ["Readings in force:", *rows]


def _counts(kinds: dict[str, list[dict[str, Any]]]) -> list[str]:
    over = [w for w in kinds.get("wait", []) if w["outcome"] == "over"]
    waits = ", ".join(f"{w['step']} {w['waited_s']} s" for w in over) or "none"
    replaced = sum(1 for one in kinds.get("reading", []) if one["replaces"])
    return [
        f"Cautions read back: {len(kinds.get('caution', []))}",
        f"Passes counted: {len(kinds.get('pass', []))}",
        f"Waits kept: {waits}",
        f"Readings corrected: {replaced}; not understood: {len(kinds.get('missed', []))}; "
        f"refused: {len(kinds.get('refused', []))}",
    ]
