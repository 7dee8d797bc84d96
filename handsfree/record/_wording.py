"""Pieces of text from a record, made safe and readable.

Text in a record comes from speech, keyboards and files, so every piece goes through ``clean``: no terminal
control sequence and no markup of a record may reach the reader's screen.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from typing import Any, TypeVar

from rich.text import Text

from ._units import in_use

__all__ = [
    "Entry",
    "clean",
    "counted",
    "days_of",
    "has",
    "in_minutes",
    "in_use",
    "items",
    "joined",
    "last_signed",
    "lasting",
    "left_at",
    "line_of",
    "measured",
    "plain",
    "rest",
    "seconds",
    "stepped",
    "value_of",
]

Entry = dict[str, Any]
_Row = TypeVar("_Row", bound=Mapping[str, Any])

_HIDDEN = frozenset({"seq", "prev", "hash", "kind", "at", "mono_ms", "at_ms", "record"})
_STEERING = {
    "Cc",
    "Cf",
    "Cs",
    "Co",
    "Zl",
    "Zp",
}  # control, format (bidirectional), surrogate, private, separators


def clean(value: object) -> Text:
    """Any value as text that can't steer a terminal: control and bidirectional characters become U+FFFD."""
    return Text(_safe(value))


def last_signed(rows: Sequence[_Row]) -> _Row | None:
    """The signature that counts: the last one, None where nobody signed."""
    return next((row for row in reversed(rows) if row.get("kind") == "signed"), None)


def value_of(row: Mapping[str, Any], key: str) -> str:
    """A key's value as clean text, "" when it is missing or null."""
    return "" if row.get(key) is None else _safe(row[key])


def line_of(row: Mapping[str, Any]) -> int:
    """The line's number in the file, from one, as an editor and the audit count; 0 where its seq, which begins at
    nought, is no number."""
    seq = value_of(row, "seq")
    return int(seq) + 1 if seq.isascii() and seq.isdigit() and len(seq) < 10 else 0


def has(row: Mapping[str, Any], key: str) -> bool:
    """Whether the key holds anything."""
    return bool(value_of(row, key))


def items(row: Mapping[str, Any], key: str) -> list[str]:
    """A list's items, or the parts of a text separated by "; "."""
    value = row.get(key)
    parts = value if isinstance(value, list) else str(value or "").split("; ")
    return [_safe(part) for part in parts if part]


def plain(value: object) -> str:
    """JSON as words: keys and values side by side, items by commas; pairs (lists of two) read as key and value."""
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {plain(item)}" for key, item in value.items())
    if isinstance(value, list | tuple):
        return ", ".join(" ".join(map(str, item)) if _is_pair(item) else plain(item) for item in value)
    return "" if value is None else str(value)


def joined(*parts: str, sep: str = ", ") -> str:
    """The parts that say something."""
    return sep.join(part for part in parts if part)


def counted(count: int, one: str, many: str = "") -> str:
    """ "1 job", "2 jobs", "0 entries": ``many`` where it is not ``one`` with an s."""
    return f"{count} {one if count == 1 else many or f'{one}s'}"


def days_of(row: Mapping[str, Any]) -> str:
    """ "90 days", of a record's text."""
    told = value_of(row, "days")
    return "1 day" if told == "1" else f"{told} days"


def rest(row: Mapping[str, Any], *leave: str) -> str:
    """Every key and value of a line that no formatter knows, chain keys left out."""
    shown = {k: v for k, v in row.items() if k not in _HIDDEN and k not in leave and v not in ("", None)}
    return ", ".join(f"{_safe(key)} {_safe(value)}" for key, value in shown.items())


def stepped(row: Mapping[str, Any], key: str) -> str:
    """A value with its step before it."""
    return joined(value_of(row, "step"), value_of(row, key), sep=": ")


def left_at(row: Mapping[str, Any]) -> str:
    """What became of a reading outside its limit. Nobody accepted it: that it is outside was confirmed when it was
    read back, or it can't be measured again."""
    again = value_of(row, "outcome") == "again"
    return (
        f"{value_of(row, 'step')}: {'to be measured again' if again else 'out of limits, not measured again'}"
    )


def measured(row: Mapping[str, Any]) -> str:
    """A reading's or an answer's value: measurand, value and unit, as a technician says them."""
    value = value_of(row, "value") or value_of(row, "outcome")
    unit = value_of(row, "unit")
    amount = value if unit in ("", "1") else in_use(f"{value} {unit}")
    return joined(value_of(row, "measurand") or value_of(row, "condition"), amount, sep=" ")


def seconds(row: Mapping[str, Any], key: str) -> str:
    """Whole seconds as minutes and seconds."""
    text = value_of(row, key)
    if not re.fullmatch(r"[0-9]{1,9}", text):
        return f"{text or '?'} s"
    return lasting(int(text))


def lasting(whole: int) -> str:
    """ "3 min 56 s": a time as it is shown everywhere."""
    minutes, left = divmod(whole, 60)
    return f"{minutes} min {left:02d} s" if minutes else f"{left} s"


def in_minutes(text: str) -> str:
    """A rule's sentence with its seconds in the same form, and its amounts as a technician says them."""
    return in_use(re.sub(r"(?<![\d.-])(\d{2,7}) s\b", lambda found: lasting(int(found.group(1))), text))


def _safe(value: object) -> str:
    text = value if isinstance(value, str) else plain(value)
    return "".join("\ufffd" if unicodedata.category(char) in _STEERING else char for char in text)


def _is_pair(item: object) -> bool:
    return isinstance(item, list | tuple) and len(item) == 2 and all(isinstance(part, str) for part in item)
