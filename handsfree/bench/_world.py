"""What is true of a simulated tire, and how its values are said: drawn by seed, spoken in the accepted forms."""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping
from decimal import Decimal
from fractions import Fraction

from handsfree.grammar import Armed, Number, accepted_forms, digit_by_digit, spoken_unit
from handsfree.limits import Policy
from handsfree.procedure import _trial as trial
from handsfree.procedure._model import Choice, Procedure, Reading
from handsfree.quantity import UNITS, Quantity

__all__ = ["World"]

Value = Quantity | str
FactMap = Mapping[str, Value]

_TRIES = 40
#: Units in which a measurand is now and then given instead of the step's own.
_ALSO = {
    "mm": ("in", "32nd"),
    "psi": ("kPa", "bar"),
    "N.m": ("lbf.ft",),
    "degC": ("degF",),
    "g": ("oz",),
    "km": ("mi",),
}


def _shrunk(step: Reading, value: Value, facts: FactMap) -> bool:
    """A hole that got smaller by drilling is true of no tire."""
    before = facts.get(step.fact) if step.never_below else None
    return (
        isinstance(before, Quantity)
        and isinstance(value, Quantity)
        and value.to(before.unit).value < before.value
    )


class World:
    """Draws true values, most of them inside the limits, and finds words for them."""

    def __init__(self, pick: random.Random, policy: Policy, *, outside: float, close: float) -> None:
        self._pick, self._policy = pick, policy
        self._outside, self._close = outside, close

    def reading(self, step: Reading, facts: FactMap, armed: Armed, *, good: bool = False) -> Value:
        """A value of the wanted kind if one is soon found, else any that can be said. ``good``: inside."""
        roll = self._pick.random()
        wanted = "inside"
        if not good and roll < self._outside:
            wanted = "outside"
        elif not good and roll < self._outside + self._close:
            wanted = "close"
        fallback: Value | None = None
        value: Value | None
        for value in self._some(step, facts):
            if not trial.is_plausible(step, value) or _shrunk(step, value, facts):
                continue
            kind = trial.judged(step, value, facts, self._policy)
            if kind == wanted and self.sayable(step, value, armed):
                return value
            if (fallback is None or kind == "inside") and self.sayable(step, value, armed):
                fallback = value
        listed = trial.classes(step, armed, facts, self._policy)
        words = listed.get(wanted) or listed.get("inside")
        if words is not None:
            meaning = armed.interpret(words)
            value = None if meaning is None else trial.value_of(step, meaning)
            if value is not None and not _shrunk(step, value, facts):
                return value
        assert fallback is not None, f"{step.id}: nothing can be said"
        return fallback

    def _some(self, step: Reading, facts: FactMap) -> Iterator[Value]:
        pick = self._pick
        for _ in range(_TRIES):
            if step.form == "designation":
                yield _size(pick)
            elif not step.unit:
                assert step.digits is not None
                week = f"{pick.randint(1, 52):02}{pick.randint(20, 25)}"
                width = pick.randint(*step.digits)
                yield week if width == 4 else "".join(pick.choices("0123456789", k=width))
            else:
                yield self._number(step, facts)

    def _number(self, step: Reading, facts: FactMap) -> Quantity:
        """Near a value already known of the same kind (a placard's pressure), or anywhere in the range."""
        pick = self._pick
        assert step.plausible is not None
        if step.grammar.endswith("clock_position"):
            return Quantity(Decimal(pick.randint(1, 12)), step.unit, Decimal(1))
        near = [
            v
            for name, v in trial.relevant(step, facts)
            if isinstance(v, Quantity) and name != step.fact and UNITS[v.unit].kind == UNITS[step.unit].kind
        ]
        low, high = step.plausible
        if near and pick.random() < 0.7:
            at = float(Fraction(pick.choice(near).to(step.unit).value))
            at += pick.choice((0, 0, 0, 1, -1, 2, -2, 5, 10))
        else:
            at = low + (high - low) * pick.random() ** pick.choice((1, 1, 2, 4))
        grown = facts.get(step.fact) if step.never_below else None
        if isinstance(grown, Quantity):
            at = float(Fraction(grown.to(step.unit).value)) + pick.choice((0.0, 0.1, 0.2, 0.5, 1.0, 3.0))
        whole = step.grammar.endswith("count") or step.unit == "rpm"
        places = 0 if whole else pick.choice((0, 0, 1, 1)) if grown is None else 1
        unit = step.unit
        if unit in _ALSO and grown is None and pick.random() < 0.1:
            unit = pick.choice(_ALSO[unit])
            at = float(Fraction(Quantity(Decimal(f"{at:.3f}"), step.unit).to(unit).value))
        value = Decimal(f"{max(at, 0):.{places}f}")
        return Quantity(value, unit, Decimal(1).scaleb(-places))

    def choice(self, step: Choice, procedure: Procedure, facts: FactMap) -> str:
        """An option: mostly one that leads straight on and that no limit stops."""
        weights = []
        for option in step.options:
            straight = option.id not in step.on and not option.scrap
            stopped = step.limits and trial.judged(step, option.id, facts, self._policy) != "inside"
            weights.append(1.0 if straight and not stopped else 0.06)
        return self._pick.choices([o.id for o in step.options], weights)[0]

    def sayable(self, step: Reading, value: Value, armed: Armed) -> bool:
        return bool(self._forms(step, value, armed, one=True))

    def words(self, step: Reading, value: Value, armed: Armed, *, in_digits: bool = False) -> str:
        """One of the accepted forms that mean exactly this value now, digit by digit if that is asked for."""
        if in_digits and isinstance(value, Quantity):
            spelled = digit_by_digit(value.value)
            for form in (f"{spelled} {spoken_unit(value.unit, value.value)}".strip(), spelled):
                if self._means(step, form, value, armed):
                    return form
        forms = self._forms(step, value, armed, one=False)
        return self._pick.choice(forms)

    @staticmethod
    def _means(step: Reading, form: str, value: Value, armed: Armed) -> bool:
        meaning = armed.interpret(form)
        return meaning is not None and meaning.label != "command" and trial.value_of(step, meaning) == value

    def _forms(self, step: Reading, value: Value, armed: Armed, *, one: bool) -> list[str]:
        found = []
        for form in self._candidates(step, value):
            if self._means(step, form, value, armed):
                found.append(form)
                if one or len(found) == 4:
                    break
        return found

    def _candidates(self, step: Reading, value: Value) -> Iterator[str]:
        pick = self._pick
        if isinstance(value, str):
            if step.form == "designation":
                yield _size_words(value)
                return
            plain = " ".join(digit_by_digit(Decimal(d)) for d in value)
            yield plain
            yield plain.replace("nine", "niner")
            yield plain.replace("zero", "oh")
            return
        resolution = value.resolution if value.resolution is not None else Decimal(1)
        number = Number(value.value, resolution, "")
        spelled = digit_by_digit(value.value)
        forms = accepted_forms(number, step.grammar.partition(".")[2])
        pick.shuffle(forms)
        unit = spoken_unit(value.unit, value.value)
        if value.unit == step.unit and pick.random() < 0.3:
            yield from forms[:2]
        yield from (f"{form} {unit}".strip() for form in [*forms[:3], spelled])
        yield spelled


def _size(pick: random.Random) -> str:
    """A designation in the tool's own writing, as a sidewall has it."""
    kind = pick.choice(("", "P", "P", "P", "LT"))
    width, aspect, rim = pick.randrange(175, 276, 10), pick.randrange(45, 76, 5), pick.randint(14, 18)
    load = f" {pick.randint(80, 110)}{pick.choice('HVTSQW')}" if pick.random() < 0.6 else ""
    return f"{kind}{width}/{aspect}R{rim}{load}"


_NAMES = (
    *(
        "bravo",
        "charlie",
        "delta",
        "echo",
        "foxtrot",
        "hotel",
        "juliett",
        "kilo",
        "lima",
        "mike",
        "november",
        "papa",
    ),
    *("quebec", "romeo", "sierra", "tango", "uniform", "victor", "whiskey", "yankee", "zulu"),
)
_SPELLED = {"/": "slash"} | {name[0].upper(): name for name in _NAMES}


def _size_words(text: str) -> str:
    return " ".join(digit_by_digit(Decimal(c)) if c.isdigit() else _SPELLED[c] for c in text if c != " ")
