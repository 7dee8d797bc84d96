"""Jobs of a simulated technician through the real session: typed, with a recognizer's errors put in by seed.

In memory by default, for thousands of jobs; ``folder`` puts a job on disk as a real one, and its record must replay
to the same state before it counts as done.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from handsfree._wiring import Setup, build_engine
from handsfree.bench._channel import Arming, Channel, meaning_of
from handsfree.bench._crew import Crew
from handsfree.bench._sound_ears import SoundEars
from handsfree.bench._technician import Habits, Key, Technician
from handsfree.grammar import Armed
from handsfree.hearing import Engine, make_engine
from handsfree.limits import DEFAULT
from handsfree.procedure import (
    Book,
    Effect,
    Event,
    Machine,
    Mode,
    Prompts,
    Record,
    Resumed,
    Start,
    State,
    read_procedure,
)
from handsfree.procedure import _trial as trial
from handsfree.procedure._events import parse_exact
from handsfree.procedure._model import Choice, HoldPoint, Inspect, Reading
from handsfree.procedure._watch import Watch, observe
from handsfree.quantity import Quantity
from handsfree.record import read_log
from handsfree.session import (
    Closed,
    Ears,
    Heard,
    Job,
    Lost,
    NoView,
    Quiet,
    Session,
    SimulatedClock,
    create_job,
    open_job,
    packaged_procedure,
    prompts_text,
)
from handsfree.session._replay import replay
from handsfree.speaking import Played

__all__ = ["Outcome", "Work", "run_job"]

START_MS = 1_900_000_000_000
ABOUT = {"today": "2030-03-17", "practice": "simulated technician"}
#: Utterances without a new step before a job counts as stuck.
STUCK = 150
_REACTION_MS, _WORD_MS = 1200, 350


@dataclass(frozen=True, slots=True)
class Work:
    """What is to be simulated. ``sure_voice``: chance that a reply is played to its end; ``shop`` and ``expert``:
    shares of jobs that work by a shop's file, and with the short prompts; ``snr_db``: in sound, so many dB over pink
    noise, and then the noise makes the errors: the channel's rates count for nothing."""

    procedure: str
    habits: Habits = field(default_factory=Habits)
    substitution: float = 0.1
    rejection: float = 0.03
    chatter: float = 0.15
    sure_voice: float = 0.995
    shop: float = 0.5
    expert: float = 0.25
    snr_db: float | None = None


@dataclass(slots=True)
class Outcome:
    """One job: its ending, and counts by name (see ``_figures``)."""

    seed: int
    ending: str = ""
    counts: Counter[str] = field(default_factory=Counter)
    notes: list[str] = field(default_factory=list)
    seconds: float = 0.0


@dataclass(slots=True)
class _Entry:
    right: bool
    passes: bool  # whether the limits take what was really said
    how: str  # what he had said when it was recorded
    record: str  # its number, which a correction points at


