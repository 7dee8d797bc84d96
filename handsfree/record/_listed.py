"""The shop's list of what was signed, ``signed.jsonl`` in its folder of keys: one line a signature.

A record can't show that a signature was cut off its end, nor a folder that a job was taken out of it: the list can.
"""

from __future__ import annotations

import errno
import json
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import rfc8785

from ._errors import RecordError
from ._files import OsAppendFile, explain, set_aside, write_new
from ._line import Line

__all__ = ["SIGNED_LIST", "Noted", "be_ready", "note", "noted"]

SIGNED_LIST = "signed.jsonl"


@dataclass(frozen=True, slots=True)
class Noted:
    """One signature as the list has it. ``number``: its line there, from 1; ``job``: the hash of the job's first
    line; ``line``: of the signature's; ``name``: of the job's folder when it was signed, "" in lines of earlier
    programs."""

    number: int
    job: str
    line: str
    at: str
    decision: str
    key: str
    name: str = ""

    @property
    def day(self) -> str:
        """The day it was signed, UTC."""
        return self.at[:10]


def noted(keys: Path) -> tuple[Sequence[Noted], int]:
    """What the list knows, and the number of its unfinished last line, 0 when all are whole. Raises RecordError."""
    try:
        text = (keys / SIGNED_LIST).read_text(encoding="utf-8")
    except FileNotFoundError:
        return [], 0
    except (OSError, UnicodeDecodeError):
        raise RecordError(f"{keys / SIGNED_LIST} can't be read; check the folder of keys") from None
    rows = []
    whole, _, unfinished = text.rpartition("\n")
    for number, raw in enumerate(whole.split("\n") if whole else (), start=1):
        try:
            row = json.loads(raw)
        except (ValueError, RecursionError):
            row = None
        if not isinstance(row, dict):
            raise RecordError(f"{keys / SIGNED_LIST} is damaged at line {number}; put it back from a copy")
        told = (str(row.get(name, "")) for name in ("job", "line", "at", "decision", "key", "name"))
        rows.append(Noted(number, *told))
    return rows, len(rows) + 1 if unfinished else 0


def be_ready(keys: Path) -> None:
    """See that the list takes lines, and make it where there is none. An unfinished last line (the power went while a
    signature was noted) is moved aside. Raises OSError."""
    path = keys / SIGNED_LIST
    if not path.exists():
        write_new(path, b"")
    kept = path.read_bytes()
    if not kept.endswith(b"\n") and kept:
        set_aside(path, kept.rfind(b"\n") + 1)
    OsAppendFile(path).close()


def note(keys: Path, name: str, first: str, signed: Sequence[Line]) -> None:
    """Add signatures of the job in folder ``name``, whose first line has the hash ``first``. Raises RecordError."""
    path = keys / SIGNED_LIST
    name = name.encode("utf-8", "replace").decode()  # a folder's name may hold bytes that are no text
    try:
        be_ready(keys)
        file = OsAppendFile(path)
        try:
            for line in signed:
                row = {
                    "job": first,
                    "name": name,
                    "line": line.hash,
                    "at": line.at,
                    "decision": line.body["decision"],
                    "key": line.body["key"],
                }
                data = rfc8785.dumps(row) + b"\n"
                if file.write(data) != len(data):
                    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            file.sync()
        finally:
            file.close()
    except OSError as error:
        told = explain(f"signed, but not noted in {path}", error, folder=False)
        raise RecordError(f"{told}; then give the same sign command again: it puts it in") from None
