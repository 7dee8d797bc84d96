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
            yield _panels(self, console, width, height)
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
        "said": [Text(shown.said)] if shown.said else [],
        "see": _supervisor(shown),
    }
    rows = {label: _labelled(console, label, lines, width) for label, lines in parts.items()}
    need = ("type", "wait", "verdict", "say", "heard", "see", "said")
    budget = max(0, height - len(head) - len(question))
    given = _share([rows[label] for label in need], budget)
    shares = dict(zip(need, given, strict=True))
    body = [
        row
        for label in ("said", "heard", "verdict", "wait", "say", "see")
        for row in rows[label][: shares[label]]
    ]
    trail_room = budget - len(body) - shares["type"]
    body += _trail(shown, console, width, trail_room)
    foot = rows["type"][: shares["type"]]
    body += [Text()] * (height - len(head) - len(question) - len(body) - len(foot))
    return Group(*[*head, *question, *body, *foot][: max(height, 1)])


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
        head = Text(f"{label if index == 0 else '':>{_LABEL - 1}}  ", "dim" if width > _LABEL else "")
        rows.append(head.append_text(part))
    return rows


def _trail(shown: Shown, console: Console, width: int, room: int) -> list[Text]:
    """The newest lines of the record that fit, oldest first."""
    rows: list[Text] = []
    for label, sentence in reversed(shown.trail):
        line = Text(f"{label:>10}  {sentence}", "dim")
        more = [line] if line.cell_len <= width else list(line.wrap(console, width))
        if len(rows) + len(more) >= room:
            break
        rows = [*more, *rows]
    return [Text("─ record " + "─" * max(width - 9, 0), "dim"), *rows] if rows else []


# -- a large terminal: panels --------------------------------------------------------------------------


def _panels(picture: Picture, console: Console, width: int, height: int) -> RenderableType:
    """The question gets what the others leave; large answers only where the question is large too."""
    shown, level = picture.shown, picture.level
    left_width = width * 2 // 3
    head, foot = ROWS + 1, min(height // 8, 8)
    middle = 11 if shown.verdicts or shown.timers else 3
    small, large = _say_rows(shown, left_width - 4, large=False), _say_rows(shown, left_width - 4, large=True)
    rest = height - head - foot - middle
    wanted = _large_question(shown.question, width)
    lower = max(_high(large), 7)
    say = large
    if rest - lower < len(wanted) + 2:
        lower, say = max(_high(small), 7), small
    layout, middle_row, lower_row = Layout(), Layout(size=middle), Layout(size=lower)
    middle_row.split_row(
        Layout(_verdict_panel(shown, left_width), size=left_width),
        Layout(_wait_panel(picture, width - left_width)),
    )
    hearing = _meter(shown, level, 20) or [Text("nothing yet")]
    lower_row.split_row(Layout(_panel("say now", say), size=left_width), Layout(_panel("heard", hearing)))
    layout.split_column(
        Layout(_head(shown, level, width), size=head),
        Layout(_asked(shown, wanted, width, rest - lower - 2)),
        middle_row,
        lower_row,
        Layout(_foot(shown, console, width, foot), size=foot),
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


def _verdict_panel(shown: Shown, width: int) -> Panel:
    worst = shown.worst
    if worst is None:
        return _panel("verdict", [Text("none yet")] if not shown.trail else [Text("nothing to judge")])
    inner = width - 4
    style = _verdict_style(worst)
    value = worst.measured.rpartition(": ")[2]
    words = outcome_words(worst)
    letters = big(f"{words} {value}", inner)
    if len(letters) != ROWS:
        letters = big(words, inner)
    if len(letters) != ROWS:
        letters = []
    rows = [Text(row, style, no_wrap=True) for row in letters]
    return _panel("verdict", [*rows, *_judged_rows(shown, source=True)], style)


def _wait_panel(picture: Picture, width: int) -> Panel:
    timers = picture.shown.timers
    if not timers:
        return _panel("wait", [Text("none runs")])
    first = min(timers, key=lambda t: t.longest_due or t.shortest_due if t.over else t.shortest_due)
    due = first.longest_due if first.over and first.longest_due is not None else first.shortest_due
    rows = [Text(row, "bold", no_wrap=True) for row in big(left(due - picture.now), width - 4)]
    rows += [Text(f"{t.name}: {wait_words(t, picture.now)}", "bold") for t in timers]
    return _panel("wait", rows)


def _say_rows(shown: Shown, width: int, *, large: bool) -> list[Text]:
    letters = big(" | ".join(shown.answers), width) if large else []
    rows = [Text(row, "bold", no_wrap=True) for row in letters] or _wrapped(_answers(shown), width)
    if letters and shown.or_value:
        rows.append(Text("or the value once more"))
    if shown.commands:
        rows += [Text(), *_wrapped(Text("any time: " + " | ".join(shown.commands)), width)]
    return rows


def _wrapped(text: Text, width: int) -> list[Text]:
    return list(text.wrap(Console(width=width), width))


def _foot(shown: Shown, console: Console, width: int, rows: int) -> RenderableType:
    """What was said last, what a supervisor must see, the newest of the record, the line that is typed."""
    typed = [] if shown.typing is None else [Text(f" type  {shown.typing}_", "bold")]
    top = [Text(f" said  {shown.said}"), *(Text(" ").append_text(row) for row in _supervisor(shown))]
    top = top[: max(rows - len(typed), 1)]
    for row in top:
        row.truncate(width, overflow="ellipsis")
    trail = _trail(shown, console, width, rows - len(top) - len(typed))
    blank = [Text()] * (rows - len(top) - len(typed) - len(trail))
    return Group(*top, *trail, *blank, *typed)
