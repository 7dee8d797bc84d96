"""A job as a person reads it: the outcome first, then the conversation, then what was out of the ordinary."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import tzinfo
from pathlib import Path
from typing import Any

from rich.console import Console, Group, RenderableType
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from ._check import NAMED, OLDER, STRANGER, Finding, check_chain, what_is_damaged
from ._exceptions import exceptions, practice_of
from ._line import Line
from ._pages import OlderPage, older_pages
from ._people import crew
from ._phrases import phrase
from ._read import read_log
from ._rejected import REJECTED, how_to_do_again, rejection
from ._story import Told, tell
from ._summary import readings, sealed
from ._wording import clean, counted, in_use, items, joined, last_signed, line_of, measured, value_of
from ._zone import local_time, zone_of, zones_of

__all__ = ["render", "show_text", "what_signatures_lack"]

_GOOD = "return to service"
#: Shown at the top: a label, and where it stands in the first line or as a measurand.
_HEADER = (
    ("Technician", "technician"),
    ("Bay", "bay"),
    ("Called", "tire"),
    ("Shop", "shop"),
    ("Work order", "job.work_order"),
    ("Wheel", "job.wheel_position"),
    ("Tire", "tire.size"),
    ("Date code", "tire.date_code"),
    ("Procedure", "procedure_title"),
    ("Policy", "policy"),
    ("Engine", "engine"),
)
#: Goes without saying.
_USUAL = ("policy", "us")


#: What the shop's list tells of the whole record, before its disposition.
_HEADS = {NAMED: "WRONG FOLDER", OLDER: "INCOMPLETE"}
_LACKS = "a signature that the shop's list knows is not in it; see its end"


def render(
    entries: Iterable[Line | Mapping[str, Any]],
    findings: Sequence[Finding] | None = None,
    *,
    tz: tzinfo | None = None,
    signatures: Sequence[Finding] | None = None,
    older: Sequence[OlderPage] = (),
) -> RenderableType:
    """The job for a terminal (anything rich prints). Never raises for an unknown or odd entry.

    ``entries``: Lines or their dicts, in order. ``findings``: what ``check_chain`` found; None: not checked.
    ``tz``: time zone of the times shown, None: this machine's. ``signatures``: what ``check_signatures`` found
    against the shop's keys; None: they were not verified. ``older``: its pages that were made before it went on.
    """
    rows = tell(entries)
    head = _header(rows, tz, findings or (), signatures, older)
    parts = (head, _conversation(rows, tz), _readings(rows), _exceptions(rows))
    chain = None if findings is None else [finding for finding in findings if finding.check != "pinned"]
    ends = (_chain(rows, chain), *_files(findings or ()), *_signatures(findings, signatures or ()))
    return Group(*parts, *ends)


def show_text(
    folder: Path | str,
    *,
    width: int = 110,
    tz: tzinfo | None = None,
    signatures: Sequence[Finding] | None = None,
    findings: Sequence[Finding] | None = None,
) -> str:
    """A job's folder as plain text ``width`` columns wide. Raises RecordError when there is no record.

    ``findings``: None: what ``check_chain`` finds, which is not all (whether the end is there a replay alone tells).
    """
    console = Console(width=width, no_color=True, force_terminal=False, legacy_windows=False, record=False)
    with console.capture() as capture:
        lines = read_log(folder).lines
        older = older_pages(Path(folder), lines)
        found = check_chain(folder) if findings is None else findings
        console.print(render(lines, found, tz=tz, signatures=signatures, older=older))
    return "\n".join(line.rstrip() for line in capture.get().splitlines()) + "\n"


def _header(
    rows: Sequence[Told],
    tz: tzinfo | None,
    findings: Sequence[Finding],
    signatures: Sequence[Finding] | None,
    older: Sequence[OlderPage],
) -> RenderableType:
    closed = next((row for row in reversed(rows) if row.get("kind") == "close"), None)
    table = Table.grid(padding=(0, 2))
    damaged = what_is_damaged(findings)
    if damaged:
        # Before the disposition: it is no longer worth anything.
        what = Text("do not rely on this record; see its end: ").append_text(clean(damaged))
        table.add_row(Text("DAMAGED", style="bold red"), what)
    lacks = [one for one in signatures or () if one.severity == "error" and one.sort in _HEADS]
    if lacks:
        told = clean(f"do not rely on this copy: {lacks[0].message if lacks[0].sort == NAMED else _LACKS}")
        table.add_row(Text(_HEADS[lacks[0].sort], style="bold red"), told)
    table.add_row(Text("Disposition", style="bold"), _disposition(rows, closed, tz))
    for label, key in _HEADER:
        value = ", then ".join(crew(rows)) if key == "technician" else _known(rows, key)
        if value and (key, value) != _USUAL:
            table.add_row(label, Text(value))
    if rows:
        table.add_row("Started", _clock(rows[0].get("at"), tz, date=True))
        table.add_row("Ended", _clock(closed.get("at"), tz, date=True) if closed else Text("not closed"))
    signed = _signed(rows, tz, signatures, damaged=bool(damaged))
    if signed is not None:
        table.add_row("Signed", signed)
    again = how_to_do_again(rows)
    if again:
        table.add_row("Go on", Text(again))
    for page in older:
        table.add_row("Older page", clean(f"{page.page.name}: {page.why}; make it again: {page.again}"))
    practice = practice_of(next((row for row in rows if row.get("kind") == "open"), Told()))
    shown = Group(Text(practice, style="bold red"), table) if practice else table
    return Panel(shown, title="Job", title_align="left", expand=False)


def _signed(
    rows: Sequence[Told], tz: tzinfo | None, signatures: Sequence[Finding] | None, *, damaged: bool
) -> Text | None:
    """The last decision, which counts, and those before it. None: nobody signed, and the shop knows of nobody."""
    row = last_signed(rows)
    number = 0 if row is None else line_of(row)
    faults = [f.message for f in signatures or () if f.severity == "error" and f.line in (0, number)]
    if row is None:
        return Text("; ".join(faults), style="bold red") if faults else None
    told = joined(_decision(row, tz), row.clock)
    earlier = [_decision(one, tz) for one in reversed(rows) if one.get("kind") == "signed" and one is not row]
    before = "".join(f"; before: {one}" for one in earlier)
    if faults or damaged:
        why = "; ".join(faults) or "the record is damaged"
        return Text(f"{told}; DO NOT RELY ON IT: {why}{before}", style="bold red")
    if signatures is None:
        return Text(f"{told}; not verified: the shop's public keys were not given (--keys){before}")
    verified = f"{told}; verified against the shop's public keys{before}"
    return Text(verified, style="bold red" if row.clock else "")


def _decision(row: Told, tz: tzinfo | None) -> str:
    told = f"{value_of(row, 'decision')} by {value_of(row, 'name')} on {_clock(row.get('at'), tz, date=True)}"
    return joined(told, value_of(row, "reason"), sep=": ")


def _known(rows: Sequence[Told], key: str) -> str:
    """A value of the first line, or the last one recorded for a measurand."""
    opened = next((row for row in rows if row.get("kind") == "open"), Told())
    read = [row for row in rows if row.get("kind") in ("reading", "answer") and row.get("measurand") == key]
    if not read:
        return value_of(opened, key) or value_of(opened, key.rpartition(".")[2])
    return measured({**read[-1], "measurand": ""})


def _disposition(rows: Sequence[Told], closed: Told | None, tz: tzinfo | None) -> Text:
    """What became of the tire; of a rejected job the rejection, for a reader stops at the first word."""
    ended, rejected = _ended(rows, closed), rejection(rows)
    if rejected is None:
        return ended
    text = Text(REJECTED.upper(), style="bold red")
    text.append(f"\nby {_decision(rejected, tz).removeprefix('reject by ')}", style="not bold")
    text.append(f"\ndo again: {'; '.join(items(rejected, 'redo'))}", style="not bold")
    return text.append(f"\nthe work had ended with: {ended.plain.lower()}", style="not bold")


def _ended(rows: Sequence[Told], closed: Told | None) -> Text:
    """What the work came to."""
    if closed is None:
        stopped = any(row.get("kind") == "stop" for row in rows[-3:])
        return Text("stopped, not closed" if stopped else "unfinished", style="bold yellow")
    outcome = value_of(closed, "disposition") or value_of(closed, "outcome") or "closed, no outcome given"
    text = Text(outcome.upper(), style="bold green" if outcome == _GOOD else "bold red")
    for reason in items(closed, "reasons"):
        text.append("\n" + in_use(reason), style="not bold")
    return text


def _conversation(rows: Sequence[Told], tz: tzinfo | None) -> RenderableType:
    table = Table(box=None, pad_edge=False, show_header=True, header_style="bold")
    zones = zones_of(rows, tz)
    table.add_column(f"Time\n{zones}" if zones else "Time", no_wrap=", " not in zones)
    table.add_column("Line", justify="right", no_wrap=True)
    table.add_column("", no_wrap=True)
    table.add_column("What happened", overflow="fold")
    for row in rows:
        told = phrase(row)
        if told is not None:
            number = Text(str(line_of(row) or ""), style="dim")
            table.add_row(_clock(row.get("at"), tz), number, Text(told.label, style=told.style), told.text)
    return table


def _readings(rows: Sequence[Told]) -> RenderableType:
    """The readings that count, without the talk around them."""
    found = readings(rows)
    if not found:
        return Text("\nReadings in force: none", style="bold")
    table = Table.grid(padding=(0, 2))
    for row in found:
        table.add_row(*(Text(cell) for cell in row))
    return Group(Text("\nReadings in force:", style="bold"), table)


def _exceptions(rows: Sequence[Told]) -> RenderableType:
    """Everything a supervisor must look at, by number, so that it can't drown in the conversation."""
    found = exceptions(rows)
    if not found:
        return Text("\nExceptions: none", style="bold")
    table = Table.grid(padding=(0, 2))
    for where, note in found:
        table.add_row(Text(where, style="bold red"), Text(note))
    return Group(Text(f"\nExceptions: {len(found)}", style="bold red"), table)


