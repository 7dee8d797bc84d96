"""What a bystander sees: one plain line for each thing said, heard, understood, judged and recorded."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Callable, Mapping, Sequence
from typing import Protocol

from handsfree.procedure import (
    HERE,
    NOT_HELD,
    Answer,
    Book,
    Command,
    Event,
    NoInput,
    NoMatch,
    Record,
    SetAside,
    State,
)
from handsfree.record import in_use, lasting, left_at
from handsfree.session._ears import Heard, Level, Lines
from handsfree.session._loudness import loudness_of

__all__ = ["NoView", "PlainView", "View", "in_sentences", "tire_words"]


class View(Protocol):
    """Told by the session what happens, in its order. None of it may take long: speech waits for it."""

    def begin(self, now: Callable[[], int], level: Callable[[], Level | None]) -> None:
        """The job begins. ``now`` reads the session's clock, ``level`` the microphone; from any thread."""

    def end(self) -> None:
        """Nothing more will be shown; also after an error or Ctrl-C."""

    def stands(self, book: Book, state: State) -> None:
        """Where the dialogue stands after an event, before its replies are spoken."""

    def stands_beside(self, tire: str, state: State) -> None:
        """Where the dialogue of a tire that waits stands after an event: its waits run on."""

    def turned(self, tire: str, waiting: Sequence[str], sayable: Sequence[str]) -> None:
        """Which tire is listened to, by its spoken name ("" where there can be no other), which others wait, and
        what may be said of them. Told before anything else of an event."""

    def listening(self) -> None:
        """All is said; an answer may be given now."""

    def keyboard(self) -> Lines | None:
        """Where typed lines come from when the view has the keyboard; None: from standard input."""

    def said(self, text: str, kind: str) -> None: ...
    def heard(self, heard: Heard, event: Event) -> None: ...
    def recorded(self, effect: Record) -> None: ...
    def recorded_beside(self, tire: str, effect: Record) -> None:
        """A line in the record of a tire that waits."""

    def note(self, text: str) -> None: ...


class NoView:
    def begin(self, now: Callable[[], int], level: Callable[[], Level | None]) -> None: ...
    def end(self) -> None: ...
    def stands(self, book: Book, state: State) -> None: ...
    def stands_beside(self, tire: str, state: State) -> None: ...
    def turned(self, tire: str, waiting: Sequence[str], sayable: Sequence[str]) -> None: ...
    def listening(self) -> None: ...
    def keyboard(self) -> Lines | None: ...
    def said(self, text: str, kind: str) -> None: ...
    def heard(self, heard: Heard, event: Event) -> None: ...
    def recorded(self, effect: Record) -> None: ...
    def recorded_beside(self, tire: str, effect: Record) -> None: ...
    def note(self, text: str) -> None: ...


def _understood(event: Event) -> str:
    match event:
        case Command(name=name):
            return f"command {name.replace('_', ' ')}"
        case Answer(number=number, slots=slots) if number is not None:
            unit = next((f" {value}" for key, value in slots if key == "unit"), "")
            return in_use(f"{number.value}{unit}")
        case Answer(slots=slots) if slots and "dispose" not in dict(slots):
            return ", ".join(f"{key} {value}" for key, value in slots)
        case Answer(text=text):
            return text
        case NoMatch(reason=reason, level=level) if level:
            return f"no match: {reason}, {level} dB over the noise"
        case NoMatch(reason=reason) if reason in (NOT_HELD, HERE):
            return reason
        case NoMatch(reason=reason):
            return f"no match: {reason}"
        case NoInput():
            return "no input"
        case SetAside(tire=name):
            return f"tire {name} set aside"
        case _:
            return ""


def _reading(body: Mapping[str, str]) -> str:
    replaced = f" (replaces record {body['replaces']})" if body.get("replaces") else ""
    unit = "" if body["unit"] == "1" else body["unit"]
    return in_use(f"{body['measurand']} = {body['value']} {unit}".strip()) + replaced


def _verdict(body: Mapping[str, str]) -> str:
    warns = body["outcome"] != "inside" and body["severity"] != "stop"
    outcome = f"{'WARNING: ' if warns else ''}{body['outcome'].upper()}"
    return f"{outcome}  {in_use(body['reason'])}  [{body['rule']}; {body['source']}]"


def _wait(body: Mapping[str, str]) -> str:
    if body["outcome"] == "started":
        longest = f", at most {lasting(int(body['longest_s']))}" if body["longest_s"] else ""
        return f"started: {lasting(int(body['planned_s']))}{longest}  [{body['source']}]"
    return f"{body['outcome']} after {lasting(int(body['waited_s']))}"


def _verified(body: Mapping[str, str]) -> str:
    return f", {body['verified']}" if body.get("verified") else ""


