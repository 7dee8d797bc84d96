"""Moving from step to step: entering each kind of step, asking it again, ending the job."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from handsfree import limits
from handsfree.procedure import _judging as judging
from handsfree.procedure._events import CancelTimer, Finish
from handsfree.procedure._model import (
    Caution,
    Choice,
    CountPasses,
    Do,
    Ending,
    HoldPoint,
    Inspect,
    Kind,
    Reading,
    Wait,
)
from handsfree.procedure._state import Mode, Timer, Visit
from handsfree.procedure._turn import Refusal, Turn
from handsfree.procedure._words import spoken_count, spoken_seconds

__all__ = ["ask", "close", "decoys", "enter", "go", "next_pass", "reask", "timers_due"]

#: Seconds of silence before the question is asked again. A reading takes time to measure; an action
#: may take minutes, so there silence is expected and never nagged at (common practice, no published source).
NO_INPUT_S: Mapping[Kind, int | None] = {
    Kind.INSPECT: 30,
    Kind.READING: 45,
    Kind.CHOICE: 30,
    Kind.DO: None,
    Kind.COUNT: None,
    Kind.CAUTION: 20,
    Kind.WAIT: None,
    Kind.HOLD_POINT: None,
}
CONFIRM_NO_INPUT_S = 15


def go(turn: Turn, outcome: str) -> None:
    """Leave the step by an outcome. A correction goes back to where it was called from, unless the new
    answer changes the way (an outcome with a transition of its own)."""
    state, step = turn.state, turn.step
    _close_window(turn, outcome)
    target = turn.book.procedure.after(step.id, outcome)
    if state.return_to and (outcome in ("inside", "clear") or outcome not in step.on):
        back, index = state.return_to, state.return_index
        turn.set(correcting=None, return_to="", return_index=0)
        enter(turn, back, index=index, again=True)
        return
    turn.set(correcting=None, return_to="", return_index=0)
    ending = turn.book.procedure.end(target)
    if ending is not None:
        close(turn, ending)
    else:
        enter(turn, target)


def _close_window(turn: Turn, outcome: str) -> None:
    """The step that a wait's longest time ran up to is done: the window closes."""
    for timer in turn.state.timers:
        waiting = turn.book.procedure.at(timer.step)
        if isinstance(waiting, Wait) and waiting.until == turn.step.id and timer.over and outcome == "done":
            waited = (turn.at - timer.started) // 1000
            turn.record("wait", step=timer.step, waited_s=str(waited), outcome="used in time")
            drop_timer(turn, timer.step)


def enter(turn: Turn, step_id: str, *, index: int = 0, again: bool = False) -> None:
    """Start a step: note it, remember what was known, ask. ``again``: come back to it after a correction."""
    state = turn.state
    path = state.path
    if not again:
        path = (*path, Visit(step_id, state.facts, state.archived, state.entries))
    turn.set(step=step_id, path=path, pending=None, misses=0, index=index, found=False, awaiting=0)
    turn.record("step", step=step_id, phase=turn.step.phase, step_kind=turn.step.kind)
    ask(turn, first=True)


def ask(turn: Turn, *, first: bool = False, lead: str = "") -> None:
    """Ask the current step's question (again). ``lead`` is said before it."""
    _ASK[type(turn.step)](turn, first, lead)


def _joined(lead: str, text: str) -> str:
    return f"{lead} {text}".strip()


def _asking(turn: Turn, text: str, expansion: str) -> None:
    turn.set(mode=Mode.ASKING, pending=None, awaiting=0)
    turn.say(text)
    turn.arm(("answer", expansion), no_input_s=NO_INPUT_S[Kind(turn.step.kind)])


def _ask_inspect(turn: Turn, first: bool, lead: str) -> None:
    step = turn.step
    assert isinstance(step, Inspect)
    question = step.conditions[turn.state.index].ask
    text = _joined(step.ask, question) if turn.state.index == 0 else question
    _asking(turn, _joined(lead, text), "<answers.finding>")


def _ask_reading(turn: Turn, first: bool, lead: str) -> None:
    step = turn.step
    assert isinstance(step, Reading)
    _asking(turn, _joined(lead, step.ask), f"<{step.grammar}>")


def _ask_choice(turn: Turn, first: bool, lead: str) -> None:
    step = turn.step
    assert isinstance(step, Choice)
    options = " | ".join(f"({option.say}) {{option={option.id}}}" for option in step.options)
    _asking(turn, _joined(lead, step.ask), options)


