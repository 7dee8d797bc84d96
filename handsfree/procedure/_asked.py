"""What is asked at this moment and what answers it, in words: for the second miss and for a screen. Pure."""

from __future__ import annotations

from decimal import Decimal

from handsfree import limits
from handsfree.limits import LimitsError
from handsfree.procedure._model import Caution, Choice, CountPasses, Do, HoldPoint, Inspect, Reading, Step
from handsfree.procedure._state import Mode, State
from handsfree.procedure._turn import Book
from handsfree.procedure._words import spoken, spoken_count, written
from handsfree.quantity import Quantity

__all__ = ["answers", "digits_example", "limit_words", "question"]


def question(book: Book, state: State) -> str:
    """The open question for the eye: what is read back in figures, not digit by digit. "" before the start."""
    if not state.step:
        return ""
    step, pending, say = book.procedure.at(state.step), state.pending, book.prompts.say
    if state.mode is Mode.SIGNING and pending is None:
        return say("badge")
    if pending is not None:
        if pending.kind == "reading" and isinstance(step, Reading):
            return say("read_back", name=step.name, value=written(pending.value))
        return pending.spoken[:1].upper() + pending.spoken[1:]
    match step:
        case Inspect():
            return step.conditions[min(state.index, len(step.conditions) - 1)].ask
        case Caution():
            return say("caution", signal=step.signal, text=step.ask, read_back=step.read_back)
        case CountPasses():
            try:
                target = limits.count(step.rule, state.facts, book.policy).target
            except LimitsError:
                return step.ask
            return say("passes_needed", ask=step.ask, target=spoken_count(target - state.index))
        case _:
            return step.ask


def answers(book: Book, state: State) -> tuple[str, ...]:
    """What may be said in answer, one example a form; nothing where nothing but commands is armed."""
    if state.mode is Mode.CONFIRMING or (state.mode is Mode.SIGNING and state.pending is not None):
        return ("affirmative", "negative")
    if state.mode is Mode.DISPOSING:
        return ("measure again", "out of limits")
    if state.mode is Mode.SIGNING:
        return ("the badge number, digit by digit",)
    if state.mode is Mode.PROVING:
        return ("the code word",)
    if state.mode not in (Mode.ASKING, Mode.READING_BACK):
        return ()
    return _forms(book.procedure.at(state.step), state.index)


def limit_words(book: Book, low: str, high: str, *, inclusive: bool) -> str:
    """A verdict's limit for the eye: "at most 6 mm", "more than 1.5875 mm" where the limit itself is refused.

    ``low`` and ``high`` as they are written in the record, "" where there is no such end.
    """
    say = book.prompts.say
    if low and high:
        return say("limit_between", low=low, high=high)
    if high:
        return say("limit_at_most" if inclusive else "limit_under", high=high)
    return say("limit_at_least" if inclusive else "limit_over", low=low) if low else ""


def _forms(step: Step, index: int) -> tuple[str, ...]:
    match step:
        case Reading():
            return (step.forms or digits_example(step),)
        case Inspect():
            return ("nothing found", "defect found")
        case Choice():
            return tuple(_sayable(option.say, option.name) for option in step.options)
        case CountPasses():
            return (f"pass {spoken_count(index + 1)}",)
        case Do():
            plain = step.answer.replace(" ", "").isalpha()
            return (step.answer if plain else "completed",)
        case Caution():
            return (step.read_back,)
        case HoldPoint():
            return ("supervisor release, and the badge number", "supervisor rejection, and the badge number")
        case _:
            return ()


def _sayable(expansion: str, name: str) -> str:
    """What can be said for an option: its words when they are plain, else its name."""
    return expansion if expansion.replace(" ", "").isalpha() else name.lower()


def digits_example(step: Reading) -> str:
    """A value as it is said digit by digit, from the middle of the reading's range."""
    if not step.unit:
        width = sum(step.digits) // 2 if step.digits else 4
        return " ".join(spoken_count(n) for n in range(1, width + 1))
    assert step.plausible is not None
    low, high = step.plausible
    middle = Decimal(f"{(low + high) / 2:.0f}")
    return spoken(Quantity(middle, step.unit))
