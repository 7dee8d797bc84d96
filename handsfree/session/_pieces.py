"""Pieces that both layouts of the screen are made of. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from rich.text import Text

from handsfree.procedure import Mode
from handsfree.record import counted
from handsfree.session._ears import Level
from handsfree.session._letters import ROWS, big
from handsfree.session._shown import NOT_RELEASED, Judged, Shown
from handsfree.session._view import tire_words
from handsfree.session._wording import hearing_words, outcome_words, room_words, wait_words

__all__ = [
    "Scene",
    "answer_words",
    "ended",
    "exceptions",
    "glance",
    "judged_rows",
    "letters_in",
    "meter",
    "next_due",
    "place",
    "review",
    "trail",
    "verdict_style",
    "waits",
]

_AGAINST = "bold red"
_COLORS = {"inside": "bold green", "outside": "bold red", "close": "bold yellow"}


@dataclass(frozen=True, slots=True)
class Scene:
    """All that a picture depends on. ``now`` in milliseconds of the session's clock."""

    shown: Shown
    now: int
    level: Level | None = None


def verdict_style(judged: Judged) -> str:
    warns = judged.outcome != "inside" and judged.severity != "stop"
    return "bold yellow" if warns else _COLORS.get(judged.outcome, "bold")


def place(shown: Shown) -> str:
    step = f"step {shown.place[0]} of {shown.place[1]}: {shown.step}" if shown.step else ""
    tire = tire_words(shown.tire, shown.waiting)
    return "   ".join(filter(None, (tire, "PRACTICE" if shown.practice else "", shown.phase.upper(), step)))


def review(shown: Shown) -> list[Text]:
    """What stands against the tire, notes, and how many exceptions a supervisor will find."""
    rows = [Text(f"{NOT_RELEASED}: {reason}", _AGAINST) for reason in shown.reasons]
    rows += [Text(f"NOTE: {note}", "bold yellow") for note in shown.notes[-2:]]
    if shown.exceptions:
        rows.append(Text(f"{exceptions(shown)}; last: {shown.exceptions[-1]}"))
    return rows


def exceptions(shown: Shown) -> str:
    many = len(shown.exceptions)
    return counted(many, "exception") if many else "no exceptions"


def answer_words(shown: Shown) -> Text:
    """What may be said now: the step's answers in bold, then the commands."""
    text = Text(" | ").join(Text(answer, "bold") for answer in shown.answers)
    if shown.or_value:
        text.append(" | the value once more")
    if not shown.answers and shown.mode is Mode.TELLING:
        text.append("nothing yet: hear it to its end, then read it back")
    elif not shown.answers and shown.commands:
        text.append("no answer wanted; commands only")
    return text


def meter(shown: Shown, level: Level | None, width: int) -> list[Text]:
    rows = [Text(line) for line in hearing_words(shown.hearing, width)] if shown.hearing else []
    return rows + ([Text(room_words(level, width))] if level is not None else [])


def judged_rows(shown: Shown) -> list[Text]:
    rows = []
    if shown.stamp is not None:
        rows.append(Text(f"{shown.stamp.words}: {shown.stamp.about}", _AGAINST))
    for judged in sorted(shown.verdicts, key=lambda one: one is not shown.worst):
        words = " ".join([outcome_words(judged) + ".", judged.measured])
        limit = f"; limit: {judged.limit}" if judged.limit else ""
        rows.append(Text(words + limit, verdict_style(judged)))
        rows.append(Text(f"Source: {judged.source}"))
    return rows


def glance(shown: Shown) -> tuple[str, str] | None:
    """The word that stands largest of what was just answered, and its style; None where nothing was judged."""
    if shown.stamp is not None:
        return shown.stamp.words, _AGAINST
    return None if shown.worst is None else (outcome_words(shown.worst), verdict_style(shown.worst))


def waits(scene: Scene) -> list[str]:
    """ "drying: 2:47 left, not over 4:35" of this tire, then those of the tires that wait, by their names."""
    shown = scene.shown
    own = [f"{t.name}: {wait_words(t, scene.now)}" for t in shown.timers]
    return own + [f"{tire}: {t.name} {wait_words(t, scene.now)}" for tire, t in shown.timers_beside]


def ended(shown: Shown) -> list[str]:
    """What became of the tires that are finished beside others."""
    return [f"{name}: {became}" for name, became in shown.ended]


def letters_in(text: str, width: int, style: str) -> list[Text]:
    """One line of big letters, or nothing where it does not fit."""
    rows = big(text, width)
    return [Text(row, style, no_wrap=True) for row in rows] if len(rows) == ROWS else []


def trail(shown: Shown, width: int, room: int) -> list[Text]:
    """The newest lines of the record that fit, oldest first, under a rule."""
    rows = [Text(f"{label:>10}  {sentence}", "dim") for label, sentence in shown.trail[-max(room - 1, 0) :]]
    for row in rows:
        row.truncate(width, overflow="ellipsis")
    return [Text("─ record " + "─" * (width - 9), "dim"), *rows] if room > 1 and rows else []


def next_due(shown: Shown) -> int:
    return min(
        t.longest_due if t.over and t.longest_due is not None else t.shortest_due for t in shown.timers
    )
