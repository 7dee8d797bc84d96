"""What a screen shows of a job, frozen, and how each thing that happens changes it. No I/O, no clock."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from handsfree.procedure import (
    COMMANDS,
    TOO_LOUD,
    Book,
    Event,
    Mode,
    Record,
    State,
    answers,
    limit_words,
    question,
)
from handsfree.record import clean, in_use
from handsfree.session._ears import Heard
from handsfree.session._loudness import loudness_of
from handsfree.session._view import _understood, body_of, in_sentences, told

__all__ = [
    "FOUND",
    "NOT_RELEASED",
    "SAYABLE",
    "Hearing",
    "Judged",
    "Running",
    "Shown",
    "Stamp",
    "heard",
    "noted",
    "recorded",
    "running",
    "said",
    "stands",
    "turned",
]

#: How a command is said, where that is not its name.
SAYABLE: Mapping[str, str] = {"limit": "what is the limit", "resume": "resume work", "hold": "stand by"}
_TRAIL = 40
#: Lines of the record with which what was judged before is no longer what was just answered, or no longer holds.
_ANSWERED = frozenset(
    {"reading", "answer", "inspect", "pass", "caution", "hold_point", "back", "correction", "close"}
)


@dataclass(frozen=True, slots=True)
class Hearing:
    """The last utterance. Levels in dBFS and dB; None from the keyboard."""

    text: str
    understood: str
    speech_dbfs: float | None = None
    snr_db: float | None = None
    clipped: bool = False


@dataclass(frozen=True, slots=True)
class Judged:
    """One verdict: ``measured`` is what was judged ("Injury size: 4.5 mm"), ``low`` and ``high`` the limit as
    recorded, ``limit`` in words."""

    rule: str
    measured: str
    low: str
    high: str
    outcome: str
    severity: str
    source: str
    limit: str = ""
    inclusive: bool = True


@dataclass(frozen=True, slots=True)
class Stamp:
    """What stands as large as a verdict and is none: a defect, a refusal. ``about``: of what."""

    words: str
    about: str


FOUND, NOT_RELEASED = "DEFECT FOUND", "NOT RELEASED"


@dataclass(frozen=True, slots=True)
class Running:
    """A wait. Due times in milliseconds of the session's clock; ``over``: only the longest time still counts."""

    name: str
    shortest_due: int
    longest_due: int | None
    over: bool


@dataclass(frozen=True, slots=True)
class Shown:
    title: str = ""
    tire: str = ""  # its spoken name, "" where there can be no other
    waiting: tuple[str, ...] = ()  # the other tires that are open
    beside: tuple[str, ...] = ()  # what may be said of them
    practice: bool = False
    phase: str = ""
    step: str = ""
    place: tuple[int, int] = (0, 0)  # the step's number in the procedure, and how many there are
    mode: Mode = Mode.IDLE
    speaking: bool = False
    question: str = ""
    held: str = ""  # that work is on hold, and how it goes on; "" while it is not
    answers: tuple[str, ...] = ()
    or_value: bool = False  # instead of these answers the value may be said once more
    commands: tuple[str, ...] = ()
    said: str = ""  # all that was said since it was last listened
    hearing: Hearing | None = None
    verdicts: tuple[Judged, ...] = ()  # of the step that was answered last
    stamp: Stamp | None = None  # of the step that was answered last, or of the finished tire
    timers: tuple[Running, ...] = ()
    timers_beside: tuple[tuple[str, Running], ...] = ()  # of the tires that wait, by their names
    trail: tuple[tuple[str, str], ...] = ()  # label and sentence, the newest last
    ended: tuple[tuple[str, str], ...] = ()  # finished tires beside others: name, what became of it
    exceptions: tuple[str, ...] = ()
    reasons: tuple[str, ...] = ()  # why the tire must not be repaired
    notes: tuple[str, ...] = ()
    typing: str | None = None  # the unfinished typed line; None: nobody types

    @property
    def headline(self) -> str:
        """What stands largest: the question, or that it is not answered now."""
        return self.held or self.question

    @property
    def worst(self) -> Judged | None:
        """The verdict to look at first: a stop before a warning, outside before too close before inside."""
        return min(self.verdicts, key=_gravity, default=None)


def _gravity(judged: Judged) -> tuple[bool, int]:
    order = ("outside", "close", "inside")
    rank = order.index(judged.outcome) if judged.outcome in order else len(order)
    return (judged.severity != "stop" and judged.outcome != "inside", rank)


def _plain(text: str) -> str:
    """On one line, and nothing that could steer the terminal."""
    return clean(" ".join(text.split())).plain


def turned(shown: Shown, tire: str, waiting: Sequence[str], sayable: Sequence[str], own: Shown) -> Shown:
    """Another tire is listened to, or others wait now. ``own``: what was shown of this tire before: its verdicts and
    the lines of its record are never those of the tire beside it."""
    return replace(
        shown,
        tire=tire,
        waiting=tuple(waiting),
        beside=tuple(sayable),
        verdicts=own.verdicts,
        stamp=own.stamp,
        trail=own.trail,
    )


