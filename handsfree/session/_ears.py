"""Listening: frames or typed lines in, one of four things out."""

from __future__ import annotations

import contextlib
import queue
import sys
import threading
from dataclasses import dataclass
from typing import Protocol, TextIO

from handsfree.audio import (
    FRAME_MS,
    EndpointerSettings,
    MicrophoneLost,
    Source,
    Utterance,
    WavScript,
)
from handsfree.grammar import Armed
from handsfree.hearing import Engine, Hypothesis, Listener
from handsfree.session._clock import Clock

__all__ = ["AudioEars", "Closed", "Ears", "Heard", "Lost", "Quiet", "TypedEars"]

#: A script of sound files that has run out gets this long (its own noise floor) before the session ends.
_AFTER_THE_LAST_MS = 2000


@dataclass(frozen=True, slots=True)
class Heard:
    hypothesis: Hypothesis
    utterance: Utterance | None = None


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


class Ears(Protocol):
    engine: Engine

    def listen(self, armed: Armed, until: int | None, *, answer: bool) -> Heard | Quiet | Lost | Closed:
        """Wait for one utterance, at most until the clock says ``until``. ``answer``: a question is open."""

    def close(self) -> None: ...


class AudioEars:
    """A source, an endpointer and an engine. Decodes while the speech comes in."""

    def __init__(
        self,
        source: Source,
        engine: Engine,
        clock: Clock,
        settings: EndpointerSettings | None = None,
    ) -> None:
        self.engine = engine
        self.source = source
        self._clock = clock
        self._listener = Listener(engine, settings)

    @property
    def noise_dbfs(self) -> float:
        return self._listener.noise_dbfs

    def listen(self, armed: Armed, until: int | None, *, answer: bool) -> Heard | Quiet | Lost | Closed:
        self._listener.arm(armed)
        self._listener.reset()
        self.source.cue(answer)
        quiet_ms = 0
        while True:
            if not self._listener.in_speech:
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
            heard = self._frame(frame)
            if heard is not None:
                return heard

    def _nothing_more(self, answer: bool, until: int | None) -> bool:
        """Recorded speakers only: nobody is speaking, and nothing that can still happen would make one speak."""
        source = self.source
        if not isinstance(source, WavScript) or source.speaking:
            return False
        return until is None if not answer else source.exhausted

    def _frame(self, frame: bytes) -> Heard | None:
        listened = self._listener.feed(frame)
        return Heard(listened.hypothesis, listened.utterance) if listened else None

    def close(self) -> None:
        self.source.close()
        self.engine.close()


_AT_AN_END = Closed("no more typed lines")


def _unreadable(error: Exception) -> Closed:
    return Closed(f"the typed lines can't be read ({error})")


class TypedEars:
    """The keyboard, one line an utterance. Timers go on while nobody types.

    With a simulated clock (practice) a wait passes at once when nothing is to be answered.
    """

    def __init__(self, engine: Engine, clock: Clock, stream: TextIO | None = None) -> None:
        self.engine = engine
        self._clock = clock
        self._stream = stream or sys.stdin
        self._lines: queue.Queue[str | Closed] = queue.Queue()
        self._reader: threading.Thread | None = None

    def listen(self, armed: Armed, until: int | None, *, answer: bool) -> Heard | Quiet | Lost | Closed:
        self.engine.arm(armed)
        if self._clock.name == "simulated" and until is not None and not answer:
            self._clock.advance(max(0, until - self._clock.now()))
            return Quiet()
        while True:
            self._invite()
            line = self._line(until)
            if isinstance(line, Closed):
                return line
            if line == "":
                return Quiet()
            if line.strip():
                break
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
        if self._reader is None:
            self._reader = threading.Thread(target=self._read, daemon=True)
            self._reader.start()
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
