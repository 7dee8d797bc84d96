"""A job as a person reads it: the outcome first, then the conversation, then what was out of the ordinary."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, tzinfo
from pathlib import Path
from typing import Any

from rich.console import Console, Group, RenderableType
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from ._check import Finding, check_chain
from ._line import Line
from ._phrases import PHRASES, Entry, Phrase, clean, exceptions_of, unknown, value_of
from ._read import read_log

__all__ = ["render", "show_text"]

_OUTCOME_STYLE = {"return to service": "bold green", "released": "bold green"}
_HEADER_FIELDS = (
    ("Technician", "technician"),
    ("Work order", "work_order"),
    ("Vehicle", "vehicle"),
    ("Tire", "tire"),
    ("Bay", "bay"),
    ("Procedure", "procedure"),
    ("Engine", "engine"),
)


def render(
    entries: Iterable[Line | Mapping[str, Any]],
    findings: Sequence[Finding] | None = None,
    *,
    tz: tzinfo | None = None,
) -> RenderableType:
    """The job for a terminal (anything rich prints). Never raises for an unknown or odd entry.

    ``entries``: Lines or their dicts, in order. ``findings``: what ``check_chain`` found; None: not checked.
    ``tz``: time zone of the times shown, None: this machine's.
    """
    rows: list[Entry] = [dict(entry.entry if isinstance(entry, Line) else entry) for entry in entries]
    parts: list[RenderableType] = [_header(rows, tz), _conversation(rows, tz)]
    exceptions = _exceptions(rows)
    if exceptions is not None:
        parts.append(exceptions)
    parts.append(_chain(rows, findings))
    return Group(*parts)


def show_text(folder: Path | str, *, width: int = 110, tz: tzinfo | None = None) -> str:
    """A job's folder as plain text ``width`` columns wide. Raises RecordError when there is no record."""
    console = Console(width=width, no_color=True, force_terminal=False, legacy_windows=False, record=False)
    with console.capture() as capture:
        console.print(render(read_log(folder).lines, check_chain(folder), tz=tz))
    return "\n".join(line.rstrip() for line in capture.get().splitlines()) + "\n"


def _header(rows: Sequence[Entry], tz: tzinfo | None) -> RenderableType:
    opened = next((row for row in rows if row.get("kind") == "open"), {})
    closed = next((row for row in reversed(rows) if row.get("kind") == "close"), None)
    table = Table.grid(padding=(0, 2))
    table.add_row(Text("Disposition", style="bold"), _disposition(rows, closed))
    for label, key in _HEADER_FIELDS:
        if opened.get(key):
            table.add_row(label, clean(opened[key]))
    if rows:
        table.add_row("Started", _clock(rows[0].get("at"), tz, date=True))
        table.add_row("Ended", _clock(closed.get("at"), tz, date=True) if closed else Text("not closed"))
    return Panel(table, title="Job", title_align="left", expand=False)


def _disposition(rows: Sequence[Entry], closed: Entry | None) -> Text:
    if closed is None:
        stopped = any(row.get("kind") == "stop" for row in rows[-3:])
        return Text("stopped, not closed" if stopped else "unfinished", style="bold yellow")
    outcome = value_of(closed, "outcome") or "closed, no outcome given"
    text = Text(outcome.upper(), style=_OUTCOME_STYLE.get(outcome.replace("_", " "), "bold red"))
    reasons = closed.get("reasons")
    for reason in reasons if isinstance(reasons, list) else [reasons]:
        if reason:
            text.append_text(Text("\n")).append_text(clean(reason))
    return text


def _conversation(rows: Sequence[Entry], tz: tzinfo | None) -> RenderableType:
    table = Table(box=None, pad_edge=False, show_header=True, header_style="bold", title_justify="left")
    table.add_column("Time", no_wrap=True)
    table.add_column("#", justify="right", no_wrap=True)
    table.add_column("", no_wrap=True)
    table.add_column("What happened", overflow="fold")
    by_seq = {str(row.get("seq")): row for row in rows}
    for row in rows:
        phrase = _phrase(row, by_seq)
        if phrase is None:
            continue
        style = phrase.style
        seq = Text(str(row.get("seq", "")), style="dim")
        table.add_row(_clock(row.get("at"), tz), seq, Text(phrase.label, style=style), phrase.text)
    return table


def _phrase(row: Entry, by_seq: Mapping[str, Entry]) -> Phrase | None:
    formatter = PHRASES.get(str(row.get("kind")), unknown)
    return formatter(row, by_seq)


def _exceptions(rows: Sequence[Entry]) -> RenderableType | None:
    """Everything a supervisor must look at, by number, so that it can't drown in the conversation."""
    found = [(row, note) for row in rows for note in exceptions_of(row)]
    if not found:
        return Text("\nExceptions: none", style="bold")
    table = Table.grid(padding=(0, 2))
    for row, note in found:
        table.add_row(Text(f"#{row.get('seq', '?')}", style="bold red"), note)
    return Group(Text(f"\nExceptions: {len(found)}", style="bold red"), table)


def _chain(rows: Sequence[Entry], findings: Sequence[Finding] | None) -> RenderableType:
    head = str(rows[-1].get("hash", "")) if rows else ""
    if findings is None:
        return Text(f"\nChain: not checked, {len(rows)} lines, head {head[:16]}")
    errors = [finding for finding in findings if finding.severity == "error"]
    notes = [finding for finding in findings if finding.severity != "error"]
    if errors:
        state = Text(f"\nChain: BROKEN, {len(errors)} found in {len(rows)} lines", style="bold red")
    else:
        state = Text(f"\nChain: unbroken, {len(rows)} lines, head {head[:16]}", style="green")
    for finding in [*errors, *notes]:
        where = f"line {finding.line}: " if finding.line else ""
        state.append_text(Text(f"\n  {finding.severity}: {where}")).append_text(clean(finding.message))
    return state


def _clock(at: object, tz: tzinfo | None, *, date: bool = False) -> Text:
    try:
        local = datetime.fromisoformat(str(at)).astimezone(tz)
    except (ValueError, OverflowError):
        return clean(at)
    return Text(local.strftime("%Y-%m-%d %H:%M:%S %z" if date else "%H:%M:%S"))
