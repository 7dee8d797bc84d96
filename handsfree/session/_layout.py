"""From what is to be shown to a picture of any size. Pure: the time and the microphone's level come in.

Two ways to lay it out: a small terminal gets one labelled row after another, the most needed ones first; a
large one gets panels, and the question and the verdict in letters that can be read from across the bay.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rich.align import Align
from rich.box import HEAVY, ROUNDED
from rich.console import Console, ConsoleOptions, Group, RenderableType, RenderResult
from rich.layout import Layout
from rich.panel import Panel
from rich.text import Text

from handsfree.procedure import Mode
from handsfree.session._ears import Level
from handsfree.session._letters import ROWS, big, big_width
from handsfree.session._shown import Judged, Shown
from handsfree.session._wording import hearing_words, left, outcome_words, room_words, state_word, wait_words

__all__ = ["Picture"]

_WIDE, _TALL = 120, 40  # from this size on there is room for panels
_LABEL = 9  # columns of a row's label
_COLORS = {"inside": "bold green", "outside": "bold red", "close": "bold yellow"}


@dataclass(frozen=True, slots=True)
class Picture:
    """A renderable that fills the space it is given. ``now`` in milliseconds of the session's clock."""

    shown: Shown
    now: int
    level: Level | None = None

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        width, height = options.max_width, options.height or options.size.height
        if width >= _WIDE and height >= _TALL:
            yield _panels(self, width, height)
        else:
            yield _rows(self, console, width, height)


def _verdict_style(judged: Judged) -> str:
    warns = judged.outcome != "inside" and judged.severity != "stop"
    return "bold yellow" if warns else _COLORS.get(judged.outcome, "bold")


def _place(shown: Shown) -> str:
    step = f"step {shown.place[0]} of {shown.place[1]}: {shown.step}" if shown.step else ""
    return "   ".join(filter(None, ("PRACTICE" if shown.practice else "", shown.phase.upper(), step)))


def _supervisor(shown: Shown) -> list[Text]:
    """What stands against the tire, notes, and how many exceptions a supervisor will find."""
    rows = [Text(f"NO REPAIR: {reason}", "bold red") for reason in shown.reasons]
    rows += [Text(f"NOTE: {note}", "bold yellow") for note in shown.notes[-2:]]
    if shown.exceptions:
        rows.append(Text(f"{_exceptions(shown)}; last: {shown.exceptions[-1]}"))
    return rows


def _exceptions(shown: Shown) -> str:
    many = len(shown.exceptions)
    return f"{many} exception{'' if many == 1 else 's'}" if many else "no exceptions"


def _answers(shown: Shown) -> Text:
    """What may be said now: the step's answers in bold, then the commands."""
    text = Text(" | ").join(Text(answer, "bold") for answer in shown.answers)
    if shown.or_value:
        text.append(" | the value once more")
    if not shown.answers and shown.mode is Mode.TELLING:
        text.append("nothing yet: hear it to its end, then read it back")
    elif not shown.answers and shown.commands:
        text.append("no answer wanted; commands only")
    return text


def _meter(shown: Shown, level: Level | None, width: int) -> list[Text]:
    rows = [Text(line) for line in hearing_words(shown.hearing, width)] if shown.hearing else []
    return rows + ([Text(room_words(level, width))] if level is not None else [])


def _judged_rows(shown: Shown, *, source: bool) -> list[Text]:
    rows = []
    for judged in sorted(shown.verdicts, key=lambda one: one is not shown.worst):
        words = " ".join([outcome_words(judged) + ".", judged.measured])
        limit = f"; limit: {judged.limit}" if judged.limit else ""
        rows.append(Text(words + limit, _verdict_style(judged)))
        if source:
            rows.append(Text(f"Source: {judged.source}"))
    return rows


# -- a small terminal: rows ----------------------------------------------------------------------------


