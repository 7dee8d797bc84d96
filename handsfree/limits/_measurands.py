"""The facts the engine reads: ids, kinds, plain names, plausible ranges; and safe look-up of one fact.

The plausible range is physical, not a limit: a value beyond it was misheard or mistyped. Ranges are our own
choice (no published source), wide enough for every passenger and light truck tire.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType

from handsfree.limits._types import Facts, LimitsError, MissingFact
from handsfree.quantity import UNITS, Quantity

__all__ = ["MEASURANDS", "Measurand", "choice", "has", "plausible", "quantity"]


@dataclass(frozen=True, slots=True)
class Measurand:
    """A number (``kind`` and a plausible ``low``..``high`` in ``unit``) or a named choice (``choices``)."""

    id: str
    title: str
    unit: str = ""
    low: Fraction = Fraction(0)
    high: Fraction = Fraction(0)
    choices: tuple[str, ...] = ()

    @property
    def kind(self) -> str:
        return UNITS[self.unit].kind if self.unit else "choice"


def _number(id: str, title: str, unit: str, low: str, high: str) -> Measurand:
    return Measurand(id, title, unit, Fraction(low), Fraction(high))


def _choice(id: str, title: str, *choices: str) -> Measurand:
    return Measurand(id, title, choices=choices)


_YES_NO = ("yes", "no")

MEASURANDS: Mapping[str, Measurand] = MappingProxyType(
    {
        item.id: item
        for item in (
            _number("injury.size", "injury size", "mm", "0", "100"),
            _number("injury.angle", "injury angle from the normal", "deg", "0", "90"),
            _number("injury.edge_distance", "tread edge to injury", "mm", "0", "250"),
            _number("injury.center_distance", "tread center line to injury", "mm", "0", "200"),
            _choice("injury.lean", "way the injury leans going out", "outward", "inward", "round"),
            _choice("injury.place", "injury place", "crown", "shoulder", "sidewall"),
            _choice("injury.in_grooves", "injury between the outermost grooves", *_YES_NO),
            _choice("tire.body_ply", "body ply", "fabric", "steel"),
            _choice("tire.kind", "tire kind", "passenger", "light truck", "trailer", "spare"),
            _choice("tire.load_range", "load range", *"BCDEFGHJLMN", "SL", "XL", "LL", "HL"),
            _choice("tire.speed_symbol", "speed symbol", *"BCDEFGJKLMNPQRSTUHVWYZ", "ZR"),
            _choice("tire.run_flat", "run-flat tire", *_YES_NO),
            _choice("tire.sealant", "sealant found in the tire", *_YES_NO),
            _choice("tire.tubeless", "tubeless tire", *_YES_NO),
            _number("tire.thickness", "tire thickness at the injury", "mm", "3", "50"),
            _number("tire.section_width", "nominal section width", "mm", "100", "400"),
            _number("tire.tread_width", "tread width, shoulder to shoulder", "mm", "80", "400"),
            _number("run_flat.distance", "distance run with the warning lamp on", "km", "0", "1000"),
            _number("run_flat.speed", "speed run with the warning lamp on", "km/h", "0", "300"),
            _number("run_flat.pressure", "lowest pressure while running", "kPa", "0", "700"),
            _number("tire.rest_time", "time since the tire was driven", "h", "0", "1000"),
            Measurand("tire.date_code", "date code"),
            Measurand("today", "date of the work, year-month-day"),
            _number("tread.depth", "tread depth in the lowest groove", "mm", "0", "25"),
            _number("tread.depth.highest", "tread depth in the highest groove", "mm", "0", "25"),
            _number("pressure.placard", "placard pressure", "kPa", "100", "700"),
            _number("pressure.seating", "highest pressure used to seat the beads", "kPa", "0", "700"),
            _number("pressure.set", "cold pressure set", "kPa", "0", "700"),
            _number("pressure.leak_start", "pressure at the start of the leak test", "kPa", "0", "700"),
            _number("pressure.leak_end", "pressure at the end of the leak test", "kPa", "0", "700"),
            _number("temp.leak_start", "tire temperature at the start of the leak test", "degC", "-40", "80"),
            _number("temp.leak_end", "tire temperature at the end of the leak test", "degC", "-40", "80"),
            _number("time.leak", "length of the leak test", "min", "0", "1440"),
            _number("temp.set", "tire temperature when the pressure is set", "degC", "-40", "80"),
            _number("temp.cold", "temperature at which the tire will stand cold", "degC", "-40", "60"),
            _number("hose.length", "hose between chuck and gauge valve", "mm", "0", "30000"),
            _number("air.blow_pressure", "blow-off air pressure", "kPa", "0", "1200"),
            _number("sensor.pressure", "pressure at which the lamp came on", "kPa", "0", "700"),
            _number("air.temperature", "air temperature", "degC", "-40", "50"),
            _number("air.humidity", "relative humidity", "%", "1", "100"),
            _number("surface.temperature", "liner surface temperature", "degC", "-40", "80"),
            _number("buffer.rpm", "buffer speed", "rpm", "0", "40000"),
            _number("buffer.wheel_diameter", "buffing wheel diameter", "mm", "5", "200"),
            _number("drill.rpm", "carbide cutter speed", "rpm", "0", "40000"),
            _number("stem.trim_height", "stem left standing above the tread", "mm", "0", "50"),
            _number("buff.outline_margin", "buffed outline beyond the patch", "mm", "0", "100"),
            _number("patch.size", "patch diameter", "mm", "10", "200"),
            _number("stem.length", "stem length", "mm", "5", "200"),
            _number("torque.target", "torque the vehicle's maker asks for", "N.m", "20", "400"),
            _number("torque.applied", "torque applied", "N.m", "0", "500"),
            _number("balance.residual", "residual imbalance", "g", "0", "200"),
            _number("nut.count", "lug nuts", "1", "3", "12"),
            _number("recheck.distance", "distance to the torque re-check", "km", "0", "1000"),
            _number("repairs.earlier", "earlier repairs in this tire", "1", "0", "20"),
            _number("repairs.spacing", "distance to the nearest earlier repair", "mm", "0", "2000"),
            _choice("repairs.overlap", "patches would overlap", *_YES_NO),
            _choice("repairs.improper", "an earlier repair is improper", *_YES_NO),
            _choice("refit.axle", "axle the wheel goes back to", "front", "rear", "spare"),
        )
    }
)


def has(facts: Facts, name: str) -> bool:
    """Is the fact known?"""
    return name in facts


def quantity(facts: Facts, name: str) -> Quantity:
    """One number among the facts, checked for kind, finiteness and sign. Raises MissingFact, LimitsError."""
    value = _fact(facts, name)
    known = MEASURANDS[name]
    if not isinstance(value, Quantity):
        raise LimitsError(f"{name} must be a {known.kind} with a unit, not {value!r}")
    _finite(name, value)
    if UNITS[value.unit].kind != known.kind:
        raise LimitsError(
            f"{name} must be a {known.kind}, not a {UNITS[value.unit].kind}: give it in {known.unit}"
        )
    if known.kind != "temperature" and value.value < 0:
        raise LimitsError(f"{name} can't be negative: read it again")
    return value


def _finite(name: str, value: Quantity) -> None:
    for part in (value.value, value.resolution):
        if isinstance(part, Decimal) and not part.is_finite():
            raise LimitsError(f"{name} is not a number: read it again")
    if value.resolution is not None and value.resolution <= 0:
        raise LimitsError(f"{name} has a resolution of zero or less: leave it out for an exact value")


def choice(facts: Facts, name: str) -> str:
    """One named choice (or text) among the facts. Raises MissingFact, LimitsError."""
    value = _fact(facts, name)
    allowed = MEASURANDS[name].choices
    if not isinstance(value, str):
        raise LimitsError(f"{name} must be a word, not a number")
    if allowed and value not in allowed:
        raise LimitsError(f"{name} is {value!r}: choose one of {', '.join(allowed)}")
    return value


def _fact(facts: Facts, name: str) -> Quantity | str:
    try:
        return facts[name]
    except KeyError:
        raise MissingFact(name) from None


def plausible(name: str, value: Quantity) -> bool:
    """Is the value physically possible for this measurand (both ends included)?"""
    known = MEASURANDS[name]
    seen = Fraction(quantity({name: value}, name).to(known.unit).value)
    return known.low <= seen <= known.high
