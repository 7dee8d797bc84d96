"""Where the computer's clock was set, by the lines' own times: what the audit, ``show`` and the pages tell alike.

``at`` is wall time and ``mono_ms`` the monotonic clock, both read when a line was written. Within a session the
second shows that the first was set; between two, only that no line can be older than the one before it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from ._wording import value_of

__all__ = ["BESIDE", "OWN_TIME", "SLACK_MS", "behind", "clocks_set", "new_session", "second_of"]

#: A line is written after its event by the time it takes to keep the sound, on a slow disk some seconds; and a
#: clock is set right by small steps all the time.
SLACK_MS = 5000
#: Written outside a session: after the job, by another clock than a practice job's, or just before it goes on.
BESIDE = ("signed", "audio_dropped", "note")
#: Written by a session of its own accord, with a time of their own; all other lines have their event's.
OWN_TIME = ("open", "event", "recovered", "reopened", "sound_lost", "voice")
#: Of those above, what the computer's own clock dates whatever clock the job was worked by.
_BY_COMPUTER = ("signed", "audio_dropped")

Entry = Mapping[str, Any]


def new_session(row: Entry) -> bool:
    """Whether a session begins with this line: the monotonic clock may begin anew."""
    kind = value_of(row, "kind")
    return kind in ("recovered", "reopened") or (kind == "event" and value_of(row, "type") == "resumed")


def clocks_set(rows: Sequence[Entry]) -> dict[int, str]:
    """In words, by index in ``rows``: before which lines the clock was set, and which signatures are older than the
    line before them. A simulated clock runs ahead of the computer's: of such a job only what followed it counts."""
    found: dict[int, str] = {}
    before: Entry | None = None
    for index, row in enumerate(rows):
        kind = value_of(row, "kind")
        if kind == "signed":
            told = _older(rows, index)
            if told:
                found[index] = told
        if kind not in OWN_TIME or _wall(row) is None:
            continue
        told = "" if before is None else _set_back(before, row) if new_session(row) else _set(before, row)
        if told:
            found[index] = told
        before = row
    return found


def behind(rows: Sequence[Entry], at: str) -> str:
    """The time of the last line (RFC 3339) that the computer's clock must not be behind, where ``at`` is; else "".

    ``rows``: a record's lines in order. Nothing is told of a clock that was simulated.
    """
    last = next((row for row in reversed(rows) if _comparable(rows, row)), None)
    if last is None:
        return ""
    now, then = _wall({"at": at}), _wall(last)
    return value_of(last, "at") if now is not None and then is not None and then - now > SLACK_MS else ""


def _comparable(rows: Sequence[Entry], row: Entry) -> bool:
    simulated = value_of(rows[0], "clock") == "simulated"
    return not simulated or value_of(row, "kind") in _BY_COMPUTER


def _older(rows: Sequence[Entry], index: int) -> str:
    at = value_of(rows[index], "at")
    last = behind(rows[:index], at) if index else ""
    if not last:
        return ""
    return (
        f"dated {second_of(at)}, before a line above it ({second_of(last)}): the computer's clock was wrong, or the "
        "date is false"
    )


def second_of(at: str) -> str:
    """ "2026-12-01 05:12:30 UTC" of a line's time."""
    return f"{at[:10]} {at[11:19]} UTC"


def _wall(row: Entry) -> int | None:
    try:
        return round(datetime.fromisoformat(value_of(row, "at")).timestamp() * 1000)
    except (ValueError, OverflowError):
        return None


def _mono(row: Entry) -> int:
    mono = row.get("mono_ms")
    return mono if isinstance(mono, int) else 0


def _set_back(before: Entry, row: Entry) -> str:
    """Between two sessions there is no other clock to compare with, but no job is opened before it was closed."""
    by = ((_wall(before) or 0) - (_wall(row) or 0)) / 1000
    if by * 1000 <= SLACK_MS:
        return ""
    return f"the computer's clock was set back, by {by:.0f} s or more, before the job was opened again"


def _set(before: Entry, row: Entry) -> str:
    gone, passed = (_wall(row) or 0) - (_wall(before) or 0), _mono(row) - _mono(before)
    if abs(gone - passed) <= SLACK_MS:
        return ""
    by = (gone - passed) / 1000
    return f"the computer's clock was set {'forward' if by > 0 else 'back'} by {abs(by):.0f} s before it"
