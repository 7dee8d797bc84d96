"""Facts that follow from others, and advice computed from them: pure arithmetic over what was read."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from handsfree import limits
from handsfree.limits import End, Lean, LimitsError, MissingFact, Outcome, Policy
from handsfree.procedure._words import spoken, spoken_count
from handsfree.quantity import Exact, Quantity

__all__ = [
    "ADVICE",
    "DERIVED",
    "GIVEN_BY_DESIGNATION",
    "SPACING_NEEDS",
    "Advice",
    "belongs",
    "complete",
    "spacing_reasons",
    "unrepaired",
]

FactMap = Mapping[str, Quantity | str]

#: Derived fact -> the facts it is computed from.
DERIVED: Mapping[str, tuple[str, ...]] = {
    "injury.center_distance": ("tire.tread_width", "injury.edge_distance"),
    "pressure.leak_start": ("pressure.set",),
    "temp.leak_start": ("temp.set",),
    "refit.axle": ("job.wheel_position",),
}
#: The leak test begins at the pressure that was set, and at the temperature at which it was set.
_SAME: Mapping[str, str] = {"pressure.leak_start": "pressure.set", "temp.leak_start": "temp.set"}

#: Facts that a tire's designation gives, when it says them.
GIVEN_BY_DESIGNATION = ("tire.kind", "tire.section_width", "tire.load_range", "tire.speed_symbol")


#: Facts that belong to one injury although a rule names them after the tire.
_GROUPED: Mapping[str, tuple[str, ...]] = {"injury": ("tire.thickness",)}


def belongs(fact: str, group: str) -> bool:
    """Whether a fact is put aside, and taken up again, with a group ("injury")."""
    return fact.startswith(f"{group}.") or fact in _GROUPED.get(group, ())


def unrepaired(facts: FactMap, archived: Sequence[tuple[str, FactMap]], group: str) -> tuple[int, int]:
    """(found, repaired) of a group: those put aside and the present one."""
    every = [known for name, known in archived if name == group]
    if any(fact.startswith(f"{group}.") for fact in facts):
        every.append(facts)
    return len(every), sum(1 for known in every if known.get(f"{group}.repaired") == "yes")


def complete(facts: FactMap) -> dict[str, Quantity | str]:
    """The facts with those added that follow from them. What was read is never replaced.

    The center distance is half the tread width less the edge distance, its resolution the sum of theirs.
    """
    known = dict(facts)
    for same, as_this in _SAME.items():
        if same not in known and as_this in known:
            known[same] = known[as_this]
    position = str(known.get("job.wheel_position", ""))
    if "refit.axle" not in known and position:
        known["refit.axle"] = position.rpartition("-")[2]
    width, edge = known.get("tire.tread_width"), known.get("injury.edge_distance")
    if "injury.center_distance" not in known and isinstance(width, Quantity) and isinstance(edge, Quantity):
        wide, near = width.to("mm"), edge.to("mm")
        center = abs(Fraction(wide.value) / 2 - Fraction(near.value))
        step = Fraction(wide.resolution or 0) / 2 + Fraction(near.resolution or 0)
        known["injury.center_distance"] = Quantity(center, "mm", step or None)
    return known


@dataclass(frozen=True, slots=True)
class Advice:
    """``needs``: the facts without which nothing can be advised. ``prompt``: the sentence in the prompt file;
    ``fill``: its variables, from complete facts, under the shop's policy. Raises LimitsError."""

    needs: tuple[str, ...]
    prompt: str
    fill: Callable[[FactMap, Policy], dict[str, str]]


def _quantity(facts: FactMap, name: str) -> Quantity:
    value = facts.get(name)
    if not isinstance(value, Quantity):
        raise MissingFact(name)
    return value


