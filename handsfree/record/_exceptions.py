"""What a supervisor must look at, line by line: a table from kind to the reason, "" for an ordinary line."""

from __future__ import annotations

from collections.abc import Callable

from ._phrases import limit_of
from ._story import Told
from ._wording import Entry, has, items, joined, measured, seconds, value_of

__all__ = ["exception_of"]


def exception_of(row: Told) -> str:
    """Why this line is out of the ordinary, "" when it is not."""
    rule = _RULES.get(value_of(row, "kind"))
    return rule(row) if rule else ""


def _verdict(row: Told) -> str:
    outcome = value_of(row, "outcome")
    if outcome in ("inside", ""):
        return ""
    what = {"outside": "outside the limit", "close": "too close to call"}.get(outcome, outcome)
    severity = value_of(row, "severity")
    mild = f" ({severity})" if severity in ("warn", "note") else ""
    return joined(f"{value_of(row, 'step')}: {what}{mild}", limit_of(row), value_of(row, "reason"))


def _corrected(row: Told) -> str:
    if not has(row, "replaces"):
        return ""
    old = row.replaced
    was = measured(old) or f"record {value_of(row, 'replaces')}"
    return f"{value_of(row, 'step')}: corrected from {was} to {measured(row)}"


def _inspect(row: Told) -> str:
    found = (
        f"{value_of(row, 'step')}: {value_of(row, 'condition')} found"
        if value_of(row, "outcome") == "found"
        else ""
    )
    return joined(found, _corrected(row))


def _wait(row: Told) -> str:
    """Checked by the figures, not only by the outcome's word."""
    if not has(row, "waited_s"):
        return ""
    plan = row.plan or row
    figures = [_whole(row, "waited_s"), _whole(plan, "planned_s"), _whole(plan, "longest_s")]
    waited, planned, longest = figures
    fits = (
        waited is not None
        and planned is not None
        and planned <= waited <= (waited if longest is None else longest)
    )
    if fits and value_of(row, "outcome") != "overrun":
        return ""
    limits = joined(
        seconds(plan, "planned_s"), (has(plan, "longest_s") and seconds(plan, "longest_s")) or "", sep=" to "
    )
    return f"{value_of(row, 'step')}: waited {seconds(row, 'waited_s')}, planned {limits}"


def _whole(row: Entry, key: str) -> int | None:
    text = value_of(row, key)
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else None


def _disposed(row: Told) -> str:
    return "" if value_of(row, "outcome") == "again" else f"{value_of(row, 'step')}: finding accepted"


def _hold_point(row: Told) -> str:
    """A refusal, and whatever a person released: only the engine's own release is ordinary."""
    outcome, by = value_of(row, "outcome"), value_of(row, "by")
    if outcome == "released" and by == "disposition":
        return ""
    return joined(f"{value_of(row, 'step')}: {outcome} by {by}", *items(row, "reasons"))


def _at(what: str) -> Callable[[Told], str]:
    return lambda row: f"{what} at {value_of(row, 'step')}"


_RULES: dict[str, Callable[[Told], str]] = {
    "verdict": _verdict,
    "reading": _corrected,
    "answer": _corrected,
    "inspect": _inspect,
    "wait": _wait,
    "caution": lambda row: "" if has(row, "read_back") else f"caution not read back: {value_of(row, 'text')}",
    "cut_off": _at("what must be heard was cut off"),
    "not_judged": lambda row: f"{value_of(row, 'step')}: not judged, {value_of(row, 'reason')}",
    "disposed": _disposed,
    "hold_point": _hold_point,
    "hold": _at("put on hold"),
    "stop": _at("work stopped"),
    "resumed": _at("interrupted and opened again"),
    "back": lambda row: f"went back from {value_of(row, 'step')} to {value_of(row, 'to')}",
    "device": lambda row: joined(value_of(row, "device"), value_of(row, "outcome"), sep=" "),
    "recovered": lambda row: f"an unfinished line was moved to {value_of(row, 'file')}",
}
