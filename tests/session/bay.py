"""A session on a real folder: typed lines in, silence out, time that moves with the words."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from procedure.driving import START_MS, armed_for

from handsfree.audio import Utterance
from handsfree.grammar import Armed, typed_to_words
from handsfree.hearing import Hypothesis, Word, make_engine
from handsfree.record import Line, read_log
from handsfree.session import (
    Clock,
    Closed,
    Ears,
    Heard,
    Job,
    Lost,
    Quiet,
    Session,
    SimulatedClock,
    TypedEars,
    View,
    create_job,
    open_job,
    prompts_text,
)
from handsfree.speaking import Clip, NullPlayer, Played, Player, SilentVoice, Speaker, Voice

ABOUT = {"technician": "Ana", "bay": "2", "today": "2030-03-17"}


def new_job(
    folder: Path, text: str, clock: Clock | None = None, also: Mapping[str, str] | None = None, **more: str
) -> Job:
    return create_job(
        folder,
        procedure=text,
        prompts=prompts_text(),
        about={**ABOUT, **(also or {})},
        pins={"engine": "typed"},
        clock=clock or SimulatedClock(START_MS),
        **more,
    )


class Known:
    """The grammars, each arming worked out once for all the sessions of a test run."""

    def arm(self, armed: Mapping[str, str]) -> Armed:
        return armed_for(tuple(armed.items()))


def typed(lines: Iterable[str], clock: Clock) -> TypedEars:
    return TypedEars(
        make_engine("typed", normalise=typed_to_words), clock, io.StringIO("".join(f"{x}\n" for x in lines))
    )


def session(
    job: Job,
    clock: Clock,
    ears: Ears,
    *,
    player: Player | None = None,
    voice: Voice | None = None,
    view: View | None = None,
    spare: Callable[[], Ears] | None = None,
    library: Any = None,
    **more: Any,
) -> Session:
    speaker = Speaker(voice or SilentVoice(), player or NullPlayer())
    return Session(
        job.machine,
        library=library or Known(),
        ears=ears,
        speaker=speaker,
        log=job.log,
        clock=clock,
        view=view,
        spare=spare,
        **more,
    )


def work(job: Job, lines: Iterable[str], clock: Clock, **parts: object) -> str:
    """Run the job on these lines, to its end or theirs, and give it back."""
    running = session(job, clock, typed(lines, clock), **parts)  # type: ignore[arg-type]
    try:
        return running.run(job.first)
    finally:
        running.close()


def reopen(folder: Path, after_s: float = 0) -> tuple[Job, Clock]:
    """Open it again, so many seconds after its last event."""
    return open_job(
        folder, lambda not_before: SimulatedClock(max(START_MS, not_before + int(1000 * after_s)))
    )


def body(line: Line) -> dict[str, object]:
    return {**line.body, "kind": line.kind}


def lines_of(where: Path | Sequence[Line], kind: str) -> list[Mapping[str, object]]:
    lines = read_log(where).lines if isinstance(where, Path) else where
    return [line.body for line in lines if line.kind == kind]


def readings(where: Path | Sequence[Line]) -> dict[object, object]:
    """What the record holds in the end: the last value of each measurand."""
    return {r["measurand"]: f"{r['value']} {r['unit']}".strip() for r in lines_of(where, "reading")}


class Deaf:
    """A player whose sound never comes out whole."""

    def __init__(self, played: Callable[[Clip], Played]) -> None:
        self._played = played

    def play(self, clip: Clip, interruptible: bool = False) -> Played:
        return self._played(clip)

    def stop(self) -> None: ...

    def close(self) -> None: ...


class Scripted:
    """Ears that give what they are told, whatever is armed."""

    def __init__(self, *results: Heard | Quiet | Lost | Closed) -> None:
        self.engine = typed([], SimulatedClock(START_MS)).engine
        self.results = list(results)
        self.until: list[int | None] = []
        self.closed = False

    def listen(self, armed: Armed, until: int | None, *, answer: bool) -> Heard | Quiet | Lost | Closed:
        self.until.append(until)
        return self.results.pop(0) if self.results else Closed("the script is at an end")

    def close(self) -> None:
        self.closed = True


class Timed:
    """Somebody who types each line so many seconds after the one before, through the real keyboard engine."""

    def __init__(self, clock: SimulatedClock, *script: tuple[float, str]) -> None:
        self.engine = make_engine("typed", normalise=typed_to_words)
        self._clock = clock
        self._script = list(script)
        self._from = clock.now()

    def listen(self, armed: Armed, until: int | None, *, answer: bool) -> Heard | Quiet | Lost | Closed:
        if not self._script:
            return Closed("nothing more is typed")
        after_s, line = self._script[0]
        at = max(self._clock.now(), self._from + int(1000 * after_s))
        if until is not None and until < at:
            self._clock.advance(max(0, until - self._clock.now()))
            return Quiet()
        self._clock.advance(at - self._clock.now())
        self._script.pop(0)
        self._from = at
        self.engine.begin()
        self.engine.feed(line.encode())
        return Heard(self.engine.end())

    def close(self) -> None: ...


def heard(text: str, *, accepted: bool = True, reason: str = "", pcm: bytes | None = None) -> Heard:
    words = tuple(Word(w, 0.1, 0.25) for w in text.split())
    hypothesis = Hypothesis(text, words, "fake", (("grammar", -12.34567),), accepted, reason)
    if pcm is None:
        return Heard(hypothesis)
    return Heard(hypothesis, Utterance(pcm, 0, 100, -20.04, -55.5, 3))
