"""Moving from step to step: entering each kind of step, asking it again, ending the job."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

from handsfree import limits
from handsfree.limits import LimitsError
from handsfree.procedure import _judging as judging
from handsfree.procedure._derived import ADVICE, REASONS, complete, unrepaired
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
    Procedure,
    Reading,
    Step,
    Wait,
)
from handsfree.procedure._state import Mode, Timer, Visit
from handsfree.procedure._turn import Refusal, Turn
from handsfree.procedure._words import plainly, spoken_count, spoken_seconds
from handsfree.quantity import Quantity

__all__ = [
    "CODE_RULE",
    "after_overrun",
    "arm_badge",
    "arm_confirm",
    "arm_dispose",
    "ask",
    "ask_badge",
    "close",
    "condition_asked",
    "decoys",
    "enter",
    "go",
    "known_outcome",
    "next_pass",
    "reask",
    "rewind",
    "stands",
    "timers_due",
]

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
_PERSON_NO_INPUT_S = 30  # somebody may still be on the way to the microphone
#: The placeholder a supervisor's badge number follows; the session puts the shop's words in its place.
CODE_RULE = "shop.code"


def go(turn: Turn, outcome: str) -> None:
    """Leave the step by an outcome. A correction goes back to where it was called from, unless the new
    answer leads another way than the one that was taken."""
    target = _onward(turn, outcome)
    corrected = _finding_corrected(turn)
    if turn.state.return_to:
        target = _after_correction(turn, outcome, target, corrected)
        if not target:
            return
    late = next((t for t in turn.state.timers if _used_by(turn, t) and _overdue(turn, t)), None)
    if late is not None:
        _overrun(turn, late)
        return
    _close_windows(turn)
    if corrected:
        _to_supervisor(turn, target)
    else:
        _lead_to(turn, target)


def _onward(turn: Turn, outcome: str) -> str:
    """Where an outcome leads; a corrected finding that was released goes on to where the answer led."""
    onward = turn.state.path[-1].onward
    released = outcome == "released" and turn.step.id == turn.book.procedure.corrected
    if onward and released and outcome not in turn.step.on:
        return onward
    return turn.book.procedure.after(turn.step.id, outcome)


def _finding_corrected(turn: Turn) -> bool:
    """Whether the answer of this step replaces one that found something. The reason stands; whoever gave the first
    answer by mistake could give the second by mistake too, so a supervisor looks."""
    if not turn.book.procedure.corrected or isinstance(turn.step, HoldPoint):
        return False
    state = turn.state
    return any(f.step == state.step for f in state.withdrawn) and not any(
        f.step == state.step for f in state.findings
    )


def _to_supervisor(turn: Turn, onward: str) -> None:
    """To whoever can release a finding that was corrected: the supervisor the finding itself leads to, or else the
    procedure's own hold point for it, which goes on ``onward``."""
    procedure = turn.book.procedure
    own = next(filter(procedure.supervised, turn.step.on.values()), procedure.corrected)
    enter(turn, own, onward=onward)


def stands(turn: Turn) -> str:
    """The sentence that names the reasons against the tire."""
    return turn.prompt("stands", reasons="; ".join(map(plainly, turn.state.reasons)))


def _lead_to(turn: Turn, target: str) -> None:
    """Go on at a step, or end the job."""
    ending = turn.book.procedure.end(target)
    if ending is not None:
        close(turn, ending)
    else:
        enter(turn, target)


def _used_by(turn: Turn, timer: Timer) -> bool:
    """Whether the step that is being left is the one up to which the wait's longest time runs."""
    waiting = turn.book.procedure.at(timer.step)
    return isinstance(waiting, Wait) and waiting.until == turn.step.id


def _after_correction(turn: Turn, outcome: str, target: str, corrected: bool) -> str:
    """Where a corrected answer leads, "" when the work was taken up again where it had been left. ``corrected``: it
    replaces one that found something."""
    state = turn.state
    at = max(i for i, visit in enumerate(state.path) if visit.step == state.step)
    same_way = state.path[at + 1].step == target
    if turn.book.procedure.corrected:
        # What else was found, or a supervisor's rejection, keeps the work on the way it took.
        same_way = same_way or (corrected and bool(state.findings))
    else:
        # A found condition is a reason that stands, whatever else is clear; going back re-inspects all of them.
        same_way = same_way or outcome == "clear"
    turn.set(return_to="", return_index=0)
    asked = turn.book.procedure.supervised(state.path[at + 1].step)
    if corrected and asked:
        # It was taken to a supervisor, who may have rejected it: only a supervisor lets it go on, and where it leads.
        rewind(turn, at + 1)
        return target
    undone = next((i for i in range(at + 1, len(state.path)) if _undone_by_it(turn, state.path[i])), None)
    if same_way and asked:  # because of this answer: a release for another value does not hold for it
        undone = at + 1
    if same_way and undone is not None:
        rewind(turn, undone)
        return state.path[undone].step
    if same_way:
        lead = stands(turn) if corrected else ""
        enter(turn, state.return_to, index=state.return_index, again=True, lead=lead)
        return ""
    rewind(turn, at + 1)
    return target