class Account:
    """Sees every turn of the machine, and knows what the technician meant: what went wrong, and who could tell."""

    def __init__(self, technician: Technician, outcome: Outcome) -> None:
        self._technician, self._outcome = technician, outcome
        self._watch = Watch()
        self.entries: dict[Key, _Entry] = {}
        self.since_step = 0
        self._signed: tuple[str, str] | None = None  # the badge recorded last, and what he had said then

    def attach(self, machine: Machine) -> None:
        self._technician.machine = machine
        feed = machine.feed

        def watched(event: Event) -> list[Effect]:
            before = machine.state
            key = self._technician.key() if before.step else ("", -1, 0)
            effects = feed(event)
            self._turn(before, key, event, effects, machine.state)
            return effects

        machine.feed = watched  # type: ignore[method-assign]

    def _turn(self, before: State, key: Key, event: Event, effects: Sequence[Effect], after: State) -> None:
        procedure = self._technician.book.procedure
        self._watch, faults = observe(procedure, self._watch, before, event, effects, after)
        for fault in faults:
            self._outcome.counts["rules broken"] += 1
            self._outcome.notes.append(fault)
        for effect in effects:
            if isinstance(effect, Record):
                self._line(before, key, effect, after)
                self._outcome.counts[f"line {effect.kind}"] += 1
        self.since_step = (
            0 if any(isinstance(e, Record) and e.kind == "step" for e in effects) else self.since_step
        )

    def _line(self, before: State, key: Key, effect: Record, after: State) -> None:
        technician, body = self._technician, dict(effect.body)
        step = technician.book.procedure.at(key[0]) if key[0] else None
        if effect.kind == "reading" and isinstance(step, Reading):
            recorded = _value(body)
            said = technician.values.get(key)
            policy = technician.book.policy
            passes = said is not None and trial.judged(step, said, before.facts, policy) == "inside"
            went_on = after.mode is Mode.FINISHED or after.step != before.step
            # A height that was reached is disposed of as outside at once: that way is no limit passed.
            disposed = step.reached and after.step == technician.book.procedure.after(step.id, "outside")
            if went_on and not disposed and trial.judged(step, recorded, before.facts, policy) != "inside":
                self._outcome.counts["limits passed"] += 1
                self._outcome.notes.append(f"{step.id}: went on with {recorded}")
            self._enter(key, body, recorded == said, passes or not went_on)
        elif effect.kind == "inspect" and isinstance(step, Inspect):
            right = technician.answers.get(key) == body["outcome"]
            self._enter(key, body, right, body["outcome"] == "found")
        elif effect.kind == "answer" and isinstance(step, Choice):
            self._enter(key, body, technician.answers.get(key) == body["outcome"], passes=True)
        elif effect.kind == "hold_point" and isinstance(step, HoldPoint) and "supervisor" in str(body["by"]):
            # Not the disposition that is made anew in the same turn, after a corrected finding was released.
            meant = {"release": "released", "reject": "refused"}.get(technician.answers.get(key, ""))
            right = body["outcome"] == meant and technician.crew.supervisor in str(body["by"]).split()
            self._enter(key, body, right, body["outcome"] == "refused")
        elif effect.kind == "technician":
            self._outcome.counts["changes of technician"] += 1
            # One that was read at a step of the procedure is an entry like any other.
            read = isinstance(step, Reading) and before.mode is Mode.CONFIRMING
            self._signed = None if read else (str(body["badge"]), technician.last.kind)

    def _enter(self, key: Key, body: Mapping[str, object], right: bool, passes: bool) -> None:
        counts, how = self._outcome.counts, self._technician.last.kind
        counts["entries"] += 1
        if not right:
            counts["wrong entries"] += 1
            counts[f"wrong after {how}"] += 1
        replaced = body.get("replaces")
        self.entries = {k: e for k, e in self.entries.items() if not replaced or e.record != replaced}
        self.entries[key] = _Entry(right, right or passes, how, str(body["record"]))

    def stuck(self) -> str:
        """Called before each utterance: why the job ends here, "" while it goes on."""
        self.since_step += 1
        if self.since_step <= STUCK:
            return ""
        self._outcome.counts["deadlocks"] += 1
        self._outcome.notes.append(f"no progress at {self._technician.machine.state.step}")
        return "no progress"

    def heard(self, words: str, heard: str, accepted: bool, armed: Armed) -> None:
        """One utterance of his, and what was made of it."""
        counts, kind = self._outcome.counts, self._technician.last.kind
        counts["user turns"] += 1
        meant, got = meaning_of(armed.interpret(words)), meaning_of(armed.interpret(heard))
        if not accepted or got is None:
            counts["no matches"] += 1
        elif got != meant:
            counts["misheard"] += 1
        if kind not in ("command", "nothing", "yes", "no", "signs", "signs not"):
            counts["concepts"] += 1
            counts["concepts wrong"] += bool(not accepted or got != meant)
        if kind in ("yes", "no") and accepted and isinstance(got, tuple) and got != meant:
            swapped = {"yes", "no"} == {kind, dict(got[1]).get("answer")}
            counts["confirmations swapped"] += swapped
            counts[f"{kind} heard as its opposite"] += swapped

    def close(self, state: State) -> None:
        """What is wrong in the record that stands at the end of the job."""
        technician, counts = self._technician, self._outcome.counts
        technician.listen()
        finished = state.mode is Mode.FINISHED
        for (step, place, index), entry in self.entries.items():
            if place >= len(state.path) or state.path[place].step != step:
                continue
            counts["entries that stand"] += 1
            key = (step, place, index)
            if key in technician.true and technician.values.get(key) != technician.true[key]:
                counts["misreads never noticed"] += 1
            if entry.right:
                continue
            known = key in technician.wrong
            kind = "known wrong at the end" if known else "undetected after a misheard confirmation"
            if not known and entry.how in ("yes", "clear", "option", "found", "code"):
                kind = "undetected errors"
            counts[kind if finished else f"{kind}, job not closed"] += 1
            self._outcome.notes.append(f"{kind}: {step} (said {entry.how})")
            if finished and not entry.passes and not known:
                counts["limits passed by a wrong value"] += 1
        self._present(finished)
        counts.update(technician.counts)

    def _present(self, finished: bool) -> None:
        """Whether the record knows who works at the end."""
        crew, counts = self._technician.crew, self._outcome.counts
        if self._signed is None or self._signed[0] == crew.present:
            return
        kind = "known wrong at the end" if crew.wanted else "undetected after a misheard confirmation"
        if not crew.wanted and self._signed[1] == "signs":
            kind = "undetected errors"
        counts[kind if finished else f"{kind}, job not closed"] += 1
        self._outcome.notes.append(f"{kind}: badge {self._signed[0]}")


