"""What could be said to a reading, and how the limits would take it: for proving a procedure by walking it,
and for a simulated technician. Judges with the limits engine alone, not through the machine."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Protocol

from handsfree import limits
from handsfree.grammar import Armed, Interpretation, digit_by_digit, spoken_unit, tire_designation
from handsfree.limits import LimitsError, Outcome, Policy, Severity
from handsfree.procedure import _judging as judging
from handsfree.procedure._derived import DERIVED
from handsfree.procedure._events import Answer, Command, Event, NoMatch
from handsfree.procedure._model import Choice, CountPasses, Reading, Step, Wait
from handsfree.quantity import Quantity, UnitError

__all__ = [
    "CLASSES",
    "Arms",
    "classes",
    "event_of",
    "facts_of",
    "is_plausible",
    "judged",
    "needs",
    "relevant",
    "rules_of",
    "value_of",
]

FactMap = Mapping[str, Quantity | str]


class Arms(Protocol):
    """What makes a grammar of a moment: the library, or one that keeps what it made."""

    def arm(self, expansions: Mapping[str, str], /) -> Armed: ...


#: How a reading can be taken. "unjudged": the limits engine can't say, for a fact is missing or out of range.
#: "unfit": inside, but what was chosen by an earlier reading no longer does.
CLASSES = ("inside", "outside", "close", "unfit", "unjudged")
#: Tire sizes and digit strings to try where a reading is no number: each kind of tire, weeks of several years.
_SIZES = (
    "papa two one five slash six five romeo one five nine five hotel",
    "two one five slash six five romeo one five",
    "lima tango two four five slash seven five romeo one six one two zero slash one one six quebec",
    "lima tango two three five slash eight five romeo one six load range echo",
    "tango one two five slash seven zero delta one five nine five mike",
)
_DIGITS = ("2424", "0125", "1219", "0110", "9924", "1234", "5678", "0000")
_GRID = 60
_DECIDED = {"inside", "outside", "close"}
_ENOUGH = {"inside", "implausible"}  # values beyond the range come after the grid


def event_of(armed: Armed, words: str, at: int) -> Event:
    """The event that these words are while this is armed, as a session makes it."""
    meaning = armed.interpret(words)
    if meaning is None:
        return NoMatch(at, words, "not an answer to what was asked")
    if meaning.label == "command":
        return Command(at, meaning.slot("command") or "", meaning.text)
    return Answer(at, meaning.text, meaning.label, meaning.slots, meaning.number)


def value_of(step: Reading, meaning: Interpretation) -> Quantity | str | None:
    """The value a sentence gives the step; None when it gives none."""
    if step.form == "designation":
        text = tire_designation(meaning)
        try:
            limits.parse_designation(text or "")
        except LimitsError:
            return None
        return text
    if not step.unit:
        digits = meaning.slot("badge" if step.form == "badge" else "digits")
        assert step.digits is not None
        return digits if digits and step.digits[0] <= len(digits) <= step.digits[1] else None
    try:
        return meaning.quantity(step.unit)
    except UnitError:
        return None


def is_plausible(step: Reading, value: Quantity | str) -> bool:
    """Whether the value lies in the step's physical range."""
    if isinstance(value, str) or step.plausible is None:
        return True
    try:
        exact = Fraction(value.to(step.unit).value)
    except UnitError:
        return False
    low, high = (Fraction(Decimal(str(bound))) for bound in step.plausible)
    return low <= exact <= high


def facts_of(step: Reading | Choice, value: Quantity | str) -> dict[str, Quantity | str]:
    """What is known by this answer: its own fact, and what a tire's designation says besides."""
    if step.fact is None:
        return {}
    designated = isinstance(step, Reading) and step.form == "designation"
    return {step.fact: value, **(limits.parse_designation(str(value)).facts() if designated else {})}


def judged(step: Reading | Choice, value: Quantity | str, facts: FactMap, policy: Policy) -> str:
    """One of CLASSES: the step's limits that stop, or bind here, over what is known with this value."""
    binding = step.binding if isinstance(step, Reading) else ()
    try:
        verdicts, fits = judging.judged_by(step, {**facts, **facts_of(step, value)}, policy)
    except LimitsError:
        return "unjudged"
    stops = [v.outcome for v in verdicts if v.severity is Severity.STOP or v.rule in binding]
    if Outcome.OUTSIDE in stops:
        return "outside"
    if Outcome.CLOSE in stops:
        return "close"
    return "inside" if all(v.outcome is Outcome.INSIDE for v in fits) else "unfit"