def _rows(picture: Picture, console: Console, width: int, height: int) -> RenderableType:
    """Each part gets its least rows in order of need, then what is left in the same order."""
    shown, level = picture.shown, picture.level
    head = _bar_line(state_word(shown, level), _place(shown), width)
    question = _question_rows(shown, console, width, framed=height >= 16)
    say = [_answers(shown)]
    if shown.commands:
        say.append(Text(", ".join(shown.commands)))
    typed = [] if shown.typing is None else [Text(f"{shown.typing}_", "bold")]
    parts: dict[str, list[Text]] = {
        "wait": [Text(f"{t.name}: {wait_words(t, picture.now)}", "bold") for t in shown.timers],
        "verdict": _judged_rows(shown, source=True),
        "say": say,
        "type": typed,
        "heard": _meter(shown, level, 10),
        "said": [Text(shown.said)] if shown.said != shown.question else [],
        "review": _supervisor(shown),
    }
    for row in parts["review"][len(shown.reasons) :]:
        row.truncate(max(width - _LABEL - 1, 1), overflow="ellipsis")
    labelled = {label: _labelled(console, label, lines, width) for label, lines in parts.items()}
    need = ("type", "wait", "verdict", "say", "heard", "review", "said")
    question = question[: max(1, height - len(head) - len(labelled["type"]))]
    budget = max(0, height - len(head) - len(question))
    given = _share([labelled[label] for label in need], budget)
    shares = dict(zip(need, given, strict=True))
    body = [
        row
        for label in ("said", "heard", "verdict", "wait", "say", "review")
        for row in labelled[label][: shares[label]]
    ]
    glance = _glance(picture, width)
    if budget - sum(given) > len(glance):
        body = [*glance, *body]
    trail_room = budget - len(body) - shares["type"]
    body += _trail(shown, width, trail_room)
    foot = labelled["type"][: shares["type"]]
    body += [Text()] * (height - len(head) - len(question) - len(body) - len(foot))
    rows = [*head, *question, *body, *foot][:height]
    for row in rows:
        row.truncate(width)
    return Group(*rows)


def _glance(picture: Picture, width: int) -> list[Text]:
    """Where a small terminal has rows to spare: what is left of the wait, or the verdict, in big letters."""
    shown, worst = picture.shown, picture.shown.worst
    if shown.mode is Mode.WAITING and shown.timers:
        return _letters(left(_next_due(shown) - picture.now), width, "bold")
    if worst is None:
        return []
    words, style = outcome_words(worst), _verdict_style(worst)
    return _letters(words, width, style) or _letters(words.partition(":")[0], width, style)


def _letters(text: str, width: int, style: str) -> list[Text]:
    """One line of big letters, or nothing where it does not fit."""
    rows = big(text, width)
    return [Text(row, style, no_wrap=True) for row in rows] if len(rows) == ROWS else []


def _share(parts: Sequence[list[Text]], room: int) -> list[int]:
    """Rows for each part: one each in order of need, then as many as it wants in the same order."""
    given = [0] * len(parts)
    for most in (1, max(map(len, parts), default=0)):
        for index, rows in enumerate(parts):
            more = min(min(most, len(rows)) - given[index], room)
            given[index] += more
            room -= more
    return given


def _bar_line(state: str, place: str, width: int) -> list[Text]:
    """The state in a word, reversed, then where in the job."""
    line = Text(f" {state} ", "bold reverse")
    line.append(f"  {place}", "not reverse")
    line.truncate(width, overflow="ellipsis")
    return [line]


def _question_rows(shown: Shown, console: Console, width: int, *, framed: bool) -> list[Text]:
    inner = max(width - 4, 1) if framed else max(width, 1)
    lines = list(Text(shown.question, "bold").wrap(console, inner)) or [Text()]
    if not framed:
        return lines
    top = Text("┏" + "━" * (width - 2) + "┓")
    bottom = Text("┗" + "━" * (width - 2) + "┛")
    rows = [_framed(Text(), width), *(_framed(line, width) for line in lines), _framed(Text(), width)]
    return [top, *rows, bottom]


def _framed(line: Text, width: int) -> Text:
    line.truncate(max(width - 4, 0))
    line.align("center", max(width - 4, 0))
    return Text("┃ ").append_text(line).append(" ┃")


def _labelled(console: Console, label: str, lines: Sequence[Text], width: int) -> list[Text]:
    """Wrapped lines; the first one of a part has its label before it."""
    room = max(width - _LABEL - 1, 1)
    wrapped = [part for line in lines for part in line.wrap(console, room)]
    rows = []
    for index, part in enumerate(wrapped):
        row = Text().append(f"{label if index == 0 else '':>{_LABEL - 1}}  ", "dim")
        rows.append(row.append_text(part))
    return rows


def _trail(shown: Shown, width: int, room: int) -> list[Text]:
    """The newest lines of the record that fit, oldest first, under a rule."""
    rows = [Text(f"{label:>10}  {sentence}", "dim") for label, sentence in shown.trail[-max(room - 1, 0) :]]
    for row in rows:
        row.truncate(width, overflow="ellipsis")
    return [Text("─ record " + "─" * (width - 9), "dim"), *rows] if room > 1 and rows else []


# -- a large terminal: panels --------------------------------------------------------------------------


