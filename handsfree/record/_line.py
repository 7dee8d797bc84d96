"""One line of a record: canonical JSON (RFC 8785), numbered, chained by SHA-256.

``hash`` is the SHA-256 of the line's canonical form without ``hash``; ``prev`` is the hash of the line
before (64 zeros for the first). A line read back must be the canonical form byte for byte, so no byte of it
can change without the chain showing it. Measured values and scores are strings: RFC 8785 numbers are IEEE
doubles, and a record must give back the digits that were spoken.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import NoReturn, TypeGuard

import rfc8785

from ._errors import RecordError

__all__ = ["GENESIS", "MAX_LINE_BYTES", "RESERVED", "BadLine", "Json", "Line", "build", "decode"]

Json = str | int | bool | None | list["Json"] | dict[str, "Json"]

GENESIS = "0" * 64
RESERVED = frozenset({"seq", "prev", "hash", "kind", "at", "mono_ms"})
#: A sentence with its n-best and scores is under 4 KiB; the bound keeps a corrupt file from filling memory.
MAX_LINE_BYTES = 1 << 20

_MAX_DEPTH = 32
_SAFE_INT = 2**53 - 1  # I-JSON, RFC 7493 section 2.2
_HASH = re.compile(r"[0-9a-f]{64}")
_AT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", re.ASCII)  # RFC 3339, UTC, milliseconds
_KIND = re.compile(r"[a-z][a-z0-9_.-]*")


class BadLine(ValueError):
    """The bytes are not a line of a record. ``args[0]`` says why, in plain words."""


@dataclass(frozen=True, slots=True)
class Line:
    """One recorded line. ``body`` holds everything but the six chain keys; treat it as read only."""

    seq: int
    prev: str
    hash: str
    kind: str
    at: str
    mono_ms: int
    body: Mapping[str, Json]

    @property
    def entry(self) -> dict[str, Json]:
        """The whole line as one dict, chain keys included."""
        return {
            **self.body,
            "seq": self.seq,
            "prev": self.prev,
            "hash": self.hash,
            "kind": self.kind,
            "at": self.at,
            "mono_ms": self.mono_ms,
        }

    def encode(self) -> bytes:
        """The bytes in the file, newline included."""
        return rfc8785.dumps(self.entry) + b"\n"


def build(entry: Mapping[str, object], seq: int, prev: str, at: str, mono_ms: int) -> Line:
    """Make the next line of a chain from an entry (``kind`` and body keys).

    The entry may carry its own ``at`` and ``mono_ms`` (the time of the event it records); else the given ones
    are used. Raises RecordError for a float, a key of the chain, or anything JSON has no form for.
    """
    body = {key: _plain(value, str(key), 1) for key, value in entry.items() if key not in RESERVED}
    kind = entry.get("kind")
    if not isinstance(kind, str) or not _KIND.fullmatch(kind):
        raise RecordError(f"entry needs a kind of lower-case letters, got {kind!r}")
    for key in ("seq", "prev", "hash"):
        if key in entry:
            raise RecordError(f"entry of kind {kind} must not set {key!r}: the record sets it")
    at, mono_ms = _time(entry, at, mono_ms)
    unsigned = Line(seq, prev, "", str.__str__(kind), at, mono_ms, body)
    line = Line(seq, prev, _digest(unsigned), unsigned.kind, at, mono_ms, body)
    if len(line.encode()) > MAX_LINE_BYTES:
        raise RecordError(f"entry of kind {kind} is over {MAX_LINE_BYTES} bytes; keep sound in audio files")
    return line


def decode(raw: bytes) -> Line:
    """Read one line (without its newline), checking form and own hash but not its place in the chain."""
    if len(raw) + 1 > MAX_LINE_BYTES:
        raise BadLine(f"longer than {MAX_LINE_BYTES} bytes")
    line = _shape(_loads(raw))
    if line.encode() != raw + b"\n":
        raise BadLine("not in canonical form")
    if _digest(line) != line.hash:
        raise BadLine("hash does not fit the line")
    return line


def _loads(raw: bytes) -> dict[str, Json]:
    try:
        data = json.loads(raw.decode("utf-8"), parse_float=_no_float, parse_constant=_no_float)
    except UnicodeDecodeError:
        raise BadLine("not UTF-8") from None
    except RecursionError:
        raise BadLine("nested too deep") from None
    except BadLine:
        raise
    except ValueError:  # JSONDecodeError, or an integer of thousands of digits
        raise BadLine("not JSON") from None
    if not isinstance(data, dict):
        raise BadLine("not a JSON object")
    return data


def _shape(data: dict[str, Json]) -> Line:
    missing = RESERVED - data.keys()
    if missing:
        raise BadLine(f"no {', '.join(sorted(missing))}")
    try:
        body = {key: _plain(value, key, 1) for key, value in data.items() if key not in RESERVED}
    except RecordError as error:
        raise BadLine(str(error)) from None
    seq, mono_ms, at, kind = data["seq"], data["mono_ms"], data["at"], data["kind"]
    prev, own = data["prev"], data["hash"]
    if not _is_int(seq) or seq < 0 or not _is_int(mono_ms):
        raise BadLine("seq or mono_ms is not a whole number")
    if not (_fits(prev, _HASH) and _fits(own, _HASH) and _is_moment(at) and _fits(kind, _KIND)):
        raise BadLine("prev, hash, at or kind is malformed")
    return Line(seq, prev, own, kind, at, mono_ms, body)


def _digest(line: Line) -> str:
    entry = line.entry
    del entry["hash"]
    return hashlib.sha256(rfc8785.dumps(entry)).hexdigest()


def _time(entry: Mapping[str, object], at: str, mono_ms: int) -> tuple[str, int]:
    own_at, own_mono = entry.get("at", at), entry.get("mono_ms", mono_ms)
    if not _is_moment(own_at):
        raise RecordError(f"at must be RFC 3339 UTC with milliseconds, got {own_at!r}")
    if not _is_int(own_mono):
        raise RecordError(f"mono_ms must be whole milliseconds, got {own_mono!r}")
    return own_at, own_mono


def _plain(value: object, where: str, depth: int) -> Json:
    """The value as plain JSON types (a StrEnum becomes str, a tuple a list); RecordError when it has none."""
    if depth > _MAX_DEPTH:
        raise RecordError(f"{where} is nested deeper than {_MAX_DEPTH}")
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, str):
        return _text(value, where)
    if isinstance(value, int):
        if abs(value) > _SAFE_INT:
            raise RecordError(f"{where} is beyond the exact integers of JSON; give it as a string")
        return int(value)
    if isinstance(value, Mapping):
        return {_key(key, where): _plain(item, f"{where}.{key}", depth + 1) for key, item in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, bytes | bytearray | memoryview):
        return [_plain(item, where, depth + 1) for item in value]
    raise RecordError(f"{where} is a {type(value).__name__}; give measured values and scores as strings")


def _key(key: object, where: str) -> str:
    if not isinstance(key, str):
        raise RecordError(f"{where} has a key that is no string: {key!r}")
    return _text(key, where)


def _text(value: str, where: str) -> str:
    try:
        value.encode("utf-8")
    except UnicodeEncodeError:
        raise RecordError(f"{where} holds text that is not valid Unicode") from None
    return str.__str__(value)


def _no_float(text: str) -> NoReturn:
    raise BadLine(f"holds the float {text[:20]}; values are strings")


def _is_int(value: object) -> TypeGuard[int]:
    return isinstance(value, int) and not isinstance(value, bool) and abs(value) <= _SAFE_INT


def _is_moment(value: object) -> TypeGuard[str]:
    """A moment that there is: readers count with it, and no clock shows a minute 61."""
    if not _fits(value, _AT):
        return False
    try:
        datetime.fromisoformat(value)
    except ValueError:
        return False
    return True


def _fits(value: object, pattern: re.Pattern[str]) -> TypeGuard[str]:
    return isinstance(value, str) and pattern.fullmatch(value) is not None
