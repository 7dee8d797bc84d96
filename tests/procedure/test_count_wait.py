"""Passes are counted in order; waits run by the clock, whatever else goes on."""

from __future__ import annotations

from decimal import Decimal

import pytest

from handsfree import limits
from handsfree.limits import Override, Policy
from handsfree.procedure import CancelTimer, Chime, DeviceBack, DeviceLost, Mode, StartTimer, TimerDue
from handsfree.quantity import Quantity

from .driving import AIR, CLEAR, ENDINGS, FOUND, HEAD, LOOK, PLY, SIZE, WARM, Drive, count, do, wait, whole

DRILL = whole(PLY, count())
WINDOW = (
    HEAD
    + AIR
    + do("cement")
    + wait("place", "cement")
    + do("tack")
    + do("place")
    + do("last", to="returned")
    + WARM
    + ENDINGS
)
PLAIN = HEAD + AIR + do("cement") + wait() + do("place") + do("last", to="returned") + WARM + ENDINGS
#: Warm and dry: the shortest is the trade press's 3 minutes, the longest a little less than its 5.
CLIMATE = ("two five degrees celsius", "affirmative", "four zero percent", "affirmative")
LONGEST = 261


def drying(drive: Drive) -> tuple[int, int]:
    """Shortest and longest, in seconds, as the limits engine works them out for what is known."""
    window = limits.window("drying", drive.state.facts, drive.book.policy)
    assert window.longest_s is not None
    return window.shortest_s, window.longest_s


@pytest.fixture
def drilling() -> Drive:
    drive = Drive(DRILL)
    drive.say("fabric ply", "affirmative")
    return drive


@pytest.fixture
def waiting() -> Drive:
    """Cement dries; place must follow within the window."""
    drive = Drive(WINDOW)
    drive.say(*CLIMATE, "completed")
    assert drive.mode is Mode.WAITING
    return drive


# -- passes ------------------------------------------------------------------------------------------


def test_passes_are_counted_in_order(drilling: Drive) -> None:
    assert drilling.said().endswith("Drill. three passes.")
    drilling.say("pass one", "pass two")
    assert drilling.said() == "Pass two."
    assert drilling.step == "drill"
    drilling.say("pass three")
    assert drilling.step == "last"
    assert [(r["n"], r["target"]) for r in drilling.records("pass")] == [("1", "3"), ("2", "3"), ("3", "3")]


def test_steel_wants_more_passes() -> None:
    drive = Drive(DRILL)
    drive.say("steel ply", "affirmative")
    assert drive.said().endswith("six passes.")
    drive.say("what is the limit")
    assert drive.said().startswith("Limit: 6 passes.") or drive.said().startswith("6 passes.")


@pytest.mark.parametrize(("done", "wrong"), [(0, "two"), (1, "one"), (1, "three"), (2, "two")])
def test_a_pass_out_of_turn_is_refused_with_words(drilling: Drive, done: int, wrong: str) -> None:
    names = ["one", "two", "three"]
    drilling.say(*(f"pass {n}" for n in names[:done]))
    drilling.say(f"pass {wrong}")
    assert drilling.said() == f"Pass {names[done]} is next."
    assert len(drilling.records("pass")) == done
    drilling.say(f"pass {names[done]}")
    assert len(drilling.records("pass")) == done + 1


def test_a_pass_far_off_is_not_even_armed(drilling: Drive) -> None:
    drilling.say("pass five")
    assert drilling.records("missed")[0]["reason"] == "not an answer to what was asked"


def test_going_back_takes_one_pass_back(drilling: Drive) -> None:
    drilling.say("pass one", "pass two", "go back")
    assert drilling.said() == "Back. Drill. two passes."
    drilling.say("pass two", "pass three")
    assert drilling.step == "last"
    drilling.say("go back")
    assert drilling.said() == "Back. Drill. three passes."


def test_more_passes_than_there_are_digits_can_be_counted() -> None:
    policy = Policy(overrides={"passes.inside": Override(Quantity(Decimal(12), "1"))})
    drive = Drive(DRILL, policy)
    drive.say("fabric ply", "affirmative")
    names = [
        "one",
        "two",
        "three",
        "four",
        "five",
        "six",
        "seven",
        "eight",
        "nine",
        "ten",
        "eleven",
        "twelve",
    ]
    drive.say(*(f"pass {n}" for n in names))
    assert drive.step == "last"


def test_a_hold_keeps_the_passes_counted(drilling: Drive) -> None:
    drilling.say("pass one", "hold work")
    drilling.power_cut(600)
    assert drilling.said().endswith("Drill. two passes.")
    drilling.say("pass two", "pass three")
    assert drilling.step == "last"


# -- waits -------------------------------------------------------------------------------------------


