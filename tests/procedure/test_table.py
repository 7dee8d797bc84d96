"""Every event in every mode: what the table does not list is refused and changes nothing."""

from __future__ import annotations

import pytest

from handsfree.procedure import (
    COMMANDS,
    EVENTS,
    TABLE,
    Answer,
    Command,
    DeviceBack,
    DeviceLost,
    Event,
    Machine,
    Mode,
    NoInput,
    NoMatch,
    Record,
    Resumed,
    Say,
    Sealed,
    Spoken,
    Start,
    TimerDue,
)

from .conftest import EVERY_KIND, TO_BOSS, TO_CARE, TO_SIZE, TO_WAIT
from .driving import JOB, Drive

ALL_COMMANDS = sorted({name for names in COMMANDS.values() for name in names})


def in_mode(mode: Mode) -> Drive:
    """A job brought to that mode by what people say."""
    drive = Drive(EVERY_KIND, start=mode is not Mode.IDLE)
    match mode:
        case Mode.CONFIRMING:
            drive.say("fabric ply")
        case Mode.DISPOSING:
            drive.say(*TO_SIZE, "seven millimeters", "affirmative")
        case Mode.READING_BACK:
            drive.say(*TO_CARE)
        case Mode.TELLING:
            drive.say(*TO_CARE[:-1])
            drive.voice = lambda say: None if say.kind == "caution" else True
            drive.say(TO_CARE[-1])
        case Mode.PROVING:
            drive = Drive(EVERY_KIND, start=False)
            drive.feed(Start(drive.at, (*JOB, ("shop", "Harbor Row"))))
            drive.say(*TO_BOSS)
            release = (("answer", "release"), ("badge", "12"), ("supervisor", "R. Holt"))
            drive.feed(Answer(drive.at, "supervisor release one two", "answer", release))
            drive.say("affirmative")
        case Mode.SIGNING:
            drive.say("change technician")
        case Mode.WAITING:
            drive.say(*TO_WAIT)
        case Mode.HELD:
            drive.say("hold work")
        case Mode.STOPPED:
            drive.say("stop work")
        case Mode.FINISHED:
            drive.say(*TO_WAIT)
            drive.let(240)
            drive.say("completed", "completed", "completed")
        case _:
            pass
    assert drive.mode is mode
    return drive


def an_event(kind: type[Event], at: int) -> Event:
    match kind.__name__:
        case "Start":
            return Start(at, JOB)
        case "Answer":
            return Answer(at, "nothing found", "answer", (("answer", "clear"),))
        case "Command":
            return Command(at, "stop_work", "stop work")
        case "Spoken":
            return Spoken(at, 1)
        case "DeviceLost":
            return DeviceLost(at, "microphone")
        case "DeviceBack":
            return DeviceBack(at, "microphone")
        case "Sealed":
            return Sealed(at, "0" * 64, ("apron",))
        case _:
            return kind(at)  # type: ignore[call-arg]


def refused(machine: Machine, event: Event) -> str:
    """Feed it; it must change nothing and leave one line. Gives the reason."""
    before = machine.state
    effects = machine.feed(event)
    assert machine.state is before
    assert len(effects) == 1
    effect = effects[0]
    assert isinstance(effect, Record)
    assert effect.kind == "refused"
    body = dict(effect.body)
    assert EVENTS[body["event"]] is type(event)
    return body["reason"]


def test_the_table_covers_every_mode() -> None:
    assert set(TABLE) == set(Mode)
    assert set(COMMANDS) == {mode for mode in Mode if Command in TABLE[mode]}


def test_what_may_be_said_in_which_mode() -> None:
    """Written out once more, so that a command is not armed, or lost, by the way."""
    always = {"say_again", "hold", "go_back", "correction", "limit", "time_left", "stop_work"}
    asked = (Mode.CONFIRMING, Mode.DISPOSING, Mode.READING_BACK, Mode.PROVING, Mode.SIGNING)
    between = always | {"change_technician"}
    assert {mode: set(names) for mode, names in COMMANDS.items()} == {
        **dict.fromkeys(asked, always),
        Mode.ASKING: between,
        Mode.WAITING: between,
        Mode.HELD: {"resume", "hold", "say_again", "limit", "time_left", "stop_work"},
    }


@pytest.mark.parametrize("kind", list(EVENTS.values()), ids=lambda k: k.__name__)
@pytest.mark.parametrize("mode", list(Mode))
def test_an_event_outside_the_table_is_refused(mode: Mode, kind: type[Event]) -> None:
    drive = in_mode(mode)
    event = an_event(kind, drive.at)
    if kind in TABLE[mode]:
        before = drive.state
        effects = drive.machine.feed(event)
        # Inside the table an event may still find nothing to do, but it is never refused for its kind.
        reasons = [dict(e.body)["reason"] for e in effects if isinstance(e, Record) and e.kind == "refused"]
        assert not any("does not fit" in reason for reason in reasons)
        assert not reasons or drive.state is before
    else:
        assert refused(drive.machine, event) == f"it does not fit while {mode}"


@pytest.mark.parametrize("name", [*ALL_COMMANDS, "self_destruct"])
@pytest.mark.parametrize("mode", list(COMMANDS))
def test_a_command_that_is_not_armed_is_refused(mode: Mode, name: str) -> None:
    drive = in_mode(mode)
    if name in COMMANDS[mode]:
        effects = drive.machine.feed(Command(drive.at, name, name))
        first = effects[0]
        assert isinstance(first, Record)
        assert first.kind == "command"
        assert dict(first.body)["name"] == name
        assert f"<commands.{name}>" in dict(in_mode(mode).state.armed)["command"]
    else:
        assert "not armed" in refused(drive.machine, Command(drive.at, name, name))
        assert f"<commands.{name}>" not in drive.armed()["command"]


