"""The course of the work by its lines alone: nothing skipped, cautions heard and read back, passes counted."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from handsfree.procedure import Procedure, Reading
from handsfree.record import Finding, Line

__all__ = ["course"]

_NOT_RELEASED = "not-released"  # what a job becomes that would be released over an open reason

Numbered = Sequence[tuple[int, Line]]


@dataclass(slots=True)
class _Way:
    """Where the work stands."""

    step: str = ""
    before: str = ""  # the step a finding was corrected at: a supervisor's release goes on from there
    free: bool = False  # a correction, a way back or an overrun has opened another way than the next step
    heard: str = ""  # say number of the caution's text as it was played whole
    played: set[str] = field(default_factory=set)
    told: str = ""
    read_back: str = ""
    passes: int = 0
    target: str = ""
    #: Where a correction broke off counting, the passes made, and how many there must be.
    counted: tuple[str, int, str] | None = None
    wait_over: set[str] = field(default_factory=set)


def course(procedure: Procedure, lines: Numbered) -> Iterator[Finding]:
    """What a supervisor would check by hand."""
    way = _Way()
    for number, line in lines:
        step = _text(line, "step")
        match line.kind:
            case "event":
                if line.body.get("type") == "spoken" and line.body.get("completed") == "true":
                    way.played.add(_text(line, "say"))
            case "step" | "known":
                yield from _entered(procedure, way, number, step)
            case "back":
                way.counted = None
                _moved(way, _text(line, "to"))
                way.passes = int(_text(line, "index") or 0)
            case "correction":
                if way.passes and way.counted is None:
                    way.counted = way.step, way.passes, way.target
                _moved(way, _text(line, "reopens"))
                way.free = True
            case "disposed":
                if line.body.get("outcome") == "again" and _measures_anew(procedure, step):
                    way.counted = None  # measuring anew from an earlier step on does not lead back
                way.free = way.free or line.body.get("outcome") == "again"
            case "told":
                if _text(line, "say") not in way.played:
                    yield Finding(
                        "caution", number, f"{step}: called played, but no line says it was, to its end"
                    )
                way.told = step
            case "caution":
                yield from _read_back(procedure, way, number, line)
            case "pass":
                yield from _passed(way, number, line)
            case "wait":
                _waited(way, line)
            case "close":
                yield from _closed(procedure, way, number, line)


def _measures_anew(procedure: Procedure, step: str) -> bool:
    reading = procedure.at(step)
    return isinstance(reading, Reading) and bool(reading.again)


def _text(line: Line, key: str) -> str:
    return str(line.body.get(key, ""))


def _moved(way: _Way, step: str) -> None:
    way.step, way.told, way.read_back, way.passes, way.target = step, "", "", 0, ""


def _nexts(procedure: Procedure, way: _Way) -> set[str]:
    nexts = set(procedure.ways(way.step))
    if way.step == procedure.corrected and way.before:
        nexts |= {way.before, *procedure.ways(way.before)}  # a disposition is made anew
    return nexts


def _entered(procedure: Procedure, way: _Way, number: int, step: str) -> Iterator[Finding]:
    if way.step:
        yield from _left(procedure, way, number, step)
        if not way.free and step not in _nexts(procedure, way):
            yield Finding("course", number, f"{step} does not follow {way.step}: something was skipped")
    elif step != procedure.step[0].id:
        yield Finding("course", number, f"the job begins at {step}, not at its first step")
    way.free = False
    if step == procedure.corrected:
        way.before = way.step
    _moved(way, step)
    if way.counted is not None and way.counted[0] == step:
        # A correction leads back to where it was called for; the passes made before count.
        _, way.passes, way.target = way.counted
        way.counted = None


def _left(procedure: Procedure, way: _Way, number: int, to: str) -> Iterator[Finding]:
    """What must have been done at the step that is being left."""
    if way.free:
        return
    step = procedure.at(way.step)
    if step.kind == "caution" and way.read_back != way.step:
        yield Finding("caution", number, f"{way.step}: left without being read back")
    if step.kind == "count" and str(way.passes) != way.target:
        yield Finding("passes", number, f"{way.step}: left after {way.passes} of {way.target or '?'} passes")
    if step.kind == "wait" and way.step not in way.wait_over and to == procedure.after(way.step, "done"):
        yield Finding("wait", number, f"{way.step}: left before the wait was over")


def _read_back(procedure: Procedure, way: _Way, number: int, line: Line) -> Iterator[Finding]:
    step = _text(line, "step")
    caution = procedure.at(step)
    if way.told != step:
        yield Finding(
            "caution", number, f"{step}: read back, but no line says that it was played whole before"
        )
    if _text(line, "read_back") != getattr(caution, "read_back", None):
        yield Finding("caution", number, f"{step}: read back in other words than its own")
    if _text(line, "text") != getattr(caution, "ask", None):
        yield Finding("caution", number, f"{step}: its text is not the procedure's")
    way.read_back = step


def _passed(way: _Way, number: int, line: Line) -> Iterator[Finding]:
    if _text(line, "n") != str(way.passes + 1):
        yield Finding("passes", number, f"{_text(line, 'step')}: pass {_text(line, 'n')} after {way.passes}")
    way.passes += 1
    way.target = _text(line, "target")


def _waited(way: _Way, line: Line) -> None:
    step, outcome = _text(line, "step"), line.body.get("outcome")
    if outcome == "over":
        way.wait_over.add(step)
    elif outcome in ("left", "overrun"):
        way.wait_over.discard(step)
        way.free = way.free or outcome == "overrun"


def _closed(procedure: Procedure, way: _Way, number: int, line: Line) -> Iterator[Finding]:
    outcome = _text(line, "outcome")
    ending = procedure.end(outcome)
    yield from _left(procedure, way, number, outcome)
    if outcome != _NOT_RELEASED and not way.free and outcome not in _nexts(procedure, way):
        yield Finding("course", number, f"{way.step} does not lead to the ending {outcome}")
    if ending is not None and ending.released and line.body.get("reasons"):
        yield Finding("course", number, "released over reasons that are open")
