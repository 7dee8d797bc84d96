"""How each kind of line is said to a reader: a table from kind to formatter, and what counts as an exception.

Text in a record comes from speech, keyboards and files, so every piece goes through ``clean``: no terminal
control sequence and no markup of a record may reach the reader's screen.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

from rich.text import Text

__all__ = ["PHRASES", "Entry", "Phrase", "clean", "exceptions_of", "unknown", "value_of"]

Entry = dict[str, Any]
BySeq = Mapping[str, Entry]


class Phrase(NamedTuple):
    """One row: a label (who or what), the text, the label's style."""

    label: str
    text: Text
    style: str = ""


Formatter = Callable[[Entry, BySeq], Phrase | None]

_HIDDEN = frozenset({"seq", "prev", "hash", "kind", "at", "mono_ms"})
_CONTROL = {"Cc", "Cf", "Cs", "Co", "Zl", "Zp"}


def clean(value: object) -> Text:
    """Any value as text that can't steer a terminal: control and bidirectional characters become U+FFFD."""
    text = value if isinstance(value, str) else _plain(value)
    return Text("".join("�" if unicodedata.category(char) in _CONTROL else char for char in text))


def value_of(row: Entry, key: str) -> str:
    """A key's value as clean text, "" when it is missing or null."""
    return "" if row.get(key) is None else clean(row[key]).plain


def unknown(row: Entry, _: BySeq) -> Phrase:
    """A kind this version does not know: shown whole rather than hidden."""
    return Phrase(value_of(row, "kind") or "?", Text(_rest(row)), "dim")


def _open(row: Entry, _: BySeq) -> Phrase:
    pins = [f"{key} {value_of(row, key)[:16]}" for key in row if key.endswith("sha256")]
    return Phrase("opened", Text(_join("schema " + value_of(row, "schema"), *pins)), "dim")


def _event(row: Entry, _: BySeq) -> Phrase | None:
    kind = value_of(row, "type")
    formatter = _EVENTS.get(kind)
    if formatter is None:
        return Phrase(kind.replace("_", " ") or "event", Text(_rest(row, "type")), "dim")
    return formatter(row)


def _heard(row: Entry) -> Phrase:
    understood = _understood(row)
    return Phrase(
        "heard",
        Text(_join(f'"{value_of(row, "text")}"', understood and f"understood as {understood}")),
        "cyan",
    )


def _no_match(row: Entry) -> Phrase:
    said = value_of(row, "text")
    what = f'"{said}" is no answer to the question' if said else "speech that fits nothing armed"
    return Phrase("no match", Text(_join(what, value_of(row, "reason"))), "yellow")


def _no_input(row: Entry) -> Phrase:
    return Phrase("no input", Text(_join("nothing was said", value_of(row, "reason"))), "yellow")


def _quiet(_: Entry) -> None:
    """Events the conversation shows elsewhere: a reply's end and a timer's end have lines of their own."""
    return


_EVENTS: dict[str, Callable[[Entry], Phrase | None]] = {
    "heard": _heard,
    "command": lambda row: Phrase(
        "command", Text(_join(f'"{value_of(row, "text")}"', _understood(row))), "cyan"
    ),
    "no_match": _no_match,
    "no_input": _no_input,
    "spoken": _quiet,
    "timer": _quiet,
    "start": lambda _: Phrase("started", Text("the job starts")),
    "resumed": lambda row: Phrase(
        "resumed", Text(_join("the job goes on after an interruption", _rest(row, "type")))
    ),
}


def _said(row: Entry, _: BySeq) -> Phrase:
    cut = (
        ""
        if _whole(row)
        else f"(cut off: {value_of(row, 'played_ms')} of {value_of(row, 'total_ms')} ms played)"
    )
    return Phrase("said", Text(_join(value_of(row, "text") or value_of(row, "say"), cut, sep=" ")), "green")


def _reading(row: Entry, by_seq: BySeq) -> Phrase:
    text = Text(_join(value_of(row, "step"), f"{_measured(row)}", sep=": "))
    resolution = value_of(row, "resolution")
    if resolution:
        text.append(f" (to {resolution})", style="dim")
    replaced = value_of(row, "replaces")
    if replaced:
        old = by_seq.get(replaced)
        was = _measured(old) if old else "a line that is not here"
        text.append(f"  CORRECTION, replaces {was} of #{replaced}", style="bold yellow")
    return Phrase("recorded", text, "bold")


def _verdict(row: Entry, _: BySeq) -> Phrase:
    outcome = value_of(row, "outcome")
    limit = value_of(row, "limit")
    margin = value_of(row, "margin")
    text = _join(
        outcome.upper(),
        limit and f"limit {limit}",
        margin and f"margin {margin}",
        value_of(row, "reason"),
        value_of(row, "source") and f"[{value_of(row, 'source')}]",
    )
    return Phrase("verdict", Text(text), "green" if outcome == "inside" else "bold red")


def _answer(row: Entry, _: BySeq) -> Phrase:
    heard = value_of(row, "heard")
    return Phrase("answer", Text(_join(_stepped(row, "outcome"), heard and f'heard "{heard}"')), "bold")


def _caution(row: Entry, _: BySeq) -> Phrase:
    back = value_of(row, "read_back")
    answer = f'read back "{back}"' if back else "NOT READ BACK"
    return Phrase(
        "caution", Text(_join(_stepped(row, "text"), answer)), "bold yellow" if back else "bold red"
    )


def _wait(row: Entry, _: BySeq) -> Phrase:
    longest = value_of(row, "longest_s")
    planned = f"planned {_seconds(row, 'planned_s')}" + (
        f", at most {_seconds(row, 'longest_s')}" if longest else ""
    )
    text = _join(_stepped(row, "outcome"), planned, f"waited {_seconds(row, 'waited_s')}")
    return Phrase("wait", Text(text), "bold red" if _short(row) else "bold")


