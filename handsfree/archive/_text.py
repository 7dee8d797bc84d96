"""The report as text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from handsfree.record import counted

from ._figures import Figures, Scope

__all__ = ["none_text", "percent", "report_text", "scope_text"]


def percent(part: int, whole: int) -> str:
    """ "4.2 %", "-" of nothing."""
    return f"{100 * part / whole:.1f} %" if whole else "-"


def scope_text(scope: Scope) -> str:
    """What was counted, in words."""
    parts = ["practice jobs" if scope.practice else "jobs"]
    parts += [f"from {scope.since} on"] if scope.since and not scope.until else []
    parts += [f"until {scope.until}"] if scope.until and not scope.since else []
    parts += [f"from {scope.since} to {scope.until}"] if scope.since and scope.until else []
    if scope.bay is not None:
        parts.append(f"in bay {scope.bay}" if scope.bay else "with no bay named")
    if scope.technician is not None:
        parts.append(f"by {scope.technician}" if scope.technician else "with no technician named")
    return ", ".join([" ".join(parts[:1]), *parts[1:]])


def left_out_text(found: Figures) -> str:
    """The other kind of jobs, which were not counted; "" when there are none."""
    if not found.left_out:
        return ""
    other = "real" if found.scope.practice else "practice"
    told = counted(found.left_out, f"{other} job")
    return f"{told} of the same time and place {'is' if found.left_out == 1 else 'are'} not counted"


def report_text(found: Figures) -> str:
    """Every figure of the report."""
    heard = found.heard
    if not found.jobs:
        return "\n".join(_printable([none_text(found)]))
    lines = [
        f"Counted: {scope_text(found.scope)} (days in UTC)",
        *([left_out_text(found)] if found.left_out else []),
        f"Jobs: {found.jobs}; released: {found.released}; repairs: {found.repairs}; "
        f"scrapped: {found.scrapped} of {found.judged} ({percent(found.scrapped, found.judged)})",
        "",
        *_table("Disposition", ("jobs",), [(name, (count,)) for name, count in found.dispositions]),
        *_table("Signed", ("jobs",), [(name, (count,)) for name, count in found.signatures]),
        *_table(
            "Bay, technician",
            ("jobs", "repairs", "scrapped", "exceptions"),
            [
                (f"{c.bay or '-'}, {c.technician or '-'}", (c.jobs, c.repairs, c.scrapped, c.exceptions))
                for c in found.crews
            ],
        ),
        *_table("Not released because of", ("times",), [(label, (n,)) for label, _, n in found.reasons]),
        *_table("Exceptions", ("entries", "jobs"), [(name, (n, jobs)) for name, n, jobs in found.exceptions]),
        *_table(
            "Limits missed", ("outside", "close"), [(rule, (out, near)) for rule, out, near in found.missed]
        ),
        *_table(
            "Month",
            ("jobs", "repairs", "scrapped"),
            [(m.month, (m.jobs, m.repairs, m.scrapped)) for m in found.months],
        ),
        *_table(
            "Recognizer, bay",
            ("utterances", "no match", "corrections"),
            [(one.bay or "-", (one.utterances, one.no_match, one.corrections)) for one in found.hearing],
        ),
        f"No match: {percent(heard.no_match, heard.utterances)} of {counted(heard.utterances, 'utterance')}; "
        f"taken back at the read-back: {heard.taken_back}; corrected after recording: {heard.corrections}; "
        f"no input: {heard.no_input}",
    ]
    return "\n".join(_printable(lines))


def none_text(found: Figures) -> str:
    """What is said, in one line, where no job is counted."""
    left_out = left_out_text(found)
    hint = "" if found.scope.practice else " (--practice counts them)"
    more = f"; {left_out}{hint}" if left_out else ""
    return f"No job was counted: {scope_text(found.scope)}, days in UTC{more}"


def _printable(lines: Sequence[str]) -> list[str]:
    return ["".join(c if c.isprintable() else "\ufffd" for c in line) for line in lines]


def _table(title: str, heads: Sequence[str], rows: Sequence[tuple[str, Sequence[int]]]) -> list[str]:
    if not rows:
        return []
    width = max(len(title), *(len(name) for name, _ in rows))
    head = f"{title:<{width}}" + "".join(f"  {one:>10}" for one in heads)
    body = [f"{name:<{width}}" + "".join(f"  {count:>10}" for count in counts) for name, counts in rows]
    return [head, *body, ""]
