"""How long a technician waits: from the end of speech to the first sample of the reply, over a whole session."""

from __future__ import annotations

import statistics
import tempfile
import time
from dataclasses import dataclass, field
from math import ceil
from pathlib import Path

from handsfree import _wiring as wiring
from handsfree.audio import WavScript
from handsfree.grammar import Armed, Library
from handsfree.session import (
    AudioEars,
    Closed,
    Heard,
    Lost,
    Quiet,
    Session,
    SimulatedClock,
    create_job,
    demo_folder,
    packaged_procedure,
    prompts_text,
    script_lines,
)
from handsfree.speaking import Clip, Played, Pyttsx3Voice, Speaker

__all__ = ["Waited", "measure"]


@dataclass(slots=True)
class Waited:
    """Milliseconds, one a reply. ``silence``: what the endpointer waits; ``work``: decoding what is left,
    machine, limits, record to disk, voice; ``decode``: the first part of that; ``total``: silence and work."""

    silence: list[float] = field(default_factory=list)
    decode: list[float] = field(default_factory=list)
    work: list[float] = field(default_factory=list)

    @property
    def total(self) -> list[float]:
        return [a + b for a, b in zip(self.silence, self.work, strict=True)]

    @staticmethod
    def median_p95(values: list[float]) -> tuple[float, float]:
        ordered = sorted(values)
        return statistics.median(ordered), ordered[ceil(0.95 * len(ordered)) - 1]  # nearest rank


class _Ears(AudioEars):
    """Notes when the last frame of an utterance has come in."""

    frame_at = 0.0
    silence = 0.0
    decode = 0.0

    def _frame(self, frame: bytes) -> Heard | None:
        self.frame_at = time.perf_counter()
        return super()._frame(frame)

    def listen(self, armed: Armed, until: int | None, *, answer: bool) -> Heard | Quiet | Lost | Closed:
        result = super().listen(armed, until, answer=answer)
        if isinstance(result, Heard) and result.utterance is not None:
            self.decode = 1000 * (time.perf_counter() - self.frame_at)
            self.silence = result.utterance.decided_ms - result.utterance.end_ms
        else:
            self.frame_at = 0.0
        return result


class _Player:
    """Plays nothing, but notes when the first sample would have left."""

    def __init__(self, ears: _Ears, waited: Waited) -> None:
        self._ears, self._waited = ears, waited

    def play(self, clip: Clip, interruptible: bool = False) -> Played:
        if self._ears.frame_at:
            self._waited.work.append(1000 * (time.perf_counter() - self._ears.frame_at))
            self._waited.silence.append(self._ears.silence)
            self._waited.decode.append(self._ears.decode)
            self._ears.frame_at = 0.0
        return Played(clip.frames, clip.frames, clip.rate)

    def stop(self) -> None: ...
    def close(self) -> None: ...


def measure() -> Waited:
    """Run the demo's session and time every first reply to an utterance. The voice's cache is off."""
    waited, clock, library = Waited(), SimulatedClock(1_700_000_000_000), Library.load()
    with tempfile.TemporaryDirectory() as folder:
        job = create_job(
            Path(folder) / "job",
            procedure=packaged_procedure("passenger-one-piece"),
            prompts=prompts_text(),
            about={"today": "2026-01-01"},
            pins={},
            clock=clock,
        )
        ears = _Ears(WavScript(script_lines(demo_folder())), wiring.build_engine(wiring.Setup()), clock)
        speaker = Speaker(Pyttsx3Voice(), _Player(ears, waited))
        session = Session(job.machine, library=library, ears=ears, speaker=speaker, log=job.log, clock=clock)
        session.run(job.first)
        speaker.close()
        session.close()
    return waited