def classes(step: Reading, armed: Armed, facts: FactMap, policy: Policy) -> dict[str, str]:
    """A sentence for each way the reading can be taken now ("implausible" too), as far as one is found."""
    found: dict[str, str] = {}
    decided = _DECIDED | ({"unfit"} if step.fits else set())
    for sentence, value in _sentences(step, armed, facts, policy):
        if found.keys() >= _ENOUGH:
            break
        plausible = is_plausible(step, value)
        if plausible and found.keys() >= decided:
            continue  # the grid has nothing more to show
        name = judged(step, value, facts, policy) if plausible else "implausible"
        if name not in found and armed.interpret(sentence) is not None:
            found[name] = sentence
    return found


def rules_of(step: Step) -> tuple[str, ...]:
    """The limit rules a step asks."""
    match step:
        case Reading():
            return (*step.limits, *step.fits)
        case Choice():
            return step.limits
        case CountPasses() | Wait():
            return (step.rule,)
        case _:
            return ()


def needs(rule: str) -> frozenset[str]:
    """The facts on which a rule depends: those of its worked example, and what derived ones are derived from."""
    names = {*limits.rule(rule).example, limits.rule(rule).measurand}
    return frozenset(names | {source for name in names for source in DERIVED.get(name, ())})


def relevant(step: Reading, facts: FactMap) -> tuple[tuple[str, object], ...]:
    """What is known of the facts on which the step's limits depend, as a key."""
    names = {"today"}.union(*(needs(rule) for rule in rules_of(step)))
    return tuple((name, facts[name]) for name in sorted(names) if name in facts)


def _sentences(
    step: Reading, armed: Armed, facts: FactMap, policy: Policy
) -> Iterator[tuple[str, Quantity | str]]:
    if step.form == "designation":
        for sentence in _SIZES:
            meaning = armed.interpret(sentence)
            value = None if meaning is None else value_of(step, meaning)
            if value is not None:
                yield sentence, value
    elif not step.unit:
        assert step.digits is not None
        for width in range(step.digits[0], step.digits[1] + 1):
            for text in _DIGITS:
                digits = (text * 3)[:width]
                yield " ".join(digit_by_digit(Decimal(d)) for d in digits), digits
    else:
        for drawn in _values(step, facts, policy):
            number = drawn + 0  # no minus zero
            places = number.as_tuple().exponent
            assert isinstance(places, int)
            value = Quantity(number, step.unit, Decimal(1).scaleb(places))
            yield f"{digit_by_digit(number)} {spoken_unit(step.unit, number)}".strip(), value


def _values(step: Reading, facts: FactMap, policy: Policy) -> Iterator[Decimal]:
    """Numbers in the step's unit: the middle, round each plain limit, a grid, one beyond the range; and for a limit
    with a low and a high end close together (a pressure to set) a finer grid."""
    assert step.plausible is not None
    low, high = (Decimal(f"{bound:g}") for bound in step.plausible)
    yield ((low + high) / 2).quantize(Decimal(1))
    for rule in step.limits:
        try:
            bound = judging.bounds(rule, facts, step.unit, policy)
        except LimitsError:
            continue
        for limit in (bound.low, bound.high):
            if limit is not None:
                exact = Fraction(limit.value)
                tenths = (Decimal(round(exact * 10)) / 10).quantize(Decimal("0.1"))
                yield from (Decimal(round(exact)) + n for n in (0, -1, 1))
                yield from (tenths, tenths + Decimal("0.2"), tenths - Decimal("0.2"))
    if step.limits:
        yield from (low.quantize(Decimal(1)), high.quantize(Decimal(1)))
    else:  # any value is taken alike
        yield from ((high + 1).quantize(Decimal(1)), (low - 1).quantize(Decimal(1)))
        return
    span, tenth = high - low, Decimal("0.1")
    for places in (Decimal(1), tenth):
        yield from ((low + span * n / _GRID).quantize(places) for n in range(_GRID + 1))
    yield from ((high + 1).quantize(Decimal(1)), (low - 1).quantize(Decimal(1)))
    fine = 8 * _GRID
    yield from ((low + span * n / fine).quantize(tenth) for n in range(fine + 1))
