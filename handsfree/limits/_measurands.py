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


_YES_NO = ("yes", "no")

#: id, plain name, unit, least and most plausible value
_NUMBERS = (
    ("injury.size", "injury size", "mm", "0", "100"),
    ("injury.angle", "injury angle from the normal", "deg", "0", "90"),
    ("injury.edge_distance", "tread edge to injury", "mm", "0", "250"),
    ("injury.center_distance", "tread center line to injury", "mm", "0", "200"),
    ("tire.thickness", "tire thickness at the injury", "mm", "3", "50"),
    ("tire.section_width", "nominal section width", "mm", "100", "400"),
    ("tire.tread_width", "tread width, shoulder to shoulder", "mm", "80", "400"),
    ("run_flat.distance", "distance run with the warning lamp on", "km", "0", "1000"),
    ("run_flat.speed", "speed run with the warning lamp on", "km/h", "0", "300"),
    ("run_flat.pressure", "lowest pressure while running", "kPa", "0", "700"),
    ("tire.rest_time", "time since the tire was driven", "h", "0", "1000"),
    ("tread.depth", "tread depth in the lowest groove", "mm", "0", "25"),
    ("tread.depth.highest", "tread depth in the highest groove", "mm", "0", "25"),
    ("pressure.found", "pressure as found", "kPa", "0", "900"),
    ("pressure.placard", "placard pressure", "kPa", "100", "700"),
    ("pressure.seating", "highest pressure used to seat the beads", "kPa", "0", "700"),
    ("pressure.set", "cold pressure set", "kPa", "0", "700"),
    ("pressure.leak_start", "pressure at the start of the leak test", "kPa", "0", "700"),
    ("pressure.leak_end", "pressure at the end of the leak test", "kPa", "0", "700"),
    ("temp.leak_start", "tire temperature at the start of the leak test", "degC", "-40", "80"),
    ("temp.leak_end", "tire temperature at the end of the leak test", "degC", "-40", "80"),
    ("time.leak", "length of the leak test", "min", "0", "1440"),
    ("temp.set", "tire temperature when the pressure is set", "degC", "-40", "80"),
    ("temp.cold", "temperature at which the tire will stand cold", "degC", "-40", "60"),
    ("hose.length", "hose between chuck and gauge valve", "mm", "0", "30000"),
    ("air.blow_pressure", "blow-off air pressure", "kPa", "0", "1200"),
    ("sensor.pressure", "pressure at which the lamp came on", "kPa", "0", "700"),
    ("air.temperature", "air temperature", "degC", "-40", "50"),
    ("air.humidity", "relative humidity", "%", "1", "100"),
    ("surface.temperature", "liner surface temperature", "degC", "-40", "80"),
    ("buffer.rpm", "buffer speed", "rpm", "0", "40000"),
    ("buffer.wheel_diameter", "buffing wheel diameter", "mm", "5", "200"),
    ("drill.rpm", "carbide cutter speed", "rpm", "0", "40000"),
    ("stem.trim_height", "stem left standing above the tread", "mm", "0", "50"),
    ("buff.outline_margin", "buffed outline beyond the patch", "mm", "0", "100"),
    ("patch.size", "patch diameter", "mm", "10", "200"),
    ("stem.length", "stem length", "mm", "5", "200"),
    ("torque.target", "torque the vehicle's maker asks for", "N.m", "20", "400"),
    ("torque.applied", "torque applied", "N.m", "0", "500"),
    ("balance.residual", "residual imbalance", "g", "0", "200"),
    ("nut.count", "lug nuts", "1", "3", "12"),
    ("recheck.distance", "distance to the torque re-check", "km", "0", "1000"),
    ("repairs.earlier", "earlier repairs in this tire", "1", "0", "20"),
    ("repairs.spacing", "distance to the nearest earlier repair", "mm", "0", "2000"),
)

#: id, plain name, the words allowed (none: free text)
_NAMES: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("injury.lean", "way the injury leans going out", ("outward", "inward", "round")),
    ("injury.place", "injury place", ("crown", "shoulder", "sidewall")),
    ("injury.in_grooves", "injury between the outermost grooves", _YES_NO),
    ("tire.body_ply", "body ply", ("fabric", "steel")),
    ("tire.kind", "tire kind", ("passenger", "light truck", "trailer", "spare")),
    ("tire.load_range", "load range", (*"BCDEFGHJLMN", "SL", "XL", "LL", "HL")),
    ("tire.speed_symbol", "speed symbol", (*"BCDEFGJKLMNPQRSTUHVWYZ", "ZR")),
    ("tire.run_flat", "run-flat tire", _YES_NO),
    ("tire.sealant", "sealant found in the tire", _YES_NO),
    ("tire.tubeless", "tubeless tire", _YES_NO),
    ("repairs.overlap", "patches would overlap", _YES_NO),
    ("repairs.improper", "an earlier repair is improper", _YES_NO),
    ("refit.axle", "axle the wheel goes back to", ("front", "rear", "spare")),
    ("tire.date_code", "date code", ()),
    ("today", "date of the work, year-month-day", ()),
)

MEASURANDS: Mapping[str, Measurand] = MappingProxyType(
    {
        **{row[0]: Measurand(*row[:3], Fraction(row[3]), Fraction(row[4])) for row in _NUMBERS},
        **{row[0]: Measurand(*row[:2], choices=row[2]) for row in _NAMES},
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