def _chain(rows: Sequence[Told], findings: Sequence[Finding] | None) -> RenderableType:
    head = value_of(rows[-1], "hash") if rows else ""
    if findings is None:
        return Text(f"\nChain: not checked, {counted(len(rows), 'line')}, head of the last line {head[:16]}")
    errors = [finding for finding in findings if finding.severity == "error"]
    notes = [finding for finding in findings if finding.severity != "error"]
    if errors and all(finding.check == "end" for finding in errors):
        state = Text(
            f"\nChain: unbroken as far as it goes, {counted(len(rows), 'line')}; THE END IS MISSING",
            style="bold red",
        )
    elif errors:
        state = Text(
            f"\nChain: BROKEN, {len(errors)} found in {counted(len(rows), 'line')}", style="bold red"
        )
    else:
        state = Text(
            f"\nChain: unbroken, {counted(len(rows), 'line')}, head of the last line {head[:16]}",
            style="green",
        )
        for told in sealed(rows):
            state.append_text(Text("\n")).append_text(clean(told))
    return _listed(state, [*errors, *notes], "damage")


def _files(findings: Sequence[Finding]) -> list[RenderableType]:
    """What is wrong with the files that the first line pins, apart from the chain, which may be whole."""
    found = [finding for finding in findings if finding.check == "pinned"]
    if not found:
        return []
    state = Text("\nFiles that the job was worked by: NOT THOSE IT BEGAN WITH", style="bold red")
    state.append(
        "\n  put them back from a copy: what was asked and judged can't be told without them",
        style="not bold",
    )
    return [_listed(state, found, "damage")]


