"""A job in other forms: one JSON text, its readings as CSV, its interpretations as W3C EMMA."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from ._check import Finding
from ._emma import emma
from ._migrate import SCHEMA, current
from ._pseudonyms import pseudonymised
from ._read import read_log
from ._story import Told, tell
from ._summary import not_told
from ._wording import line_of
from ._words import check_words

__all__ = ["FORMATS", "export"]

Entry = dict[str, Any]

_CHAIN = "the hashes are those of the original record; only there can the chain be checked"
_READING = ("seq", "record", "at", "step", "measurand", "value", "unit", "resolution", "heard", "replaces")
#: Of the verdict: its line as ``show`` and the audit count it, from one.
_JUDGED = ("verdict_line", "verdict_at", "verdict_in_force")
_VERDICT = ("rule", "outcome", "severity", "low", "high", "inclusive", "margin", "source", "reason")


def export(folder: Path | str, form: str, *, pseudonyms: bool = False, damage: Sequence[Finding] = ()) -> str:
    """The job in ``folder`` as text in one of FORMATS. Raises RecordError when there is no record to read.

    ``damage``: what makes the record untrustworthy, which JSON and EMMA hold beside the lines; CSV has no place for
    it but in a row of data, where it would be taken for a reading.
    """
    folder = Path(folder)
    entries: list[Entry] = [dict(entry) for entry in current(read_log(folder).lines)]
    if pseudonyms:
        entries = pseudonymised(entries)
    return FORMATS[form](folder.resolve().name, entries, pseudonyms, damage)


def _as_json(name: str, entries: Sequence[Entry], pseudonyms: bool, damage: Sequence[Finding]) -> str:
    head = str(entries[-1]["hash"]) if entries else ""
    whole = {
        **(
            {"damage": [f"line {f.line}: {f.message}" if f.line else f.message for f in damage]}
            if damage
            else {}
        ),
        "job": name,
        "schema": SCHEMA,
        "head": head,
        "check_words": next((e["words"] for e in entries if e["kind"] == "seal"), []),
        "check_words_told": any(e["kind"] == "seal" for e in entries) and not not_told(entries),
        "head_words": list(check_words(head)),
        **({"pseudonyms": _CHAIN} if pseudonyms else {}),
        "lines": entries,
    }
    return json.dumps(whole, ensure_ascii=False, indent=1) + "\n"


def _as_csv(name: str, entries: Sequence[Entry], pseudonyms: bool, damage: Sequence[Finding]) -> str:
    """One row a verdict, of readings and of answers, and one for each reading that nothing judges (RFC 4180)."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(["job", *_READING, "in_force", *_JUDGED, *_VERDICT])
    for row in tell(entries):
        if row.get("kind") == "verdict":
            writer.writerow([name, *_judged(row)])
        elif row.get("kind") == "reading" and not row.verdicts:
            writer.writerow([name, *_read(row), *("" for _ in (*_JUDGED, *_VERDICT))])
    return out.getvalue()


def _read(row: Told) -> list[str]:
    """A reading's cells, or an answer's: its value is the option that was chosen."""
    told = {**row, "value": row.get("outcome", "")} if row.get("kind") == "answer" else row
    return [*(_cell(told.get(key, "")) for key in _READING), "true" if row.replaced_by is None else "false"]


def _judged(verdict: Told) -> list[str]:
    """A verdict beside what it judges, with its own line and time: a patch is judged again when the hole is drilled,
    and both judgements were made."""
    about = verdict.judged
    # One that follows nothing that could be judged: a record that somebody made or changed by hand.
    read = _read(about) if about is not None else _read(Told({"step": verdict.get("step", "")}))
    last = about is None or any(one is verdict for one in about.verdicts)
    in_force = last and (about is None or about.replaced_by is None)
    own = [str(line_of(verdict)), _cell(verdict.get("at", "")), "true" if in_force else "false"]
    return [*read, *own, *(_cell(verdict.get(key, "")) for key in _VERDICT)]


def _cell(value: object) -> str:
    """A text as it is; one that a spreadsheet would take for a formula gets an apostrophe before it."""
    text = str(value)
    return f"'{text}" if text[:1] in ("=", "+", "@", "\t", "\r") else text


def _as_emma(name: str, entries: Sequence[Entry], pseudonyms: bool, damage: Sequence[Finding]) -> str:
    return emma(entries, [(finding.line, finding.message) for finding in damage])


FORMATS: Mapping[str, Callable[[str, Sequence[Entry], bool, Sequence[Finding]], str]] = {
    "json": _as_json,
    "csv": _as_csv,
    "emma": _as_emma,
}