def _value(body: Mapping[str, object]) -> Quantity | str:
    if not body["unit"]:
        return str(body["value"])
    resolution = str(body["resolution"])
    return Quantity(
        parse_exact(str(body["value"])), str(body["unit"]), parse_exact(resolution) if resolution else None
    )


class SimulatedEars:
    """In place of a microphone: the technician, and the channel between him and the machine."""

    def __init__(
        self,
        technician: Technician,
        channel: Channel,
        clock: SimulatedClock,
        account: Account,
    ) -> None:
        self.engine: Engine = make_engine("typed")
        self._technician, self._channel, self._clock = technician, channel, clock
        self._account = account
        self._pick = random.Random(technician.seed + 1)

    def listen(self, armed: Armed, until: int | None, *, answer: bool) -> Heard | Quiet | Lost | Closed:
        stuck = self._account.stuck()
        if stuck:
            return Closed(stuck)
        technician, mode = self._technician, self._technician.machine.state.mode
        if until is not None and (self._waits(mode) or technician.silent()):
            self._clock.advance(max(0, until - self._clock.now()))
            return Quiet()
        words = technician.speak(armed)
        self._clock.advance(_REACTION_MS + _WORD_MS * len((words or "").split()))
        if words is None:
            return Quiet()
        hypothesis = self._channel.hear(words, armed)
        self._account.heard(words, hypothesis.text, hypothesis.accepted, armed)
        return Heard(hypothesis)

    def _waits(self, mode: Mode) -> bool:
        return mode is Mode.WAITING and not self._technician.wrong and self._pick.random() > 0.05

    def close(self) -> None:
        self.engine.close()


class _Memory:
    """A record that is kept nowhere, for the thousands."""

    head = "0" * 64  # no line has a hash here
    folder = Path()  # and no folder keeps a sound

    def append(self, entries: Sequence[Mapping[str, object]]) -> None: ...
    def keep_audio(self, pcm: bytes, rate: int = 16000) -> str:
        return ""

    def close(self) -> None: ...


