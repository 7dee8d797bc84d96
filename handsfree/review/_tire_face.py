"""The tire from its outer side: where round it the injuries and repairs lie, the valve at twelve."""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

from markupsafe import Markup

from ._injury import Injury, clock_words
from ._svg import Drawing

__all__ = ["face"]

_CX, _CY, _TREAD, _SIDE, _RIM = 180.0, 132.0, 92.0, 77.0, 42.0


def _at(clock: float, radius: float) -> tuple[float, float]:
    """Twelve is up and the hours run clockwise: three lies at 90 degrees from the valve."""
    turn = math.radians(clock * 30)
    return _CX + radius * math.sin(turn), _CY - radius * math.cos(turn)


def face(injuries: Sequence[Injury], name: str = "face") -> Markup | None:
    """The face with every injury whose clock position was read; None when none was."""
    placed = [injury for injury in injuries if injury.clock is not None]
    if not placed:
        return None
    drawing = Drawing(name, 264, "Tire face, valve at twelve o\u2019clock", _words(placed))
    drawing.circle("tread", _CX, _CY, _TREAD)
    drawing.circle("sidewall", _CX, _CY, _SIDE)
    drawing.circle("rim", _CX, _CY, _RIM)
    drawing.circle("hub", _CX, _CY, 8)
    for hour in range(1, 13):
        long = hour % 3 == 0
        (x1, y1), (x2, y2) = _at(hour, _RIM + 4), _at(hour, _RIM + (14 if long else 9))
        drawing.line("tick", x1, y1, x2, y2)
        if long:
            x, y = _at(hour, _RIM + 24)
            drawing.text(x, y + 4, str(hour), "hour")
    drawing.rect("valve", _CX - 4, _CY - _RIM - 2, 8, 18, rx=3)
    drawing.text(_CX, _CY - _RIM + 30, "valve")
    for injury in placed:
        _mark(drawing, injury)
    return drawing.svg()


def _words(placed: Sequence[Injury]) -> str:
    told = "; ".join(
        f"{injury.name}, {'repaired' if injury.repaired else 'not repaired'}" for injury in placed
    )
    return f"Seen from outside, twelve hours round from the valve. {told}. Not to scale."


def _mark(drawing: Drawing, injury: Injury) -> None:
    """What is known of the place is an arc: the clock was read to the hour or the half hour."""
    assert injury.clock is not None
    clock = float(injury.clock.value)
    spread = float(Fraction(injury.clock.resolution or 0)) / 2
    radius = (_TREAD + _SIDE) / 2
    if spread:
        (x1, y1), (x2, y2) = _at(clock - spread, radius), _at(clock + spread, radius)
        drawing.add(
            "path", "uncertain", d=f"M{x1:.2f} {y1:.2f}A{radius:.2f} {radius:.2f} 0 0 1 {x2:.2f} {y2:.2f}"
        )
    x, y = _at(clock, radius)
    cls = "mark repaired" if injury.repaired else "mark open"
    if injury.repaired:
        drawing.circle(cls, x, y, 11, data_clock=f"{clock:g}")
    else:
        drawing.polygon(cls, (x, y - 13), (x + 13, y), (x, y + 13), (x - 13, y), data_clock=f"{clock:g}")
    drawing.text(x, y + 4.5, str(injury.number), "on-mark")
    lx, ly = _at(clock, _TREAD + 12)
    side = clock % 12
    anchor = "middle" if side in (0, 6) else "start" if side < 6 else "end"
    drawing.text(lx, ly + 4, clock_words(injury.clock), "strong", anchor)
