"""Waits against their windows, pressures against their limits, how loud each utterance was."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from handsfree.quantity import Quantity
from handsfree.record import counted, lasting

from ._svg import WIDTH, Drawing
from ._values import told

__all__ = ["Level", "Pressure", "Wait", "levels", "pressures", "wait_bar"]

_LEFT, _RIGHT = 14.0, WIDTH - 14.0


@dataclass(frozen=True, slots=True)
class Wait:
    """One wait, whole seconds; ``longest`` None: no upper bound. ``waited`` None: it was not finished."""

    step: str
    planned: int
    longest: int | None
    waited: int | None
    outcome: str
    reason: str
    source: str
    inputs: str = ""  # what it was computed from

    @property
    def name(self) -> str:
        """What is waited for, as the rule calls it; else the step."""
        return self.reason.partition(":")[0] if ":" in self.reason else self.step

    @property
    def kept(self) -> bool:
        """Whether it lasted at least as long as planned, and not too long."""
        if self.waited is None or self.outcome == "overrun":
            return False
        return self.planned <= self.waited <= (self.waited if self.longest is None else self.longest)

    @property
    def words(self) -> str:
        if self.waited is None:
            return "not finished"
        if self.waited < self.planned:
            return f"TOO SHORT by {lasting(self.planned - self.waited)}"
        if self.outcome == "overrun" or (self.longest is not None and self.waited > self.longest):
            return "TOO LONG"
        return "kept"


@dataclass(frozen=True, slots=True)
class Pressure:
    """One pressure of the job and the limits it was judged by; ``at`` is the local time, for the label."""

    name: str
    at: str
    value: Quantity
    low: Quantity | None
    high: Quantity | None
    outcome: str


@dataclass(frozen=True, slots=True)
class Level:
    """One utterance: RMS level of speech and of the noise before it, dBFS."""

    at: str
    text: str
    speech: float
    noise: float
    accepted: bool


def wait_bar(wait: Wait, name: str) -> Markup:
    """A bar of time: too short, the window, too long; and where the wait ended."""
    last = max(filter(None, (wait.planned, wait.longest, wait.waited)), default=1)
    end = last * 1.12 if wait.longest or (wait.waited or 0) > wait.planned else last * 1.25
    limit = f" to {lasting(wait.longest)}" if wait.longest is not None else " or longer"
    waited = "not finished" if wait.waited is None else lasting(wait.waited)
    drawing = Drawing(
        name,
        92,
        f"Wait: {wait.name}",
        f"Window {lasting(wait.planned)}{limit}. Waited: {waited}, {wait.words}.",
    )

    def x(seconds: float) -> float:
        return _LEFT + (_RIGHT - _LEFT) * seconds / end

    drawing.rect("never", x(0), 36, x(end) - x(0), 18)
    last_good = end if wait.longest is None else wait.longest
    drawing.rect("window", x(wait.planned), 36, x(last_good) - x(wait.planned), 18)
    drawing.text(x(wait.planned), 72, lasting(wait.planned), anchor="end" if wait.longest else "middle")
    if wait.longest is not None:
        drawing.text(
            x(wait.longest), 72, lasting(wait.longest), anchor="middle" if x(wait.longest) < 300 else "end"
        )
    drawing.text(x(0), 72, "0", anchor="start")
    drawing.text((x(wait.planned) + x(last_good)) / 2, 88, "window", "small")
    if wait.waited is not None:
        at = x(wait.waited)
        drawing.line("waited" if wait.kept else "waited wrong", at, 28, at, 60, data_seconds=str(wait.waited))
        drawing.text(min(max(at, 60), WIDTH - 60), 20, f"waited {lasting(wait.waited)}", "strong")
    return drawing.svg()


def pressures(found: Sequence[Pressure], name: str = "pressures") -> Markup | None:
    """One lane a reading, in the order of the job, on a common scale in kPa and psi."""
    if not found:
        return None
    ends = [q for p in found for q in (p.value, p.low, p.high) if q is not None]
    kpa = [float(q.to("kPa").value) for q in ends]
    low, high = math.floor((min(kpa) - 15) / 50) * 50.0, math.ceil((max(kpa) + 15) / 50) * 50.0
    low = max(low, 0.0)
    lane, top = 44.0, 30.0
    bottom = top + lane * len(found)
    words = "; ".join(f"{p.name} {told(p.value)}{_limits(p)}" for p in found)
    drawing = Drawing(name, bottom + 68, "Pressures over the job against their limits", f"{words}.")

    def x(value: float) -> float:
        return _LEFT + 6 + (_RIGHT - _LEFT - 12) * (value - low) / (high - low)

    def at(value: Quantity) -> float:
        return x(float(value.to("kPa").value))

    step = 50 if high - low <= 300 else 100
    for tick in range(int(low), int(high) + 1, step):
        drawing.line("grid", x(tick), top - 6, x(tick), bottom)
        drawing.text(x(tick), bottom + 16, str(tick), "small")
    drawing.text(_LEFT, bottom + 29, "kPa", "small", "start")
    psi = 6.894757293168
    every = 5 if high - low <= 200 else 10
    for tick in range(math.ceil(low / psi / every) * every, int(high / psi) + 1, every):
        drawing.line("tick", x(tick * psi), bottom + 34, x(tick * psi), bottom + 38)
        drawing.text(x(tick * psi), bottom + 50, str(tick), "small")
    drawing.text(_LEFT, bottom + 61, "psi", "small", "start")
    for number, pressure in enumerate(found):
        y = top + lane * number + 26
        if pressure.low is not None or pressure.high is not None:
            left = at(pressure.low) if pressure.low is not None else x(low)
            right = at(pressure.high) if pressure.high is not None else x(high)
            drawing.rect("window", left, y - 6, max(right - left, 1), 12)
        drawing.line("axis", x(low), y, x(high), y)
        wrong = pressure.outcome not in ("inside", "")
        point = at(pressure.value)
        if wrong:
            drawing.polygon("point wrong", (point, y - 8), (point + 8, y), (point, y + 8), (point - 8, y))
        else:
            drawing.circle("point", point, y, 5)
        drawing.text(_LEFT, y - 12, f"{pressure.at}  {pressure.name}", "small", "start")
        drawing.text(_RIGHT, y - 12, told(pressure.value), "strong", "end")
    return drawing.svg()


def _limits(pressure: Pressure) -> str:
    parts = [
        f"{word} {told(end)}"
        for word, end in (("at least", pressure.low), ("at most", pressure.high))
        if end is not None
    ]
    return f" ({' and '.join(parts)}: {pressure.outcome})" if parts else " (no limit)"


def levels(found: Sequence[Level], name: str = "levels") -> Markup | None:
    """Speech and noise of every utterance in order, dBFS; refused ones as crosses."""
    if not found:
        return None
    gaps = [level.speech - level.noise for level in found]
    worst = min(range(len(found)), key=gaps.__getitem__)
    drawing = Drawing(
        name,
        236,
        "Sound levels: speech and noise of each utterance",
        f"{counted(len(found), 'utterance')}. Speech {_span([level.speech for level in found])} dBFS, noise "
        f"{_span([level.noise for level in found])} dBFS. Least speech over noise: {gaps[worst]:.0f} dB at "
        f"{found[worst].at}; "
        f"refused: {sum(not level.accepted for level in found)}.",
    )
    left, top, bottom = 38.0, 16.0, 186.0
    floor = min(-70.0, math.floor(min(level.noise for level in found) / 10) * 10.0)

    def y(db: float) -> float:
        return top + (bottom - top) * db / floor

    for db in range(0, int(floor) - 1, -10):
        drawing.line("grid", left, y(db), _RIGHT, y(db))
        if db % 20 == 0:
            drawing.text(left - 4, y(db) + 4, str(db).replace("-", "\u2212"), "small", "end")
    width = (_RIGHT - left) / len(found)
    for number, level in enumerate(found):
        x = left + width * (number + 0.5)
        drawing.line("gap", x, y(level.speech), x, y(level.noise))
        drawing.circle("noise", x, y(level.noise), 1.6)
        if level.accepted:
            drawing.circle("speech", x, y(level.speech), 2.2)
        else:
            for turn in (-1, 1):
                drawing.line("refused", x - 4, y(level.speech) - 4 * turn, x + 4, y(level.speech) + 4 * turn)
    drawing.text(left - 4, bottom + 16, "dBFS", "small", "end")
    drawing.text(left, bottom + 16, found[0].at, "small", "start")
    drawing.text(_RIGHT, bottom + 16, found[-1].at, "small", "end")
    for x, cls, word in ((left, "speech", "speech"), (left + 80, "noise", "noise before it")):
        drawing.circle(cls, x + 4, bottom + 36, 4)
        drawing.text(x + 12, bottom + 40, word, "small", "start")
    for turn in (-1, 1):
        drawing.line("refused", left + 196, bottom + 36 - 4 * turn, left + 204, bottom + 36 + 4 * turn)
    drawing.text(left + 210, bottom + 40, "not taken", "small", "start")
    return drawing.svg()


def _span(values: Sequence[float]) -> str:
    return f"{min(values):.0f} to {max(values):.0f}".replace("-", "\u2212")
