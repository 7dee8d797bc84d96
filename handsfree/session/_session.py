"""The only loop: listen, make an event of it, feed the machine, do what it says."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType

from handsfree.grammar import Armed, Interpretation, Library
from handsfree.procedure import (
    Arm,
    Chime,
    Command,
    DeviceBack,
    DeviceLost,
    Effect,
    Event,
    Finish,
    Machine,
    NoInput,
    NoMatch,
    Record,
    Resumed,
    Say,
    SetAside,
    Spoken,
    Start,
    TakenUp,
    TimerDue,
    event_body,
)
from handsfree.record import WITHHELD, JobLog, RecordError
from handsfree.session._clock import Clock
from handsfree.session._ears import (
    AudioEars,
    Back,
    Closed,
    Ears,
    Heard,
    Level,
    Lost,
    Nobody,
    Quiet,
    TypedEars,
)
from handsfree.session._heard import BAY, TOO_NOISY, event_of, evidence, meaning_of, room_level
from handsfree.session._job import Job
from handsfree.session._people import People
from handsfree.session._replay import entry
from handsfree.session._view import NoView, View
from handsfree.speaking import Played, Speaker, SpeakingError

__all__ = ["TIRE_NAMES", "UNFINISHED", "Session", "Tire"]

UNFINISHED = "unfinished"
STOPPED = "stopped"
#: Jobs open at once are told apart by the ICAO spelling alphabet (Annex 10 vol. II, 5.2.1.3); a car has four wheels.
TIRE_NAMES = ("alfa", "bravo", "charlie", "delta")
_MOST_ARMED = 8  # grammars kept, about 1 MB each; arming one anew takes some milliseconds
_LOOK_AGAIN_MS = 5000  # how often a lost microphone is looked for


@dataclass(slots=True)
class _Listening:
    """What is armed now, since when, and when silence is to be remarked on."""

    armed: Armed | None = None
    grammar: tuple[tuple[str, str], ...] = ()
    answer: bool = False
    quiet_at: int | None = None


@dataclass(slots=True, eq=False)
class Tire:
    """One job that is open in the bay, and its spoken name."""

    machine: Machine
    log: JobLog
    name: str = TIRE_NAMES[0]
    outcome: str = ""
    listening: _Listening = field(default_factory=_Listening)

    @property
    def due(self) -> int | None:
        return None if self.outcome else self.machine.state.next_due


class Session:
    """Runs a job, or several, from an event to the end. All I/O parts are given; ``run`` returns the outcome.

    One job is listened to; the others are on hold, their waits run on and are announced by name. ``another``
    makes a new job of that name; without it there is one job and nothing is said of others. ``spare`` gives other
    ears (the keyboard) when the microphone is lost, and ``comeback`` the microphone again as soon as it is there;
    without either the session ends there and the jobs can be opened again.
    """

    def __init__(
        self,
        machine: Machine,
        *,
        library: Library,
        ears: Ears,
        speaker: Speaker,
        log: JobLog,
        clock: Clock,
        view: View | None = None,
        spare: Callable[[], Ears] | None = None,
        comeback: Callable[[], Ears | None] | None = None,
        people: People | None = None,
        name: str = TIRE_NAMES[0],
        another: Callable[[str], Job] | None = None,
    ) -> None:
        self._active = Tire(machine, log, name)
        self._tires = [self._active]
        self._library = library
        self._ears = ears
        self._speaker = speaker
        self._clock = clock
        self._view = view or NoView()
        self._spare = spare
        self._keyboard: Ears | None = None
        self._comeback = comeback
        self._away = False  # the microphone is lost
        self._people = people or People()
        self._another = another
        self._speech_dbfs: float | None = None  # of what was last understood
        self._cache: dict[tuple[tuple[str, str], ...], Armed] = {}
        self._ended = ""

    @property
    def machine(self) -> Machine:
        """The machine of the job that is listened to."""
        return self._active.machine

    @property
    def log(self) -> JobLog:
        return self._active.log

    @property
    def outcome(self) -> str:
        """How the session ended, "" while it goes on."""
        last = self._active.outcome
        if self._ended or last == STOPPED or all(tire.outcome for tire in self._tires):
            return self._ended or last
        return ""

    @property
    def outcomes(self) -> list[tuple[Path, str]]:
        """Every job's folder and outcome."""
        return [(tire.log.folder, tire.outcome or UNFINISHED) for tire in self._tires]

    def run(self, first: Event, beside: Sequence[tuple[Tire, Event]] = ()) -> str:
        """Feed ``first`` (Start or Resumed), then everything that happens, until the jobs end or input does.

        ``beside``: jobs opened again that wait until they are called, with their first event.
        """
        self._view.begin(self._clock.now, self._level)
        try:
            for tire, event in beside:
                self._tires.append(tire)
                self.feed(replace(event, aside=tire.name) if isinstance(event, Resumed) else event, tire)
                if isinstance(event, Start):  # it was cut off before its first event
                    self.feed(SetAside(self._clock.now(), tire.name), tire)
            self.feed(first)
            while not self.outcome:
                self._turn()
        finally:
            self._view.end()
        return self.outcome

    def _level(self) -> Level | None:
        ears = self._ears
        return ears.level if isinstance(ears, AudioEars) else None

    def close(self) -> None:
        """Give back the ears and the jobs."""
        self._ears.close()
        for tire in self._tires:
            tire.log.close()

    def feed(
        self, event: Event, tire: Tire | None = None, extra: Mapping[str, object] = MappingProxyType({})
    ) -> None:
        """One event: its line and the lines it causes are durable before the first word is spoken.

        ``extra`` goes into the event's line beside what the machine is told.
        """
        tire = tire or self._active
        effects = tire.machine.feed(event)
        lines: list[dict[str, object]] = [{**event_body(event), **extra, "kind": "event"}]
        lines += [entry(effect) for effect in effects if isinstance(effect, Record)]
        tire.log.append(lines)
        for effect in effects:
            if isinstance(effect, Record):
                self._view.recorded(effect)
        if tire is self._active:  # what waits beside it is told aloud, not shown
            self._view.stands(tire.machine.book, tire.machine.state)
        spoken = [self._perform(effect, tire) for effect in effects]
        for effect, played in zip(effects, spoken, strict=True):
            if isinstance(effect, Say) and played is not None:
                # Only now has it been said.
                self.feed(
                    Spoken(self._clock.now(), effect.id, played),
                    tire,
                    {"text": effect.text, "say_kind": effect.kind},
                )

    def _perform(self, effect: Effect, tire: Tire | None = None) -> bool | None:
        tire = tire or self._active
        match effect:
            case Say(text=text, kind=kind, barge_in=barge_in):
                self._view.said(text, kind)
                return self._played(lambda: self._speaker.say(text, interruptible=barge_in))
            case Chime(name=name):
                self._played(lambda: self._speaker.chime(name))
            case Arm():
                self._arm(effect, tire)
            case Finish(outcome=outcome):
                tire.outcome = outcome
            case _:
                pass  # timers are kept in the machine's state; Records are written already
        return None

    def _played(self, play: Callable[[], Played]) -> bool:
        """Whether it came out whole. A dead loudspeaker is said on the screen and counts as not spoken."""
        try:
            played = play()
        except SpeakingError as error:
            self._view.note(str(error))
            return False
        self._clock.advance(played.played_ms)
        return played.completed

    def _arm(self, effect: Arm, tire: Tire) -> None:
        if not effect.grammar:
            tire.listening = _Listening()
            return
        grammar = effect.grammar + self._bay_grammar(effect, tire)
        armed = self._cache.pop(grammar, None) or self._library.arm(dict(self._people.fill(grammar)))
        self._cache[grammar] = armed  # the newest last
        if len(self._cache) > _MOST_ARMED:
            del self._cache[next(iter(self._cache))]
        answer = any(label != "command" for label, _ in effect.grammar)
        silence = None if effect.no_input_s is None else 1000 * effect.no_input_s
        tire.listening = _Listening(armed, effect.grammar, answer, silence)

    def _turn(self) -> None:
        if self._active.outcome:
            self._take_up(next(tire for tire in reversed(self._tires) if not tire.outcome))
            return
        listening = self._active.listening
        if listening.armed is None:
            raise RuntimeError("the machine armed nothing and did not finish")
        now = self._clock.now()
        due = min((tire.due for tire in self._tires if tire.due is not None), default=None)
        quiet_at = None if listening.quiet_at is None else now + listening.quiet_at
        until = min((t for t in (due, quiet_at) if t is not None), default=None)
        self._view.listening()
        result = self._listen(listening.armed, until, answer=listening.answer)
        now = self._clock.now()
        match result:
            case Heard():
                self._heard(result, listening)
            case Lost(device=device, reason=reason):
                self._lost(device, reason)
            case Back(ears=ears):
                self._back(ears)
            case Closed(reason=reason):
                self._closed(reason)
            case _ if due is not None and now >= due:
                self._timer(now)
            case _:
                level = room_level(self._speech_dbfs, getattr(self._ears, "noise_dbfs", None))
                self.feed(NoMatch(now, "", TOO_NOISY, level) if level else NoInput(now))

    def _listen(
        self, armed: Armed, until: int | None, *, answer: bool
    ) -> Heard | Quiet | Lost | Closed | Back:
        """Wait for one utterance. While the microphone is away it is looked for now and then."""
        while self._away and self._comeback is not None:
            look_at = self._clock.now() + _LOOK_AGAIN_MS
            if until is not None and until <= look_at:
                break
            result = self._ears.listen(armed, look_at, answer=answer)
            if not isinstance(result, Quiet):
                return result
            ears = self._comeback()
            if ears is not None:
                return Back(ears)
        return self._ears.listen(armed, until, answer=answer)

    def _timer(self, now: int) -> None:
        tire = min((t for t in self._tires if t.due is not None), key=lambda t: t.due or 0)
        several = sum(not t.outcome for t in self._tires) > 1
        self.feed(TimerDue(now, tire.name if several else ""), tire)

    def _heard(self, heard: Heard, listening: _Listening) -> None:
        assert listening.armed is not None
        event = event_of(heard, listening.armed, self._people, self._clock.now())
        meaning = meaning_of(heard, listening.armed)
        secret = self._people.withholds(listening.grammar, heard.hypothesis.text)
        if secret and not isinstance(event, Command):
            heard = replace(heard, hypothesis=self._people.veiled(heard.hypothesis))
            event = replace(event, text=heard.hypothesis.text)
        if heard.utterance is not None and not isinstance(event, NoMatch):
            self._speech_dbfs = heard.utterance.speech_dbfs
        kept = evidence(heard, self._sound(heard, secret))
        if meaning is not None and meaning.label == BAY and not isinstance(event, NoMatch):
            self._switch(meaning, heard, kept)
            return
        self._view.heard(heard, event)
        self.feed(event, extra=kept)

    def _sound(self, heard: Heard, secret: bool) -> str:
        """Where the utterance is kept; a code word's sound, and whatever was said in its place, is not."""
        if heard.utterance is None or secret:
            return WITHHELD
        return self.log.keep_audio(heard.utterance.pcm)

    # -- more than one tire ----------------------------------------------------------------------------

    def _bay_grammar(self, effect: Arm, tire: Tire) -> tuple[tuple[str, str], ...]:
        """What may be said of the other tires, beside the commands."""
        if self._another is None or "command" not in dict(effect.grammar):
            return ()
        names = [f"tire_{other.name}" for other in self._tires if other is not tire and not other.outcome]
        names += ["another_tire"] if self._free_name() else []
        return ((BAY, " | ".join(f"<commands.{name}>" for name in names)),) if names else ()

    def _free_name(self) -> str:
        return next((n for n in TIRE_NAMES if n not in {tire.name for tire in self._tires}), "")

    def _switch(self, meaning: Interpretation, heard: Heard, kept: dict[str, object]) -> None:
        wanted, now = meaning.slot(BAY), self._clock.now()
        job: Job | None = None
        if wanted == "another" and self._another is not None:
            try:
                job = self._another(self._free_name())
            except RecordError as error:
                self._view.note(str(error))
                self.feed(NoMatch(now, meaning.text, str(error)), extra=kept)
                return
        aside = SetAside(now, self._active.name)
        self._view.heard(heard, aside)
        self.feed(aside, extra={"text": meaning.text, **kept})
        if job is None:
            self._take_up(next(tire for tire in self._tires if tire.name == wanted))
            return
        self._active = Tire(job.machine, job.log, self._free_name())
        self._tires.append(self._active)
        self.feed(job.first)

    def _take_up(self, tire: Tire) -> None:
        self._active = tire
        self.feed(TakenUp(self._clock.now(), tire.name))

    # -- a microphone that goes and comes --------------------------------------------------------------

    def _lost(self, device: str, reason: str) -> None:
        self._view.note(reason)
        self.feed(DeviceLost(self._clock.now(), device))
        gone, self._away = self._ears, True
        if self._keyboard is None and self._spare is not None:
            self._keyboard = self._spare()
            self._ears = self._keyboard
        elif self._keyboard is not None and gone is not self._keyboard:
            self._ears = self._keyboard
        else:
            self._without_ears(UNFINISHED)
        if gone is not self._ears:
            gone.close()

    def _without_ears(self, outcome: str) -> None:
        """Nobody can be heard: wait for the microphone if it may come back, else end here."""
        if self._comeback is None:
            self._ended = outcome
        else:
            self._ears = Nobody(self._ears.engine, self._clock)

    def _back(self, ears: Ears) -> None:
        """Listen by the microphone again; what is typed is still taken."""
        if isinstance(ears, AudioEars) and isinstance(self._keyboard, TypedEars):
            ears.beside = self._keyboard.typed
        self._ears, self._away = ears, False
        self.feed(DeviceBack(self._clock.now(), "microphone"))

    def _closed(self, reason: str) -> None:
        self._view.note(f"{reason}; the job stays open at step {self.machine.state.step}")
        if self._away and self._comeback is not None:
            self._keyboard = self._spare = None
            self._without_ears(UNFINISHED)
        else:
            self._ended = UNFINISHED
