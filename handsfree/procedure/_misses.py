"""No-match and no-input: tapered prompts, and hold at the fourth miss. Silence is never consent."""

from __future__ import annotations

from decimal import Decimal

from handsfree.procedure._flow import (
    NO_INPUT_S,
    arm_badge,
    arm_confirm,
    arm_dispose,
    ask,
    condition_asked,
    decoys,
)
from handsfree.procedure._model import Caution, Choice, CountPasses, Do, Inspect, Kind, Reading
from handsfree.procedure._state import Mode
from handsfree.procedure._turn import Turn
from handsfree.procedure._words import spoken, spoken_count
from handsfree.quantity import Quantity

__all__ = ["hold", "miss", "rearm"]

MOST_MISSES = 4


def miss(
    turn: Turn, heard: str, reason: str, *, say: str = "", silent: bool = False, held: str = "held_misses"
) -> None:
    """Count a miss and say less, then more. ``say``: what is to be said at the first misses instead.
    ``held`` keys what is said when there were too many."""
    misses = turn.state.misses + 1
    turn.set(misses=misses)
    turn.record("missed", step=turn.state.step, heard=heard, reason=reason, count=str(misses))
    if misses >= MOST_MISSES:
        turn.exception(f"{turn.state.step}: not understood {misses} times, put on hold")
        hold(turn, turn.prompt(held))
        return
    if not silent:
        turn.chime("refused")
    if turn.state.mode is Mode.READING_BACK:
        _caution_again(turn, misses)
        return
    turn.say(say or _tapered(turn, misses, silent))
    rearm(turn)


def rearm(turn: Turn) -> None:
    """Listen again for the same thing: after a miss, or after a command that only spoke."""
    state = turn.state
    if state.mode is Mode.CONFIRMING:
        arm_confirm(turn)
    elif state.mode is Mode.DISPOSING:
        arm_dispose(turn)
    elif state.mode is Mode.READING_BACK:
        arm_read_back(turn)
    elif state.mode in (Mode.PROVING, Mode.SIGNING):
        arm_badge(turn)
    else:
        answers = tuple(pair for pair in state.armed if pair[0] != "command")
        turn.arm(*answers, no_input_s=NO_INPUT_S[Kind(turn.step.kind)] if answers else None)


def arm_read_back(turn: Turn) -> None:
    step = turn.step
    assert isinstance(step, Caution)
    turn.arm(
        ("answer", step.read_back), ("decoy", decoys(turn.book.procedure, step.read_back)), no_input_s=20
    )


def _caution_again(turn: Turn, misses: int) -> None:
    """First the key words, then the whole caution once more."""
    step = turn.step
    assert isinstance(step, Caution)
    remind = turn.prompt("caution_remind", read_back=step.read_back)
    if misses == 1:
        turn.say(turn.prompt("caution_wrong", again=remind))
        arm_read_back(turn)
    else:
        ask(turn, lead=turn.prompt("caution_wrong", again=""))


def _tapered(turn: Turn, misses: int, silent: bool) -> str:
    if misses == 1:
        return _question(turn) if silent else turn.prompt("miss_1")
    if turn.state.mode in (Mode.PROVING, Mode.SIGNING):
        return _question(turn)
    if misses == 2 or not isinstance(turn.step, Reading) or turn.state.mode is not Mode.ASKING:
        return turn.prompt("miss_2", forms=_forms(turn))
    return turn.prompt("miss_3", digits=_digits(turn.step))


def _question(turn: Turn) -> str:
    pending = turn.state.pending
    if pending is not None:
        return pending.spoken
    if turn.state.mode is Mode.SIGNING:
        return turn.prompt("badge")
    step = turn.step
    ask = condition_asked(turn) if isinstance(step, Inspect) else turn.question
    return turn.prompt("no_input_1", ask=ask)


def _forms(turn: Turn) -> str:
    """The accepted forms, spoken at the second miss."""
    if turn.state.mode is Mode.CONFIRMING:
        return "affirmative, or negative"
    if turn.state.mode is Mode.DISPOSING:
        return "measure again, or out of limits"
    match turn.step:
        case Reading() as step:
            return step.forms or _digits(step)
        case Inspect():
            return "nothing found, or defect found"
        case Choice() as step:
            return ", or ".join(_sayable(option.say, option.name) for option in step.options)
        case CountPasses():
            return f"pass {spoken_count(turn.state.index + 1)}"
        case Do():
            return "completed"
        case step:
            return step.ask


def _sayable(expansion: str, name: str) -> str:
    """What can be said for an option: its words when they are plain, else its name."""
    return expansion if expansion.replace(" ", "").isalpha() else name.lower()


def _digits(step: Reading) -> str:
    if not step.unit:
        return "one two three four"
    assert step.plausible is not None
    low, high = step.plausible
    middle = Decimal(f"{(low + high) / 2:.0f}")
    return spoken(Quantity(middle, step.unit))


def hold(turn: Turn, text: str) -> None:
    """Put the job on hold; timers run on. What was being read out is read out again on resuming."""
    mode = turn.state.mode
    turn.set(held_from=turn.state.held_from or mode, mode=Mode.HELD, awaiting=0)
    turn.record("hold", step=turn.state.step, mode=mode)
    turn.say(text, "notice")
    turn.arm()