class _Voice:
    """Replies of the length of their words, now and then cut off; the technician hears what was played whole."""

    def __init__(self, technician: Technician, sure: float, outcome: Outcome) -> None:
        self._technician, self._sure, self._outcome = technician, sure, outcome
        self._pick = random.Random(technician.seed + 2)

    def say(self, text: str, interruptible: bool = False) -> Played:
        self._outcome.counts["system turns"] += 1
        frames = 16 * _WORD_MS * max(1, len(text.split()))
        whole = self._pick.random() < self._sure
        return Played(frames if whole else frames // 2, frames, 16000)

    def chime(self, name: str) -> Played:
        return Played(160, 160, 16000)

    def close(self) -> None: ...


class _Listening(NoView):
    """The technician's ears: everything the tool says, as it says it."""

    def __init__(self, technician: Technician) -> None:
        self._technician = technician

    def said(self, text: str, kind: str) -> None:
        self._technician.said(text, kind)


def run_job(work: Work, seed: int, arming: Arming, folder: Path | None = None) -> Outcome:
    """One job to its end. With ``folder`` on disk, opened again from there after a stop, and replayed at the end."""
    outcome = Outcome(seed)
    clock = SimulatedClock(START_MS)
    drawn = random.Random(seed + 4)
    crew = Crew(drawn.random() < work.shop)
    about = {**ABOUT, **crew.about} | ({"expert": "yes"} if drawn.random() < work.expert else {})
    job = _job(work, about, clock, folder)
    technician = Technician(job.machine.book, job.machine, seed, arming, crew, work.habits)
    account = Account(technician, outcome)
    channel = Channel(
        seed + 3, substitution=work.substitution, rejection=work.rejection, chatter=work.chatter
    )
    while True:
        account.attach(job.machine)
        session = Session(
            job.machine,
            library=arming,  # type: ignore[arg-type]
            ears=_ears(work, technician, channel, clock, account),
            speaker=_Voice(technician, work.sure_voice, outcome),  # type: ignore[arg-type]
            log=job.log,
            clock=clock,
            view=_Listening(technician),
            people=crew.people,
        )
        try:
            outcome.ending = session.run(job.first)
        finally:
            session.close()
        if outcome.ending != "stopped" or technician.gave_up or outcome.counts["reopened"] >= 20:
            break
        outcome.counts["reopened"] += 1
        clock.advance(600_000)
        job, clock = _again(job, clock, folder)
    account.close(job.machine.state)
    outcome.counts["substituted"] = channel.substituted
    outcome.seconds = (clock.now() - START_MS) / 1000
    if folder is not None:
        _replayed(folder, job.machine, outcome)
    return outcome


def _ears(
    work: Work, technician: Technician, channel: Channel, clock: SimulatedClock, account: Account
) -> Ears:
    if work.snr_db is None:
        return SimulatedEars(technician, channel, clock, account)
    engine = build_engine(Setup())
    return SoundEars(technician, engine, clock, work.snr_db, account.stuck, account.heard)


@cache
def _book(name: str) -> Book:
    return Book(read_procedure(packaged_procedure(name)), Prompts(prompts_text()), DEFAULT)


def _job(work: Work, about: Mapping[str, str], clock: SimulatedClock, folder: Path | None) -> Job:
    if folder is not None:
        text = packaged_procedure(work.procedure)
        return create_job(
            folder,
            procedure=text,
            prompts=prompts_text(),
            about=dict(about),
            pins={"engine": "simulated"},
            clock=clock,
        )
    start = Start(clock.now(), tuple(sorted(about.items())))
    return Job(Machine(_book(work.procedure)), _Memory(), start)  # type: ignore[arg-type]


def _again(job: Job, clock: SimulatedClock, folder: Path | None) -> tuple[Job, SimulatedClock]:
    if folder is None:
        machine = Machine(job.machine.book, job.machine.state)
        return Job(machine, job.log, Resumed(clock.now())), clock
    later = SimulatedClock(clock.now())
    opened, _ = open_job(folder, lambda not_before: later)
    return Job(opened.machine, opened.log, Resumed(later.now())), later


def _replayed(folder: Path, machine: Machine, outcome: Outcome) -> None:
    """The record on disk, fed to a new machine, must say the same and end in the same state."""
    replayed = replay(machine.book, read_log(folder).lines)
    outcome.counts["replayed"] += 1
    if replayed.missing or replayed.machine.state != machine.state:
        outcome.counts["rules broken"] += 1
        outcome.notes.append("the record does not replay to the live state")