def _undone_by_it(turn: Turn, visit: Visit) -> bool:
    """Whether a step passed since then must be done again: a disposition given for the value that was wrong, a
    question left out because that value had answered it, and no longer does or otherwise, or a test that begins at
    the setting that was corrected (air let in after the first pressure would hide a leak)."""
    step = turn.book.procedure.at(visit.step)
    if isinstance(step, Wait):
        set_anew = isinstance(turn.step, Reading) and turn.step.adjust
        return set_anew and limits.rule(step.rule).measurand == getattr(turn.step, "fact", None)
    if isinstance(step, HoldPoint):
        return step.by == "disposition" and judging.refuses(turn.state, turn.book.policy, step)
    told = known_outcome(step, visit.facts)
    return bool(told) and told != known_outcome(step, turn.state.facts)


def rewind(turn: Turn, length: int) -> None:
    """Undo the way from visit ``length`` on. The waits of undone steps are undone with them, and their answers: a
    reason that one of them gave stands, but nothing gives it any more."""
    undone = {visit.step for visit in turn.state.path[length:]}
    for timer in turn.state.timers:
        if timer.step in undone:
            drop_timer(turn, timer.step)
    turn.set(path=turn.state.path[:length])
    turn.withdraw(undone - {visit.step for visit in turn.state.path})


def _record_wait(turn: Turn, timer: Timer, outcome: str) -> int:
    """The line that says what became of a wait. Returns how long it lasted, whole seconds."""
    waited = (turn.at - timer.started) // 1000
    turn.record("wait", step=timer.step, waited_s=str(waited), outcome=outcome)
    return waited


def _close_windows(turn: Turn) -> None:
    """The step that a wait's longest time ran up to is done: the window closes. A wait that had no longest
    time ends with its own step."""
    for timer in turn.state.timers:
        if _used_by(turn, timer):
            _record_wait(turn, timer, "used in time")
            drop_timer(turn, timer.step)
        elif timer.step == turn.step.id and timer.due is None:
            drop_timer(turn, timer.step)


def enter(
    turn: Turn, step_id: str, *, index: int = 0, again: bool = False, onward: str = "", lead: str = ""
) -> None:
    """Start a step: note it, remember what was known, ask. ``again``: come back to it after a correction.
    ``onward``: where a release goes on; ``lead``: said before the question."""
    if not again:
        _leave_timers(turn, onward or step_id)
        state = turn.state
        turn.set(path=(*state.path, Visit(step_id, state.facts, state.archived, state.entries, onward)))
    turn.set(step=step_id, pending=None, misses=0, index=index, found=False, awaiting=0)
    outcome = known_outcome(turn.step, turn.state.facts)
    if outcome:
        turn.record("known", step=step_id, measurand=getattr(turn.step, "fact", ""), outcome=outcome)
        go(turn, outcome)
        return
    turn.record("step", step=step_id, phase=turn.step.phase, step_kind=turn.step.kind)
    ask(turn, lead=lead)


def known_outcome(step: Step, facts: Mapping[str, Quantity | str]) -> str:
    """How a step is left that need not be asked, because another step has told its fact; "" when it must be."""
    if not isinstance(step, Reading | Choice) or not step.unless_known or step.fact is None:
        return ""
    value = complete(facts).get(step.fact)
    if value is None:
        return ""
    told = (
        (option.id for option in step.options if option.stored == value) if isinstance(step, Choice) else ()
    )
    return next(iter(told), step.outcomes[0])


def _leave_timers(turn: Turn, step_id: str) -> None:
    """Waits that mean nothing any more: one that is begun anew, and one whose window this way never uses."""
    for timer in turn.state.timers:
        waiting = turn.book.procedure.at(timer.step)
        assert isinstance(waiting, Wait)
        window = {step_id, *turn.book.procedure.reached_from(step_id, without=timer.step)}
        if timer.step == step_id or waiting.until not in window:
            _record_wait(turn, timer, "left")
            drop_timer(turn, timer.step)


