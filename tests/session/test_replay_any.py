"""Whatever happens to a job, its record on disk says what the machine did, byte for byte, when it is fed again."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule
from procedure.conftest import EVERY_KIND
from procedure.driving import CLEAR, FOUND, START_MS, armed_for, book_of

from handsfree.procedure import DeviceBack, DeviceLost, Mode, NoInput, Record, TimerDue, event_from_body
from handsfree.procedure import Machine as FreshMachine
from handsfree.record import read_log
from handsfree.record._line import build
from handsfree.record._read import RECORD
from handsfree.session import Job, Session, SimulatedClock
from handsfree.session._bay import Listening
from handsfree.session._replay import entry, replay
from handsfree.speaking import Clip, NullPlayer, Played

from .bay import Scripted, heard, new_job, reopen, session

BOOK = book_of(EVERY_KIND)
WORDS = [
    "fabric ply", "affirmative", "affirmative", "affirmative", "negative", "five", "seven point two",
    "a quarter", CLEAR, CLEAR, FOUND, "supervisor release one two", "no flame", "completed", "pass one", "pass two",
    "two zero degrees celsius", "five zero percent", "measure again", "out of limits", "say again", "hold work",
    "resume work", "go back", "correction", "what is the limit", "time left", "stop work",
    "r\u00e9sum\u00e9 \u4e2d \U0001f527",
]  # fmt: skip


class _Player(NullPlayer):
    """Plays to the end, or half of it."""

    works = True

    def play(self, clip: Clip, interruptible: bool = False) -> Played:
        played = super().play(clip, interruptible)
        return played if self.works else Played(played.total // 2, played.total, played.rate)


class AnyJob(RuleBasedStateMachine):
    """A job with a real record, through everything a day can bring."""

    def __init__(self) -> None:
        super().__init__()
        memory = Path("/dev/shm")
        self.root = Path(tempfile.mkdtemp(dir=memory if memory.is_dir() else None))
        self.folder = self.root / "job"
        self.player = _Player()
        self.clock = SimulatedClock(START_MS)
        self._sit_down(new_job(self.folder, EVERY_KIND, self.clock))

    def _sit_down(self, job: Job) -> None:
        self.job = job
        self.session: Session = session(job, self.clock, Scripted(), player=self.player)
        self.session.feed(job.first)

    @initialize()
    def begins(self) -> None:
        pass

    @property
    def over(self) -> bool:
        return self.job.machine.state.mode in (Mode.FINISHED, Mode.STOPPED)

    @rule(words=st.lists(st.sampled_from(WORDS), min_size=1, max_size=4), accepted=st.booleans())
    def says(self, words: list[str], accepted: bool) -> None:
        for text in words:
            state = self.job.machine.state
            if self.over or not state.armed:
                return
            self.clock.advance(900)
            self.session._heard(
                heard(text, accepted=accepted or len(words) > 1),
                Listening(armed_for(state.armed), state.armed),
            )

    @rule(lines=st.integers(1, 8), data=st.data())
    def answers_well(self, lines: int, data: st.DataObject) -> None:
        for _ in range(lines):
            state = self.job.machine.state
            fitting = [w for w in WORDS[:20] if state.armed and armed_for(state.armed).interpret(w)]
            if self.over or not fitting:
                return
            self.session._heard(
                heard(data.draw(st.sampled_from(fitting))), Listening(armed_for(state.armed), state.armed)
            )

    @rule(seconds=st.sampled_from([0, 10, 200, 900]))
    def time_goes_by(self, seconds: int) -> None:
        self.clock.advance(1000 * seconds)
        self.session.feed(TimerDue(self.clock.now()))

    @rule()
    def is_silent(self) -> None:
        self.session.feed(NoInput(self.clock.now()))

    @rule(lost=st.booleans())
    def device(self, lost: bool) -> None:
        self.session.feed((DeviceLost if lost else DeviceBack)(self.clock.now(), "microphone"))

    @rule(works=st.booleans())
    def voice(self, works: bool) -> None:
        self.player.works = works

    @rule(torn=st.integers(0, 40), after=st.sampled_from([0, 60, 7200]))
    def power_goes(self, torn: int, after: int) -> None:
        """Between two lines or within the last one, which then never was."""
        self.session.close()
        path = self.folder / RECORD
        content = path.read_bytes()
        kept = len(content) - torn
        if kept > content.index(b"\n"):
            path.write_bytes(content[:kept])
        if self.job.machine.state.mode is Mode.FINISHED:
            path.write_bytes(content)
            self._begin_anew()
            return
        job, clock = reopen(self.folder, after)
        assert isinstance(clock, SimulatedClock)
        self.clock = clock
        self._sit_down(job)

    def _begin_anew(self) -> None:
        self._same()
        shutil.rmtree(self.folder)
        self.clock = SimulatedClock(START_MS)
        self._sit_down(new_job(self.folder, EVERY_KIND, self.clock))

    def _same(self) -> None:
        """Every line that the machine calls for, made anew from the events alone, is the line on disk."""
        lines = read_log(self.folder).lines
        replayed = replay(BOOK, lines)
        assert replayed.missing == ()
        assert replayed.machine.state == self.job.machine.state
        machine, due, made = FreshMachine(BOOK), [], []
        prev = lines[0].prev
        for line in lines:
            if line.kind == "event":
                effects = machine.feed(event_from_body(line.body))
                due = [entry(effect) for effect in effects if isinstance(effect, Record)]
                body: dict[str, object] = {**line.body, "kind": "event"}
            else:
                own = line.kind in ("open", "recovered", "note")
                body = {**line.body, "kind": line.kind} if own else due.pop(0)
            made.append(build(body, line.seq, prev, line.at, line.mono_ms))
            prev = made[-1].hash
        assert b"".join(line.encode() for line in made) == (self.folder / RECORD).read_bytes()

    def teardown(self) -> None:
        self.session.close()
        try:
            self._same()
        finally:
            shutil.rmtree(self.root)


TestAnyJob = AnyJob.TestCase
TestAnyJob.settings = settings(
    max_examples=20, stateful_step_count=12, deadline=None, suppress_health_check=list(HealthCheck)
)