def _panels(picture: Picture, width: int, height: int) -> RenderableType:
    """The question gets what the others leave; large answers only where the question is large too."""
    shown, level = picture.shown, picture.level
    left_width = width * 2 // 3
    head, foot = ROWS + 1, min(height // 8, 8)
    beside, middle = _middle(picture, width)
    small, large = _say_rows(shown, left_width - 4, large=False), _say_rows(shown, left_width - 4, large=True)
    rest = height - head - foot - middle
    wanted = _large_question(shown.question, width)
    lower = max(_high(large), 7)
    say = large
    if rest - lower < len(wanted) + 2:
        lower, say = max(_high(small), 7), small
    layout, lower_row = Layout(), Layout(size=lower)
    hearing = _meter(shown, level, 20) or [Text("nothing yet")]
    lower_row.split_row(Layout(_panel("say now", say), size=left_width), Layout(_panel("heard", hearing)))
    layout.split_column(
        Layout(_head(shown, level, width), size=head),
        Layout(_asked(shown, wanted, width, rest - lower - 2)),
        *([beside] if beside is not None else []),
        lower_row,
        Layout(_foot(shown, width, foot), size=foot),
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
    beside = [shown.title, "", _place(shown), _exceptions(shown)]
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
    """The question, in big letters if there is room for them; then once more below, for reading close by."""
    fits = bool(large) and len(large) <= room
    inside = (
        Text("\n".join(large), "bold", no_wrap=True)
        if fits
        else Text(shown.question, "bold", justify="center")
    )
    below = Text(f" {shown.question} ") if fits and len(shown.question) + 8 <= width else None
    return Panel(
        Align.center(inside, vertical="middle"),
        title=" ASKED ",
        subtitle=below,
        title_align="left",
        subtitle_align="left",
        box=HEAVY,
    )


def _middle(picture: Picture, width: int) -> tuple[Layout | None, int]:
    """Verdict and wait side by side, or the one there is, and how many rows they take."""
    shown = picture.shown
    if not (shown.verdicts and shown.timers):
        rows = _verdict_rows(shown, width - 4) if shown.verdicts else _wait_rows(picture, width - 4)
        panel = _verdict_panel(shown, rows) if shown.verdicts else _panel("wait", rows)
        return (Layout(panel, size=_high(rows)), _high(rows)) if rows else (None, 0)
    left_width = width * 2 // 3
    verdict, wait = _verdict_rows(shown, left_width - 4), _wait_rows(picture, width - left_width - 4)
    high = max(_high(verdict), _high(wait))
    row = Layout(size=high)
    row.split_row(
        Layout(_verdict_panel(shown, verdict), size=left_width),
        Layout(_panel("wait", wait)),
    )
    return row, high


def _verdict_panel(shown: Shown, rows: Sequence[Text]) -> Panel:
    return _panel("verdict", rows, "" if shown.worst is None else _verdict_style(shown.worst))


def _verdict_rows(shown: Shown, width: int) -> list[Text]:
    """The worst verdict and its limit in big letters, then all of them with their sources."""
    worst = shown.worst
    if worst is None:
        return []
    style, words = _verdict_style(worst), outcome_words(worst)
    value = worst.measured.rpartition(": ")[2]
    whole = _letters(", ".join(filter(None, (worst.measured, worst.limit))), width, style)
    if whole:
        rows = _letters(words, width, style) + whole
    else:
        rows = _letters(f"{words} {value}", width, style) or _letters(words, width, style)
        rows += _letters(f"limit {worst.limit}", width, style) if worst.limit else []
    return rows + [part for line in _judged_rows(shown, source=True) for part in _wrapped(line, width)]


def _wait_rows(picture: Picture, width: int) -> list[Text]:
    timers, now = picture.shown.timers, picture.now
    if not timers:
        return []
    words = [f"{t.name}: {wait_words(t, now)}" for t in timers]
    rows = _letters(words[0], width, "bold") if len(words) == 1 else []
    rows = rows or _letters(left(_next_due(picture.shown) - now), width, "bold")
    return rows + [part for line in words for part in _wrapped(Text(line, "bold"), width)]


def _next_due(shown: Shown) -> int:
    return min(
        t.longest_due if t.over and t.longest_due is not None else t.shortest_due for t in shown.timers
    )


def _say_rows(shown: Shown, width: int, *, large: bool) -> list[Text]:
    letters = big(" | ".join(shown.answers), width) if large else []
    rows = [Text(row, "bold", no_wrap=True) for row in letters] + _wrapped(_answers(shown), width)
    if shown.commands:
        rows += [Text(), *_wrapped(Text("any time: " + " | ".join(shown.commands)), width)]
    return rows


def _wrapped(text: Text, width: int) -> list[Text]:
    return list(text.wrap(Console(width=width), width))


def _foot(shown: Shown, width: int, rows: int) -> RenderableType:
    """What was said last, what a supervisor must see, the newest of the record, the line that is typed."""
    typed = [] if shown.typing is None else [Text(f" type  {shown.typing}_", "bold")]
    top = [Text(f" said  {shown.said}"), *(Text(" ").append_text(row) for row in _supervisor(shown))]
    top = top[: max(rows - len(typed), 1)]
    for row in top:
        row.truncate(width, overflow="ellipsis")
    trail = _trail(shown, width, rows - len(top) - len(typed))
    blank = [Text()] * (rows - len(top) - len(typed) - len(trail))
    return Group(*top, *trail, *blank, *typed)