def _ask_do(turn: Turn, first: bool, lead: str) -> None:
    step = turn.step
    assert isinstance(step, Do)
    _asking(turn, _joined(lead, step.ask), step.answer)


def _ask_count(turn: Turn, first: bool, lead: str) -> None:
    step = turn.step
    assert isinstance(step, CountPasses)
    target = limits.count(step.rule, turn.state.facts, turn.book.policy).target
    left = spoken_count(target - turn.state.index)
    text = turn.prompt("passes_needed", ask=step.ask, target=left)
    _asking(turn, _joined(lead, text), next_pass(turn.state.index))


def next_pass(done: int) -> str:
    """The pass that is due, with its neighbors: one counted twice or left out must be heard as what it is."""
    near = [n for n in (done, done + 1, done + 2) if 1 <= n <= 9]
    return " | ".join(f"pass {spoken_count(n)} {{pass={n}}}" for n in near)


def _ask_caution(turn: Turn, first: bool, lead: str) -> None:
    step = turn.step
    assert isinstance(step, Caution)
    turn.set(mode=Mode.TELLING, pending=None)
    text = turn.prompt("caution", signal=step.signal, text=step.ask, read_back=step.read_back)
    turn.disarm()
    turn.say(_joined(lead, text), "caution", must_be_heard=True)


def _ask_wait(turn: Turn, first: bool, lead: str) -> None:
    step = turn.step
    assert isinstance(step, Wait)
    window = limits.window(step.rule, turn.state.facts, turn.book.policy)
    timer = next((t for t in turn.state.timers if t.step == step.id), None)
    longest_due = None if window.longest_s is None else 1000 * window.longest_s
    started = timer.started if timer else turn.at
    fresh = Timer(
        step.id,
        started,
        started + 1000 * window.shortest_s,
        None if longest_due is None or step.until is None else started + longest_due,
        over=False,
    )
    turn.set(mode=Mode.WAITING, timers=(*(t for t in turn.state.timers if t.step != step.id), fresh))
    if timer is None or (timer.shortest_due, timer.longest_due) != (fresh.shortest_due, fresh.longest_due):
        turn.record(
            "wait",
            step=step.id,
            planned_s=str(window.shortest_s),
            longest_s="" if window.longest_s is None else str(window.longest_s),
            source=window.source,
            reason=window.reason,
            outcome="started",
        )
    left = max(0, fresh.shortest_due - turn.at + 999) // 1000
    if window.longest_s is None or step.until is None:
        text = turn.prompt("wait_start", ask=step.ask, shortest=spoken_seconds(left))
    else:
        text = turn.prompt(
            "wait_start_window",
            ask=step.ask,
            shortest=spoken_seconds(left),
            longest=spoken_seconds(window.longest_s),
        )
    turn.start_timer(step.id, fresh.shortest_due)
    turn.say(_joined(lead, text))
    turn.arm()


def _ask_hold_point(turn: Turn, first: bool, lead: str) -> None:
    step = turn.step
    assert isinstance(step, HoldPoint)
    if step.by == "supervisor":
        _asking(turn, _joined(lead, step.ask), "<answers.supervisor_release>")
        return
    disposition = judging.dispose(turn.state.facts, turn.state.archived, turn.book.policy)
    for text in disposition.reasons:
        turn.reason(text)
    for text in disposition.warnings:
        turn.exception(text)
    reasons = turn.state.reasons
    outcome = "refused" if reasons else "released"
    turn.record(
        "hold_point",
        step=step.id,
        by="disposition",
        outcome=outcome,
        reasons="; ".join(reasons),
        sources="; ".join(disposition.sources),
    )
    if reasons:
        turn.chime("refused")
        turn.say(_joined(lead, turn.prompt("refused", reasons="; ".join(reasons))), "verdict")
    else:
        turn.chime("accepted")
        turn.say(_joined(lead, f"{step.ask} {turn.prompt('released')}"), "verdict")
    go(turn, outcome)


_ASK: Mapping[type, Callable[[Turn, bool, str], None]] = {
    Inspect: _ask_inspect,
    Reading: _ask_reading,
    Choice: _ask_choice,
    Do: _ask_do,
    CountPasses: _ask_count,
    Caution: _ask_caution,
    Wait: _ask_wait,
    HoldPoint: _ask_hold_point,
}


