"""Listening: frames or typed lines in, one of four things out."""

from __future__ import annotations

import contextlib
import queue
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from typing import Protocol

from handsfree.audio import (
    FRAME_BYTES,
    FRAME_MS,
    EndpointerSettings,
    Microphone,
    MicrophoneLost,
    Source,
    Utterance,
    WavScript,
)
from handsfree.grammar import Armed
from handsfree.hearing import Engine, Hypothesis, Listener
from handsfree.session._bay import BAY, NEEDLESS
from handsfree.session._clock import Clock
from handsfree.session._echo import unseen
from handsfree.session._people import CODE

__all__ = [
    "GAP",
    "AudioEars",
    "Back",
    "Closed",
    "Ears",
    "Heard",
    "Level",
    "Lines",
    "Lost",
    "Nobody",
    "Quiet",
    "TypedEars",
]

#: A script of sound files that has run out gets this long (its own noise floor) before the session ends.
_AFTER_THE_LAST_MS = 2000
_A_WHILE_MS = 5000
_ROOM_MS = 1000  # as long as the suppressor looks back for the lowest noise
#: Who speaks so soon after a question began to play does not answer it. Our own choice: the endpointer tells of a
#: voice 120 to 240 ms after its first sound, and nobody has made out a word of the question in what is left.
_TOO_SOON_MS = 300
GAP = "some of the sound was lost"
"""The reason of a hypothesis that was not accepted for that alone: a lost block may have been a digit."""


@dataclass(frozen=True, slots=True)
class Heard:
    hypothesis: Hypothesis
    utterance: Utterance | None = None


@dataclass(frozen=True, slots=True)
class Level:
    """What the microphone gives at this moment, in dBFS (AES17), and whether someone is speaking."""

    now_dbfs: float
    noise_dbfs: float
    in_speech: bool


@dataclass(frozen=True, slots=True)
class Quiet:
    """The time came before anyone spoke."""


@dataclass(frozen=True, slots=True)
class Lost:
    device: str
    reason: str


@dataclass(frozen=True, slots=True)
class Closed:
    """There will be no more input."""

    reason: str


@dataclass(frozen=True, slots=True)
class Back:
    """A lost microphone is listened to again."""


class Ears(Protocol):
    engine: Engine

    def listen(self, armed: Armed, until: int | None, *, answer: bool) -> Heard | Quiet | Lost | Closed:
        """Wait for one utterance, at most until the clock says ``until``. ``answer``: a question is open."""

    def close(self) -> None: ...


class Nobody:
    """No ears at all: time goes by until the microphone comes back."""

    def __init__(self, engine: Engine, clock: Clock) -> None:
        self.engine = engine
        self._clock = clock

    def listen(self, armed: Armed, until: int | None, *, answer: bool) -> Heard | Quiet | Lost | Closed:
        left = _A_WHILE_MS if until is None else max(0, until - self._clock.now())
        if self._clock.name == "simulated":
            self._clock.advance(left)
        else:
            time.sleep(left / 1000)
        return Quiet()

    def close(self) -> None: ...