@pytest.mark.parametrize("mode", [Mode.TELLING, Mode.STOPPED, Mode.FINISHED])
def test_nothing_is_armed_while_a_caution_is_told_or_after_the_end(mode: Mode) -> None:
    assert in_mode(mode).armed() == {}


@pytest.mark.parametrize("mode", [m for m in Mode if m not in (Mode.IDLE, Mode.FINISHED, Mode.STOPPED)])
def test_stop_work_is_one_utterance_from_anywhere_that_listens(mode: Mode) -> None:
    drive = in_mode(mode)
    if mode is Mode.TELLING:  # a caution is told whole; the moment it ends, stop work is heard
        drive.feed(Spoken(drive.at, drive.state.awaiting))
    drive.voice = lambda say: True
    drive.say("stop work")
    assert drive.mode is Mode.STOPPED
    assert "Work stopped" in drive.said()


@pytest.mark.parametrize("mode", [m for m in Mode if m not in (Mode.IDLE, Mode.FINISHED)])
def test_a_job_opened_again_goes_on_where_it_was(mode: Mode) -> None:
    drive = in_mode(mode)
    step = drive.step
    asked = drive.state.pending
    drive.voice = lambda say: True
    drive.power_cut(5)
    expected = {Mode.TELLING: Mode.READING_BACK, Mode.HELD: Mode.ASKING, Mode.STOPPED: Mode.ASKING}
    assert drive.mode is expected.get(mode, mode)
    assert drive.step == step
    assert drive.state.pending == asked
    assert drive.spoken()[0].startswith("Job opened again.")


def test_time_never_runs_back() -> None:
    drive = in_mode(Mode.ASKING)
    assert "before" in refused(drive.machine, NoInput(drive.at - 1))
    assert drive.machine.feed(NoInput(drive.at))  # the same moment is no step back


@pytest.mark.parametrize("number", [-1, 0, 99])
@pytest.mark.parametrize("completed", [True, False])
@pytest.mark.parametrize("mode", [m for m in Mode if m is not Mode.IDLE])
def test_a_report_of_something_never_said_is_refused(mode: Mode, completed: bool, number: int) -> None:
    drive = in_mode(mode)
    assert "nothing numbered" in refused(drive.machine, Spoken(drive.at, number, completed))


@pytest.mark.parametrize("mode", [m for m in Mode if m is not Mode.IDLE])
def test_a_prompt_that_need_not_be_heard_whole_may_be_cut_off(mode: Mode) -> None:
    drive = in_mode(mode)
    before = drive.state
    assert drive.machine.feed(Spoken(drive.at, 1, completed=False)) == []
    assert drive.state == before


def test_a_timer_event_that_is_early_is_refused() -> None:
    drive = in_mode(Mode.WAITING)
    due = drive.state.next_due
    assert due is not None
    assert refused(drive.machine, TimerDue(due - 1)) == "no timer is due"
    assert drive.machine.feed(TimerDue(due))


def test_on_hold_the_way_out_is_said_now_and_then() -> None:
    drive = in_mode(Mode.HELD)
    said = []
    for _ in range(9):
        effects = drive.machine.feed(
            NoMatch(drive.at, "pass me the pliers", "not an answer to what was asked")
        )
        said.append([e.text for e in effects if isinstance(e, Say)])
    assert [bool(one) for one in said] == [True, False, False, False] * 2 + [True]
    assert "resume work" in said[0][0]
    assert (drive.mode, drive.state.misses) == (Mode.HELD, 0)


def test_chatter_during_a_wait_is_noted_and_never_answered() -> None:
    drive = in_mode(Mode.WAITING)
    before = drive.mode, drive.step, drive.state.misses, drive.state.says
    for _ in range(9):
        effects = drive.feed(NoMatch(drive.at, "pass me the pliers", "not an answer to what was asked"))
        assert [type(e) for e in effects] == [Record]
    assert (drive.mode, drive.step, drive.state.misses, drive.state.says) == before
    assert {r["count"] for r in drive.records("missed")} == {"0"}


def test_silence_while_nothing_is_asked_is_refused() -> None:
    assert refused(in_mode(Mode.WAITING).machine, NoInput(in_mode(Mode.WAITING).at)) == "nothing was asked"


@pytest.mark.parametrize(
    "event",
    [
        Answer(0, "affirmative", "value"),
        Answer(0, "affirmative", "command"),
        Answer(0, "anything", "answer"),
        Answer(0, "other ply", "answer", (("option", "paper"),)),
    ],
)
def test_an_answer_that_no_armed_grammar_gives_is_refused(event: Answer) -> None:
    drive = in_mode(Mode.ASKING)
    refused(drive.machine, Answer(drive.at, event.text, event.label, event.slots))


def test_resumed_again_after_stop_work() -> None:
    drive = in_mode(Mode.STOPPED)
    drive.power_cut(3600)
    drive.say("fabric ply", "affirmative")
    assert drive.step == "size"
    assert [r["step"] for r in drive.records("stop")] == ["ply"]


def test_resumed_is_the_only_way_out_of_stopped() -> None:
    assert {kind for kind in EVENTS.values() if kind in TABLE[Mode.STOPPED]} == {Resumed, Spoken}
