"""The always-armed commands."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

from handsfree import limits
from handsfree.limits import LimitsError
from handsfree.procedure import _judging as judging
from handsfree.procedure._answers import reject, said_limit
from handsfree.procedure._events import Answer, Finish
from handsfree.procedure._flow import (
    after_overrun,
    ask,
    ask_badge,
    go,
    known_outcome,
    reask,
    rewind,
    stands,
    timers_due,
)
from handsfree.procedure._misses import hold, rearm
from handsfree.procedure._model import Caution, Choice, CountPasses, HoldPoint, Inspect, Reading, Wait
from handsfree.procedure._people import sign, signed
from handsfree.procedure._state import Entry, Mode, Visit
from handsfree.procedure._turn import Turn
from handsfree.procedure._words import spoken_limit, spoken_seconds

__all__ = ["COMMAND_HANDLERS", "resume_held", "take_badge"]


def _say_again(turn: Turn) -> None:
    """What is open is asked again, and what must be heard whole is read out whole; else the last thing said."""
    if turn.state.mode not in (Mode.WAITING, Mode.HELD) and not isinstance(turn.step, CountPasses):
        reask(turn)  # misses stay counted: asking once more is no answer
        return
    last = turn.state.last
    assert last is not None  # a job begins with the welcome
    turn.say(last.text, last.kind)
    rearm(turn)


def _hold(turn: Turn) -> None:
    hold(turn, turn.prompt("held"))


def _resume(turn: Turn) -> None:
    resume_held(turn, "resume")


def resume_held(turn: Turn, prompt: str) -> None:
    """Go on where the job was held or where its session ended. ``prompt`` keys the words that lead in."""
    state = turn.state
    turn.set(mode=state.held_from or state.mode, held_from=None, misses=0)
    turn.record("resume", step=state.step)
    phase = turn.step.phase
    lead = turn.prompt(prompt, **({"phase": phase} if prompt == "resumed" else {"ask": ""}))
    step, to_do = turn.state.put_right
    if step == turn.state.step:
        lead = f"{lead} {to_do}"
    take_up(turn, lead)


def take_up(turn: Turn, lead: str) -> None:
    """Go on in the mode that was left for a while, with what fell due meanwhile. ``lead`` is said first."""
    state = turn.state
    if state.overrun and state.mode is not Mode.SIGNING:  # who works on is settled first
        turn.say(lead)
        after_overrun(turn, state.overrun)
        return
    if any(t.due is not None and turn.at >= t.due for t in turn.state.timers):
        turn.say(lead)
        path = turn.state.path
        timers_due(turn)
        if turn.state.path is path:  # it was only announced: the dialogue goes on where it stood
            reask(turn)
        return
    timer = next((t for t in turn.state.timers if t.step == state.step), None)
    if turn.state.mode is Mode.WAITING and (timer is None or timer.over):
        turn.say(lead)
        go(turn, "done")
        return
    reask(turn, lead)


def _go_back(turn: Turn) -> None:
    state = turn.state
    if state.mode is Mode.CONFIRMING:
        reject(turn, "go back")
        return
    if state.mode is Mode.SIGNING:
        _unsigned(turn, "back")
        return
    if state.mode in (Mode.DISPOSING, Mode.PROVING):
        ask(turn, lead=turn.prompt("back", ask=""))
        return
    if state.return_to:
        _abandon_correction(turn)
        return
    if isinstance(turn.step, Inspect | CountPasses) and state.index > 0:
        turn.record("back", step=state.step, to=state.step, index=str(state.index - 1))
        turn.set(index=state.index - 1, misses=0)
        ask(turn, lead=turn.prompt("back", ask=""))
        return
    _to_step_before(turn)


def _to_step_before(turn: Turn) -> None:
    """Undo to the step before. What was recorded stays in the record; what was known then is known again."""
    path = turn.state.path
    to = len(path) - 2
    while to >= 0 and _passes_by_itself(turn, path[to]):
        to -= 1
    if to < 0:
        ask(turn, lead=turn.prompt("nothing_back", ask=""))
        return
    visit = path[to]
    rewind(turn, to + 1)
    turn.record("back", step=turn.state.step, to=visit.step)
    turn.exception(f"went back from {turn.state.step} to {visit.step}")
    same_injury = visit.archived == turn.state.archived
    # A value corrected since then stays corrected; only an earlier injury's facts come back whole.
    known = turn.state.facts if same_injury else visit.facts
    turn.set(
        step=visit.step,
        facts=MappingProxyType({key: known.get(key, value) for key, value in visit.facts.items()}),
        archived=visit.archived,
        entries=turn.state.entries if same_injury else visit.entries,
        pending=None,
        misses=0,
        index=0,
        found=False,
        awaiting=0,
    )
    lead = turn.prompt("back", ask="")
    if turn.state.reasons:
        lead = f"{lead} {stands(turn)}"
    ask(turn, lead=lead)


def _passes_by_itself(turn: Turn, visit: Visit) -> bool:
    """Nothing can be done over in a hold point that releases itself, in a question that was left out, nor in a
    wait: its clock runs from the step before, and that is the one to do again."""
    step = turn.book.procedure.at(visit.step)
    if isinstance(step, HoldPoint):
        return step.by == "disposition"
    return isinstance(step, Wait) or bool(known_outcome(step, visit.facts))


def _abandon_correction(turn: Turn) -> None:
    target, index = turn.state.return_to, turn.state.return_index
    turn.record("back", step=turn.state.step, to=target)
    turn.set(step=target, return_to="", return_index=0, pending=None, misses=0, index=index)
    ask(turn, lead=turn.prompt("back", ask=""))


def _correction(turn: Turn) -> None:
    """Before it is recorded: reject the read-back. After: reopen the last entry; a new line will point at it."""
    state = turn.state
    if state.mode is Mode.CONFIRMING:
        reject(turn, "correction")
        return
    if state.mode is Mode.SIGNING:
        _signing_corrected(turn)
        return
    if state.mode in (Mode.DISPOSING, Mode.PROVING):
        ask(turn, lead=turn.prompt("correcting", ask=""))
        return
    entry = next((e for e in reversed(state.entries) if _reopens(turn, e)), None)
    if entry is None or state.return_to:
        turn.say(turn.prompt("nothing_to_correct", ask=""))
        rearm(turn)
        return
    turn.record("correction", step=state.step, reopens=entry.step, record_no=str(entry.record))
    same_step = entry.step == state.step
    turn.set(
        step=entry.step,
        index=entry.index,
        return_to="" if same_step else state.step,
        return_index=0 if same_step else state.index,
        misses=0,
        pending=None,
    )
    ask(turn, lead=turn.prompt("correcting", ask=""))


def _change_technician(turn: Turn) -> None:
    """Shift end: the badge number of whoever takes over is asked; waits run on meanwhile."""
    turn.set(signing_from=turn.state.mode, mode=Mode.SIGNING, pending=None, misses=0)
    ask_badge(turn)


def _signing_corrected(turn: Turn) -> None:
    pending = turn.state.pending
    if pending is None:
        _unsigned(turn, "correcting")
        return
    turn.record("not_confirmed", step=turn.state.step, heard=pending.heard, instead="correction")
    turn.set(pending=None, misses=0)
    ask_badge(turn, turn.prompt("negative", ask=""))


def _unsigned(turn: Turn, prompt: str) -> None:
    """The change of technician is called off."""
    _work_on(turn, turn.prompt(prompt, ask=""))


def take_badge(turn: Turn, answer: Answer) -> None:
    """An answer in the change of technician; when it is confirmed the work goes on where it was."""
    if sign(turn, answer):
        assert turn.state.pending is not None
        name = signed(turn, turn.state.pending)
        turn.chime("accepted")
        _work_on(turn, turn.prompt("signed", name=name))


def _work_on(turn: Turn, lead: str) -> None:
    turn.set(mode=turn.state.signing_from, signing_from=None, pending=None, misses=0)
    take_up(turn, lead)


def _reopens(turn: Turn, entry: Entry) -> bool:
    """Whether the entry was made on the way that stands. Steps that going back has undone are asked anew in their
    turn: reopening one from here would pass over what stands before it, conditions or a caution."""
    state = turn.state
    if isinstance(turn.step, Caution) and entry.step in turn.step.guards:
        return False
    if entry.step == state.step:
        return not isinstance(turn.step, Inspect) or entry.index < state.index
    # Of a step that was passed twice (two injuries), only the round that stands counts.
    then = {(e.step, e.index) for e in state.path[-1].entries}
    return (entry.step, entry.index) in then and any(visit.step == entry.step for visit in state.path)


def _limit(turn: Turn) -> None:
    try:
        text = _limit_text(turn)
    except LimitsError as error:
        text = turn.prompt("not_judged", reason=str(error), ask="")
    turn.say(text, "answer")
    rearm(turn)


def _limit_text(turn: Turn) -> str:
    facts, policy, step = turn.state.facts, turn.book.policy, turn.step
    match step:
        case Reading() | Choice() if step.limits:
            return " ".join(_asked_limit(turn, step, rule) for rule in step.limits)
        case CountPasses():
            count = limits.count(step.rule, facts, policy)
            return turn.prompt("limit_passes", target=str(count.target), source=count.source)
        case Wait():
            window = limits.window(step.rule, facts, policy)
            shortest = spoken_seconds(window.shortest_s)
            if window.longest_s is None:
                return turn.prompt("limit_wait_open", shortest=shortest, source=window.source)
            longest = spoken_seconds(window.longest_s)
            return turn.prompt("limit_wait", shortest=shortest, longest=longest, source=window.source)
        case _:
            return turn.prompt("limit_none")


def _asked_limit(turn: Turn, step: Reading | Choice, rule: str) -> str:
    facts, policy, prompts = turn.state.facts, turn.book.policy, turn.book.prompts
    if "limit_of" not in prompts.templates:  # a job begun before goes on as it was
        bounds = judging.bounds(rule, facts, step.unit if isinstance(step, Reading) else "", policy)
        return turn.prompt("limit_is", limit=spoken_limit(bounds, prompts), source=bounds.source)
    at_hand = None if turn.state.pending is None else turn.state.pending.value
    bounds = judging.limit_of(rule, step, facts, at_hand, policy)
    limit = said_limit(turn, rule, bounds)
    if bounds.of:
        limit = turn.prompt("limit_of", name=bounds.of, limit=limit)
    return turn.prompt("limit_is", limit=limit, source=bounds.source)


def _time_left(turn: Turn) -> None:
    texts = [_left(turn, t.due - turn.at, over=t.over) for t in turn.state.timers if t.due is not None]
    for tire, kind, left in turn.elsewhere:
        texts.append(turn.prompt("of_tire", tire=tire, text=_left(turn, int(left), over=kind == "open")))
    turn.say(" ".join(texts) or turn.prompt("time_none"), "answer")
    rearm(turn)


def _left(turn: Turn, left_ms: int, *, over: bool) -> str:
    time = spoken_seconds(max(0, left_ms + 999) // 1000)
    return turn.prompt("time_open" if over else "time_left", time=time)


def _stop_work(turn: Turn) -> None:
    """Stops at once, from anywhere; the job can be opened again later."""
    state = turn.state
    turn.set(mode=Mode.STOPPED, held_from=state.held_from or state.mode, awaiting=0)
    turn.record("stop", step=state.step, mode=state.mode)
    turn.exception(f"work stopped at {state.step}")
    turn.disarm()
    turn.say(turn.prompt("stopped"), "notice")
    turn.effects.append(Finish("stopped"))


COMMAND_HANDLERS: Mapping[str, Callable[[Turn], None]] = {
    "say_again": _say_again,
    "hold": _hold,
    "resume": _resume,
    "go_back": _go_back,
    "correction": _correction,
    "limit": _limit,
    "time_left": _time_left,
    "change_technician": _change_technician,
    "stop_work": _stop_work,
}