def _pass(row: Entry, _: BySeq) -> Phrase:
    return Phrase(
        "pass", Text(f"{value_of(row, 'step')}: {value_of(row, 'n')} of {value_of(row, 'target')}"), "bold"
    )


def _inspect(row: Entry, _: BySeq) -> Phrase:
    text = _join(_stepped(row, "condition"), value_of(row, "outcome").upper())
    return Phrase("inspected", Text(text), "bold")


def _refused(row: Entry, _: BySeq) -> Phrase:
    return Phrase("refused", Text(_join(value_of(row, "event"), value_of(row, "reason"))), "yellow")


def _step(row: Entry, _: BySeq) -> Phrase:
    title = value_of(row, "title") or value_of(row, "step")
    return Phrase("", Text(_join(value_of(row, "phase"), title, sep=" / "), style="bold underline"))


def _recovered(row: Entry, _: BySeq) -> Phrase:
    text = f"{value_of(row, 'torn_bytes')} bytes of an unfinished line were moved to {value_of(row, 'file')}"
    return Phrase("recovered", Text(text), "yellow")


def _close(row: Entry, _: BySeq) -> Phrase:
    reasons = row.get("reasons")
    why = (
        "; ".join(clean(reason).plain for reason in reasons)
        if isinstance(reasons, list)
        else value_of(row, "reasons")
    )
    return Phrase("closed", Text(_join(value_of(row, "outcome"), why)), "bold")


def _plainly(label: str, style: str) -> Formatter:
    return lambda row, _: Phrase(label, Text(_rest(row)), style)


PHRASES: dict[str, Formatter] = {
    "open": _open,
    "event": _event,
    "said": _said,
    "reading": _reading,
    "verdict": _verdict,
    "answer": _answer,
    "caution": _caution,
    "wait": _wait,
    "pass": _pass,
    "inspect": _inspect,
    "refused": _refused,
    "hold": _plainly("hold", "bold yellow"),
    "resume": _plainly("resume", "bold"),
    "stop": _plainly("stop work", "bold red"),
    "step": _step,
    "recovered": _recovered,
    "close": _close,
}


def exceptions_of(row: Entry) -> list[Text]:
    """Why a supervisor should look at this line; empty for an ordinary one."""
    rule = _EXCEPTIONS.get(value_of(row, "kind"))
    note = rule(row) if rule else ""
    return [Text(note)] if note else []


def _verdict_exception(row: Entry) -> str:
    outcome = value_of(row, "outcome")
    if outcome in ("inside", ""):
        return ""
    what = {"outside": "outside the limit", "close": "too close to call"}.get(outcome, outcome)
    return _join(f"{value_of(row, 'step')}: {what}", value_of(row, "limit"), value_of(row, "reason"))


def _caution_exception(row: Entry) -> str:
    return "" if value_of(row, "read_back") else f"caution not read back: {value_of(row, 'text')}"


_EXCEPTIONS: dict[str, Callable[[Entry], str]] = {
    "verdict": _verdict_exception,
    "caution": _caution_exception,
    "reading": lambda row: (
        f"{value_of(row, 'step')}: corrected, replaces #{value_of(row, 'replaces')}"
        if value_of(row, "replaces")
        else ""
    ),
    "wait": lambda row: (
        f"{value_of(row, 'step')}: waited {_seconds(row, 'waited_s')} of {_seconds(row, 'planned_s')}"
        if _short(row)
        else ""
    ),
    "hold": lambda row: _join("hold", _rest(row), sep=": "),
    "stop": lambda row: _join("work stopped", _rest(row), sep=": "),
    "recovered": lambda row: f"an unfinished line was moved to {value_of(row, 'file')}",
    "override": lambda row: _join("override", _rest(row), sep=": "),
}


def _measured(row: Entry) -> str:
    value, unit = value_of(row, "value"), value_of(row, "unit")
    name = value_of(row, "measurand")
    amount = value if unit in ("", "1") else f"{value} {unit}"
    return f"{name} {amount}" if name else amount


def _understood(row: Entry) -> str:
    label = value_of(row, "label")
    slots = row.get("slots")
    return _join(label, f"({clean(slots).plain})" if slots else "", sep=" ")


def _stepped(row: Entry, key: str) -> str:
    return _join(value_of(row, "step"), value_of(row, key), sep=": ")


def _whole(row: Entry) -> bool:
    return value_of(row, "completed").lower() in ("true", "")


def _short(row: Entry) -> bool:
    """Shorter than planned or longer than allowed; also when the figures can't be read."""
    try:
        waited, planned = float(value_of(row, "waited_s")), float(value_of(row, "planned_s"))
        longest = float(value_of(row, "longest_s") or "inf")
    except ValueError:
        return True
    return not planned <= waited <= longest


def _seconds(row: Entry, key: str) -> str:
    text = value_of(row, key)
    if not re.fullmatch(r"\d{1,9}", text):
        return f"{text or '?'} s"
    minutes, seconds = divmod(int(text), 60)
    return f"{minutes} min {seconds:02d} s" if minutes else f"{seconds} s"


def _rest(row: Entry, *leave: str) -> str:
    shown = {
        key: value
        for key, value in row.items()
        if key not in _HIDDEN and key not in leave and value not in ("", None)
    }
    return ", ".join(f"{clean(key).plain} {clean(value).plain}" for key, value in shown.items())


def _plain(value: object) -> str:
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {_plain(item)}" for key, item in value.items())
    if isinstance(value, list | tuple):
        return ", ".join(_plain(item) for item in value)
    return "" if value is None else str(value)


def _join(*parts: str, sep: str = ", ") -> str:
    return sep.join(part for part in parts if part)
