"""Reading records of earlier line formats: each step takes the lines of one version to the next.

The file itself is never rewritten: its bytes are what the chain holds. What a reader works on is brought to the
present form here, so that no other module knows of earlier ones.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace

from ._errors import RecordError
from ._line import RESERVED, Json, Line

__all__ = ["SCHEMA", "current", "in_present_form", "schema_of"]

#: Version of the line format; the first line carries it.
SCHEMA = "2"

Entry = dict[str, Json]
Step = Callable[[list[Entry]], list[Entry]]


def _one_to_two(entries: list[Entry]) -> list[Entry]:
    """Version 2 added lines, keeps utterances as FLAC, and says of a release how the badge was proved."""
    return [{**entries[0], "schema": "2"}, *map(_with_doubt, entries[1:])]


_RELEASED = re.compile(r"(released by supervisor badge [0-9]+)$")


def _with_doubt(entry: Entry) -> Entry:
    """In version 1 nobody proved a badge."""
    if entry["kind"] == "hold_point" and str(entry.get("by")).startswith("supervisor badge"):
        return {"name": "", "verified": "not verified", **entry}
    exceptions = entry.get("exceptions")
    if entry["kind"] == "close" and isinstance(exceptions, list):
        told: list[Json] = [_RELEASED.sub(r"\1, not verified", str(text)) for text in exceptions]
        return {**entry, "exceptions": told}
    return entry


#: From each earlier version to the next.
STEPS: Mapping[str, Step] = {"1": _one_to_two}


def schema_of(lines: Sequence[Line]) -> str:
    """The version a record was begun with, "" when its first line does not say."""
    found = lines[0].body.get("schema") if lines and lines[0].kind == "open" else None
    return found if isinstance(found, str) else ""


def current(lines: Iterable[Line], *, steps: Mapping[str, Step] = STEPS, newest: str = SCHEMA) -> list[Entry]:
    """Every line as a dict in the present form. Raises RecordError for a version this program does not know."""
    held = list(lines)
    if not held:
        raise RecordError("the record has no whole line: it is empty or damaged; put it back from a copy")
    version = schema_of(held)
    entries = [line.entry for line in held]
    while version != newest:
        if version not in steps:
            raise RecordError(
                f"the record has line format {version[:20] or 'without a number'!s}, this program reads up to "
                f"{newest}; use the handsfree it was written with, or a newer one"
            )
        entries = steps[version](entries)
        version = str(entries[0]["schema"])
    return entries


def in_present_form(lines: Sequence[Line]) -> tuple[Line, ...]:
    """The lines with their bodies in the present form; chain keys and times are those of the record. A replay
    compares with these. Raises RecordError as ``current`` does."""
    bodies = ({k: v for k, v in entry.items() if k not in RESERVED} for entry in current(lines))
    return tuple(replace(line, body=body) for line, body in zip(lines, bodies, strict=True))
