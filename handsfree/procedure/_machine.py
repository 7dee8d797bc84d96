"""The machine: a pure function of its event list.

Two nested tables decide what an event does in a mode: {mode: {event type: handler}} and, for commands,
{mode: names}. What is not in the tables is refused and changes nothing. No clock, no I/O, no threads: time
comes in with the events, and everything to be done comes out as effects.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from handsfree import limits
from handsfree.limits import LimitsError
from handsfree.procedure import _answers as answers
from handsfree.procedure._answers import UNSURE
from handsfree.procedure._commands import COMMAND_HANDLERS, resume_held, take_badge
from handsfree.procedure._events import (
    TOO_LOUD,
    TOO_SOFT,
    Answer,
    Command,
    DeviceBack,
    DeviceLost,
    Effect,
    Event,
    NoInput,
    NoMatch,
    Record,
    Resumed,
    Sealed,
    SetAside,
    Spoken,
    Start,
    TakenUp,
    TimerDue,
    event_body,
)
from handsfree.procedure._flow import enter, reask, timers_due
from handsfree.procedure._misses import arm_read_back, hold, miss, rearm
from handsfree.procedure._people import take_code
from handsfree.procedure._state import Mode, State
from handsfree.procedure._turn import COMMANDS, Book, Refusal, Turn
from handsfree.procedure._words import written

__all__ = ["HERE", "NOT_BEGUN", "NOT_HELD", "TABLE", "Machine"]

#: Why nothing came of a sentence that was understood: the reason of a NoMatch.
NOT_BEGUN = "no job could be begun for another tire"
#: And why there was nothing to do for one: it is answered, and is no miss.
NOT_HELD, HERE = "work is not on hold", "that tire is worked on already"
_NOTHING_TO_DO = {NOT_HELD: "not_held", HERE: "here"}
#: One syllable that is found in any talk, and the sentence that tells what is heard surely instead.
_SURER = {"hold": "say_stand_by", "stop": "say_stop_work"}
#: What is said of how it came.
_LOUDNESS = {TOO_LOUD: "too_loud", TOO_SOFT: "too_soft"}

Handler = Callable[[Turn, Any], None]


def _start(turn: Turn, event: Start) -> None:
    procedure = turn.book.procedure
    turn.set(job=event.job)
    about = dict(event.job)
    if "today" in about:
        turn.learn("today", about["today"])
    if "technician" in about:
        turn.learn("job.technician", about["technician"])
    practice = about.get("practice", "")
    if practice:
        turn.exception(f"practice, not for a real tire: {practice}")
        turn.say(turn.prompt("practice"), "notice")
    for rule, change in sorted(turn.book.policy.overrides.items()):
        if change.allowed_by:
            moved = f"{rule} {written(change.limit)}, allowed by {change.allowed_by}: {change.why}"
            turn.exception(f"limit loosened: {moved}")
            turn.say(turn.prompt("loosened", limit=limits.rule(rule).title), "notice")
    if "tire" in dict(event.job):
        turn.say(turn.prompt("taken_up", tire=dict(event.job)["tire"]), "notice")
    turn.say(turn.prompt("welcome", title=procedure.title, notice=procedure.notice), "notice")
    enter(turn, procedure.step[0].id)


def _command(turn: Turn, event: Command) -> None:
    if event.name not in COMMANDS.get(turn.state.mode, ()):
        raise Refusal(f"{event.name} is not armed while {turn.state.mode}")
    turn.elsewhere = event.elsewhere
    turn.record("command", step=turn.state.step, name=event.name, heard=event.text)
    COMMAND_HANDLERS[event.name](turn)


def _armed(handler: Callable[[Turn, Answer], None]) -> Handler:
    """An answer counts only if its label is armed and what it answers was played to the end."""

    def check(turn: Turn, event: Answer) -> None:
        if event.label not in dict(turn.state.armed):
            raise Refusal(f"no {event.label!r} is armed")
        if turn.state.awaiting:
            raise Refusal("answered before the read-back was played to its end")
        (answers.doubted if event.unsure else handler)(turn, event)

    return check


def _no_match(turn: Turn, event: NoMatch) -> None:
    needless = _NOTHING_TO_DO.get(event.reason, "")
    if needless in turn.book.prompts.templates:
        told = turn.prompt(needless, tire=event.tire)
        turn.say(f"{told} {turn.prompt('held')}" if turn.state.mode is Mode.HELD else told, "answer")
        rearm(turn)
        return
    if turn.state.mode in (Mode.WAITING, Mode.HELD) or not _answerable(turn):
        # Chatter while nothing is asked is noted and counts for nothing; on hold the way out is said now and then.
        turn.record("missed", step=turn.state.step, heard=event.text, reason=event.reason, count="0")
        if turn.state.mode is Mode.HELD:
            count = turn.state.unheard + 1
            turn.set(unheard=count)
            # Talk near the microphone is answered now and then; who types something waits for an answer.
            if count % 4 == 1 or (event.typed and "held_silence" in turn.book.prompts.templates):
                turn.say(turn.prompt("held"), "notice")
        return
    if event.level:
        said = turn.prompt("too_noisy", level=event.level)
        miss(
            turn, event.text, f"{event.reason}, {event.level} dB over the noise", say=said, held="held_noise"
        )
        return
    key = {NOT_BEGUN: "not_begun", UNSURE: _SURER.get(event.text, "")}.get(event.reason, "")
    told = turn.prompt(key) if key in turn.book.prompts.templates else ""
    miss(turn, event.text, event.reason or "not understood", say=told)


def _no_input(turn: Turn, event: NoInput) -> None:
    if not _answerable(turn):
        raise Refusal("nothing was asked")
    miss(turn, "", "no answer", silent=True)


def _answerable(turn: Turn) -> bool:
    return any(label != "command" for label, _ in turn.state.armed)


def _spoken(turn: Turn, event: Spoken) -> None:
    awaiting = turn.state.awaiting
    if not 1 <= event.say <= turn.state.says:
        raise Refusal(f"nothing numbered {event.say} was to be said")
    if event.say != awaiting:
        return
    if not event.completed:
        _say_it_again(turn)
        return
    turn.set(awaiting=0)
    if turn.state.mode is Mode.TELLING:
        turn.record("told", step=turn.state.step, say=str(event.say))
        turn.set(mode=Mode.READING_BACK)
        arm_read_back(turn)


def _say_it_again(turn: Turn) -> None:
    """What must be heard was cut off: say it again whole, and give up by holding, never by going on."""
    turn.set(misses=turn.state.misses + 1)
    turn.record("cut_off", step=turn.state.step, say=str(turn.state.awaiting))
    if turn.state.misses >= 3:
        turn.exception(f"{turn.state.step}: the voice failed")
        hold(turn, turn.prompt("held_voice"))
    else:
        misses = turn.state.misses
        reask(turn)
        turn.set(misses=misses)


def _resumed(turn: Turn, event: Resumed) -> None:
    turn.record("resumed", step=turn.state.step, mode=turn.state.mode)
    for timer in turn.state.timers:
        if timer.due is not None:
            turn.start_timer(timer.step, timer.due)
    if event.aside:
        hold(turn, turn.prompt("set_aside", tire=event.tire))
        return
    if event.tire:
        turn.say(turn.prompt("taken_up", tire=event.tire))
    resume_held(turn, "resumed")


def _set_aside(turn: Turn, event: SetAside) -> None:
    turn.record("set_aside", step=turn.state.step, mode=turn.state.mode, tire=event.tire)
    hold(turn, turn.prompt("set_aside", tire=event.tire))


def _taken_up(turn: Turn, event: TakenUp) -> None:
    turn.record("taken_up", step=turn.state.step, tire=event.tire)
    turn.say(turn.prompt("taken_up", tire=event.tire))
    resume_held(turn, "resume")


def _device_lost(turn: Turn, event: DeviceLost) -> None:
    turn.exception(f"{event.device} lost at {turn.state.step}")
    turn.record("device", device=event.device, outcome="lost")
    text = turn.prompt("held_device", device=event.device)
    if turn.state.mode is Mode.HELD:
        turn.say(text, "notice")
    else:
        hold(turn, text)


def _device_back(turn: Turn, event: DeviceBack) -> None:
    turn.record("device", device=event.device, outcome="back")
    # Work that went on by keyboard is not disturbed: what is armed stays armed.
    prompt = "device_back" if turn.state.mode is Mode.HELD else "device_again"
    turn.say(turn.prompt(prompt, device=event.device), "notice")


def _sealed(turn: Turn, event: Sealed) -> None:
    """The job is over and its record whole: the head of its chain is told, so that somebody else knows it too."""
    if turn.state.sealed:
        raise Refusal("it is sealed already")
    turn.set(sealed=True)
    turn.record("seal", head=event.head, words=event.words)
    turn.say(turn.prompt("check_words", words=", ".join(event.words)), "notice")


def _timer(turn: Turn, event: TimerDue) -> None:
    turn.tire = event.tire
    timers_due(turn)


_COMMON: Mapping[type, Handler] = {
    Command: _command,
    NoMatch: _no_match,
    NoInput: _no_input,
    Spoken: _spoken,
    TimerDue: _timer,
    Resumed: _resumed,
    SetAside: _set_aside,
    DeviceLost: _device_lost,
    DeviceBack: _device_back,
}


def _only(*kinds: type) -> dict[type, Handler]:
    return {kind: _COMMON[kind] for kind in kinds}


TABLE: Mapping[Mode, Mapping[type, Handler]] = {
    Mode.IDLE: {Start: _start},
    Mode.ASKING: {**_COMMON, Answer: _armed(answers.take)},
    Mode.CONFIRMING: {**_COMMON, Answer: _armed(answers.confirm)},
    Mode.DISPOSING: {**_COMMON, Answer: _armed(answers.dispose)},
    Mode.READING_BACK: {**_COMMON, Answer: _armed(answers.read_back)},
    Mode.TELLING: _only(Spoken, TimerDue, Resumed, DeviceLost),
    Mode.PROVING: {**_COMMON, Answer: _armed(take_code)},
    Mode.SIGNING: {**_COMMON, Answer: _armed(take_badge)},
    Mode.WAITING: dict(_COMMON),
    Mode.HELD: {
        **_only(Command, NoMatch, Spoken, TimerDue, Resumed, SetAside, DeviceLost, DeviceBack),
        TakenUp: _taken_up,
    },
    Mode.STOPPED: _only(Resumed, Spoken),
    Mode.FINISHED: {**_only(Spoken), Sealed: _sealed},
}


class Machine:
    """Feed it events, do what it says. ``state`` is frozen; ``feed`` replaces it or leaves it as it was."""

    def __init__(self, book: Book, state: State | None = None) -> None:
        self.book = book
        self.state = state or State()

    def feed(self, event: Event) -> list[Effect]:
        """The effects of one event, in the order they must be done. Never raises for an unfitting event."""
        turn = Turn(self.book, self.state, event.at)
        turn.typed = getattr(event, "typed", False)
        try:
            if event.at < self.state.at:
                raise Refusal("its time lies before the last event's")
            handler = TABLE[self.state.mode].get(type(event))
            if handler is None:
                raise Refusal(f"it does not fit while {self.state.mode}")
            turn.set(at=event.at)
            _of_loudness(turn, event)
            handler(turn, event)
        except Refusal as refusal:
            return [_refused(event, str(refusal))]
        except LimitsError as error:
            turn = self._unjudged(event, str(error))
        self.state = turn.state
        return turn.effects

    def _unjudged(self, event: Event, reason: str) -> Turn:
        """The next step's limit can't be worked out: nothing of this turn counts, and the job is held aloud.

        A refusal would be silent, and the technician would say the same answer for ever.
        """
        turn = Turn(self.book, self.state, event.at)
        turn.set(at=event.at)
        turn.record("not_judged", step=turn.state.step, heard=getattr(event, "text", ""), reason=reason)
        turn.exception(f"{turn.state.step}: {reason}")
        hold(turn, f"{turn.prompt('not_judged', reason=reason, ask='')} {turn.prompt('held')}")
        return turn


def _of_loudness(turn: Turn, event: Event) -> None:
    """Too loud or too soft is said before what comes of it, where somebody waits for an answer."""
    key = _LOUDNESS.get(getattr(event, "loudness", ""), "")
    if key in turn.book.prompts.templates and _answerable(turn):
        turn.say(turn.prompt(key), "notice")


def _refused(event: Event, reason: str) -> Record:
    return Record("refused", (("event", str(event_body(event)["type"])), ("reason", reason)))
