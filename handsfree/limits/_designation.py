"""Read a tire's size designation and compute what follows from it.

Forms: P-metric, LT-metric, ST and T/S prefixes, European metric (no prefix), flotation ("31x10.50R15LT").
Geometry: section height = width x aspect / 100; overall diameter = rim x 25.4 + 2 x height (tire-size page;
same form in UNECE R30, from memory). A missing aspect reads as 82 %; a number over 200 in its place is the
overall diameter in mm (encyclopedic tire code text). Lengths are exact; only pi is a float (error 1e-16).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction

from handsfree.limits._load import SPEED_KMH, load_index
from handsfree.limits._types import LimitsError
from handsfree.quantity import Quantity

__all__ = ["Designation", "parse_designation"]

_TAIL = r"""
    (?:\s*/?\s*(?P<range>XL|SL|LL|HL|RF|[B-H]|[JLMN])(?![A-Z0-9]))?
    (?:\s*(?P<service>\(?\d{2,3}(?:/\d{2,3})?\s*[A-Z]\d?\)?))?
    \s*$"""
_METRIC = re.compile(
    r"""^(?P<prefix>LT|ST|P|T|S)?\s*(?P<width>\d{2,3})\s*
    (?:/\s*(?P<aspect>\d{1,3}))?\s*(?P<build>ZR|R|D|B|-)\s*(?P<rim>\d{2}(?:\.5)?)"""
    + _TAIL,
    re.VERBOSE,
)
_FLOTATION = re.compile(
    r"""^(?P<diameter>\d{2}(?:\.\d{1,2})?)X(?P<width>\d{1,2}(?:\.\d{1,2})?)\s*
    (?P<build>ZR|R|D|B|-)\s*(?P<rim>\d{2}(?:\.5)?)\s*(?:LT)?"""
    + _TAIL,
    re.VERBOSE,
)
_SERVICE = re.compile(
    r"^(?P<open>\()?(?P<single>\d{2,3})(?:/(?P<dual>\d{2,3}))?\s*(?P<speed>[A-Z]\d?)(?P<close>\))?$"
)
_KINDS = {"P": "passenger", "": "passenger", "LT": "light truck", "ST": "trailer", "T": "spare", "S": "spare"}
_BUILDS = {"R": "radial", "ZR": "radial", "D": "diagonal", "-": "diagonal", "B": "belted"}
_DEFAULT_ASPECT = Fraction(82)


@dataclass(frozen=True, slots=True)
class Designation:
    """One size designation, read. Lengths in mm, exact; ``None`` where the designation does not say."""

    text: str
    kind: str
    width: Fraction
    aspect: Fraction | None
    diameter: Fraction
    rim: Fraction
    build: str
    zr: bool = False
    load_range: str | None = None
    load_index: int | None = None
    dual_load_index: int | None = None
    speed_symbol: str | None = None

    @property
    def section_height(self) -> Quantity:
        """mm, exact."""
        return Quantity((self.diameter - self.rim) / 2, "mm")

    @property
    def overall_diameter(self) -> Quantity:
        """mm, exact."""
        return Quantity(self.diameter, "mm")

    @property
    def section_width(self) -> Quantity:
        """Nominal section width in mm, exact."""
        return Quantity(self.width, "mm")

    @property
    def circumference(self) -> Quantity:
        """mm, of the new tire off the ground: pi x overall diameter."""
        return Quantity(Fraction(math.pi) * self.diameter, "mm")

    def revolutions(self, distance: Quantity) -> float:
        """Turns in a distance, by the free circumference (a loaded tire turns a few percent more)."""
        return float(Fraction(distance.to("mm").value) / Fraction(self.circumference.value))

    @property
    def load(self) -> Quantity | None:
        """Single-fitment load in kg from the table."""
        return None if self.load_index is None else load_index(self.load_index)

    @property
    def dual_load(self) -> Quantity | None:
        """Dual-fitment load in kg from the table."""
        return None if self.dual_load_index is None else load_index(self.dual_load_index)

    def facts(self) -> dict[str, Quantity | str]:
        """What the rules can use: kind, load range, speed symbol, section width."""
        found: dict[str, Quantity | str] = {"tire.kind": self.kind, "tire.section_width": self.section_width}
        if self.load_range is not None:
            found["tire.load_range"] = self.load_range
        speed = self.speed_symbol or ("ZR" if self.zr else None)
        if speed is not None:
            found["tire.speed_symbol"] = speed
        return found


def parse_designation(text: str) -> Designation:
    """Read a designation such as "P215/65R15 95H" or "31x10.50R15LT/C". Raises LimitsError."""
    clean = " ".join(text.upper().replace("×", "X").split())
    match = _METRIC.match(clean) or _FLOTATION.match(clean)
    if match is None:
        raise LimitsError(f"{text!r} is no tire size: write it as on the sidewall, like 215/65R15 96H")
    parts = match.groupdict("")
    rim = _rim(text, parts["rim"])
    width, aspect, diameter = _metric(text, parts, rim) if "aspect" in parts else _flotation(text, parts)
    if diameter <= rim:
        raise LimitsError(f"{text!r}: the tire would be smaller than its rim, read it again")
    kind, load_range = _range(text, parts.get("prefix", "LT"), parts["range"])  # flotation sizes are LT
    single, dual, speed = _service(text, parts["service"])
    zr = parts["build"] == "ZR"
    if zr and speed is not None and SPEED_KMH[speed] < SPEED_KMH["V"]:
        raise LimitsError(f"{text!r}: ZR says over 240 km/h, but {speed} is {SPEED_KMH[speed]} km/h")
    return Designation(
        clean,
        kind,
        width,
        aspect,
        diameter,
        rim,
        _BUILDS[parts["build"]],
        zr,
        load_range,
        single,
        dual,
        speed,
    )


def _rim(text: str, digits: str) -> Fraction:
    inches = Fraction(digits)
    if not 8 <= inches <= 30:
        raise LimitsError(f"{text!r}: a rim of {digits} in is outside 8 to 30 in, read it again")
    return inches * Fraction(254, 10)


def _metric(text: str, parts: dict[str, str], rim: Fraction) -> tuple[Fraction, Fraction | None, Fraction]:
    width = Fraction(parts["width"])
    if not 105 <= width <= 405 or width % 5:
        raise LimitsError(f"{text!r}: section width {width} mm is not one of 105, 115, ... 405")
    if not parts["aspect"]:
        return width, _DEFAULT_ASPECT, rim + 2 * width * _DEFAULT_ASPECT / 100
    number = Fraction(parts["aspect"])
    if number > 200:
        return width, None, number
    if not 20 <= number <= 95 or (number % 5 and number != _DEFAULT_ASPECT):
        raise LimitsError(f"{text!r}: aspect ratio {number} is not one of 20, 25, ... 95")
    return width, number, rim + 2 * width * number / 100


def _flotation(text: str, parts: dict[str, str]) -> tuple[Fraction, Fraction | None, Fraction]:
    inch = Fraction(254, 10)
    width = Fraction(parts["width"])
    if not 4 <= width <= 16:
        raise LimitsError(f"{text!r}: a width of {parts['width']} in is outside 4 to 16 in, read it again")
    return width * inch, None, Fraction(parts["diameter"]) * inch


def _range(text: str, prefix: str, letters: str) -> tuple[str, str | None]:
    kind = _KINDS[prefix]
    if letters == "C" and prefix == "":
        return "light truck", None  # European metric "C" is the commercial suffix, not load range C
    if letters in {"XL", "SL", "LL", "HL", "RF"}:
        if kind == "light truck":
            raise LimitsError(f"{text!r}: {letters} does not go with LT, which has a load range letter")
        return kind, {"RF": "XL"}.get(letters, letters)
    if kind == "passenger" and letters not in "BCD":
        raise LimitsError(f"{text!r}: load range {letters} does not go with a passenger size")
    return kind, letters or ("SL" if kind == "passenger" else None)


def _service(text: str, service: str) -> tuple[int | None, int | None, str | None]:
    if not service:
        return None, None, None
    match = _SERVICE.match(service)
    if match is None or bool(match["open"]) != bool(match["close"]):
        raise LimitsError(f"{text!r}: write load index and speed symbol like 96H, 104/101S or (97Y)")
    single, dual, speed = int(match["single"]), match["dual"], match["speed"]
    load_index(single)
    if dual is not None and load_index(int(dual)).value > load_index(single).value:
        raise LimitsError(f"{text!r}: the second (dual) load index can't exceed the first")
    if speed not in SPEED_KMH:
        raise LimitsError(f"{text!r}: speed symbol {speed!r} does not exist, read it again")
    if match["open"] and speed != "Y":
        raise LimitsError(f"{text!r}: only (..Y) stands in brackets, for over 300 km/h")
    return single, None if dual is None else int(dual), speed
