"""Cautions: told whole with nothing armed, then read back in their own words."""

from __future__ import annotations

from dataclasses import replace

import pytest

from handsfree.procedure import (
    NO_ANSWER,
    Answer,
    Command,
    Machine,
    Mode,
    NoInput,
    NoMatch,
    Prompts,
    Say,
    Spoken,
    Start,
)
from handsfree.procedure._flow import decoys
from handsfree.session import prompts_text

from .driving import CARE, Drive, do, whole

OTHER = CARE.replace('"care"', '"other"').replace('"no flame"', '"stand aside"').replace("act", "last")
TWO = whole(CARE, do(), OTHER)


def told(drive: Drive) -> Say:
    return next(e for e in reversed(drive.last) if isinstance(e, Say) and e.kind == "caution")


@pytest.fixture
def telling() -> Drive:
    """A caution is being spoken."""
    drive = Drive(TWO, start=False)
    drive.voice = lambda say: None if say.kind == "caution" else True
    drive.feed(Start(drive.at))
    assert drive.mode is Mode.TELLING
    return drive


def test_nothing_is_armed_while_it_is_told(telling: Drive) -> None:
    assert telling.armed() == {}
    assert told(telling).text == "WARNING. Cement burns. Read back: no flame."
    assert told(telling).barge_in is False
    for event in (
        Answer(telling.at, "no flame"),
        Command(telling.at, "stop_work"),
        Command(telling.at, "go_back"),
    ):
        before = telling.state
        telling.feed(event)
        assert telling.state is before
    assert telling.records("caution") == []


def test_only_its_own_end_arms_the_read_back(telling: Drive) -> None:
    number = told(telling).id
    for other in range(1, number):
        telling.feed(Spoken(telling.at, other))
    assert telling.mode is Mode.TELLING
    telling.feed(Spoken(telling.at, number))
    assert telling.mode is Mode.READING_BACK
    assert telling.records("told")[0]["say"] == str(number)
    assert telling.armed()["answer"] == "no flame"
    assert "stand aside" in telling.armed()["decoy"]


def test_a_caution_cut_off_is_told_again(telling: Drive) -> None:
    first = told(telling)
    telling.feed(Spoken(telling.at, first.id, completed=False))
    assert telling.mode is Mode.TELLING
    second = told(telling)
    assert second.text == first.text
    telling.feed(Spoken(telling.at, first.id))  # the first one's late report is not this one's
    assert telling.mode is Mode.TELLING
    telling.feed(Spoken(telling.at, second.id, completed=False))
    telling.feed(Spoken(telling.at, told(telling).id, completed=False))
    assert telling.mode is Mode.HELD
    telling.say("resume work")
    assert telling.mode is Mode.TELLING
    assert telling.records("caution") == []


def test_read_back_right_it_goes_on() -> None:
    drive = Drive(TWO)
    drive.say("no flame")
    line = drive.records("caution")[0]
    assert (line["signal"], line["text"], line["read_back"]) == ("WARNING", "Cement burns.", "no flame")
    assert drive.step == "act"


@pytest.mark.parametrize(
    "wrong", ["stand aside", "affirmative", "completed", "rhubarb", "no", "flame", "no flame no"]
)
def test_wrong_words_repeat_it_and_at_the_fourth_hold(wrong: str) -> None:
    drive = Drive(TWO)
    drive.say(wrong)
    assert drive.said() == "That is not the caution. Read back: no flame."
    assert drive.mode is Mode.READING_BACK
    for _ in range(2):  # misses survive a repeated caution
        drive.say(wrong)
        assert drive.said() == "That is not the caution. WARNING. Cement burns. Read back: no flame."
    drive.say(wrong)
    assert drive.mode is Mode.HELD
    assert drive.records("caution") == []
    drive.say("resume work")
    assert drive.said() == "Going on. WARNING. Cement burns. Read back: no flame."
    drive.say("no flame")
    assert drive.step == "act"


def test_silence_repeats_it_and_at_the_fourth_holds() -> None:
    drive = Drive(TWO)
    for _ in range(4):
        drive.quiet()
    assert drive.mode is Mode.HELD
    assert drive.records("caution") == []


def test_silence_is_not_told_that_it_was_wrong() -> None:
    drive = Drive(TWO)
    drive.quiet()
    assert drive.said() == "Read back: no flame."
    assert drive.mode is Mode.READING_BACK
    drive.quiet()
    assert drive.said() == "WARNING. Cement burns. Read back: no flame."


@pytest.mark.parametrize(
    ("heard", "told"),
    [
        (NoMatch(0, "", "no words heard"), "Say again?"),
        (NoMatch(0, "no flame", "unlike"), "Say again?"),
        (Answer(0, "no flame", unsure=True), "Say again?"),
        (
            NoMatch(0, "no flame", "too noisy", "3"),
            "Too noisy: 3 decibels over the noise. Wait, or come closer.",
        ),
        (NoMatch(0, "rhubarb", NO_ANSWER), "That is not the caution."),
    ],
)
def test_what_was_not_heard_for_sure_is_not_called_wrong(heard: Answer | NoMatch, told: str) -> None:
    drive = Drive(TWO)
    drive.feed(replace(heard, at=drive.at))
    assert drive.said() == f"{told} Read back: no flame."
    drive.feed(replace(heard, at=drive.at))
    assert drive.said() == f"{told} WARNING. Cement burns. Read back: no flame."
    assert drive.records("caution") == []


def test_a_job_begun_before_is_told_as_it_was() -> None:
    """Its record is replayed with its own prompts."""
    text = "\n".join(line for line in prompts_text().splitlines() if not line.startswith("caution_unheard"))
    before = Machine(replace(Drive(TWO).book, prompts=Prompts(text)), Drive(TWO).state)
    (said,) = [e.text for e in before.feed(NoInput(before.state.at)) if isinstance(e, Say)]
    assert said == "That is not the caution. Read back: no flame."


def test_other_cautions_and_the_plain_yes_are_decoys() -> None:
    drive = Drive(TWO)
    assert decoys(drive.book.procedure, "no flame") == "stand aside | affirmative | completed"
    drive.feed(drive.heard("stand aside"))
    assert drive.records("missed")[0]["reason"] == "not the words of the caution"


def test_the_right_words_under_another_label_are_not_armed() -> None:
    drive = Drive(TWO)
    drive.feed(Answer(drive.at, "no flame", "value"))
    assert drive.records("caution") == []


@pytest.mark.parametrize("words", ["say again", "hold work"])
def test_a_command_never_counts_as_read_back(words: str) -> None:
    drive = Drive(TWO)
    drive.say(words)
    if words == "hold work":
        drive.say("resume work")
    assert told(drive).text.endswith("WARNING. Cement burns. Read back: no flame.")
    assert drive.mode is Mode.READING_BACK
    assert drive.records("caution") == []


def test_time_left_keeps_the_read_back_armed() -> None:
    drive = Drive(TWO)
    armed = drive.armed()
    drive.say("time left")
    assert drive.said() == "No wait is running."
    assert drive.armed() == armed


def test_going_back_past_a_caution_tells_it_again() -> None:
    drive = Drive(TWO)
    drive.say("no flame", "go back")
    assert drive.mode is Mode.READING_BACK
    assert drive.step == "care"
    drive.say("go back")
    assert drive.said() == "This is the first step. WARNING. Cement burns. Read back: no flame."
    drive.say("no flame", "completed", "stand aside")
    assert drive.step == "last"
    assert [r["step"] for r in drive.records("caution")] == ["care", "care", "other"]