def reask(turn: Turn, lead: str = "") -> None:
    """Take the dialogue up again where it stands: after a hold, or when the job is opened again."""
    state = turn.state
    match state.mode:
        case Mode.CONFIRMING if state.pending is not None:
            turn.say(_joined(lead, state.pending.spoken), "read_back", must_be_heard=True)
            arm_confirm(turn)
        case Mode.DISPOSING if state.last is not None:
            if lead:
                turn.say(lead)
            turn.say(turn.prompt("miss_2", forms="measure again, or accept the finding"))
            turn.arm(("answer", "<answers.dispose>"), no_input_s=CONFIRM_NO_INPUT_S)
        case Mode.READING_BACK | Mode.TELLING:
            _ask_caution(turn, False, lead)
        case _:
            ask(turn, lead=lead)


def arm_confirm(turn: Turn) -> None:
    """Armed after a read-back: yes or no, or the value said once more instead of an answer."""
    answers = [("answer", "<answers.yes_no>")]
    if isinstance(turn.step, Reading):
        answers.append(("value", f"<{turn.step.grammar}>"))
    turn.arm(*answers, no_input_s=CONFIRM_NO_INPUT_S)


def decoys(turn: Turn, own: str) -> str:
    """Phrases that are not this caution, armed beside it.

    With a single phrase armed a recognizer hears it in anything; other cautions' words and the plain yes
    give it something else to hear, and hearing those is a wrong read-back.
    """
    others = {s.read_back for s in turn.book.procedure.step if isinstance(s, Caution)} - {own}
    return " | ".join([*sorted(others), "affirmative", "completed"])


def drop_timer(turn: Turn, step_id: str) -> None:
    turn.set(timers=tuple(t for t in turn.state.timers if t.step != step_id))
    turn.effects.append(CancelTimer(step_id))


def timers_due(turn: Turn) -> None:
    """Handle every timer that is due at this turn's time. Refuses when none is."""
    due = [t for t in turn.state.timers if t.due is not None and turn.at >= t.due]
    if not due:
        raise Refusal("no timer is due")
    for timer in due:
        _overrun(turn, timer) if timer.over else _wait_over(turn, timer)


def _wait_over(turn: Turn, timer: Timer) -> None:
    state = turn.state
    step = turn.book.procedure.at(timer.step)
    waited = (turn.at - timer.started) // 1000
    turn.record("wait", step=timer.step, waited_s=str(waited), outcome="over")
    turn.chime("wait_over")
    rest = tuple(t for t in state.timers if t is not timer)
    if timer.longest_due is None:
        turn.set(timers=rest)
        turn.effects.append(CancelTimer(timer.step))
    else:
        turn.set(timers=(*rest, replace(timer, over=True)))
        turn.start_timer(timer.step, timer.longest_due)
    if state.mode is Mode.WAITING and state.step == step.id:
        turn.say(turn.prompt("wait_over"))
        go(turn, "done")
    else:
        turn.say(turn.prompt("wait_over_held" if state.mode is Mode.HELD else "wait_over"))


def _overrun(turn: Turn, timer: Timer) -> None:
    waited = (turn.at - timer.started) // 1000
    turn.record("wait", step=timer.step, waited_s=str(waited), outcome="overrun")
    turn.exception(f"wait {timer.step} overrun: {waited} s")
    turn.chime("refused")
    drop_timer(turn, timer.step)
    turn.say(turn.prompt("wait_overrun"), "verdict")
    if turn.state.mode is Mode.HELD:
        turn.set(overrun=timer.step)
    else:
        after_overrun(turn, timer.step)


def after_overrun(turn: Turn, step_id: str) -> None:
    """Follow the overrun transition of a wait, from wherever the dialogue stands."""
    turn.set(overrun="", correcting=None, return_to="", return_index=0)
    enter(turn, turn.book.procedure.after(step_id, "overrun"))


def close(turn: Turn, ending: Ending) -> None:
    """The job ends with a disposition and all its reasons."""
    state = turn.state
    for timer in state.timers:
        drop_timer(turn, timer.step)
    turn.set(mode=Mode.FINISHED, outcome=ending.id, timers=())
    turn.record(
        "close",
        outcome=ending.id,
        disposition=ending.disposition,
        reasons="; ".join(state.reasons),
        exceptions="; ".join(state.exceptions),
    )
    turn.disarm()
    if state.reasons:
        text = turn.prompt(
            "closing", text=ending.say, disposition=ending.disposition, reasons="; ".join(state.reasons)
        )
    else:
        text = turn.prompt("closing_clean", text=ending.say, disposition=ending.disposition)
    turn.say(text, "notice")
    turn.effects.append(Finish(ending.id))