def _up(value: Exact) -> Quantity:
    """Whole millimeters, upward: a bigger patch and a longer stem are the safe side."""
    exact = Fraction(value)
    return Quantity(Fraction(-(-exact.numerator // exact.denominator)), "mm")


def _channel(facts: FactMap) -> limits.Channel:
    lean = facts.get("injury.lean", "round")
    return limits.trace(
        _quantity(facts, "injury.size"),
        _quantity(facts, "injury.angle"),
        _quantity(facts, "tire.thickness"),
        _quantity(facts, "injury.center_distance"),
        Lean(str(lean)),
        End.TREAD,
    )


def _sizes(facts: FactMap, policy: Policy) -> dict[str, Quantity]:
    """The unit that the limits will ask for: with the same margins, also where the shop has moved them."""
    size = limits.size_unit(_channel(facts), *(_margin_mm(rule, facts, policy) for rule in _MARGINS))
    exact = {"stem": size.stem_length, "patch": size.patch, "outline": size.outline}
    return {part: _up(quantity.value) for part, quantity in exact.items()}


def _unit(facts: FactMap, policy: Policy) -> dict[str, str]:
    return {part: spoken(size) for part, size in _sizes(facts, policy).items()}


def _unit_read(facts: FactMap, policy: Policy) -> dict[str, str]:
    """As ``_unit``, but the smallest of each that is inside its limit also when it is read to whole millimeters: the
    unit that just does would be too close to call."""
    sizes = _sizes(facts, policy)
    for part, rule in (("stem", "stem.length.min"), ("patch", "patch.size.min")):
        sizes[part] = _inside(rule, sizes[part], facts, policy)
    return {part: spoken(size) for part, size in sizes.items()}


def _inside(rule: str, least: Quantity, facts: FactMap, policy: Policy) -> Quantity:
    """From ``least`` on, the first whole millimeter that the rule finds inside."""
    fact = limits.rule(rule).measurand
    for more in range(_MOST_MORE_MM):
        value = Quantity(least.value + more, "mm", Decimal(1))
        if limits.judge(rule, complete({**facts, fact: value}), policy).outcome is Outcome.INSIDE:
            return value
    return least  # its reading is judged all the same


_MOST_MORE_MM = 10  # half of what it is read to, and what size and angle were read to
_MARGINS = ("patch.size.min", "buff.outline.min", "stem.length.min")


def _margin_mm(rule: str, facts: FactMap, policy: Policy) -> Fraction:
    margin = limits.rule(rule).effective(facts, policy).value
    assert margin is not None  # each of these rules has a number in its formula
    return Fraction(margin.to("mm").value)


def _place(facts: FactMap, policy: Policy) -> dict[str, str]:
    clock = _quantity(facts, "injury.clock")
    edge = _quantity(facts, "injury.edge_distance")
    return {"clock": spoken(Quantity(clock.value, "1")), "edge": spoken(edge)}


def _to_set(facts: FactMap, policy: Policy) -> dict[str, str]:
    """The placard's pressure as the gauge must show it now, to a tenth of its unit."""
    placard = _quantity(facts, "pressure.placard")
    now = limits.pressure_to_set(placard, _quantity(facts, "temp.cold"), _quantity(facts, "temp.set"))
    exact = Fraction(now.to(placard.unit).value)
    places = 2 if placard.unit == "bar" else 0 if placard.unit == "kPa" else 1
    rounded = Decimal(round(exact * 10**places)).scaleb(-places)
    return {"set": spoken(Quantity(rounded, placard.unit))}


def _order(facts: FactMap, policy: Policy) -> dict[str, str]:
    nuts = int(Fraction(_quantity(facts, "nut.count").value))
    rounds = limits.count("torque.tightenings", facts, policy).target // nuts
    order = " ".join(spoken_count(nut) for nut in limits.star_sequence(nuts))
    return {"order": order, "times": spoken_count(rounds)}


def _recheck(facts: FactMap, policy: Policy) -> dict[str, str]:
    return {"distance": spoken(_quantity(facts, "recheck.distance"))}


def _stages(facts: FactMap, policy: Policy) -> dict[str, str]:
    first, full = limits.torque_stages(_quantity(facts, "torque.target"))
    return {"first": spoken(_whole(first)), "full": spoken(full)}


def _whole(value: Quantity) -> Quantity:
    """A stage on the way is for reaching the last one evenly: it may be rounded."""
    return Quantity(Fraction(round(Fraction(value.value))), value.unit)


#: Facts without which the distance between two injuries can't be judged.
SPACING_NEEDS = (
    "tire.designation",
    "tire.thickness",
    "injury.clock",
    "injury.size",
    "injury.angle",
    "injury.center_distance",
)

_UNIT_NEEDS = ("injury.size", "injury.angle", "tire.thickness", "injury.center_distance")

ADVICE: Mapping[str, Advice] = {
    "unit": Advice(_UNIT_NEEDS, "advice_unit", _unit),  # of procedures before 1.2
    "unit-size": Advice(_UNIT_NEEDS, "advice_unit", _unit_read),
    "injury-place": Advice(("injury.clock", "injury.edge_distance"), "advice_injury_place", _place),
    "set-pressure": Advice(("pressure.placard", "temp.set", "temp.cold"), "advice_set_pressure", _to_set),
    "recheck": Advice(("recheck.distance",), "advice_recheck", _recheck),
    "star-order": Advice(("nut.count",), "advice_star_order", _order),
    "torque-stages": Advice(("torque.target",), "advice_torque_stages", _stages),
}


#: Advice that is no arithmetic: why the tire must not be repaired, before the order that follows from it.
REASONS = "reasons"


def spacing_reasons(
    facts: FactMap, injuries: Sequence[FactMap], policy: Policy
) -> tuple[tuple[str, bool], ...]:
    """Why several injuries of one tire may not all be repaired: the binding pair, and the number allowed.

    With each, whether it is sure or only too close to call. Injuries are taken to lie on the same side of the
    tread's center line, which brings them closest.
    """
    if len(injuries) < 2:
        return ()
    designation = facts.get("tire.designation")
    try:
        circumference = limits.parse_designation(str(designation)).circumference
        sites = [_site(number, injury) for number, injury in enumerate(injuries, 1)]
        found = limits.spacing(sites, circumference, _quantity(injuries[0], "tire.thickness"), facts, policy)
    except LimitsError as error:
        return ((f"the distance between injuries can't be judged: {error}", False),)
    reasons = []
    pair = found.binding
    if pair is not None and pair.outcome is not Outcome.INSIDE:
        reasons.append((f"{pair.first} and {pair.second} {_fault(pair)}", pair.outcome is Outcome.OUTSIDE))
    if found.count.outcome is not Outcome.INSIDE:
        reasons.append((found.count.reason, found.count.outcome is Outcome.OUTSIDE))
    return tuple(reasons)


def _fault(pair: limits.Pair) -> str:
    if pair.outcome is Outcome.CLOSE:
        return "may be too near each other: too close to call, read their clock positions to the half hour"
    what = "overlap" if pair.overlap is not Outcome.INSIDE else "are too near each other"
    return f"{what}, by {abs(float(pair.slack_mm)):.0f} mm"


def _site(number: int, injury: FactMap) -> limits.Site:
    known = complete(injury)
    clock = _quantity(known, "injury.clock")
    step = None if clock.resolution is None else Fraction(clock.resolution) * 30
    patch = limits.size_unit(_channel(known)).patch
    return limits.Site(
        f"injury {number}",
        Quantity(Fraction(clock.value) * 30, "deg", step),
        _quantity(known, "injury.center_distance"),
        patch,
    )
