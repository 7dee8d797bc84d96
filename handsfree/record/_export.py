"""A job in other forms: one JSON text, its readings as CSV, its interpretations as W3C EMMA."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from ._check import Finding
from ._emma import emma
from ._migrate import SCHEMA, current
from ._pseudonyms import pseudonymised
from ._read import read_log
from ._story import Told, tell
from ._summary import not_told
from ._words import check_words

__all__ = ["FORMATS", "export"]

Entry = dict[str, Any]

_CHAIN = "the hashes are those of the original record; only there can the chain be checked"
_READING = ("seq", "record", "at", "step", "measurand", "value", "unit", "resolution", "heard", "replaces")
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
    """One row a verdict, and one for each reading that nothing judges (RFC 4180)."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(["job", *_READING, "in_force", *_VERDICT])
    for row in tell(entries):
        if row.get("kind") == "reading":
            writer.writerows(_rows(name, row))
    return out.getvalue()


def _rows(name: str, row: Told) -> Iterator[list[str]]:
    verdicts: Sequence[Mapping[str, Any]] = row.verdicts or ({},)
    reading = [_cell(row.get(key, "")) for key in _READING]
    in_force = "true" if row.replaced_by is None else "false"
    for verdict in verdicts:
        yield [name, *reading, in_force, *(_cell(verdict.get(key, "")) for key in _VERDICT)]


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
