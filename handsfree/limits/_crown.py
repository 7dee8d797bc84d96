"""How wide the crown zone is, under each named rule. The sources disagree; a policy picks one.

All rules give the half width of the repairable band, measured from the tread's center line.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType

from handsfree.limits._sources import NZ, UK
from handsfree.limits._types import LimitsError, MissingFact
from handsfree.quantity import Quantity

__all__ = ["CROWN_RULES", "CrownRule", "band_share", "crown_half_width", "crown_zones"]


@dataclass(frozen=True, slots=True)
class CrownRule:
    """``needs``: the width it starts from; ``inset``: how far in from each edge of that width, in mm."""

    name: str
    needs: str
    inset: Fraction
    source: str


_INCH = Fraction(254, 10)

CROWN_RULES: Mapping[str, CrownRule] = MappingProxyType(
    {
        rule.name: rule
        for rule in (
            CrownRule("half_inch", "tread_width", _INCH / 2, "explainer (secondary, weak): 1/2 in"),
            CrownRule("one_inch", "tread_width", _INCH, "tire dealer repair page (secondary): 1 to 1.5 in"),
            CrownRule(
                "inch_and_half",
                "tread_width",
                _INCH * 3 / 2,
                "tire dealer repair page (secondary); Tire Business, 15 Sep 2003, radial truck tires",
            ),
            CrownRule("grooves", "groove_width", Fraction(0), "tire maker's consumer page following USTMA"),
            CrownRule("belts", "belt_width", Fraction(0), NZ + ": belt edge to belt edge"),
            CrownRule("band", "section_width", Fraction(0), UK + ": 60, 65 or 70 % of section width"),
        )
    }
)


def band_share(section_width_mm: Fraction) -> Fraction:
    """Central share of the nominal section width open to repair (BS AU 159 via the BTMA): 60, 65 or 70 %.

    Up to and including 155 mm 60 %; over 155 to 200 mm 65 %; over 200 mm 70 %. Raises LimitsError at 0.
    """
    if section_width_mm <= 0:
        raise LimitsError("section width must be above zero: read the tire's size again")
    if section_width_mm <= 155:
        return Fraction(60, 100)
    return Fraction(65, 100) if section_width_mm <= 200 else Fraction(70, 100)


def crown_half_width(name: str, widths: Mapping[str, Quantity]) -> Quantity:
    """Half width of the crown zone in mm, exact, under one named rule.

    ``widths``: tread_width (shoulder to shoulder), groove_width (between the outermost grooves), belt_width,
    section_width (nominal, from the designation). Raises MissingFact for the width it needs, LimitsError for
    an unknown rule or where nothing is left.
    """
    try:
        rule = CROWN_RULES[name]
    except KeyError:
        raise LimitsError(f"unknown crown rule {name!r}: choose one of {', '.join(CROWN_RULES)}") from None
    if rule.needs not in widths:
        raise MissingFact(f"tire.{rule.needs}")
    width = Fraction(widths[rule.needs].to("mm").value)
    share = band_share(width) if name == "band" else Fraction(1)
    half = width * share / 2 - rule.inset
    if half <= 0:
        raise LimitsError(f"no crown zone is left under rule {name!r}: read the {rule.needs} again")
    return Quantity(half, "mm")


def crown_zones(widths: Mapping[str, Quantity]) -> dict[str, Quantity]:
    """Half widths in mm under every rule whose width is known."""
    return {
        name: crown_half_width(name, widths) for name, rule in CROWN_RULES.items() if rule.needs in widths
    }