def stands(shown: Shown, book: Book, state: State) -> Shown:
    """Where the dialogue stands now."""
    held = state.mode is Mode.HELD  # then the way on is the answer, and no command beside it
    names = [n for n in COMMANDS.get(state.mode, ()) if not (held and n == "resume")]
    commands = tuple(SAYABLE.get(n, n.replace("_", " ")) for n in names)
    ids = [step.id for step in book.procedure.step]
    at = ids.index(state.step) if state.step in ids else -1
    ending = book.procedure.end(state.outcome) if state.mode is Mode.FINISHED else None
    if state.mode is Mode.FINISHED and not (ending is not None and ending.released):
        shown = replace(
            shown, stamp=Stamp(NOT_RELEASED, _plain(ending.disposition if ending else "reasons are open"))
        )
    return replace(
        shown,
        title=_plain(book.procedure.title),
        practice=bool(dict(state.job).get("practice")),
        phase=_plain(book.procedure.step[at].phase) if at >= 0 else "",
        step=state.step,
        place=(at + 1, len(ids)),
        mode=state.mode,
        question=_plain(in_use(in_sentences(question(book, state)))),
        held=_plain(book.prompts.say("held")) if held else "",
        answers=(SAYABLE["resume"],) if held else tuple(map(_plain, answers(book, state))),
        or_value=any(label == "value" for label, _ in state.armed),
        commands=(*commands, *(shown.beside if commands else ())),
        verdicts=tuple(
            v
            if v.limit
            else replace(v, limit=_plain(in_use(limit_words(book, v.low, v.high, inclusive=v.inclusive))))
            for v in shown.verdicts
        ),
        timers=running(state),
        exceptions=tuple(_plain(in_use(text)) for text in state.exceptions),
        reasons=tuple(_plain(in_use(text)) for text in state.reasons),
    )


def running(state: State) -> tuple[Running, ...]:
    """The waits of a tire that still have something to say."""
    return tuple(
        Running(t.step, t.shortest_due, t.longest_due, t.over) for t in state.timers if t.due is not None
    )


def said(shown: Shown, text: str) -> Shown:
    """Sentences follow each other faster than they are read: they stand together until an answer is awaited."""
    before = shown.said if shown.speaking else ""
    return replace(shown, said=f"{before} {in_sentences(_plain(text))}".strip(), speaking=True)


def noted(shown: Shown, text: str) -> Shown:
    return replace(shown, notes=(*shown.notes, _plain(text)))


def heard(shown: Shown, what: Heard, event: Event) -> Shown:
    utterance = what.utterance
    hearing = Hearing(_plain(what.hypothesis.text), _plain(_understood(event)))
    if utterance is not None:
        hearing = replace(
            hearing,
            speech_dbfs=utterance.speech_dbfs,
            snr_db=utterance.snr_db,
            clipped=loudness_of(utterance) == TOO_LOUD,
        )
    return replace(shown, hearing=hearing)


def recorded(shown: Shown, effect: Record) -> Shown:
    """A new line of the record. What it answers takes the verdict of the answer before away."""
    body = body_of(effect)
    if effect.kind == "verdict":
        shown = replace(shown, verdicts=(*shown.verdicts, _judged(body)))
    elif effect.kind in _ANSWERED:
        shown = replace(shown, verdicts=(), stamp=_stamp(effect.kind, body))
    elif effect.kind == "step" and body["step_kind"] == "hold_point":
        # Another kind of thing: what is good says nothing of it. What is not may be the reason for it.
        shown = replace(shown, verdicts=tuple(v for v in shown.verdicts if v.outcome != "inside"))
    if shown.tire and effect.kind in ("close", "seal"):
        shown = replace(shown, ended=_ended(shown, effect.kind, body))
    line = told(effect)
    if line is None:
        return shown
    return replace(shown, trail=(*shown.trail, (line[0], _plain(line[1])))[-_TRAIL:])


def _stamp(kind: str, body: Mapping[str, str]) -> Stamp | None:
    if kind == "inspect" and body["outcome"] == "found":
        return Stamp(FOUND, _plain(body["reason"] or body["condition"]))
    if kind == "hold_point" and body["outcome"] != "released":
        return Stamp(NOT_RELEASED, _plain(f"{body['step']}, by {body['by']}"))
    return None


def _ended(shown: Shown, kind: str, body: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    """The disposition as a tire is closed; the words to write down stand before it as soon as they are told."""
    if kind == "close":
        return (*shown.ended, (shown.tire, _plain(in_use(body["disposition"]))))
    (name, became), words = shown.ended[-1], body["words"].replace("; ", " ")
    return (*shown.ended[:-1], (name, f"check words {_plain(words)}; {became}"))


def _judged(body: Mapping[str, str]) -> Judged:
    # The reason's first part says what was judged: not always the reading itself (a tire's age, a loss).
    measured, _, _ = body["reason"].partition(";")
    return Judged(
        rule=body["rule"],
        measured=_plain(in_use(measured.rstrip("."))),
        low=body["low"],
        high=body["high"],
        outcome=body["outcome"],
        severity=body["severity"],
        source=_plain(body["source"]),
        inclusive=body["inclusive"] == "true",
    )
