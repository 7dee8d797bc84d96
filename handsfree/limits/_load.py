"""Load index and speed symbol tables. Table values, never the formula; published typos left out.

Load index 60, 65, 70 and 75 to 119: two published tables that agree; 61, 62, 71, 120 and 121 read on single
pages; the rest of 63 to 74 and 122 to 126 from memory (ISO 4000-1, UNECE R54 annex), 124 read as 3,527 lb.
Pages with typos were checked against the series and are not followed: 62 is 265 kg, not 165; 83 is 487 kg,
not 478; 115 is 2,679 lb, not 2,649; 121 is 3,197 lb.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from types import MappingProxyType

from handsfree.limits._types import LimitsError
from handsfree.quantity import Quantity

__all__ = ["LOAD_INDEX_KG", "SPEED_KMH", "load_index", "load_index_estimate", "speed_symbol"]

_LOADS_FROM_60 = """
250 257 265 272 280 290 300 307 315 325 335 345 355 365 375 387 400 412 425 437 450 462 475 487 500 515 530
545 560 580 600 615 630 650 670 690 710 730 750 775 800 825 850 875 900 925 950 975 1000 1030 1060 1090 1120
1150 1180 1215 1250 1285 1320 1360 1400 1450 1500 1550 1600 1650 1700
"""

LOAD_INDEX_KG: Mapping[int, int] = MappingProxyType(
    {index: int(load) for index, load in enumerate(_LOADS_FROM_60.split(), start=60)}
)

#: Symbol -> km/h. N to Y read on two pages; B to M from memory (UNECE R30, R54). H is out of alphabet order.
SPEED_KMH: Mapping[str, int] = MappingProxyType(
    {
        "B": 50,
        "C": 60,
        "D": 65,
        "E": 70,
        "F": 80,
        "G": 90,
        "J": 100,
        "K": 110,
        "L": 120,
        "M": 130,
        "N": 140,
        "P": 150,
        "Q": 160,
        "R": 170,
        "S": 180,
        "T": 190,
        "U": 200,
        "H": 210,
        "V": 240,
        "W": 270,
        "Y": 300,
    }
)


def load_index(index: int) -> Quantity:
    """Load one tire carries at full pressure, in kg, exact; 60 to 126, else LimitsError."""
    try:
        return Quantity(Decimal(LOAD_INDEX_KG[index]), "kg")
    except KeyError:
        raise LimitsError(f"load index {index} is not in the table of 60 to 126: read it again") from None


def load_index_estimate(index: int) -> float:
    """The geometric series behind the table, kg: 45 x 10^(index / 80). Within 2 %: a sanity check."""
    return float(45.0 * 10.0 ** (index / 80.0))


def speed_symbol(symbol: str) -> Quantity:
    """Highest speed of a symbol in km/h, exact. Z and ZR only say "over 240 km/h": LimitsError."""
    if symbol in {"Z", "ZR"}:
        raise LimitsError("Z only says over 240 km/h: read the symbol after the load index")
    try:
        return Quantity(Decimal(SPEED_KMH[symbol]), "km/h")
    except KeyError:
        raise LimitsError(f"speed symbol {symbol!r} does not exist: read it again") from None
