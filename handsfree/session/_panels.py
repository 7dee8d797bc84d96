"""A large terminal: panels, with question and verdict in letters that can be read from across the bay. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from rich.align import Align
from rich.box import HEAVY, ROUNDED
from rich.console import Console, Group, RenderableType
from rich.layout import Layout
from rich.panel import Panel
from rich.text import Text

from handsfree.session._ears import Level
from handsfree.session._letters import ROWS, big, big_width
from handsfree.session._pieces import (
    Scene,
    answer_words,
    ended,
    exceptions,
    glance,
    judged_rows,
    letters_in,
    meter,
    next_due,
    place,
    review,
    trail,
    waits,
)
from handsfree.session._shown import Shown
from handsfree.session._wording import left, state_word

__all__ = ["panels_picture"]


def panels_picture(scene: Scene, width: int, height: int) -> RenderableType:
    """The question gets what the others leave; large answers only where the question is large too."""
    shown, level = scene.shown, scene.level
    left_width = width * 2 // 3
    told = _wrapped(Text(f"said  {shown.said}"), width - 1)
    head, foot = ROWS + 1, min(min(height // 8, 8) + len(told) - 1 + len(shown.ended), height // 3)
    beside, middle = _middle(scene, width)
    small, large = _say_rows(shown, left_width - 4, large=False), _say_rows(shown, left_width - 4, large=True)
    rest = height - head - foot - middle
    wanted = _large_question(shown.headline, width)
    lower = max(_high(large), 7)
    say = large
    if rest - lower < len(wanted) + 2:
        lower, say = max(_high(small), 7), small
    layout, lower_row = Layout(), Layout(size=lower)
    hearing = meter(shown, level, 20) or [Text("nothing yet")]
    lower_row.split_row(Layout(_panel("say now", say), size=left_width), Layout(_panel("heard", hearing)))
    layout.split_column(
        Layout(_head(shown, level, width), size=head),
        Layout(_asked(shown, wanted, width, rest - lower - 2)),
        *([beside] if beside is not None else []),
        lower_row,
        Layout(_foot(shown, told, width, foot), size=foot),
    )
    return layout


def _high(rows: Sequence[Text]) -> int:
    """Rows of a panel around these."""
    return len(rows) + 2


def _panel(title: str, rows: Sequence[Text], style: str = "") -> Panel:
    return Panel(
        Group(*rows), title=f" {title.upper()} ", title_align="left", box=ROUNDED, border_style=style
    )


def _head(shown: Shown, level: Level | None, width: int) -> RenderableType:
    """The state across the bay, and beside it where in the job."""
    state = state_word(shown, level)
    letters = big(state, width)
    beside = [shown.title, "", place(shown), exceptions(shown)]
    room = width - big_width(state) - 5
    rows = []
    for row, words in zip(letters, beside, strict=True):
        line = Text(f" {row:<{big_width(state)}}    ", "bold")
        tail = Text(words, "not bold")
        tail.truncate(max(room, 0), overflow="ellipsis")
        rows.append(line.append_text(tail))
    return Group(*rows)


def _large_question(question: str, width: int) -> list[str]:
    """Rows of the question in big letters, a blank one between lines; none where it can't be drawn so."""
    rows = big(question, width - 6)
    lines = [[*rows[at : at + ROWS], ""] for at in range(0, len(rows), ROWS)]
    return [row for line in lines for row in line][:-1]


def _asked(shown: Shown, large: Sequence[str], width: int, room: int) -> RenderableType:
    """The question, in big letters if there is room for them; then once more below, for reading close by. On hold
    that is said instead, and the question stands below."""
    fits = bool(large) and len(large) <= room
    inside = (
        Text("\n".join(large), "bold", no_wrap=True)
        if fits
        else Text(shown.headline, "bold", justify="center")
    )
    again = f" then: {shown.question} " if shown.held else f" {shown.question} " if fits else ""
    below = Text(again) if again and len(again) + 6 <= width else None
    return Panel(
        Align.center(inside, vertical="middle"),
        title=" ON HOLD " if shown.held else " ASKED ",
        subtitle=below,
        title_align="left",
        subtitle_align="left",
        box=HEAVY,
    )