def test_the_wait_is_over_at_its_shortest_and_not_before(waiting: Drive) -> None:
    shortest, longest = drying(waiting)
    assert (shortest, longest) == (180, LONGEST)
    assert "Wait 3 minutes, not over 4 minutes 21 seconds." in waiting.said()
    assert waiting.state.next_due == waiting.at + 1000 * shortest
    waiting.let(shortest - 0.001)
    assert waiting.mode is Mode.WAITING
    waiting.let(0.001)
    assert (waiting.mode, waiting.step) == (Mode.ASKING, "tack")
    assert [(r["outcome"], r.get("waited_s", "")) for r in waiting.records("wait")] == [
        ("started", ""),
        ("over", "180"),
    ]
    assert any(isinstance(e, Chime) and e.name == "wait_over" for e in waiting.effects)


def test_time_left_is_told_by_the_clock(waiting: Drive) -> None:
    waiting.let(50)
    waiting.say("time left")  # a second later
    assert waiting.said() == "2 minutes 9 seconds left."
    assert waiting.mode is Mode.WAITING
    waiting.let(150)
    waiting.say("time left")
    assert waiting.said() == "The wait is over. 59 seconds left to go on."
    assert waiting.step == "tack"


def test_the_limit_of_a_wait_is_its_window(waiting: Drive) -> None:
    waiting.say("what is the limit")
    assert waiting.said().startswith("3 minutes, not over 4 minutes 21 seconds. ")


def test_a_wait_can_not_be_shortened_by_voice(waiting: Drive) -> None:
    for words in ("completed", "resume work", "affirmative", "go on", "say again"):
        waiting.say(words)
    assert (waiting.mode, waiting.step) == (Mode.WAITING, "dry")
    assert waiting.said().startswith("Let it dry.")


def test_used_within_its_window_the_wait_is_closed(waiting: Drive) -> None:
    waiting.let(200)
    waiting.say("completed", "completed")
    assert waiting.records("wait")[-1]["outcome"] == "used in time"
    assert waiting.state.timers == ()
    assert any(isinstance(e, CancelTimer) for e in waiting.last)
    waiting.let(10_000)
    assert waiting.step == "last"


def test_any_outcome_of_the_step_closes_the_window() -> None:
    measured = SIZE.replace('"size"', '"place"')
    text = HEAD + AIR + do("cement") + wait("place", "cement") + measured + do("last", to="returned") + WARM
    drive = Drive(text + ENDINGS)
    drive.say(*CLIMATE, "completed")
    drive.let(200)
    drive.say("five", "affirmative")
    drive.let(10_000)
    assert (drive.step, drive.state.timers) == ("last", ())


def test_overrun_goes_to_its_own_step_and_starts_anew(waiting: Drive) -> None:
    waiting.let(301)
    assert waiting.step == "cement"
    assert waiting.records("wait")[-1] | {"record": "", "step": ""} == {
        "record": "",
        "step": "",
        "waited_s": str(LONGEST),
        "outcome": "overrun",
    }
    assert any("overrun" in e for e in waiting.state.exceptions)
    waiting.say("completed")
    assert waiting.mode is Mode.WAITING
    assert waiting.state.next_due == waiting.at + 180_000


def test_after_an_overrun_going_back_does_not_lead_into_the_closed_window(waiting: Drive) -> None:
    waiting.let(200)
    waiting.say("completed")
    assert waiting.step == "place"
    waiting.let(200)
    assert waiting.step == "cement"
    waiting.say("go back")
    assert waiting.step == "humidity"


def test_overrun_to_a_step_never_visited_goes_back_before_the_wait() -> None:
    text = (HEAD + AIR + do("cement") + wait("place", "again") + do("place") + do("last", to="returned")) + (
        do("again", to="cement") + WARM + ENDINGS
    )
    drive = Drive(text)
    drive.say(*CLIMATE, "completed")
    drive.let(301)
    assert drive.step == "again"
    drive.say("go back")
    assert drive.step == "cement"


def test_overrun_may_end_the_job(waiting: Drive) -> None:
    text = WINDOW.replace('on = { overrun = "cement" }', 'on = { overrun = "scrap" }')
    drive = Drive(text)
    drive.say(*CLIMATE, "completed")
    drive.let(301)
    assert drive.state.outcome == "scrap"
    assert drive.state.timers == ()


def test_the_wait_goes_on_while_the_job_is_held(waiting: Drive) -> None:
    waiting.say("hold work")
    waiting.let(100)
    waiting.say("time left")
    assert waiting.said() == "1 minute 18 seconds left."
    assert waiting.mode is Mode.HELD
    waiting.let(100)
    assert waiting.said() == "The wait is over. The job is on hold." or waiting.mode is Mode.HELD
    waiting.say("resume work")
    assert waiting.spoken() == ["Going on.", "Do it."]
    assert waiting.step == "tack"