def ask(turn: Turn, *, lead: str = "") -> None:
    """Ask the current step's question (again). ``lead`` is said before it."""
    _ASK[type(turn.step)](turn, lead)


def _joined(lead: str, text: str) -> str:
    return f"{lead} {text}".strip()


def _asking(turn: Turn, lead: str, text: str, expansion: str) -> None:
    """``lead`` is about what was before, so it comes first; then advice, and the question last."""
    turn.set(mode=Mode.ASKING, pending=None, awaiting=0)
    turn.say(" ".join([*([lead] if lead else []), *_advice(turn), text]))
    turn.arm(("answer", expansion), no_input_s=NO_INPUT_S[Kind(turn.step.kind)])


def _advice(turn: Turn) -> Iterator[str]:
    """Sentences computed from what was read, where the step asks for them."""
    for name in turn.step.advice:
        if name == REASONS:
            if turn.state.reasons:
                yield turn.prompt("advice_reasons", reasons="; ".join(map(plainly, turn.state.reasons)))
            continue
        advice = ADVICE[name]
        try:
            text = turn.prompt(advice.prompt, **advice.fill(complete(turn.state.facts), turn.book.policy))
        except LimitsError as error:
            text = turn.prompt("not_judged", reason=str(error), ask="")
        turn.record("advice", step=turn.step.id, name=name, text=text)
        yield text


def _ask_inspect(turn: Turn, lead: str) -> None:
    step = turn.step
    assert isinstance(step, Inspect)
    question = condition_asked(turn)
    text = _joined(turn.question, question) if turn.state.index == 0 else question
    _asking(turn, lead, text, "<answers.finding>")


def condition_asked(turn: Turn) -> str:
    """The question about the condition that is due."""
    step = turn.step
    assert isinstance(step, Inspect)
    condition = step.conditions[turn.state.index]
    return (turn.expert and condition.brief) or condition.ask


def _ask_reading(turn: Turn, lead: str) -> None:
    step = turn.step
    assert isinstance(step, Reading)
    _asking(turn, lead, turn.question, f"<{step.grammar}>")


def _ask_choice(turn: Turn, lead: str) -> None:
    step = turn.step
    assert isinstance(step, Choice)
    options = " | ".join(f"({option.say}) {{option={option.id}}}" for option in step.options)
    _asking(turn, lead, turn.question, options)


def _ask_do(turn: Turn, lead: str) -> None:
    step = turn.step
    assert isinstance(step, Do)
    _asking(turn, lead, turn.question, step.answer)


def _ask_count(turn: Turn, lead: str) -> None:
    step = turn.step
    assert isinstance(step, CountPasses)
    target = limits.count(step.rule, turn.state.facts, turn.book.policy).target
    left = spoken_count(target - turn.state.index)
    text = turn.prompt("passes_needed", ask=turn.question, target=left)
    _asking(turn, lead, text, next_pass(turn.state.index))


def next_pass(done: int) -> str:
    """The pass that is due, with its neighbors: one counted twice or left out must be heard as what it is."""
    near = [n for n in (done, done + 1, done + 2) if n >= 1]
    return " | ".join(f"pass {spoken_count(n)} {{pass={n}}}" for n in near)


def _ask_caution(turn: Turn, lead: str) -> None:
    step = turn.step
    assert isinstance(step, Caution)
    turn.set(mode=Mode.TELLING, pending=None)
    text = turn.prompt("caution", signal=step.signal, text=step.ask, read_back=step.read_back)
    turn.disarm()
    turn.say(_joined(lead, text), "caution", must_be_heard=True)


def _ask_wait(turn: Turn, lead: str) -> None:
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
    longest = window.longest_s
    if (
        timer is not None
        and fresh.longest_due is not None
        and "wait_again_window" in turn.book.prompts.templates
    ):
        longest = (
            max(0, fresh.longest_due - turn.at) // 1000
        )  # of a wait that runs already both ends are nearer
    if longest is None or step.until is None:
        text = turn.prompt("wait_start", ask=turn.question, shortest=spoken_seconds(left))
    else:
        text = turn.prompt_of(
            *(["wait_again_window"] if timer is not None else []),
            "wait_start_window",
            ask=turn.question,
            shortest=spoken_seconds(left),
            longest=spoken_seconds(longest),
        )
    turn.start_timer(step.id, fresh.shortest_due)
    turn.say(_joined(lead, text))
    turn.arm()


