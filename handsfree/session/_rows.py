"""A small terminal: one labelled row after another, the most needed ones first. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console, Group, RenderableType
from rich.text import Text

from handsfree.procedure import Mode
from handsfree.session._letters import ROWS
from handsfree.session._pieces import (
    Scene,
    answer_words,
    ended,
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

__all__ = ["rows_picture"]

_LABEL = 9  # columns of a row's label


def rows_picture(scene: Scene, console: Console, width: int, height: int) -> RenderableType:
    """Each part gets its least rows in order of need, then what is left in the same order."""
    shown, level = scene.shown, scene.level
    head = _bar_line(state_word(shown, level), place(shown), width)
    question = _question_rows(shown, console, width, framed=height >= 16)
    say = [answer_words(shown)]
    if shown.commands:
        say.append(Text(", ".join(shown.commands)))
    typed = [] if shown.typing is None else [Text(f"{shown.typing}_", "bold")]
    said = shown.said.removesuffix(shown.headline).strip()  # that stands above
    parts: dict[str, list[Text]] = {
        "wait": [Text(line, "bold") for line in waits(scene)],
        "verdict": judged_rows(shown),
        "say": say,
        "type": typed,
        "heard": meter(shown, level, 10),
        "said": [Text(said)] if said else [],
        "then": [Text(shown.question)] if shown.held else [],
        "done": [Text(line) for line in ended(shown)],
        "review": review(shown),
    }
    for row in (*parts["done"], *parts["review"][len(shown.reasons) :]):  # a row each, no more
        row.truncate(max(width - _LABEL - 1, 1), overflow="ellipsis")
    labelled = {label: _labelled(console, label, lines, width) for label, lines in parts.items()}
    need = ("type", "wait", "verdict", "said", "say", "then", "done", "heard", "review")
    question = question[: max(1, height - len(head) - len(labelled["type"]))]
    budget = max(0, height - len(head) - len(question))
    given = _share([labelled[label] for label in need], budget)
    shares = dict(zip(need, given, strict=True))
    body = [
        row
        for label in ("said", "heard", "verdict", "wait", "say", "then", "done", "review")
        for row in labelled[label][: shares[label]]
    ]
    lines = max(budget - sum(given) - 1, 0) // ROWS  # of big letters there is room for
    body = [*_glance(scene, width)[: lines * ROWS], *body]
    trail_room = budget - len(body) - shares["type"]
    body += trail(shown, width, trail_room)
    foot = labelled["type"][: shares["type"]]
    body += [Text()] * (height - len(head) - len(question) - len(body) - len(foot))
    rows = [*head, *question, *body, *foot][:height]
    for row in rows:
        row.truncate(width)
    return Group(*rows)


def _glance(scene: Scene, width: int) -> list[Text]:
    """Where a small terminal has rows to spare: that work is on hold and how it goes on, what is left of the wait, or
    the verdict, in big letters."""
    shown = scene.shown
    if shown.held:
        return letters_in(state_word(shown, None), width, "bold") + letters_in(
            " | ".join(shown.answers), width, "bold"
        )
    if shown.mode is Mode.WAITING and shown.timers:
        return letters_in(left(next_due(shown) - scene.now), width, "bold")
    found = glance(shown)
    if found is None:
        return []
    words, style = found
    return letters_in(words, width, style) or letters_in(words.partition(":")[0], width, style)


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
    lines = list(Text(shown.headline, "bold").wrap(console, inner)) or [Text()]
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