def test_resumed_during_the_wait_only_the_rest_is_waited(waiting: Drive) -> None:
    started = waiting.at
    waiting.let(60)
    waiting.say("hold work", "resume work")
    assert (
        waiting.said()
        == "Going on. Let it dry. Wait 1 minute 58 seconds more, not over 3 minutes 19 seconds."
    )
    assert waiting.state.next_due == started + 180_000


def test_overrun_while_held_waits_for_the_technician(waiting: Drive) -> None:
    waiting.say("hold work")
    waiting.let(400)
    assert (waiting.mode, waiting.step) == (Mode.HELD, "dry")
    waiting.say("resume work")
    assert (waiting.mode, waiting.step) == (Mode.ASKING, "cement")
    assert waiting.spoken() == ["Going on.", "Do it."]


@pytest.mark.parametrize(("hours", "step"), [(0.01, "dry"), (0.06, "tack"), (3, "cement")])
def test_the_wait_counts_while_the_power_is_off(waiting: Drive, hours: float, step: str) -> None:
    waiting.power_cut(hours * 3600)
    assert any(isinstance(e, StartTimer) for e in waiting.last)
    waiting.let(0)
    assert waiting.step == step


def test_a_wait_over_in_stop_work_is_over_when_the_job_is_opened_again(waiting: Drive) -> None:
    waiting.say("stop work")
    waiting.power_cut(200)
    waiting.let(0)
    assert waiting.step == "tack"


def test_a_plain_wait_over_during_a_hold_is_not_begun_anew() -> None:
    drive = Drive(PLAIN)
    drive.say(*CLIMATE, "completed")
    assert drive.said() == "Let it dry. Wait 3 minutes."
    drive.say("what is the limit")
    assert "3 minutes" in drive.said()
    drive.say("hold work")
    drive.let(500)
    drive.say("time left")
    assert drive.said() == "No wait is running."
    drive.say("resume work")
    assert drive.step == "place"
    assert drive.state.timers == ()
    assert [r["outcome"] for r in drive.records("wait")] == ["started", "over"]


@pytest.mark.parametrize("text", [PLAIN, WINDOW])
def test_a_correction_during_the_wait_works_the_window_out_again(text: str) -> None:
    drive = Drive(text)
    drive.say(*CLIMATE, "completed")
    started = drive.at
    drive.say("correction")
    assert (drive.step, drive.said()) == ("humidity", "Correction. Humidity?")
    drive.say("seven five point zero percent", "affirmative")  # up to 75.05 %: 180 s x (1 + 25.05/50)
    assert (drive.mode, drive.step) == (Mode.WAITING, "dry")
    assert drive.state.next_due == started + 271_000
    assert [r["planned_s"] for r in drive.records("wait")] == ["180", "271"]


@pytest.mark.parametrize("text", [PLAIN, WINDOW])
def test_a_wait_that_ends_during_a_correction_is_not_begun_anew(text: str) -> None:
    drive = Drive(text)
    drive.say(*CLIMATE, "completed", "correction", "five zero percent")
    drive.let(200)
    assert "The wait is over." in drive.spoken(drive.effects)
    assert drive.mode is Mode.CONFIRMING
    drive.say("affirmative")
    drive.let(0)
    assert (drive.mode, drive.step) == (Mode.ASKING, "tack" if text == WINDOW else "place")


def test_a_correction_outside_the_limit_ends_the_wait_it_was_made_in(waiting: Drive) -> None:
    waiting.say("correction", "nine five percent", "affirmative", "out of limits", "affirmative")
    assert waiting.step == "warm-up"
    assert waiting.state.timers == ()
    waiting.let(10_000)
    assert waiting.step == "warm-up"
    waiting.say("completed", *CLIMATE, "completed")
    # Fresh cement has its whole wait before it.
    assert waiting.state.next_due == waiting.at + 180_000


def test_overrun_during_a_correction_gives_the_correction_up(waiting: Drive) -> None:
    waiting.let(200)
    waiting.say("correction")
    assert waiting.step == "humidity"
    waiting.let(200)
    assert (waiting.step, waiting.state.return_to) == ("cement", "")


def test_going_back_over_a_wait_is_doing_the_step_before_again(waiting: Drive) -> None:
    waiting.let(200)
    assert waiting.step == "tack"
    waiting.say("go back")
    assert (waiting.step, waiting.state.timers) == ("cement", ())
    waiting.say("completed", "go back")
    assert (waiting.step, waiting.state.timers) == ("cement", ())