def _ask_hold_point(turn: Turn, lead: str) -> None:
    step = turn.step
    assert isinstance(step, HoldPoint)
    if step.by == "supervisor":
        # Whoever is called hears what for, and again when it is said again.
        told = turn.book.procedure.corrected and turn.state.reasons
        why = _joined(lead, stands(turn)) if told else lead
        _asking(turn, why, step.ask, "<answers.supervisor_release>")
        return
    disposition = judging.dispose(turn.state.facts, turn.state.archived, turn.book.policy, step)
    turn.withdraw()
    for text in disposition.reasons:
        turn.reason(text)
    for text in disposition.warnings:
        if not any(told.endswith(text) for told in turn.state.exceptions):
            turn.exception(text)
    reasons = turn.state.reasons
    only_corrected = _corrected_only(turn)
    outcome = "refused" if reasons else "released"
    if reasons and disposition.unclear and set(_as_answered(turn)) <= set(disposition.reasons):
        outcome = "unclear" if "unclear" in step.outcomes else outcome
    turn.record(
        "hold_point",
        step=step.id,
        by="disposition",
        outcome=outcome,
        decision=disposition.decision,
        reasons=reasons,
        sources=disposition.sources,
    )
    if reasons:
        turn.chime("refused")
        refused = turn.prompt("refused", reasons="; ".join(map(plainly, reasons)))
        turn.say(_joined(lead, refused), "verdict", whole=True)
        if (
            only_corrected
        ):  # as the tire is known now nothing is against it: a supervisor's to say, not to scrap
            enter(turn, turn.book.procedure.corrected, onward=step.id)
            return
    elif step.judges == "distances" and not turn.state.archived:
        if lead:
            turn.say(lead)  # one injury is no distance: nothing is said of it
    else:
        turn.chime("accepted")
        turn.say(_joined(lead, f"{step.ask} {turn.prompt('released')}"), "verdict")
    go(turn, outcome)


def _as_answered(turn: Turn) -> tuple[str, ...]:
    """The reasons that the answers give as they are now; in a job begun before these were told apart, all."""
    if not turn.book.procedure.corrected:
        return turn.state.reasons
    return tuple(f.reason for f in turn.state.findings)


def _corrected_only(turn: Turn) -> bool:
    """Whether every reason that stands comes from an answer that was corrected since."""
    return bool(turn.state.reasons) and not _as_answered(turn)


