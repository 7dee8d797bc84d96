"""A technician of recordings who knows only what a record on the disk says, as somebody who looks over a shoulder."""

from __future__ import annotations

import subprocess
import time
from collections.abc import Callable, Mapping
from pathlib import Path

from session.sounding import Mouth

from handsfree.procedure import Mode, State
from handsfree.record import Line, RecordError, in_present_form, read_log
from handsfree.session import demo_folder, job_book, replay
from sound_card.card import VirtualCard

_AGAIN_S = 15.0  # nothing came of what was said
_PAUSE_S = 0.5  # from the end of the last prompt: the chime that says who speaks comes in it


class Technician:
    """Answers a job's questions with the demo's recordings, and with the tests' own where it has none.

    ``answers``: what to say at a step, by its id; "confirm" and the read-back of a caution are known.
    """

    def __init__(self, card: VirtualCard, folder: Path, answers: Mapping[str, str]) -> None:
        self._card = card
        self._mouth = Mouth(folder)
        self._answers = answers
        self.said: list[str] = []
        self._once_at = -1
        self.job = Path()

    def recording(self, text: str) -> Path:
        found = sorted(demo_folder().glob(f"[0-9][0-9][0-9]-{text.replace(' ', '-')}.flac"))
        return found[0] if found else self._mouth.say(text)

    def work(
        self,
        tool: subprocess.Popen[str],
        jobs: Path,
        *,
        most_s: float,
        instead: Callable[[State, list[Line]], bool] = lambda state, lines: False,
    ) -> None:
        """Until the tool has ended. ``instead`` may do something else at a point, and says so by True."""
        end, answered, at = time.monotonic() + most_s, -1, 0.0
        while tool.poll() is None:
            assert time.monotonic() < end, f"not finished after {most_s} s; said {self.said[-5:]}"
            time.sleep(0.2)
            seen = self.state(jobs)
            if seen is None:
                continue
            state, lines = seen
            if len(lines) == answered and time.monotonic() - at < _AGAIN_S:
                continue
            if not instead(state, lines):
                text = self._answer(state)
                if not text:
                    continue
                time.sleep(_PAUSE_S)
                self._card.say(self.recording(text))
                self.said.append(text)
            answered, at = len(lines), time.monotonic()

    def answer_once(self, tool: subprocess.Popen[str], jobs: Path, *, most_s: float) -> None:
        """Say what the next question wants that was not answered yet."""
        end = time.monotonic() + most_s
        while tool.poll() is None:
            assert time.monotonic() < end
            time.sleep(0.1)
            seen = self.state(jobs)
            if seen is None or len(seen[1]) == self._once_at:
                continue
            text = self._answer(seen[0])
            if text:
                self._once_at = len(seen[1])
                time.sleep(_PAUSE_S)
                self._card.say(self.recording(text))
                self.said.append(text)
                return

    def state(self, jobs: Path) -> tuple[State, list[Line]] | None:
        """Where the job stands when the tool has said all it had to say, else None."""
        try:
            self.job = next(path.parent for path in jobs.glob("*/record.jsonl"))
            lines = read_log(self.job).lines
            book = job_book(self.job, lines[0].body)
            replayed = replay(book, in_present_form(lines))
        except (StopIteration, RecordError, IndexError):
            return None  # it is being written
        if replayed.missing or replayed.unspoken:
            return None
        self._book = book
        return replayed.machine.state, list(lines)

    def _answer(self, state: State) -> str:
        if all(label == "command" for label, _ in state.armed):
            return ""
        if state.mode in (Mode.CONFIRMING, Mode.SIGNING):
            return "affirmative"
        step = self._book.procedure.at(state.step)
        if state.mode is Mode.READING_BACK:
            return str(step.read_back)  # type: ignore[union-attr]
        return self._answers[state.step] if state.mode is Mode.ASKING else ""