def _signatures(findings: Sequence[Finding] | None, signatures: Sequence[Finding]) -> list[RenderableType]:
    """What was found of the signatures, apart from the chain: it may be whole, and only the folder of keys the wrong
    one."""
    if not signatures:
        return []
    told = what_signatures_lack(signatures)
    whole = _only_keys(signatures) and findings is not None
    whole = whole and all(finding.severity != "error" for finding in findings or ())
    also = "; the record itself is whole" if told and whole else ""
    state = Text(f"\nSignatures: {told or 'good'}{also}", style="bold red" if told else "green")
    return [_listed(state, sorted(signatures, key=lambda one: one.severity != "error"), "error")]


def _only_keys(signatures: Sequence[Finding]) -> bool:
    """Whether nothing but the keys is in doubt: a record without a signature it once held is not whole."""
    return all(finding.sort == STRANGER for finding in signatures if finding.severity == "error")


def lacking_told(signatures: Sequence[Finding], keys: Path | None) -> str:
    """The same in one line, and what to look at. ``keys``: the folder that they were held against."""
    lacking = what_signatures_lack(signatures)
    if _only_keys(signatures):
        end = f"see its end, and whether {keys} is the right folder (--keys)"
        return f"the record is whole; its signatures: {lacking}; {end}"
    return f"do not rely on this record: its signatures: {lacking}; see its end"


def what_signatures_lack(signatures: Sequence[Finding]) -> str:
    """In a few words, "" when no finding about them is an error."""
    sorts = {finding.sort for finding in signatures if finding.severity == "error"}
    if not sorts:
        return ""
    return {
        frozenset({STRANGER}): "by a key that is not in the shop's folder of keys",
        frozenset({OLDER}): "not all are here that the shop's list knows",
        frozenset({NAMED}): "of a job with another name than this folder",
    }.get(frozenset(sorts), "NOT GOOD")


def _listed(state: Text, findings: Sequence[Finding], error: str) -> Text:
    for finding in findings:
        where = f"line {finding.line}: " if finding.line else ""
        what = error if finding.severity == "error" else finding.severity
        state.append_text(Text(f"\n  {what}: {where}")).append_text(clean(finding.message))
    return state


def _clock(at: object, tz: tzinfo | None, *, date: bool = False) -> Text:
    local = local_time(at, tz)
    if local is None:
        return clean(at)
    return Text(f"{local:%Y-%m-%d %H:%M:%S} {zone_of(local)}" if date else f"{local:%H:%M:%S}")
