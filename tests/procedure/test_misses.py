"""Not understood, and silence: less, then more, then hold. Silence is never consent."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.procedure import Arm, Chime, Mode, NoInput, NoMatch

from .conftest import EVERY_KIND, TO_AIR, TO_BOSS, TO_CARE, TO_DRILL, TO_LOOK, TO_SIZE, TO_WAIT
from .driving import CLEAR, FOUND, ORDER, SIZE, Drive, do, whole

DECIDED = ("reading", "inspect", "answer", "pass", "caution", "hold_point", "disposed", "close", "told")

#: Where the job stands, the words that bring it there, and what the second miss offers.
PLACES = {
    "choice": ((), "fabric ply, or steel ply"),
    "read-back": (("fabric ply",), "affirmative, or negative"),
    "reading": (TO_SIZE, "five millimeters"),
    "verdict": ((*TO_SIZE, "seven", "affirmative"), "measure again, or out of limits"),
    "inspection": (TO_LOOK, f"{CLEAR}, or {FOUND}"),
    "supervisor": (
        TO_BOSS,
        "supervisor release, and the badge number, or supervisor rejection, and the badge number",
    ),
    "action": (TO_DRILL[:-1], "completed"),
    "passes": (TO_DRILL, "pass one"),
}


@pytest.mark.parametrize("place", PLACES)
def test_misses_taper_to_a_hold(place: str) -> None:
    words, forms = PLACES[place]
    drive = Drive(EVERY_KIND)
    drive.say(*words)
    before, mode, armed = drive.state, drive.mode, drive.armed()
    drive.say("rhubarb")
    assert drive.said() == "Say again?"
    drive.say("rhubarb")
    assert drive.said() == f"Say, for example: {forms}."
    drive.say("rhubarb")
    third = drive.said()
    assert third == (
        "Digit by digit, please, for example: three zero millimeters."
        if place == "reading"
        else f"Say, for example: {forms}."
    )
    assert drive.armed() == armed
    drive.say("rhubarb")
    assert drive.mode is Mode.HELD
    assert drive.said().startswith("I can't make that out. On hold.")
    assert any("not understood 4 times" in e for e in drive.state.exceptions)
    assert (drive.step, drive.state.index, drive.state.facts) == (before.step, before.index, before.facts)
    drive.say("resume work")
    assert (drive.mode, drive.state.misses, drive.armed()) == (mode, 0, armed)


@pytest.mark.parametrize("place", [p for p in PLACES if p not in ("action", "passes", "supervisor")])
def test_silence_asks_the_question_again_without_a_chime(place: str) -> None:
    drive = Drive(EVERY_KIND)
    drive.say(*PLACES[place][0])
    asked = drive.spoken()[-1]
    assert next(e for e in reversed(drive.last) if isinstance(e, Arm)).no_input_s is not None
    drive.quiet()
    assert drive.spoken() == [asked] or asked.endswith(drive.said())
    assert not any(isinstance(e, Chime) and e.name != "armed" for e in drive.last)
    drive.say("rhubarb")
    assert any(isinstance(e, Chime) and e.name == "refused" for e in drive.last)


@pytest.mark.parametrize("place", ["action", "passes", "supervisor"])
def test_work_with_the_hands_is_never_nagged_at(place: str) -> None:
    drive = Drive(EVERY_KIND)
    drive.say(*PLACES[place][0])
    assert next(e for e in reversed(drive.last) if isinstance(e, Arm)).no_input_s is None


def test_four_silences_hold_the_job(job: Drive) -> None:
    for _ in range(4):
        job.quiet()
    assert job.mode is Mode.HELD
    assert [r["reason"] for r in job.records("missed")] == ["no answer"] * 4


def test_an_answer_starts_the_count_anew(job: Drive) -> None:
    job.say("rhubarb", "rhubarb", "rhubarb", "fabric ply", "rhubarb")
    assert job.said() == "Say again?"


def test_a_command_does_not_start_the_count_anew(job: Drive) -> None:
    job.say("rhubarb", "say again", "rhubarb", "time left", "rhubarb", "what is the limit", "rhubarb")
    assert job.mode is Mode.HELD


def test_digit_strings_are_asked_for_digit_by_digit() -> None:
    drive = Drive(whole(ORDER))
    drive.say("rhubarb", "rhubarb")
    assert drive.said() == "Say, for example: one two three four."
    drive.say("rhubarb")
    assert drive.said() == "Digit by digit, please, for example: one two three four."


def test_a_reading_without_forms_offers_its_digits() -> None:
    drive = Drive(whole(SIZE.replace('forms = "five millimeters"\n', "")))
    drive.say("rhubarb", "rhubarb")
    assert drive.said() == "Say, for example: three zero millimeters."


def test_the_wrong_answer_counts_as_a_miss_too() -> None:
    drive = Drive(whole(SIZE))
    for _ in range(4):
        drive.say("nine nine nine")
    assert drive.mode is Mode.HELD
    assert drive.readings() == []


def test_what_was_heard_is_kept_with_its_reason(job: Drive) -> None:
    job.feed(NoMatch(job.at, "mumble", "too quiet"))
    job.feed(NoMatch(job.at))
    assert [(r["heard"], r["reason"]) for r in job.records("missed")] == [
        ("mumble", "too quiet"),
        ("", "not understood"),
    ]


def test_silence_is_refused_where_nothing_is_asked() -> None:
    drive = Drive(EVERY_KIND)
    drive.say("hold work")
    drive.quiet()
    assert drive.mode is Mode.HELD
    assert len(drive.records("refused")) == 1


STARTS = [(), ("fabric ply",), TO_SIZE, (*TO_SIZE, "five"), (*TO_SIZE, "seven", "affirmative"), TO_LOOK]
STARTS += [(*TO_LOOK, FOUND), TO_BOSS, (*TO_BOSS, "supervisor release one two"), TO_CARE, TO_DRILL, TO_AIR]
STARTS += [(*TO_DRILL, "pass one"), TO_WAIT, (*TO_LOOK, "hold work")]


@settings(max_examples=60, deadline=None)
@given(
    start=st.sampled_from(STARTS),
    noises=st.lists(
        st.one_of(st.none(), st.sampled_from(["", "rhubarb", "yes", "okay", "huh"])), max_size=12
    ),
    resume=st.booleans(),
)
def test_silence_and_noise_are_never_consent(
    start: tuple[str, ...], noises: list[str | None], resume: bool
) -> None:
    drive = Drive(EVERY_KIND)
    drive.say(*start)
    decided = [drive.records(kind) for kind in DECIDED if kind != "told"]
    where = drive.step, drive.state.facts, drive.state.index, drive.state.entries
    for noise in noises:
        drive.at += 1000
        drive.feed(NoInput(drive.at) if noise is None else NoMatch(drive.at, noise))
        if resume and drive.mode is Mode.HELD:
            drive.say("resume work")
    assert [drive.records(kind) for kind in DECIDED if kind != "told"] == decided
    assert (drive.step, drive.state.facts, drive.state.index, drive.state.entries) == where


def test_an_action_with_words_of_its_own() -> None:
    step = do().replace('kind = "do"', 'kind = "do"\nanswer = "bead is seated {answer=done}"')
    drive = Drive(whole(step))
    drive.say("completed")
    assert drive.step == "act"
    drive.say("bead is seated")
    assert drive.step == "last"


def test_silence_is_not_called_misunderstood(job: Drive) -> None:
    for _ in range(4):
        job.quiet()
    assert job.said() == "Nothing heard. On hold. Say: resume work."


def test_on_hold_whoever_types_is_answered_each_time(job: Drive) -> None:
    job.say("hold work")
    answers = []
    for typed in (False, False, True, True, False):
        job.feed(NoMatch(job.at, "rhubarb", typed=typed))
        answers.append(job.said())
    assert answers == [
        "On hold. Say: resume work.",
        "",
        *["On hold. Say: resume work."] * 2,
        "On hold. Say: resume work.",
    ]
