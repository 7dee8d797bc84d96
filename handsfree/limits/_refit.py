"""Refit: the order in which to tighten lug nuts, and the stages."""

from __future__ import annotations

from fractions import Fraction

from handsfree.limits._types import LimitsError
from handsfree.quantity import Quantity

__all__ = ["star_sequence", "torque_stages"]


def star_sequence(nuts: int) -> tuple[int, ...]:
    """Nuts 1 to ``nuts``, counted round the wheel, in criss-cross order; 4 to 10 nuts.

    Odd: always on by (n - 1) / 2, the star drawn without lifting the pen (5: 1 3 5 2 4). Even: each nut, then
    the one opposite, the pairs spread round the wheel (8: 1 5 3 7 2 6 4 8). Criss-cross: owner's manuals; the
    order of the pairs is ours (common practice, no published source). Raises LimitsError outside 4 to 10.
    """
    if not 4 <= nuts <= 10:
        raise LimitsError(f"a wheel with {nuts} nuts is not covered: 4 to 10")
    if nuts % 2:
        return tuple(i * ((nuts - 1) // 2) % nuts + 1 for i in range(nuts))
    half = nuts // 2
    # Every second pair first, except at 6 nuts, where the third nut lies beside the fourth.
    pairs = [*range(3)] if half == 3 else [*range(0, half, 2), *range(1, half, 2)]
    return tuple(nut for pair in pairs for nut in (pair + 1, pair + half + 1))


def torque_stages(target: Quantity, stages: int = 2) -> tuple[Quantity, ...]:
    """Equal stages up to the target, in its unit; the last is the target itself, exactly.

    Two stages follow the pattern of TM 9-2320-280-20-2 (55 then 65, 85 then 125 lb-ft); the equal split is
    common practice, no published source. Raises LimitsError below one stage or at a target of zero.
    """
    if stages < 1 or target.value <= 0:
        raise LimitsError("torque needs at least one stage and a target above zero: read the target again")
    full = Fraction(target.value)
    steps = [Quantity(full * i / stages, target.unit) for i in range(1, stages)]
    return (*steps, Quantity(target.value, target.unit))
