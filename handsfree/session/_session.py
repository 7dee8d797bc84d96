"""The only loop: listen, make an event of it, feed the machine, do what it says."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from handsfree.grammar import Armed, Library
from handsfree.procedure import (
    Answer,
    Arm,
    Chime,
    Command,
    DeviceLost,
    Effect,
    Event,
    Finish,
    Machine,
    Mode,
    NoInput,
    NoMatch,
    Record,
    Say,
    Sealed,
    Spoken,
    TimerDue,
    event_body,
)
from handsfree.record import JobLog, check_words
from handsfree.session._clock import Clock
from handsfree.session._ears import Closed, Ears, Heard, Lost
from handsfree.session._replay import entry
from handsfree.session._view import NoView, View
from handsfree.speaking import Played, Speaker, SpeakingError

__all__ = ["UNFINISHED", "Session"]

UNFINISHED = "unfinished"
_MOST_ARMED = 8  # grammars kept, about 1 MB each; arming one anew takes some milliseconds


@dataclass(slots=True)
class _Listening:
    """What is armed now, since when, and when silence is to be remarked on."""

    armed: Armed | None = None
    answer: bool = False
    quiet_at: int | None = None


class Session:
    """Runs one job from an event to its end. All I/O parts are given; ``run`` returns the outcome.

    ``spare`` gives other ears (the keyboard) when the microphone is lost; without it the session ends there
    and the job can be opened again.
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
    ) -> None:
        self.machine = machine
        self.log = log
        self._library = library
        self._ears = ears
        self._speaker = speaker
        self._clock = clock
        self._view = view or NoView()
        self._spare = spare
        self._listening = _Listening()
        self._cache: dict[tuple[tuple[str, str], ...], Armed] = {}
        self.outcome = ""

    def run(self, first: Event) -> str:
        """Feed ``first`` (Start or Resumed), then everything that happens, until the job ends or input does."""
        self.feed(first)
        while not self.outcome:
            self._turn()
        if self.machine.state.mode is Mode.FINISHED:
            self._seal()
        return self.outcome

    def _seal(self) -> None:
        """The last words: what somebody can write down and later hold against the record."""
        if "check_words" in self.machine.book.prompts.templates:  # a job begun before there were any has none
            head = self.log.head
            self.feed(Sealed(self._clock.now(), head, check_words(head)))

    def close(self) -> None:
        """Give back the ears and the job."""
        self._ears.close()
        self.log.close()

    def feed(self, event: Event, **extra: object) -> None:
        """One event: its line and the lines it causes are durable before the first word is spoken."""
        effects = self.machine.feed(event)
        lines: list[dict[str, object]] = [{**event_body(event), **extra, "kind": "event"}]
        lines += [entry(effect) for effect in effects if isinstance(effect, Record)]
        self.log.append(lines)
        for effect in effects:
            if isinstance(effect, Record):
                self._view.recorded(effect)
        spoken = [self._perform(effect) for effect in effects]
        for effect, played in zip(effects, spoken, strict=True):
            if isinstance(effect, Say) and played is not None:
                # Only now has it been said.
                self.feed(
                    Spoken(self._clock.now(), effect.id, played),
                    text=effect.text,
                    say_kind=effect.kind,
                )

    def _perform(self, effect: Effect) -> bool | None:
        match effect:
            case Say(text=text, kind=kind, barge_in=barge_in):
                self._view.said(text, kind)
                return self._played(lambda: self._speaker.say(text, interruptible=barge_in))
            case Chime(name=name):
                self._played(lambda: self._speaker.chime(name))
            case Arm():
                self._arm(effect)
            case Finish(outcome=outcome):
                self.outcome = outcome
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

    def _arm(self, effect: Arm) -> None:
        if not effect.grammar:
            self._listening = _Listening()
            return
        armed = self._cache.pop(effect.grammar, None) or self._library.arm(dict(effect.grammar))
        self._cache[effect.grammar] = armed  # the newest last
        if len(self._cache) > _MOST_ARMED:
            del self._cache[next(iter(self._cache))]
        answer = any(label != "command" for label, _ in effect.grammar)
        silence = None if effect.no_input_s is None else 1000 * effect.no_input_s
        self._listening = _Listening(armed, answer, silence)

    def _turn(self) -> None:
        listening = self._listening
        if listening.armed is None:
            raise RuntimeError("the machine armed nothing and did not finish")
        now = self._clock.now()
        due = self.machine.state.next_due
        quiet_at = None if listening.quiet_at is None else now + listening.quiet_at
        until = min((t for t in (due, quiet_at) if t is not None), default=None)
        result = self._ears.listen(listening.armed, until, answer=listening.answer)
        now = self._clock.now()
        match result:
            case Heard():
                self._heard(result, listening.armed)
            case Lost(device=device, reason=reason):
                self._lost(device, reason)
            case Closed(reason=reason):
                self._view.note(f"{reason}; the job stays open at step {self.machine.state.step}")
                self.outcome = UNFINISHED
            case _ if due is not None and now >= due:
                self.feed(TimerDue(now))
            case _:
                self.feed(NoInput(now))

    def _heard(self, heard: Heard, armed: Armed) -> None:
        event = self._event(heard, armed)
        self._view.heard(heard, event)
        self.feed(event, **self._evidence(heard))

    def _event(self, heard: Heard, armed: Armed) -> Event:
        """Gates 1 to 3: accepted by sound, a whole sentence of what is armed, one meaning."""
        now, hypothesis = self._clock.now(), heard.hypothesis
        if not hypothesis.text:
            return NoMatch(now, "", hypothesis.reason or "nothing understood")
        if not hypothesis.accepted:
            return NoMatch(now, hypothesis.text, hypothesis.reason or "not accepted")
        meaning = armed.interpret(hypothesis.text)
        if meaning is None:
            return NoMatch(now, hypothesis.text, "not an answer to what was asked")
        if meaning.label == "command":
            return Command(now, meaning.slot("command") or "", meaning.text)
        return Answer(now, meaning.text, meaning.label, meaning.slots, meaning.number)

    def _evidence(self, heard: Heard) -> dict[str, object]:
        """What the record keeps of an utterance, also of a refused one."""
        hypothesis = heard.hypothesis
        body: dict[str, object] = {
            "hypothesis": hypothesis.text,
            "engine": hypothesis.engine,
            "accepted": "true" if hypothesis.accepted else "false",
            "scores": {name: f"{score:.3f}" for name, score in hypothesis.scores},
            "words": [
                {"text": w.text, "start_s": f"{w.start_s:.2f}", "end_s": f"{w.end_s:.2f}"}
                for w in hypothesis.words
            ],
        }
        utterance = heard.utterance
        if utterance is not None:
            body["audio"] = self.log.keep_audio(utterance.pcm)
            body["level"] = {
                "speech_dbfs": f"{utterance.speech_dbfs:.1f}",
                "noise_dbfs": f"{utterance.noise_dbfs:.1f}",
                "snr_db": f"{utterance.snr_db:.1f}",
                "clipped": str(utterance.clipped),
            }
        return body

    def _lost(self, device: str, reason: str) -> None:
        self._view.note(reason)
        self.feed(DeviceLost(self._clock.now(), device))
        if self._spare is None:
            self.outcome = UNFINISHED
            return
        self._ears.close()
        self._ears = self._spare()
        self._spare = None