_ASK: Mapping[type, Callable[[Turn, str], None]] = {
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
        case Mode.DISPOSING if state.pending is not None:
            turn.say(_joined(lead, state.pending.spoken), "verdict", must_be_heard=True)
            arm_dispose(turn)
        case Mode.READING_BACK | Mode.TELLING:
            _ask_caution(turn, lead)
        case Mode.PROVING | Mode.SIGNING:
            ask_badge(turn, lead)
        case _:
            ask(turn, lead=lead)


def ask_badge(turn: Turn, lead: str = "") -> None:
    """Ask (again) what is open about a person: a badge number, its confirmation, or a code word."""
    pending = turn.state.pending
    text = turn.prompt("badge") if pending is None else pending.spoken
    read_back = pending is not None and turn.state.mode is Mode.SIGNING
    turn.say(f"{lead} {text}".strip(), "read_back" if read_back else "prompt", must_be_heard=read_back)
    arm_badge(turn)


def arm_badge(turn: Turn) -> None:
    pending = turn.state.pending
    if pending is None:
        turn.arm(("answer", "<answers.badge>"), no_input_s=_PERSON_NO_INPUT_S)
    elif turn.state.mode is Mode.PROVING:
        turn.arm(("code", f"<{CODE_RULE}.{pending.value}>"), no_input_s=_PERSON_NO_INPUT_S)
    else:
        turn.arm(("answer", "<answers.yes_no>"), ("value", "<answers.badge>"), no_input_s=CONFIRM_NO_INPUT_S)


def arm_confirm(turn: Turn) -> None:
    """Armed after a read-back: yes or no, or the value said once more instead of an answer."""
    answers = [("answer", "<answers.yes_no>")]
    if isinstance(turn.step, Reading):
        answers.append(("value", f"<{turn.step.grammar}>"))
    turn.arm(*answers, no_input_s=CONFIRM_NO_INPUT_S)


def arm_dispose(turn: Turn) -> None:
    """Armed after an out-of-limit verdict."""
    step = turn.step
    assert isinstance(step, Reading)
    turn.arm(("answer", "<answers.dispose>"), ("value", f"<{step.grammar}>"), no_input_s=CONFIRM_NO_INPUT_S)


def decoys(procedure: Procedure, own: str) -> str:
    """Phrases that are not this caution, armed beside it.

    With a single phrase armed a recognizer hears it in anything; other cautions' words and the plain yes
    give it something else to hear, and hearing those is a wrong read-back.
    """
    others = {s.read_back for s in procedure.step if isinstance(s, Caution)} - {own}
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
        _overrun(turn, timer) if _overdue(turn, timer) else _wait_over(turn, timer)


def _overdue(turn: Turn, timer: Timer) -> bool:
    """The longest time has passed too: the power was off for long, or an answer came before the timer's event."""
    return timer.longest_due is not None and turn.at >= timer.longest_due


def _wait_over(turn: Turn, timer: Timer) -> None:
    state = turn.state
    step = turn.book.procedure.at(timer.step)
    _record_wait(turn, timer, "over")
    turn.chime("wait_over")
    rest = tuple(t for t in state.timers if t is not timer)
    # Kept also without a longest time: a wait that ended during a hold or a correction is not begun anew.
    turn.set(timers=(*rest, replace(timer, over=True)))
    if timer.longest_due is not None:
        turn.start_timer(timer.step, timer.longest_due)
    if state.mode is Mode.WAITING and state.step == step.id:
        turn.say(turn.prompt("wait_over"))
        go(turn, "done")
    else:
        turn.say(turn.prompt("wait_over_held" if state.mode is Mode.HELD else "wait_over"))


def _overrun(turn: Turn, timer: Timer) -> None:
    waited = _record_wait(turn, timer, "overrun")
    turn.exception(f"wait {timer.step} overrun: {waited} s")
    turn.chime("refused")
    drop_timer(turn, timer.step)
    turn.say(turn.prompt("wait_overrun"), "verdict", whole=True)
    if turn.state.mode in (Mode.HELD, Mode.SIGNING):
        turn.set(overrun=timer.step)
    else:
        after_overrun(turn, timer.step)


def after_overrun(turn: Turn, step_id: str) -> None:
    """Follow the overrun transition of a wait, from wherever the dialogue stands.

    What was done since then is undone: going back must not lead into the window that has closed.
    """
    target = turn.book.procedure.after(step_id, "overrun")
    visited = [visit.step for visit in turn.state.path]
    since = target if target in visited else step_id
    turn.set(overrun="", return_to="", return_index=0)
    rewind(turn, len(visited) - 1 - visited[::-1].index(since))
    _lead_to(turn, target)


def _all_repaired(turn: Turn) -> None:
    """As many repairs as injuries: a second hole that was measured must not go back on the road open."""
    for group in sorted({s.repairs for s in turn.book.procedure.step if isinstance(s, Do) and s.repairs}):
        found, done = unrepaired(turn.state.facts, turn.state.archived, group)
        if done < found:
            turn.reason(turn.prompt("unrepaired", group=group, found=str(found), done=str(done)))


#: What a job that would return a tire to service becomes when a reason against it is still open.
NOT_RELEASED = "not-released"


def close(turn: Turn, ending: Ending) -> None:
    """The job ends with a disposition and all its reasons. No tire is returned to service over an open reason."""
    if ending.released:
        _all_repaired(turn)
        if _corrected_only(turn):
            enter(turn, turn.book.procedure.corrected, onward=ending.id)
            return
    state = turn.state
    for timer in state.timers:
        drop_timer(turn, timer.step)
    reasons = "; ".join(map(plainly, state.reasons))
    outcome, disposition = ending.id, ending.disposition
    if ending.released and reasons:
        outcome, disposition = NOT_RELEASED, "not released, reasons open"
        text = turn.prompt("closing_open", reasons=reasons)
    elif reasons:
        text = turn.prompt("closing", text=ending.say, disposition=disposition, reasons=reasons)
    else:
        text = turn.prompt("closing_clean", text=ending.say, disposition=disposition)
    practice = dict(state.job).get("practice", "")
    if practice:
        disposition = turn.prompt("practice_disposition", disposition=disposition)
    turn.set(mode=Mode.FINISHED, outcome=outcome, pending=None, awaiting=0)
    turn.record(
        "close",
        outcome=outcome,
        disposition=disposition,
        reasons=state.reasons,
        exceptions=state.exceptions,
    )
    turn.disarm()
    turn.say(text, "notice")
    turn.effects.append(Finish(outcome))
