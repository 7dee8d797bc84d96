"""Did time run forward, and did the waits really last? From the lines' own times, not from the machine's word.

``at`` is wall time and ``mono_ms`` the monotonic clock, both read when the line was written; ``at_ms`` is the
machine's time, which is the wall clock at the session's start plus monotonic time since. Somebody may set the wall
clock at any moment: that is told, and within a session the monotonic clock says how long a wait was.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from handsfree.record import Finding, Line, schema_of
from handsfree.record._clocks import BESIDE, OWN_TIME, SLACK_MS, clocks_set, new_session

__all__ = ["times", "waits"]

_WHOLE = re.compile("-?[0-9]{1,15}")  # a JSON number's worth: more is no time
_BEGINS = ("start", "resumed")

Numbered = Sequence[tuple[int, Line]]


def _wall(line: Line) -> int:
    return round(datetime.fromisoformat(line.at).timestamp() * 1000)


def _at_ms(line: Line) -> int | None:
    text = line.body.get("at_ms")
    return int(text) if isinstance(text, str) and _WHOLE.fullmatch(text) else None


def times(lines: Numbered) -> Iterator[Finding]:
    """No clock runs back within a session, and the machine's time does not run away from the monotonic one.

    That somebody set the computer's clock is told with it; of a signature's date the chain's check tells.
    """
    for index, told in clocks_set([line.entry for _, line in lines]).items():
        if lines[index][1].kind != "signed":
            yield Finding("time", lines[index][0], told, "warn")
    before: Line | None = None
    event_time = ("", 0)
    pace: int | None = None  # machine's time less monotonic time, the same all through a session
    event_ms = 0
    together = (
        bool(lines) and schema_of([line for _, line in lines]) != "1"
    )  # in format 1 a late line had its own
    for number, line in lines:
        if line.kind in BESIDE:
            continue
        if line.kind not in OWN_TIME:
            if together and before is not None and (line.at, line.mono_ms) != event_time:
                yield Finding("time", number, "has another time than the event it belongs to")
            continue
        if line.kind == "event":
            event_time = (line.at, line.mono_ms)
        if before is None:
            pass
        elif _new_session(line):
            pace = None
        elif line.mono_ms < before.mono_ms:
            yield Finding("time", number, "the monotonic clock runs back within a session")
        at_ms = _at_ms(line) if line.kind == "event" else None
        if at_ms is not None:
            if at_ms < event_ms:
                yield Finding("time", number, "the machine's time runs back")
            event_ms = max(event_ms, at_ms)
            if line.body.get("type") in _BEGINS:
                pass  # made before the voice and the recognizer are loaded, which may take long
            elif pace is None:
                pace = at_ms - line.mono_ms
            elif at_ms - line.mono_ms > pace + SLACK_MS:
                ahead = (at_ms - line.mono_ms - pace) / 1000
                yield Finding("time", number, f"the machine's time gained {ahead:.0f} s that never passed")
        before = line


def _new_session(line: Line) -> bool:
    return new_session({**line.body, "kind": line.kind})


@dataclass(frozen=True, slots=True)
class _Begun:
    event: Line
    session: int
    run_ms: int  # of the monotonic clock, all sessions until then added up


@dataclass(slots=True)
class _Wait:
    """``begun``: every time a line said that it started. It is said again when the wait goes on with other times
    (a value it follows from was corrected), and when it is begun anew because the way to it was undone."""

    begun: tuple[_Begun, ...]
    planned_s: int
    longest_s: int | None


def waits(lines: Numbered) -> Iterator[Finding]:
    """Each wait that is called over lasted at least its shortest time, one used in time at most its longest."""
    running: dict[str, _Wait] = {}
    session, run_ms, event = 0, 0, None
    for number, line in lines:
        if line.kind == "event":
            if event is not None and not _new_session(line):
                run_ms += max(0, line.mono_ms - event.mono_ms)
            event = line
        session += _new_session(line)
        if line.kind != "wait" or event is None:
            continue
        step, outcome = str(line.body.get("step")), line.body.get("outcome")
        if outcome == "started":
            planned, longest = _seconds(line, "planned_s") or 0, _seconds(line, "longest_s")
            before = running[step].begun if step in running else ()
            running[step] = _Wait((*before, _Begun(event, session, run_ms)), planned, longest)
            continue
        wait = running.get(step)
        if wait is None:
            yield Finding("wait", number, f"{step}: {outcome}, but no line says that it began")
            continue
        begun = _since(line, event, wait)
        same = begun.session == session
        yield from _lasted(number, line, event, wait, begun, run_ms - begun.run_ms, same=same)
        if outcome != "over":
            del running[step]


def _seconds(line: Line, key: str) -> int | None:
    text = str(line.body.get(key, ""))
    return int(text) if _WHOLE.fullmatch(text) else None


def _since(line: Line, event: Line, wait: _Wait) -> _Begun:
    """Since when the machine says that it waited; the last start when that fits none. Which one it had to be is for
    the replay to say: here the time since then is held against the clocks."""
    waited = _seconds(line, "waited_s")
    fits = (b for b in reversed(wait.begun) if _machine_ms(b.event, event) // 1000 == waited)
    return next(fits, wait.begun[-1])


def _machine_ms(since: Line, until: Line) -> int:
    return (_at_ms(until) or 0) - (_at_ms(since) or 0)


def _lasted(
    number: int, line: Line, event: Line, wait: _Wait, begun: _Begun, run_ms: int, *, same: bool
) -> Iterator[Finding]:
    """Three clocks: the machine's to the millisecond, wall and monotonic ones as the lines were written.

    ``run_ms``: what the monotonic clock saw of it. While the job was closed there was none: then the wall clock has
    to show the rest.
    """
    step, outcome = line.body.get("step"), line.body.get("outcome")
    machine = _machine_ms(begun.event, event)
    longest = run_ms if same else max(run_ms, _wall(event) - _wall(begun.event))
    if _seconds(line, "waited_s") != machine // 1000:
        yield Finding(
            "wait",
            number,
            f"{step}: {machine // 1000} s by the events, recorded {line.body.get('waited_s')} s",
        )
    if outcome in ("over", "used in time"):
        if machine < 1000 * wait.planned_s:
            yield Finding(
                "wait", number, f"{step}: {machine / 1000:.0f} s by the events, {wait.planned_s} s were due"
            )
        if longest < 1000 * wait.planned_s - SLACK_MS:
            text = f"{step}: {longest / 1000:.0f} s by the computer's clocks, {wait.planned_s} s were due"
            yield Finding("wait", number, text)
    if outcome == "used in time" and wait.longest_s is not None and machine >= 1000 * wait.longest_s:
        yield Finding(
            "wait", number, f"{step}: {machine / 1000:.0f} s, no more than {wait.longest_s} s were allowed"
        )