def _middle(scene: Scene, width: int) -> tuple[Layout | None, int]:
    """Verdict and wait side by side, or the one there is, and how many rows they take."""
    shown = scene.shown
    judged = bool(shown.verdicts or shown.stamp)
    if not (judged and (shown.timers or shown.timers_beside)):
        rows = _verdict_rows(shown, width - 4) if judged else _wait_rows(scene, width - 4)
        panel = _verdict_panel(shown, rows) if judged else _panel("wait", rows)
        return (Layout(panel, size=_high(rows)), _high(rows)) if rows else (None, 0)
    left_width = width * 2 // 3
    verdict, wait = _verdict_rows(shown, left_width - 4), _wait_rows(scene, width - left_width - 4)
    high = max(_high(verdict), _high(wait))
    row = Layout(size=high)
    row.split_row(
        Layout(_verdict_panel(shown, verdict), size=left_width),
        Layout(_panel("wait", wait)),
    )
    return row, high


def _verdict_panel(shown: Shown, rows: Sequence[Text]) -> Panel:
    found = glance(shown)
    return _panel("verdict", rows, "" if found is None else found[1])


def _verdict_rows(shown: Shown, width: int) -> list[Text]:
    """The worst verdict and its limit in big letters, then all of them with their sources."""
    worst, close_by = shown.worst, [part for line in judged_rows(shown) for part in _wrapped(line, width)]
    found = glance(shown)
    if found is None or shown.held:  # on hold nothing stands larger than that
        return close_by
    words, style = found
    if worst is None or shown.stamp is not None:
        return letters_in(words, width, style) + close_by
    value = worst.measured.rpartition(": ")[2]
    whole = letters_in(", ".join(filter(None, (worst.measured, worst.limit))), width, style)
    if whole:
        rows = letters_in(words, width, style) + whole
    else:
        rows = letters_in(f"{words} {value}", width, style) or letters_in(words, width, style)
        if worst.limit:
            rows += letters_in(f"limit {worst.limit}", width, style) or letters_in(worst.limit, width, style)
    return rows + close_by


def _wait_rows(scene: Scene, width: int) -> list[Text]:
    words = waits(scene)
    if not words:
        return []
    rows = letters_in(words[0], width, "bold") if len(words) == 1 else []
    if not rows and scene.shown.timers:
        rows = letters_in(left(next_due(scene.shown) - scene.now), width, "bold")
    return rows + [part for line in words for part in _wrapped(Text(line, "bold"), width)]


def _say_rows(shown: Shown, width: int, *, large: bool) -> list[Text]:
    letters = big(" | ".join(shown.answers), width) if large else []
    rows = [Text(row, "bold", no_wrap=True) for row in letters] + _wrapped(answer_words(shown), width)
    if shown.commands:
        rows += [Text(), *_wrapped(Text("any time: " + " | ".join(shown.commands)), width)]
    return rows


def _wrapped(text: Text, width: int) -> list[Text]:
    return list(text.wrap(Console(width=width), width))


def _foot(shown: Shown, told: Sequence[Text], width: int, rows: int) -> RenderableType:
    """What was said last, what a supervisor must see, the newest of the record, the line that is typed."""
    typed = [] if shown.typing is None else [Text(f" type  {shown.typing}_", "bold")]
    done = [Text(f"done  {line}") for line in ended(shown)]
    top = [Text(" ").append_text(row) for row in (*told, *done, *review(shown))]
    top = top[: max(rows - len(typed), 1)]
    for row in top:
        row.truncate(width, overflow="ellipsis")
    newest = trail(shown, width, rows - len(top) - len(typed))
    blank = [Text()] * (rows - len(top) - len(typed) - len(newest))
    return Group(*top, *newest, *blank, *typed)
