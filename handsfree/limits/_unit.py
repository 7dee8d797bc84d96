"""The repair unit: stem length, patch size, outline to buff, one piece or two.

Stem and patch allowances are common practice, no published source; a shop policy may ask for more.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from handsfree.limits._channel import Channel
from handsfree.limits._types import Outcome
from handsfree.quantity import Quantity

__all__ = [
    "BUFF_MARGIN_MM",
    "PATCH_MARGIN_MM",
    "TRIM_ALLOWANCE_MM",
    "UnitKind",
    "UnitSize",
    "size_unit",
    "unit_kind",
]

TRIM_ALLOWANCE_MM = Fraction(10)  # to pull and trim by
PATCH_MARGIN_MM = Fraction(12)  # sound liner under the patch, all round the ellipse
BUFF_MARGIN_MM = Fraction(6)  # buffed beyond the patch, all round; the rule "buff.outline.min"


class UnitKind(StrEnum):
    """One combination unit, or stem and patch apart."""

    ONE_PIECE = "one-piece unit"
    TWO_PIECE = "two-piece repair"


@dataclass(frozen=True, slots=True)
class UnitSize:
    """Smallest unit that does. Lengths in mm, exact: ``patch`` and ``outline`` are diameters."""

    stem_diameter: Quantity
    stem_length: Quantity
    patch: Quantity
    outline: Quantity


def size_unit(
    channel: Channel,
    patch_margin: Fraction = PATCH_MARGIN_MM,
    buff_margin: Fraction = BUFF_MARGIN_MM,
    allowance: Fraction = TRIM_ALLOWANCE_MM,
) -> UnitSize:
    """Stem = channel length + allowance; patch = major axis + 2 margins; outline = patch + 2 margins."""
    patch = channel.major + 2 * patch_margin
    return UnitSize(
        Quantity(channel.minor, "mm"),
        Quantity(channel.length + allowance, "mm"),
        Quantity(patch, "mm"),
        Quantity(patch + 2 * buff_margin, "mm"),
    )


def unit_kind(angle: Outcome) -> UnitKind:
    """A one-piece unit only if the angle is surely inside its limit: a two-piece repair fits any angle."""
    return UnitKind.ONE_PIECE if angle is Outcome.INSIDE else UnitKind.TWO_PIECE
