"""Plots of a report as inline SVG, with the drawing helper of the review pages; every mark has its number."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from handsfree.review._svg import WIDTH, Drawing

__all__ = ["Bar", "Series", "bars", "months"]

_MOST_LETTERS = 52
_LABELS = 13  # figures of columns that fit beside each other

#: Label, value, what is written at its end.
Bar = tuple[str, float, str]
#: Month, value, what is written over it.
Series = Sequence[Bar]


def _short(text: str) -> str:
    return text if len(text) <= _MOST_LETTERS else text[: _MOST_LETTERS - 1].rstrip() + "\u2026"


def bars(name: str, title: str, rows: Sequence[Bar]) -> Markup | None:
    """Horizontal bars from zero, each under its own label, so that a phone shows both; None without rows."""
    if not rows:
        return None
    lane, left, top = 36.0, 8.0, 4.0
    most = max(value for _, value, _ in rows) or 1.0
    words = "; ".join(f"{label}: {told}" for label, _, told in rows)
    drawing = Drawing(name, top + lane * len(rows) + 4, title, f"{words}.")
    longest = WIDTH - left - 104
    for number, (label, value, told) in enumerate(rows):
        y = top + lane * number
        drawing.text(left, y + 12, _short(label), anchor="start")
        drawing.rect("bar", left, y + 17, max(longest * value / most, 0.5), 13)
        drawing.text(left + longest * value / most + 5, y + 28, told, "strong", "start")
    return drawing.svg()


def months(name: str, title: str, series: Series) -> Markup | None:
    """One column a month from zero. None with less than two months: a single one is a figure, no course."""
    if len(series) < 2:
        return None
    bottom, top, left = 150.0, 24.0, 8.0
    most = max(value for _, value, _ in series) or 1.0
    words = "; ".join(f"{month}: {told}" for month, _, told in series)
    drawing = Drawing(name, bottom + 36, title, f"{words}.")
    step = (WIDTH - 2 * left) / len(series)
    every = -(-len(series) // _LABELS)
    for number, (_, value, told) in enumerate(series):
        x, tall = left + step * number, (bottom - top) * value / most
        drawing.rect("bar", x + step * 0.14, bottom - tall, step * 0.72, max(tall, 0.5))
        if number % every == 0:
            drawing.text(x + step / 2, bottom - tall - 5, told.removesuffix(" %"), "small")
    drawing.line("axis", left, bottom, WIDTH - left, bottom)
    _calendar(drawing, [month for month, _, _ in series], left, step, bottom)
    return drawing.svg()


def _calendar(drawing: Drawing, names: Sequence[str], left: float, step: float, bottom: float) -> None:
    """The month's number under each column (of so many as fit), and the year where one begins."""
    every = -(-len(names) // _LABELS)
    for number, name in enumerate(names):
        year, _, month = name.partition("-")
        if number % every == 0:
            drawing.text(left + step * (number + 0.5), bottom + 14, month, "small")
        if number == 0 or not names[number - 1].startswith(year):
            x = min(left + step * (number + 0.14), WIDTH - 36)
            drawing.text(x, bottom + 29, year, "strong", "start")
