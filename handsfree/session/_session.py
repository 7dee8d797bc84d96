"""The only loop: listen, make an event of it, feed the machine, do what it says."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

from handsfree.audio import FRAME_MS
from handsfree.grammar import Armed, Interpretation, Library
from handsfree.hearing import EngineError
from handsfree.procedure import (
    HERE,
    NOT_BEGUN,
    NOT_HELD,
    TYPED,
    Answer,
    Arm,
    Chime,
    Command,
    DeviceBack,
    DeviceLost,
    Effect,
    Event,
    Finish,
    Machine,
    Mode,
    NoInput,
    NoMatch,
    Record,
    Resumed,
    Say,
    Sealed,
    SetAside,
    Spoken,
    TakenUp,
    TimerDue,
    event_body,
)
from handsfree.record import WITHHELD, JobLog, RecordError, check_words
from handsfree.session._bay import BAY, TIRE_NAMES, Bay, Listening, Tire
from handsfree.session._clock import Clock
from handsfree.session._ears import Back, Closed, Ears, Heard, Lost
from handsfree.session._heard import NO_ANSWER, TOO_NOISY, event_of, evidence, meaning_of, room_level
from handsfree.session._job import Job
from handsfree.session._kept_ears import KeptEars
from handsfree.session._people import People
from handsfree.session._replay import entry
from handsfree.session._twice import Twice
from handsfree.session._view import NoView, View
from handsfree.session._voices import Voices, voice_in
from handsfree.speaking import Played, Speaker, SpeakingError

__all__ = ["UNFINISHED", "Session"]

UNFINISHED = "unfinished"
STOPPED = "stopped"
_MOST_ARMED = 8  # grammars kept, about 1 MB each; arming one anew takes some milliseconds


class Session:
    """Runs a job, or several, from an event to the end. All I/O parts are given; ``run`` returns the outcome.

    One job is listened to; the others are on hold, their waits run on and are announced by name. ``another``
    makes a new job of that name; without it there is one job and nothing is said of others. ``spare`` gives other
    ears (the keyboard) when the microphone is lost, and ``comeback`` the microphone again as soon as it is there;
    without either the session ends there and the jobs can be opened again. ``speaker_in`` gives the speaker of a
    job's folder where each job keeps its own replies; without it ``speaker`` speaks for all. ``voices`` knows the
    voices that are enrolled; without it everybody is heard as anybody.
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
        speaker_in: Callable[[Path], Speaker] | None = None,
        voices: Voices | None = None,
    ) -> None:
        self._bay = Bay(Tire(machine, log, name), another)
        self._library = library
        self._ears = KeptEars(ears, clock, spare, comeback)
        self._speaker, self._speaker_in = speaker, speaker_in
        self._clock = clock
        self._view = view or NoView()
        self._people = people or People()
        self._voices = voices
        self._speech_dbfs: float | None = None  # of what was last understood
        self._twice = Twice()
        self._cache: dict[tuple[tuple[str, str], ...], Armed] = {}
        self._ended = ""
        self._barged = False  # somebody began to speak in this turn's prompt

    @property
    def machine(self) -> Machine:
        """The machine of the job that is listened to."""
        return self._bay.active.machine

    @property
    def log(self) -> JobLog:
        return self._bay.active.log

    @property
    def outcome(self) -> str:
        """How the session ended, "" while it goes on."""
        last = self._bay.active.outcome
        over = last == STOPPED or not any(self._bay.open)
        return self._ended or (last if over else "")

    @property
    def outcomes(self) -> list[tuple[Path, str]]:
        """Every job's folder and outcome."""
        return [(tire.log.folder, tire.outcome or UNFINISHED) for tire in self._bay.tires]

    @property
    def tires(self) -> list[tuple[Path, str, str]]:
        """The same with the tire's spoken name, "" where there was one tire only."""
        several = len(self._bay.tires) > 1
        names = [tire.name if several else "" for tire in self._bay.tires]
        return [(*ended, name) for ended, name in zip(self.outcomes, names, strict=True)]

    def run(self, first: Event, beside: Sequence[tuple[Tire, Event]] = ()) -> str:
        """Feed ``first`` (Start or Resumed), then everything that happens, until the jobs end or input does.

        ``beside``: jobs opened again that wait until they are called, with their first event.
        """
        self._view.begin(self._clock.now, lambda: self._ears.level)
        try:
            for tire, event in beside:
                self._bay.add(tire)
                if isinstance(event, Resumed):
                    self.feed(replace(event, tire=tire.name, aside=True), tire)
                else:  # it was cut off before its first event
                    self.feed(event, tire)
                    self.feed(SetAside(self._clock.now(), tire.name), tire)
            if beside and isinstance(first, Resumed):
                first = replace(first, tire=self._bay.active.name)
            self.feed(first)
            self._seal_finished()
            while not self.outcome:
                self._turn()
                self._seal_finished()
        finally:
            self._view.end()
        return self.outcome

    def _seal_finished(self) -> None:
        """The last words on a tire: what somebody can write down and later hold against its record."""
        for tire in self._bay.tires:
            state, prompts = tire.machine.state, tire.machine.book.prompts.templates
            # A job begun before there were check words has none.
            if state.mode is Mode.FINISHED and not state.sealed and "check_words" in prompts:
                head = tire.log.head
                self.feed(Sealed(self._clock.now(), head, check_words(head)), tire)

    def close(self) -> None:
        """Give back the ears and the jobs."""
        self._ears.close()
        for tire in self._bay.tires:
            tire.log.close()

    def feed(
        self, event: Event, tire: Tire | None = None, extra: Mapping[str, object] = MappingProxyType({})
    ) -> None:
        """One event: its line and the lines it causes are durable before the first word is spoken.

        ``extra`` goes into the event's line beside what the machine is told.
        """
        tire = tire or self._bay.active
        here = tire is self._bay.active
        effects = tire.machine.feed(event)
        lines: list[dict[str, object]] = [{**event_body(event), **extra, "kind": "event"}]
        lines += [entry(effect) for effect in effects if isinstance(effect, Record)]
        tire.log.append(lines)
        self._view.turned(*self._bay.told())
        for effect in effects:
            if isinstance(effect, Record):
                self._view.recorded(effect) if here else self._view.recorded_beside(tire.name, effect)
        if here:  # what waits beside it is told aloud; of it only its own lines are kept
            self._view.stands(tire.machine.book, tire.machine.state)
            self._hear_as(tire)
        else:
            self._view.stands_beside(tire.name, tire.machine.state)
        self._barged = False
        spoken = [self._perform(effect, tire, effects[at + 1 :]) for at, effect in enumerate(effects)]
        barged, self._barged = self._barged, False
        for effect, played in zip(effects, spoken, strict=True):
            if isinstance(effect, Say) and played is not None:
                # Only now has it been said.
                cut = {"cut_by": "speech"} if barged and not played else {}
                self.feed(
                    Spoken(self._clock.now(), effect.id, played),
                    tire,
                    {"text": effect.text, "say_kind": effect.kind, **cut},
                )

    def _hear_as(self, tire: Tire) -> None:
        """From the next utterance on the recognizer hears whoever is signed in at this tire; the record says when
        that is another adaptation than before."""
        if self._voices is None:
            return
        whose = self._voices.whose(tire.machine.state)
        try:
            self._ears.use(whose.adaptation)
        except EngineError as error:
            whose = self._voices.unusable(tire.machine.state, str(error))
            self._ears.use(None)
        if tire.voice is None:
            tire.voice = voice_in(tire.log.lines)
        told = bool(whose.trouble) and self._voices.tell(whose)
        if told:
            self._view.note(f"{whose.trouble}; heard without it")
        if whose.sha256 == tire.voice and not told:
            return
        tire.voice = whose.sha256
        tire.log.append([{"kind": "voice", "adaptation": whose.sha256, "why": whose.why}])

    def _perform(self, effect: Effect, tire: Tire | None = None, after: Sequence[Effect] = ()) -> bool | None:
        """``after``: the effects of the same turn that follow."""
        tire = tire or self._bay.active
        match effect:
            case Say() | Chime() if self._barged:
                return False  # somebody speaks: what would have followed is cut off with what was said
            case Say(text=text, kind=kind, barge_in=barge_in):
                self._view.said(self._named(text, tire), kind)
                speaker = self._speaker_of(tire)
                speaks = self._overhearing(tire, after) if barge_in else None
                if speaks is None:
                    self._ears.turn_away()
                    return self._played(lambda: speaker.say(text, interruptible=barge_in))
                whole = self._played(lambda: speaker.say(text, True, cut=speaks), heard=True)
                self._barged = self._ears.spoken_to
                return whole
            case Chime(name=name):
                self._played(lambda: self._speaker_of(tire).chime(name))
            case Arm():
                tire.listening = self._listening(effect, tire)
            case Finish(outcome=outcome):
                tire.outcome = outcome
            case _:
                pass  # timers are kept in the machine's state; Records are written already
        return None

    def _named(self, text: str, tire: Tire) -> str:
        """What is shown of a sentence: with its tire's name where another one's stands over it, now or in a moment,
        since the last words on a finished tire are still there when the next one is taken up."""
        elsewhere = tire is not self._bay.active or tire.machine.state.mode is Mode.FINISHED
        name = f"Tire {tire.name}"
        if len(self._bay.tires) < 2 or not elsewhere or text.startswith(name):
            return text
        return f"{name}: {text}"

    def _overhearing(self, tire: Tire, after: Sequence[Effect]) -> Callable[[], bool] | None:
        """What tells whether somebody speaks, while a prompt plays that may be cut off; else None.

        Nothing is cut off before something that must be heard: who speaks then has not heard all that he answers.
        """
        if any(isinstance(effect, Say) and not effect.barge_in for effect in after):
            return None
        arm = next((effect for effect in after if isinstance(effect, Arm)), None)
        listening = tire.listening if arm is None else self._listening(arm, tire)
        if tire is not self._bay.active or listening.armed is None:
            return None
        question = not any(isinstance(effect, Say) for effect in after)
        return self._ears.overhear(listening.armed, listening.answer, question=question)

    def _speaker_of(self, tire: Tire) -> Speaker:
        return self._speaker if self._speaker_in is None else self._speaker_in(tire.log.folder)

    def _played(self, play: Callable[[], Played], *, heard: bool = False) -> bool:
        """Whether it came out whole. A dead loudspeaker is said on the screen and counts as not spoken.

        ``heard``: it was listened meanwhile, and the clock went on with that.
        """
        try:
            played = play()
        except SpeakingError as error:
            self._view.note(
                f"{error}; or stop work, and resume with --replies text: it is read on the screen"
            )
            return False
        if not heard:
            self._clock.advance(played.played_ms)
        return played.completed

    def _listening(self, effect: Arm, tire: Tire) -> Listening:
        if not effect.grammar:
            return Listening()
        command = dict(effect.grammar).get("command")
        grammar = effect.grammar + (() if command is None else self._bay.beside(tire, command))
        armed = self._arm(grammar)
        answer = any(label != "command" for label, _ in effect.grammar)
        silence = None if effect.no_input_s is None else 1000 * effect.no_input_s
        return Listening(armed, effect.grammar, answer, silence)

    def _arm(self, grammar: tuple[tuple[str, str], ...]) -> Armed:
        armed = self._cache.pop(grammar, None) or self._library.arm(dict(self._people.fill(grammar)))
        self._cache[grammar] = armed  # the newest last
        if len(self._cache) > _MOST_ARMED:
            del self._cache[next(iter(self._cache))]
        return armed

    def _turn(self) -> None:
        if self._bay.active.outcome:
            self._take_up(self._bay.next_open())
            return
        listening = self._bay.active.listening
        if listening.armed is None:
            raise RuntimeError("the machine armed nothing and did not finish")
        now, due = self._clock.now(), self._bay.due
        quiet_at = None if listening.silence_ms is None else now + listening.silence_ms
        until = min((t for t in (due, quiet_at) if t is not None), default=None)
        self._tell_passed_over()
        self._view.listening()
        result = self._ears.listen(listening.armed, until, answer=listening.answer)
        self._tell_passed_over()
        now = self._clock.now()
        lost = self._ears.take_lost()
        if lost:
            self.log.append([{"kind": "sound_lost", "device": "microphone", "ms": str(lost * FRAME_MS)}])
        match result:
            case Heard():
                self._heard(result, listening)
            case Lost(device=device, reason=reason):
                self._lost(device, reason)
            case Back():
                self.feed(DeviceBack(now, "microphone"))
            case Closed(reason=reason):
                self._view.note(f"{reason}; the job stays open at step {self.machine.state.step}")
                self._ended = "" if self._ears.closed() else UNFINISHED
            case _ if due is not None and now >= due:
                tire = self._bay.earliest()
                self.feed(TimerDue(now, tire.name if self._bay.several else ""), tire)
            case _:
                level = room_level(self._speech_dbfs, self._ears.noise_dbfs)
                self.feed(NoMatch(now, "", TOO_NOISY, level) if level else NoInput(now, self._ears.typed))

    def _tell_passed_over(self) -> None:
        if self._ears.take_passed_over():
            self._view.note("said before the question was asked: not taken as an answer to it")

    def _lost(self, device: str, reason: str) -> None:
        self._view.note(reason)
        goes_on = (
            self._ears.lost()
        )  # first: what is typed while it says that the keyboard is to be used, counts
        self.feed(DeviceLost(self._clock.now(), device))
        self._ended = "" if goes_on else UNFINISHED

    def _heard(self, heard: Heard, listening: Listening) -> None:
        assert listening.armed is not None
        now = self._clock.now()
        meaning = meaning_of(heard, listening.armed)
        secret = self._people.withholds(listening.grammar, heard.hypothesis.text, meant=meaning is not None)
        twice = not secret and self._twice(heard.hypothesis, self._bay.active, listening, now)
        counted = replace(heard, hypothesis=replace(heard.hypothesis, unsure=False)) if twice else heard
        event = event_of(counted, listening.armed, self._people, now)
        event = self._needless(heard, meaning, event) or event
        if isinstance(event, Command) and event.name == "time_left":
            event = replace(event, elsewhere=self._bay.waits_elsewhere(now))
        if secret and not isinstance(event, Command):
            heard = replace(heard, hypothesis=self._people.veiled(heard.hypothesis))
            event = replace(event, text=heard.hypothesis.text)
        if heard.utterance is not None and not isinstance(event, NoMatch):
            self._speech_dbfs = heard.utterance.speech_dbfs
        kept = evidence(heard, self._sound(heard, secret)) | ({"twice": "true"} if twice else {})
        if meaning is not None and meaning.label == BAY and not isinstance(event, NoMatch):
            self._switch(meaning, heard, kept)
            return
        noisy = isinstance(event, NoMatch) and event.level != ""  # that is told anyway
        if heard.utterance is not None and listening.answer and not noisy and not isinstance(event, Command):
            event = replace(event, loudness=self._bay.active.loudness(heard.utterance))
        self._view.heard(heard, event)
        self.feed(event, extra=kept)

    def _needless(
        self, heard: Heard, meaning: Interpretation | None, event: Answer | Command | NoMatch
    ) -> NoMatch | None:
        """What is told of a sentence for which there is nothing to do, None of any other. "Resume" and the name of
        a single tire are not listened for then (each would be heard in something else): they are known where the
        words are, typed ones above all."""
        here = self._bay.active.name
        if meaning is None:
            if not (isinstance(event, Answer) or (isinstance(event, NoMatch) and event.reason == NO_ANSWER)):
                return None
            meaning = self._arm(self._bay.needless()).interpret(heard.hypothesis.text)
            if meaning is None:
                return None
        elif meaning.label != BAY or meaning.slot(BAY) != here or not isinstance(event, Answer):
            return None
        called = meaning.slot(BAY) or ""
        why = HERE if called else NOT_HELD
        return NoMatch(event.at, event.text, why, typed=heard.hypothesis.engine == TYPED, tire=called)

    def _sound(self, heard: Heard, secret: bool) -> str:
        """Where the utterance is kept; a code word's sound, and whatever was said in its place, is not."""
        if heard.utterance is None or secret:
            return WITHHELD
        return self.log.keep_audio(heard.utterance.pcm)

    def _switch(self, meaning: Interpretation, heard: Heard, kept: Mapping[str, object]) -> None:
        """Another tire: this job is set aside, and a new one begun or an open one taken up."""
        wanted, now = meaning.slot(BAY) or "", self._clock.now()
        try:
            fresh = self._bay.begin() if wanted == "another" else None
        except RecordError as error:
            self._view.note(str(error))
            self.feed(NoMatch(now, meaning.text, NOT_BEGUN), extra=kept)
            return
        aside = SetAside(now, self._bay.active.name)
        self._view.heard(heard, aside)
        self.feed(aside, extra={"text": meaning.text, **kept})
        if fresh is None:
            self._take_up(self._bay.named(wanted))
        else:
            tire, first = fresh
            self._bay.add(tire, active=True)
            self.feed(replace(first, at=self._clock.now()))

    def _take_up(self, tire: Tire) -> None:
        self._bay.active = tire
        self.feed(TakenUp(self._clock.now(), tire.name))