class AudioEars:
    """A source, an endpointer and an engine. Decodes while the speech comes in.

    ``beside`` may be set to a keyboard's ``typed``: a line that was typed is taken while nobody speaks.
    ``headset``: the microphone does not hear the tool, so that the technician may speak while it does.
    """

    def __init__(
        self,
        source: Source,
        engine: Engine,
        clock: Clock,
        settings: EndpointerSettings | None = None,
        *,
        headset: bool = False,
    ) -> None:
        self.engine = engine
        self.source = source
        self._clock = clock
        self._listener = Listener(engine, settings)
        self._unheeded = 0  # blocks lost before the tool listened for anything
        self._lost = 0  # blocks, as far as they are accounted for
        self._whole = 0  # frames since sound was lost
        self._headset = headset
        self._hearing: Armed | None = None  # what is listened for since a prompt began, without a pause
        self._turned_away = True
        self._question_ms: int | None = None  # since the question began to play, None where it did not
        self._unasked = False  # what is being said began before its question did
        self._passed_over = 0
        self._to_play = False  # a prompt is to be overheard, and plays not yet
        self._interjected: Heard | None = None  # a command, said while a prompt played
        self.beside: Callable[[Armed], Heard | None] | None = None

    @property
    def noise_dbfs(self) -> float:
        return self._listener.noise_dbfs

    @property
    def lost_blocks(self) -> int:
        """Blocks of 30 ms that the source lost so far of what was listened to."""
        return getattr(self.source, "lost", 0) - self._unheeded

    @property
    def level(self) -> Level:
        """For a meter: three attributes read, from any thread."""
        ears = self._listener
        return Level(ears.level_dbfs, ears.noise_dbfs, ears.in_speech)

    def listen(self, armed: Armed, until: int | None, *, answer: bool) -> Heard | Quiet | Lost | Closed:
        if self._hearing is not armed:
            self._begin(armed, answer)
        elif self._to_play:  # by a player that gave no time to listen
            self._catch_up(armed, answer)
            self.source.cue(answer)
        self._hearing, self._question_ms, self._to_play = None, None, False
        interjected, self._interjected = self._interjected, None
        if interjected is not None:
            return interjected
        quiet_ms = 0
        while True:
            if not self._listener.in_speech:
                typed = self.beside(armed) if self.beside is not None else None
                if typed is not None:
                    return typed
                if until is not None and self._clock.now() >= until:
                    return Quiet()
                if self._nothing_more(answer, until):
                    quiet_ms += FRAME_MS
                    if quiet_ms > _AFTER_THE_LAST_MS:
                        return Closed("nothing more is said in the sound files")
            try:
                frame = self.source.read()
            except MicrophoneLost as lost:
                return Lost("microphone", str(lost))
            if frame is None:
                return Closed("the sound is at an end")
            self._clock.advance(FRAME_MS)
            heard = self._heeded(self._frame(frame), armed)
            if heard is not None:
                return heard

    def hear_room(self, armed: Armed) -> None:
        """Listen to the room for a second, whatever is said in it, before the tool speaks for the first time.

        Else the first answer would be the first sound, and part of it be taken for the noise.
        """
        if not isinstance(self.source, Microphone):
            return
        self._listener.arm(armed)
        with contextlib.suppress(MicrophoneLost):  # the next listen will tell
            for _ in range(_ROOM_MS // FRAME_MS):
                self._listener.feed(self.source.read())
        self._listener.reset()
        self._unheeded += self.lost_blocks  # a device that is just opened drops a little

    def _begin(self, armed: Armed, answer: bool) -> None:
        self._listener.arm(armed)
        self._listener.reset()
        self._unasked, self._interjected = False, None
        if self._turned_away and isinstance(self.source, Microphone):
            self.source.drain()
        self._turned_away = False
        self.source.cue(answer)

    @property
    def spoken_to(self) -> bool:
        """Somebody began to speak while it was overheard, and has not been listened to yet."""
        speaks = self._listener.in_speech and not self._unasked
        return self._hearing is not None and (speaks or self._interjected is not None)

    def take_passed_over(self) -> int:
        """How many utterances since this was asked before began before the question that they would have answered."""
        many, self._passed_over = self._passed_over, 0
        return many

    def overhear(self, armed: Armed, answer: bool, *, question: bool = True) -> Callable[[], bool] | None:
        """Listen while a prompt plays: what tells, called again and again, whether it is to be cut off.

        The next ``listen`` for the same goes on with that utterance. None without a headset: it would be the tool.
        Where an answer is wanted, only what began after the question did may be one: what began before is nothing
        but a command, which cuts the prompt off when it is understood. ``question``: the prompt is the question, and
        no sentence that leads to it.
        """
        if not self._headset:
            return None
        if self._hearing is not armed:
            self._begin(armed, answer and question)
            self._hearing = armed
        self._question_ms, self._to_play = None, True
        lost = False

        def read() -> None:
            nonlocal lost
            try:
                frame = self.source.read()
            except MicrophoneLost:
                frame = None  # the next listen will tell
            lost = frame is None
            if frame is not None:
                self._overheard(frame, armed, answer)

        def cut() -> bool:
            if self._to_play:  # it begins only now: to make the sound of it took a while
                self._catch_up(armed, answer)
                if question:
                    self._question_ms = 0
                    self.source.cue(answer)
            if not lost and not self.spoken_to:
                read()
            return self.spoken_to

        return cut

    def _catch_up(self, armed: Armed, answer: bool) -> None:
        """Take in what was recorded before the prompt began to play."""
        self._to_play = False
        for _ in range(getattr(self.source, "waiting", 0)):
            if self.spoken_to:
                return
            with contextlib.suppress(MicrophoneLost):  # the next listen will tell
                frame = self.source.read()
                if frame is not None:
                    self._overheard(frame, armed, answer)

    def _overheard(self, frame: bytes, armed: Armed, answer: bool) -> None:
        self._clock.advance(FRAME_MS)
        spoke = self._listener.in_speech
        heard = self._heeded(self._frame(frame), armed)
        if self._question_ms is not None:
            self._question_ms += FRAME_MS
        if self._listener.in_speech and not spoke:
            in_turn = self._question_ms is not None and self._question_ms > _TOO_SOON_MS
            self._unasked = answer and not in_turn
        if heard is not None:
            self._interjected = heard

    def turn_away(self) -> None:
        """What is said from here to the next ``listen`` is not heard: something that must be heard is spoken."""
        self._hearing, self._turned_away = None, True

    def _nothing_more(self, answer: bool, until: int | None) -> bool:
        """Recorded speakers only: nobody is speaking, and nothing that can still happen would make one speak."""
        source = self.source
        if not isinstance(source, WavScript) or source.speaking:
            return False
        if not answer and until is None and not source.exhausted:
            source.cue()  # on hold nothing will be asked: whatever comes next is said of the speaker's own accord
            return False
        return source.exhausted if answer else until is None

    def _frame(self, frame: bytes) -> Heard | None:
        self._whole = self._whole + 1 if self.lost_blocks == self._lost else 0
        self._lost = self.lost_blocks
        listened = self._listener.feed(frame)
        if listened is None:
            return None
        hypothesis, utterance = listened.hypothesis, listened.utterance
        if hypothesis.accepted and self._whole * FRAME_BYTES < len(utterance.pcm):
            hypothesis = replace(hypothesis, accepted=False, reason=GAP)
        return Heard(hypothesis, utterance)

    def _heeded(self, heard: Heard | None, armed: Armed) -> Heard | None:
        """What was said before its question is nothing but a command."""
        if heard is None:
            return None
        unasked, self._unasked = self._unasked, False
        if unasked and not _answers_nothing(armed, heard.hypothesis.text):
            self._passed_over += 1
            return None
        return heard

    def close(self) -> None:
        self.source.close()
        self.engine.close()


def _answers_nothing(armed: Armed, text: str) -> bool:
    """Whether the words are no answer to anything, but a command or the call of a tire."""
    meaning = armed.interpret(text) if text else None
    return meaning is not None and meaning.label in ("command", BAY, *dict(NEEDLESS))


_AT_AN_END = Closed("no more typed lines")


def _unreadable(error: Exception) -> Closed:
    return Closed(f"the typed lines can't be read ({error})")


class Lines(Protocol):
    """Where typed lines come from: standard input, a file, or a screen's own input line."""

    def isatty(self) -> bool: ...
    def readline(self) -> str: ...
    def __iter__(self) -> Iterator[str]: ...


class TypedEars:
    """The keyboard, one line an utterance. Timers go on while nobody types.

    With a simulated clock (practice) a wait passes at once when nothing is to be answered.
    """

    def __init__(self, engine: Engine, clock: Clock, stream: Lines | None = None) -> None:
        self.engine = engine
        self._clock = clock
        self._stream: Lines = stream or sys.stdin
        self._lines: queue.Queue[str | Closed] = queue.Queue()
        self._reader: threading.Thread | None = None

    def listen(self, armed: Armed, until: int | None, *, answer: bool) -> Heard | Quiet | Lost | Closed:
        self.engine.arm(armed)
        if self._clock.name == "simulated" and until is not None and not answer:
            self._clock.advance(max(0, until - self._clock.now()))
            return Quiet()
        with self.hiding(armed):
            while True:
                self._invite()
                line = self._line(until)
                if isinstance(line, Closed):
                    return line
                if line == "":
                    return Quiet()
                if line.strip():
                    return self._taken(line)

    def begin(self) -> None:
        """From here on what is typed counts, also what is typed before the next ``listen``."""
        if self._reader is None and self._clock.name != "simulated":
            self._reader = threading.Thread(target=self._read, daemon=True)
            self._reader.start()

    def hiding(self, armed: Armed) -> AbstractContextManager[None]:
        """While a code word is asked, what is typed does not show."""
        return unseen(self._stream, CODE in armed.labels)

    def typed(self, armed: Armed) -> Heard | None:
        """A line that is there already, else None: for a keyboard beside a microphone."""
        try:
            line = self._lines.get_nowait()
        except queue.Empty:
            return None
        if isinstance(line, Closed) or not line.strip():
            return None
        self.engine.arm(armed)
        return self._taken(line)

    def _taken(self, line: str) -> Heard:
        self.engine.begin()
        self.engine.feed(line.encode(errors="replace"))
        return Heard(self.engine.end())

    def _invite(self) -> None:
        """A mark where to type; nothing for a file or a pipe."""
        with contextlib.suppress(AttributeError, ValueError, OSError):
            if self._stream.isatty():
                print("       type  ", end="", flush=True)

    def _line(self, until: int | None) -> str | Closed:
        """The next line; "" when the time came first."""
        if self._clock.name == "simulated":
            try:
                return self._stream.readline() or _AT_AN_END
            except (OSError, ValueError) as error:
                return _unreadable(error)
        self.begin()
        timeout = None if until is None else max(0.0, (until - self._clock.now()) / 1000)
        try:
            return self._lines.get(timeout=timeout)
        except queue.Empty:
            return ""

    def _read(self) -> None:
        end = _AT_AN_END
        try:
            for line in self._stream:
                self._lines.put(line)
        except (OSError, ValueError) as error:  # bytes that are no text, or a stream closed under us
            end = _unreadable(error)
        self._lines.put(end)

    def close(self) -> None:
        self.engine.close()
