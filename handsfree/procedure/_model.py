"""The procedure file: what a shop writes in TOML, validated and frozen.

A step has a kind (design words: inspect, reading, choice, do, count, caution, wait, hold_point), a prompt and
the outcomes it can have. Transitions go by outcome name; an outcome without an entry in ``on`` goes to the next
step of the file, so a straight procedure reads top to bottom. There are no expressions in a procedure file.
"""

from __future__ import annotations

from enum import StrEnum
from functools import cached_property
from itertools import pairwise
from math import isfinite
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from handsfree._toml import TomlError, one_line, read_toml
from handsfree.quantity import UNITS

__all__ = [
    "Caution",
    "Choice",
    "Condition",
    "CountPasses",
    "Do",
    "Ending",
    "HoldPoint",
    "Inspect",
    "Kind",
    "Option",
    "Procedure",
    "ProcedureError",
    "Reading",
    "Step",
    "Wait",
    "finds",
    "read_procedure",
]

_ID = Annotated[str, Field(pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$")]
_FACT = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*(\.[a-z][a-z0-9_]*)+$")]


class ProcedureError(ValueError):
    """A procedure file is wrong: one line that names the file, the step and what to do."""


class Kind(StrEnum):
    INSPECT = "inspect"
    READING = "reading"
    CHOICE = "choice"
    DO = "do"
    COUNT = "count"
    CAUTION = "caution"
    WAIT = "wait"
    HOLD_POINT = "hold_point"


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)


class _Step(_Frozen):
    id: _ID
    phase: str = Field(min_length=1)
    ask: str = Field(min_length=1, description="what is said to the technician")
    brief: str = Field(default="", description="what is said instead to an expert; never of a caution")
    on: dict[str, str] = Field(default_factory=dict, description="outcome -> step or ending")
    advice: tuple[str, ...] = Field(default=(), description="computed sentences said after the question")

    @property
    def outcomes(self) -> tuple[str, ...]:
        """Every outcome this step can have; each needs a way on."""
        return ("done",)


class Condition(_Frozen):
    """One thing to look for. Found means: no repair, for this reason."""

    id: _ID
    ask: str
    reason: str
    brief: str = ""


class Inspect(_Step):
    kind: Literal["inspect"]
    conditions: tuple[Condition, ...] = Field(min_length=1)

    @property
    def outcomes(self) -> tuple[str, ...]:
        return ("clear", "found")


class Reading(_Step):
    """A measured value. ``unit`` is what a number without a spoken unit means; "" for a string of digits."""

    kind: Literal["reading"]
    fact: _FACT
    name: str = Field(description="the measurand as it is spoken back")
    grammar: str = Field(description="rule of the grammars, for example readings.length_mm")
    unit: str
    plausible: tuple[float, float] | None = Field(default=None, description="physical range, in unit")
    again: str = Field(default="", description="step to go back to for measuring again, when not this one")
    form: Literal["value", "designation", "badge"] = Field(
        default="value", description="designation: a tire size; badge: who works from here on"
    )
    unless_known: bool = Field(default=False, description="left out when its fact is known already")
    digits: tuple[int, int] | None = Field(default=None, description="shortest and longest digit string")
    limits: tuple[str, ...] = ()
    binding: tuple[str, ...] = Field(default=(), description="limits that bind like a stop in this procedure")
    adjust: bool = Field(default=False, description="a setting: outside means set it right and measure again")
    above: str = Field(default="", description="how a setting is put right when it is over its limit")
    reached: bool = Field(default=False, description="a height that was reached: it can't be measured again")
    ambient: bool = Field(
        default=False, description="of the bay, not of the tire: outside means wait, and measure again"
    )
    never_below: bool = Field(default=False, description="a later reading of the same fact is never smaller")
    fits: tuple[str, ...] = Field(
        default=(),
        description="rules over readings made before that depend on this one, judged again by it; or unfit",
    )
    instead_of: str = Field(default="", description="step whose reading this one takes the place of")
    no_limit: str = Field(default="", description="why no limit judges this reading")
    forms: str = Field(default="", description="accepted forms, said after a second miss")

    @property
    def outcomes(self) -> tuple[str, ...]:
        plain = ("inside", "outside") if self.limits and not self.adjust else ("inside",)
        return (*plain, "unfit") if self.fits else plain

    @model_validator(mode="after")
    def _judged(self) -> Reading:
        if bool(self.fits) != ("unfit" in self.on):  # left out, work would go on with what no longer fits
            raise ValueError('fits = [...] and on = { unfit = "..." }, where work goes on, need each other')
        if bool(self.limits) == bool(self.no_limit):
            raise ValueError('give limits = [...], or no_limit = "why not", and not both')
        if unknown := set(self.binding) - set(self.limits):
            raise ValueError(f"binding names {sorted(unknown)[0]!r}, which is not among its limits")
        if self.above and not self.adjust:
            raise ValueError("above says how a setting is put right; add adjust = true, or take it out")
        if self.ambient and ("outside" not in self.on or self.adjust):
            raise ValueError(
                'ambient needs on = { outside = "..." }, where the bay is put right, and no adjust'
            )
        if self.unit:
            self._needs_range()
        elif self.form != "designation" and (
            self.digits is None or not 1 <= self.digits[0] <= self.digits[1]
        ):
            raise ValueError("a digit string needs digits = [shortest, longest], from 1 up")
        return self

    def _needs_range(self) -> None:
        if self.unit not in UNITS:
            raise ValueError(f"unknown unit {self.unit!r}; known: {', '.join(sorted(UNITS))}")
        low, high = self.plausible or (0.0, 0.0)
        if not (isfinite(low) and isfinite(high) and low < high):
            raise ValueError("a measured value needs plausible = [lowest, highest] in its unit")


class Option(_Frozen):
    """One answer of a choice. ``say`` is a JSGF expansion; ``value`` what is stored in the fact, if not the id."""

    id: _ID
    value: str = ""
    say: str
    name: str = Field(description="as it is spoken back")
    archive: str = Field(default="", description='group of facts ("injury") that is put aside for a new one')
    all_of: str = Field(default="", description="group of which every one must be repaired for this answer")
    recall: str = Field(default="", description="group of which the next one put aside is taken up again")
    scrap: str = Field(default="", description="the reason this answer forbids the repair, if it does")
    notable: str = Field(default="", description="what a supervisor should look at, if this is the answer")

    @property
    def stored(self) -> str:
        """What the fact is when this is the answer."""
        return self.value or self.id


class Choice(_Step):
    kind: Literal["choice"]
    options: tuple[Option, ...] = Field(min_length=2)
    fact: _FACT | None = None
    confirm: bool = True
    limits: tuple[str, ...] = ()
    unless_known: bool = Field(default=False, description="left out when its fact is known already")

    @property
    def outcomes(self) -> tuple[str, ...]:
        return tuple(option.id for option in self.options)

    @model_validator(mode="after")
    def _distinct(self) -> Choice:
        if len({option.id for option in self.options}) != len(self.options):
            raise ValueError("two options have the same id")
        if (self.limits or self.unless_known) and self.fact is None:
            raise ValueError('limits and unless_known need a fact: give fact = "group.name"')
        return self


class Do(_Step):
    """An action, confirmed when done. ``answer`` is the expansion that confirms it."""

    kind: Literal["do"]
    answer: str = "<answers.done>"
    repairs: str = Field(default="", description='group ("injury") of which this action repairs one')


class CountPasses(_Step):
    kind: Literal["count"]
    rule: str = Field(description="limit rule that says how many")


class Caution(_Step):
    """Spoken whole, then read back. ``ask`` is the caution itself; ``guards`` the steps it must precede."""

    kind: Literal["caution"]
    signal: Literal["DANGER", "WARNING", "CAUTION", "NOTICE"]
    read_back: str = Field(pattern=r"^[a-z']+( [a-z']+)*$", description="the key words, plain lower case")
    guards: tuple[_ID, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _whole(self) -> Caution:
        if self.brief:
            raise ValueError("a caution is never shortened; take brief out")
        return self


class Wait(_Step):
    """``rule`` gives shortest and longest; the longest runs on until the step named in ``until`` is done."""

    kind: Literal["wait"]
    rule: str
    until: _ID | None = None

    @property
    def outcomes(self) -> tuple[str, ...]:
        return ("done", "overrun") if self.until else ("done",)


class HoldPoint(_Step):
    """Released by the limits engine's disposition of the tire, or by a named supervisor."""

    kind: Literal["hold_point"]
    by: Literal["disposition", "supervisor"]
    two_piece: bool = Field(default=False, description="this procedure can make a two-piece repair")
    judges: Literal["tire", "distances"] = Field(
        default="tire",
        description="what a disposition judges: all that is known, or how far injuries lie apart",
    )

    @property
    def outcomes(self) -> tuple[str, ...]:
        return ("released", "refused", *(("unclear",) if "unclear" in self.on else ()))

    @model_validator(mode="after")
    def _stops(self) -> HoldPoint:
        # Left out, a refused tire would simply go on to the next step.
        if "refused" not in self.on:
            raise ValueError('a hold point needs on = { refused = "..." }: where a refused tire goes')
        return self


Step = Inspect | Reading | Choice | Do | CountPasses | Caution | Wait | HoldPoint


class Ending(_Frozen):
    id: _ID
    disposition: str
    say: str
    released: bool = Field(default=False, description="the tire goes back to service: no reason may be open")


class Procedure(_Frozen):
    """A whole procedure: steps in file order, and the endings a job can have."""

    schema_: Literal[1] = Field(alias="schema")
    id: _ID
    title: str
    version: str
    notice: str = Field(min_length=1, description="said at the start of every job")
    corrected: str = Field(
        default="",
        description="the supervisor's hold point for a finding that was corrected: its reason stands till then",
    )
    step: tuple[Annotated[Step, Field(discriminator="kind")], ...] = Field(min_length=1)
    ending: tuple[Ending, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _linked(self) -> Procedure:
        names = [s.id for s in self.step] + [e.id for e in self.ending]
        twice = sorted({n for n in names if names.count(n) > 1})
        if twice:
            raise ValueError(f"id {twice[0]!r} is used twice")
        if self.step[0].kind in ("count", "wait") or getattr(self.step[0], "by", "") == "disposition":
            raise ValueError(
                f"step {self.step[0].id!r}: nothing is known yet; begin with another kind of step"
            )
        known = set(names)
        last = self.step[-1]
        for step in self.step:
            for outcome, target in step.on.items():
                if outcome not in step.outcomes:
                    raise ValueError(
                        f"step {step.id!r}: no outcome {outcome!r}; it has {', '.join(step.outcomes)}"
                    )
                if target not in known:
                    raise ValueError(f"step {step.id!r}: on.{outcome} goes to unknown {target!r}")
            leads = (*step.on, *(("released",) if step.id == self.corrected else ()))
            if step is last and (missing := [o for o in step.outcomes if o not in leads]):
                raise ValueError(f"last step {step.id!r}: outcome {missing[0]!r} goes nowhere")
            pointers = step.guards if isinstance(step, Caution) else ()
            pointers += (step.until,) if isinstance(step, Wait) and step.until else ()
            pointers += (step.instead_of,) if isinstance(step, Reading) and step.instead_of else ()
            for other in pointers:
                if other not in {s.id for s in self.step}:
                    raise ValueError(f"step {step.id!r}: points at unknown step {other!r}")
        self._released_somewhere()
        return self

    def _released_somewhere(self) -> None:
        """``corrected`` is a supervisor's; without a way of its own for a release only corrections lead to it."""
        name = self.corrected
        if not name:
            return
        if not self.supervised(name):
            raise ValueError(f"corrected = {name!r}: name a hold point that is released by a supervisor")
        if "released" in self.at(name).on:
            return
        for step in self.step:
            if step.id != name and name in {self.after(step.id, outcome) for outcome in step.outcomes}:
                raise ValueError(
                    f"step {name!r}: {step.id!r} leads to it too; say where a release goes: released = ..."
                )

    def at(self, step_id: str) -> Step:
        """The step of that id. Raises KeyError."""
        return self._steps[step_id]

    def end(self, ending_id: str) -> Ending | None:
        """The ending of that id, or None when the id is a step's."""
        return next((e for e in self.ending if e.id == ending_id), None)

    def after(self, step_id: str, outcome: str) -> str:
        """Where an outcome leads: a step id or an ending id. A release at the hold point ``corrected`` that says no
        other way goes on to where the corrected answer led, which only the job knows: here, the hold point itself."""
        step = self.at(step_id)
        if outcome not in step.outcomes:
            raise KeyError(outcome)
        if outcome in step.on:
            return step.on[outcome]
        return step_id if step_id == self.corrected else self._following[step_id]

    def ways(self, step_id: str) -> frozenset[str]:
        """Every step or ending that can come next, also by way of a finding that was corrected."""
        step = self.at(step_id)
        ways = {self.after(step_id, outcome) for outcome in step.outcomes}
        released = any(end is not None and end.released for end in map(self.end, ways))
        if self.corrected and (finds(step) or released):
            ways.add(self.corrected)
        return frozenset(ways)

    def supervised(self, step_id: str) -> bool:
        """Whether this is a hold point that a supervisor releases."""
        step = self._steps.get(step_id)
        return isinstance(step, HoldPoint) and step.by == "supervisor"

    def reached_from(self, start: str, without: str = "") -> frozenset[str]:
        """Steps and endings that can follow ``start``, on ways that do not enter the step ``without``."""
        seen: set[str] = set()
        todo = [start]
        while todo:
            one = todo.pop()
            if self.end(one) is not None:
                continue
            fresh = self.ways(one) - seen - {without}
            seen |= fresh
            todo += fresh
        return frozenset(seen)

    @cached_property
    def _steps(self) -> dict[str, Step]:
        return {s.id: s for s in self.step}

    @cached_property
    def _following(self) -> dict[str, str]:
        return {one.id: other.id for one, other in pairwise(self.step)}


def finds(step: Step) -> bool:
    """Whether an answer there can give a reason against the repair."""
    match step:
        case Inspect() | HoldPoint(by="disposition"):
            return True
        case Reading():
            return "outside" in step.outcomes
        case Choice():
            return bool(step.limits) or any(option.scrap for option in step.options)
        case _:
            return False


#: pydantic's own words where they say what is wrong but not what to do.
_ADVICE = {
    "missing": "missing; add it",
    "extra_forbidden": "no such field; correct its name or take it out",
}


def _plain(error: ValidationError) -> str:
    """pydantic's first complaint as one line a shop can act on."""
    first = error.errors()[0]
    place = ".".join(str(part) for part in first["loc"] if part not in Kind.__members__.values())
    message = _ADVICE.get(first["type"], first["msg"]).removeprefix("Value error, ")
    more = f" (and {error.error_count() - 1} more)" if error.error_count() > 1 else ""
    return f"{place + ': ' if place else ''}{message}{more}"


def read_procedure(text: str, name: str = "procedure") -> Procedure:
    """Parse and validate a procedure file's text. Raises ProcedureError with one line."""
    try:
        data = read_toml(text)
    except TomlError as error:
        raise ProcedureError(f"{name}: not valid TOML: {error}") from None
    try:
        return Procedure.model_validate(data)
    except ValidationError as error:
        line = _named_step(data.get("step"), error.errors()[0]["loc"]) + _plain(error)
        # A tag or an id of the file may be quoted in it, whatever it holds.
        raise ProcedureError(f"{name}: {one_line(line)}") from None


def _named_step(steps: object, loc: tuple[int | str, ...]) -> str:
    """ "step 'cement': " when the complaint is about a step that has an id."""
    if len(loc) > 1 and loc[0] == "step" and isinstance(loc[1], int) and isinstance(steps, list):
        entry = steps[loc[1]]
        if isinstance(entry, dict) and isinstance(entry.get("id"), str):
            return f"step {entry['id'][:40]!r}: "
    return ""
