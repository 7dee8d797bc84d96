"""Plots of a report as inline SVG, with the drawing helper of the review pages; every mark has its number."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from handsfree.review._svg import Drawing

__all__ = ["Bar", "Series", "bars", "months"]

_WIDTH = 720.0
_MOST_LETTERS = 46

#: Label, value, what is written at its end.
Bar = tuple[str, float, str]
#: Month, value, what is written over it.
Series = Sequence[Bar]


def _short(text: str) -> str:
    return text if len(text) <= _MOST_LETTERS else text[: _MOST_LETTERS - 1].rstrip() + "\u2026"


def bars(name: str, title: str, rows: Sequence[Bar]) -> Markup | None:
    """Horizontal bars from zero, the largest as long as the picture allows; None without rows."""
    if not rows:
        return None
    lane, left, top = 26.0, 306.0, 8.0
    most = max(value for _, value, _ in rows) or 1.0
    words = "; ".join(f"{label}: {told}" for label, _, told in rows)
    drawing = Drawing(name, top + lane * len(rows) + 6, title, f"{words}.", width=_WIDTH)
    longest = _WIDTH - left - 110
    for number, (label, value, told) in enumerate(rows):
        y = top + lane * number
        drawing.text(left - 8, y + 16, _short(label), anchor="end")
        drawing.rect("bar", left, y + 3, max(longest * value / most, 0.5), lane - 8)
        drawing.text(left + longest * value / most + 6, y + 16, told, "strong", "start")
    drawing.line("axis", left, top - 2, left, top + lane * len(rows))
    return drawing.svg()


def months(name: str, title: str, series: Series) -> Markup | None:
    """One column a month from zero. None with less than two months: a single one is a figure, no course."""
    if len(series) < 2:
        return None
    height, bottom, top, left = 190.0, 150.0, 26.0, 8.0
    most = max(value for _, value, _ in series) or 1.0
    words = "; ".join(f"{month}: {told}" for month, _, told in series)
    drawing = Drawing(name, height, title, f"{words}.", width=_WIDTH)
    step = (_WIDTH - 2 * left) / len(series)
    every = -(-len(series) // 12)  # labels of at most twelve months fit beside each other
    for number, (month, value, told) in enumerate(series):
        x = left + step * number
        tall = (bottom - top) * value / most
        drawing.rect("bar", x + step * 0.14, bottom - tall, step * 0.72, max(tall, 0.5))
        if number % every == 0:
            drawing.text(x + step / 2, bottom - tall - 6, told, "strong" if len(series) <= 12 else "small")
            drawing.text(x + step / 2, bottom + 16, month, "small")
    drawing.line("axis", left, bottom, _WIDTH - left, bottom)
    return drawing.svg()
