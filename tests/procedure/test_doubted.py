"""What was heard unsurely is asked about before it counts; an unsure yes, or unsure words of a caution, are none."""

from __future__ import annotations

from dataclasses import replace

import pytest

from handsfree.procedure import Answer, Machine, Mode, event_body, event_from_body

from .conftest import EVERY_KIND, TO_AIR, TO_BOSS, TO_CARE, TO_DRILL, TO_LOOK, TO_SIZE
from .driving import CLEAR, FOUND, Drive, replayed


def unsurely(drive: Drive, words: str) -> None:
    drive.at += 1000
    answer = drive.heard(words)
    assert isinstance(answer, Answer)
    drive.feed(replace(answer, unsure=True))


def recorded(drive: Drive) -> list[str]:
    kinds = ("reading", "answer", "inspect", "pass", "caution", "hold_point")
    return [kind for kind in kinds for _ in drive.records(kind)]


@pytest.mark.parametrize(
    ("before", "words", "kind"),
    [
        ((*TO_CARE, "no flame"), "completed", "answer"),
        (TO_DRILL, "pass one", "pass"),
        (TO_LOOK, CLEAR, "inspect"),
    ],
)
def test_what_would_count_at_once_is_asked_about(before: tuple[str, ...], words: str, kind: str) -> None:
    drive = Drive(EVERY_KIND)
    drive.say(*before)
    known, step, index = recorded(drive), drive.step, drive.state.index
    unsurely(drive, words)
    assert drive.mode is Mode.CONFIRMING
    assert words in drive.said().lower()
    assert recorded(drive) == known
    drive.say("affirmative")
    assert recorded(drive) == sorted([*known, kind], key=recorded(drive).index)
    assert (drive.step, drive.state.index) != (step, index)

    other = Drive(EVERY_KIND)
    other.say(*before)
    unsurely(other, words)
    other.say("negative")
    assert (other.step, other.state.index, other.mode) == (step, index, Mode.ASKING)
    assert recorded(other) == known
    other.say(words)
    assert recorded(other) == recorded(drive)


@pytest.mark.parametrize(
    ("before", "words"),
    [
        (TO_SIZE, "five point five millimeters"),
        (TO_LOOK, FOUND),
        (TO_BOSS, "supervisor release one two"),
        ((), "fabric ply"),
    ],
)
def test_what_is_read_back_anyway_is_read_back_once(before: tuple[str, ...], words: str) -> None:
    sure, unsure = Drive(EVERY_KIND), Drive(EVERY_KIND)
    for drive in (sure, unsure):
        drive.say(*before)
    sure.say(words)
    unsurely(unsure, words)
    assert unsure.spoken() == sure.spoken()
    assert unsure.state.pending == sure.state.pending


def test_an_unsure_yes_is_no_consent_and_an_unsure_no_is_a_no() -> None:
    drive = Drive(EVERY_KIND)
    drive.say(*TO_SIZE, "five point five millimeters")
    unsurely(drive, "affirmative")
    assert drive.mode is Mode.CONFIRMING
    assert not drive.records("reading")
    assert drive.records("missed")
    unsurely(drive, "negative")
    assert drive.mode is Mode.ASKING
    assert not drive.records("reading")


def test_an_unsure_yes_does_not_settle_what_was_doubted() -> None:
    drive = Drive(EVERY_KIND)
    drive.say(*TO_CARE, "no flame")
    unsurely(drive, "completed")
    unsurely(drive, "affirmative")
    assert (drive.step, drive.mode) == ("act", Mode.CONFIRMING)
    drive.quiet()
    assert (drive.step, drive.mode) == ("act", Mode.CONFIRMING)


def test_unsure_words_of_a_caution_are_not_its_words() -> None:
    drive = Drive(EVERY_KIND)
    drive.say(*TO_CARE)
    unsurely(drive, "no flame")
    assert drive.step == "care"
    assert not drive.records("caution")
    drive.say("no flame")
    assert drive.records("caution")


def test_a_doubted_answer_is_held_corrected_and_replayed_like_any_other() -> None:
    drive = Drive(EVERY_KIND)
    drive.say(*TO_AIR[:-2])
    unsurely(drive, "pass two")
    drive.say("stand by", "resume work")
    assert drive.mode is Mode.CONFIRMING
    drive.power_cut(5)
    assert drive.mode is Mode.CONFIRMING
    drive.say("affirmative", "pass three")
    assert len(drive.records("pass")) == 3
    assert replayed(drive) == (drive.effects, drive.state)
    machine = Machine(drive.book)
    for event in drive.events:
        machine.feed(event_from_body(event_body(event)))
    assert machine.state == drive.state