#: What is shown of a record line, by kind: a label and a formatter. Other kinds are not shown.
_SHOWN: Mapping[str, tuple[str, Callable[[Mapping[str, str]], str]]] = {
    "reading": ("recorded", _reading),
    "verdict": ("verdict", _verdict),
    "inspect": ("recorded", lambda b: f"{b['condition']}: {b['outcome']}"),
    "answer": ("recorded", lambda b: f"{b['step']}: {b['outcome']}"),
    "pass": ("recorded", lambda b: f"pass {b['n']} of {b['target']}"),
    "caution": ("recorded", lambda b: f"caution read back: {b['read_back']}"),
    "wait": ("wait", _wait),
    "hold_point": ("hold point", lambda b: f"{b['outcome']} by {b['by']}{_verified(b)}"),
    "code": ("recorded", lambda b: f"code word of badge {b['badge']}: {b['outcome']}"),
    "technician": ("recorded", lambda b: f"technician: {b['now']}"),
    "refused": ("refused", lambda b: f"{b['event']}: {b['reason']}"),
    "hold": ("hold", lambda b: f"at {b['step']}"),
    "stop": ("stop", lambda b: f"at {b['step']}"),
    "back": ("back", lambda b: f"to {b['to']}"),
    "disposed": ("recorded", left_at),
    "close": ("closed", lambda b: b["disposition"]),
    "seal": ("sealed", lambda b: f"check words: {b['words'].replace('; ', ' ')}"),
}


def told(effect: Record) -> tuple[str, str] | None:
    """A record as a label and a sentence, None for one that is not shown."""
    shown = _SHOWN.get(effect.kind)
    return None if shown is None else (shown[0], shown[1](body_of(effect)))


def tire_words(tire: str, waiting: Sequence[str]) -> str:
    """ "TIRE BRAVO, alfa waits"; "" where there can be no other."""
    if not tire:
        return ""
    waits = f", {' and '.join(waiting)} {'waits' if len(waiting) == 1 else 'wait'}" if waiting else ""
    return f"TIRE {tire.upper()}{waits}"


def in_sentences(text: str) -> str:
    """Each sentence with a capital, for the eye: what is said is put together of pieces. The record keeps what was
    given to the voice."""
    return re.sub(r"(?<=\w\w[.?!] )[a-z]", lambda found: found[0].upper(), text)


def body_of(effect: Record) -> dict[str, str]:
    return {key: value if isinstance(value, str) else "; ".join(value) for key, value in effect.body}


class PlainView(NoView):
    """Lines through ``write``; meaning never by color alone. ``style`` may color a line by its label; longer
    lines are wrapped at ``width`` columns, 0 for never. ``marks``: a line says from where on it listens again, for
    who speaks into a microphone that is not listened to while the tool speaks."""

    def __init__(
        self,
        write: Callable[[str], None],
        style: Callable[[str, str], str] | None = None,
        *,
        width: int = 0,
        marks: bool = False,
    ) -> None:
        self._write = write
        self._width = width
        self._style = style or (lambda label, line: line)
        self._phase = ""
        self._tire = ""
        self._marks = marks
        self._spoke = False  # since it listened last

    def _line(self, label: str, text: str) -> None:
        line = f"{label:>11}  {text}"
        parts = textwrap.wrap(line, self._width, subsequent_indent=" " * 13) if self._width else [line]
        for part in parts:
            self._write(self._style(label, part))

    def said(self, text: str, kind: str) -> None:
        self._line("said", in_sentences(text))
        self._spoke = True

    def listening(self) -> None:
        if self._marks and self._spoke:
            self._line("listening", "speak now")
        self._spoke = False

    def heard(self, heard: Heard, event: Event) -> None:
        level = ""
        if heard.utterance is not None:
            loudness = loudness_of(heard.utterance).upper()
            level = f"{heard.utterance.speech_dbfs:.0f} dBFS, {heard.utterance.snr_db:.0f} dB over noise"
            level = f"  ({level}{f', {loudness}' if loudness else ''})"
        self._line("heard", f'"{heard.hypothesis.text}"{level}')
        self._line("understood", _understood(event))

    def turned(self, tire: str, waiting: Sequence[str], sayable: Sequence[str]) -> None:
        if tire != self._tire and (waiting or self._tire):
            self._phase = ""
            self._write("")
            self._line("tire", tire_words(tire, waiting).removeprefix("TIRE "))
        self._tire = tire

    def recorded_beside(self, tire: str, effect: Record) -> None:
        line = told(effect)
        if line is not None:
            self._line(line[0], f"tire {tire}: {line[1]}")

    def recorded(self, effect: Record) -> None:
        if effect.kind == "step" and (phase := body_of(effect)["phase"]) != self._phase:
            self._phase = phase
            self._write("")
            self._line("phase", self._phase.upper())
        line = told(effect)
        if line is not None:
            self._line(*line)

    def note(self, text: str) -> None:
        self._line("note", text)
