"""No-match and no-input: tapered prompts, and hold at the fourth miss. Silence is never consent."""

from __future__ import annotations

from handsfree.procedure._asked import answers, digits_example
from handsfree.procedure._flow import (
    NO_INPUT_S,
    arm_badge,
    arm_confirm,
    arm_dispose,
    ask,
    condition_asked,
    decoys,
)
from handsfree.procedure._model import Caution, Inspect, Kind, Reading
from handsfree.procedure._state import Mode
from handsfree.procedure._turn import Turn

__all__ = ["NOT_THE_CAUTION", "NO_ANSWER", "hold", "miss", "rearm"]

MOST_MISSES = 4
#: The reason when words were heard well and are no sentence of what is armed.
NO_ANSWER = "not an answer to what was asked"
NOT_THE_CAUTION = "not the words of the caution"
#: Reasons of words that were heard for sure and are others; "" is what a machine is told without a session.
_OTHER_WORDS = frozenset({NO_ANSWER, NOT_THE_CAUTION, "not understood"})


def miss(turn: Turn, heard: str, reason: str, *, say: str = "", silent: bool = False, held: str = "") -> None:
    """Count a miss and say less, then more. ``say``: what is to be said at the first misses instead.
    ``held`` keys what is said when there were too many, where the prompt file has it."""
    misses = turn.state.misses + 1
    turn.set(misses=misses)
    turn.record("missed", step=turn.state.step, heard=heard, reason=reason, count=str(misses))
    if misses >= MOST_MISSES:
        turn.exception(f"{turn.state.step}: not understood {misses} times, put on hold")
        own = [held, "held_silence"] if silent else [held, *(["held_typed"] if turn.typed else [])]
        hold(turn, turn.prompt_of(*own, "held_misses"))
        return
    if not silent:
        turn.chime("refused")
    if turn.state.mode is Mode.READING_BACK:
        _caution_again(turn, misses, other=bool(heard) and reason in _OTHER_WORDS, why=say, silent=silent)
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


def _caution_again(turn: Turn, misses: int, *, other: bool, why: str, silent: bool) -> None:
    """First the key words, then the whole caution once more. ``other``: other words were heard for sure; ``why``:
    what is to be said of what was heard otherwise. Of silence nothing is said."""
    step = turn.step
    assert isinstance(step, Caution)
    again = turn.prompt("caution_remind", read_back=step.read_back) if misses == 1 else ""
    if other or "caution_unheard" not in turn.book.prompts.templates:  # a job begun before goes on as it was
        lead = turn.prompt("caution_wrong", again=again)
    else:
        unheard = "" if silent else why or turn.prompt("caution_unheard")
        lead = f"{unheard} {again}".strip()
    if misses == 1:
        turn.say(lead)
        arm_read_back(turn)
    else:
        ask(turn, lead=lead)


def _tapered(turn: Turn, misses: int, silent: bool) -> str:
    if misses == 1:
        return _question(turn) if silent else turn.prompt("miss_1")
    if turn.state.mode in (Mode.PROVING, Mode.SIGNING):
        return _question(turn)
    if misses == 2 or not isinstance(turn.step, Reading) or turn.state.mode is not Mode.ASKING:
        return turn.prompt("miss_2", forms=", or ".join(answers(turn.book, turn.state)))
    return turn.prompt("miss_3", digits=digits_example(turn.step))


def _question(turn: Turn) -> str:
    pending = turn.state.pending
    if pending is not None:
        return pending.spoken
    if turn.state.mode is Mode.SIGNING:
        return turn.prompt("badge")
    step = turn.step
    ask = condition_asked(turn) if isinstance(step, Inspect) else turn.question
    return turn.prompt("no_input_1", ask=ask)


def hold(turn: Turn, text: str) -> None:
    """Put the job on hold; timers run on. What was being read out is read out again on resuming."""
    mode = turn.state.mode
    turn.set(held_from=turn.state.held_from or mode, mode=Mode.HELD, awaiting=0)
    turn.record("hold", step=turn.state.step, mode=mode)
    turn.say(text, "notice")
    turn.arm()