def test_a_window_means_nothing_on_a_way_that_never_uses_it() -> None:
    tack = SIZE.replace('"size"', '"tack"') + 'on = { outside = "throw" }\n'
    text = (
        HEAD + AIR + do("cement") + wait("place", "cement") + tack + do("place") + do("last", to="returned")
    )
    drive = Drive(text + do("throw", to="scrap") + WARM + ENDINGS)
    drive.say(*CLIMATE, "completed")
    drive.let(200)
    drive.say("seven", "affirmative", "out of limits", "affirmative")
    assert drive.step == "throw"
    assert drive.records("wait")[-1]["outcome"] == "left"
    drive.let(10_000)
    assert drive.step == "throw"


def test_a_window_without_an_overrun_step_goes_on() -> None:
    text = HEAD + AIR + do("cement") + wait("place") + do("tack") + do("place") + do("last", to="returned")
    drive = Drive(text + WARM + ENDINGS)
    drive.say(*CLIMATE, "completed")
    drive.let(301)
    assert drive.step == "tack"
    assert any("overrun" in e for e in drive.state.exceptions)


def test_two_windows_at_once_are_told_apart() -> None:
    second = wait("last").replace('"dry"', '"cure"')
    text = HEAD + AIR + do("cement") + wait("last", "cement") + do("tack") + second + do("place")
    drive = Drive(text + do("last", to="returned") + WARM + ENDINGS)
    drive.say(*CLIMATE, "completed")
    drive.let(200)
    drive.say("completed", "time left")
    assert drive.said() == "The wait is over. 59 seconds left to go on. 2 minutes 59 seconds left."
    assert {t.step for t in drive.state.timers} == {"dry", "cure"}


def test_a_lost_microphone_during_the_wait_does_not_stop_the_clock(waiting: Drive) -> None:
    waiting.feed(DeviceLost(waiting.at, "microphone"))
    assert waiting.mode is Mode.HELD
    assert "microphone is lost" in waiting.said()
    waiting.feed(DeviceLost(waiting.at, "loudspeaker"))
    assert waiting.mode is Mode.HELD
    waiting.let(200)
    waiting.feed(DeviceBack(waiting.at, "microphone"))
    assert waiting.said() == "The microphone is back. Say: resume work."
    waiting.say("resume work")
    assert waiting.step == "tack"


@pytest.mark.parametrize("words", [(), ("two zero degrees celsius",)])
def test_a_device_that_comes_back_leaves_the_question_armed(words: tuple[str, ...]) -> None:
    drive = Drive(WINDOW)
    drive.say(*words)
    armed, mode = drive.armed(), drive.mode
    drive.feed(DeviceBack(drive.at, "microphone"))
    assert (drive.armed(), drive.mode, drive.spoken()) == (
        armed,
        mode,
        ["The microphone is back."],
    )


def test_a_timer_can_not_be_due_twice(waiting: Drive) -> None:
    waiting.let(180)
    waiting.feed(TimerDue(waiting.at))
    assert waiting.records("refused")[-1]["reason"] == "no timer is due"


def test_going_back_within_the_window_keeps_it(waiting: Drive) -> None:
    due = waiting.at + 1000 * LONGEST
    waiting.let(200)
    waiting.say("completed", "go back")
    assert (waiting.step, waiting.state.next_due) == ("tack", due)


def test_the_end_of_the_job_ends_its_waits() -> None:
    look = LOOK.replace('"look"', '"tack"') + 'on = { found = "scrap" }\n'
    text = (
        HEAD + AIR + do("cement") + wait("place", "cement") + look + do("place") + do("last", to="returned")
    )
    drive = Drive(text + WARM + ENDINGS)
    drive.say(*CLIMATE, "completed")
    drive.let(200)
    drive.say(CLEAR, CLEAR, FOUND, "affirmative")
    assert (drive.state.outcome, drive.state.timers) == ("scrap", ())
    assert any(isinstance(e, CancelTimer) for e in drive.last)


def test_a_plain_wait_over_and_the_power_cut() -> None:
    drive = Drive(PLAIN)
    drive.say(*CLIMATE, "completed", "hold work")
    drive.let(500)
    drive.power_cut(500)
    assert (drive.mode, drive.step) == (Mode.ASKING, "place")


def test_a_wait_without_a_longest_says_or_longer(monkeypatch: pytest.MonkeyPatch) -> None:
    endless = limits.Window("drying", 180, None, "a source", "a reason")
    monkeypatch.setattr(limits, "window", lambda *_: endless)
    drive = Drive(WINDOW)
    drive.say(*CLIMATE, "completed")
    assert drive.said() == "Let it dry. Wait 3 minutes."
    drive.say("what is the limit")
    assert (
        drive.said() == "3 minutes or longer. A source." or drive.said() == "3 minutes or longer. a source."
    )
    drive.let(200)
    assert (drive.step, drive.state.next_due) == ("tack", None)
    drive.say("completed", "completed")
    assert drive.state.timers == ()
