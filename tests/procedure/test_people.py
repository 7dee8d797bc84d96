"""Who releases and who works, as the machine sees it: it is told right or wrong, never a word."""

from __future__ import annotations

from typing import ClassVar

import pytest

from handsfree.procedure import Answer, Event, Mode, SetAside, Start, TakenUp, TimerDue

from .conftest import EVERY_KIND, TO_WAIT
from .driving import BADGE, JOB, LOOK, PLY, SIGN_IN, SIZE, Drive, whole

CODE = "granite window"


class Shop(Drive):
    """With a shop file: badge 409 is a supervisor's, 17 a technician's; others are nobody's."""

    PEOPLE: ClassVar = {"409": ("supervisor", "R. Holt"), "17": ("technician", "Mara Lindqvist")}

    def __init__(self, text: str, begun_for: str = "Ana") -> None:
        super().__init__(text, start=False)
        about = {**dict(JOB), "technician": begun_for, "shop": "Harbor Row"}
        self.feed(Start(self.at, tuple(sorted(about.items()))))

    def heard(self, words: str) -> Event:
        event = super().heard(words)
        if not isinstance(event, Answer):
            return event
        named = self.PEOPLE.get(dict(event.slots).get("badge", ""))
        slots = event.slots + ((named,) if named else ())
        return Answer(event.at, event.text, event.label, slots, event.number)


@pytest.fixture
def boss() -> Shop:
    return Shop(whole(BADGE))


ASK = ("supervisor release four zero nine", "affirmative")


@pytest.mark.parametrize("choice", ["release", "rejection"])
def test_a_code_word_is_asked_after_the_badge_is_confirmed(choice: str) -> None:
    boss = Shop(whole(BADGE))
    boss.say(f"supervisor {choice} four zero nine")
    assert boss.mode is Mode.CONFIRMING
    assert "code" not in boss.armed()
    boss.say("affirmative")
    assert boss.mode is Mode.PROVING
    assert boss.said() == "R. Holt: code word?"
    assert boss.armed()["code"] == "<shop.code.409>"
    assert boss.records("hold_point") == []
    boss.say(CODE)
    (line,) = boss.records("hold_point")
    assert (line["verified"], line["name"]) == ("code word", "R. Holt")
    assert line["outcome"] == ("released" if choice == "release" else "refused")


def test_a_badge_of_nobody_is_refused_in_words_and_at_last_held(boss: Shop) -> None:
    for _ in range(3):
        boss.say("supervisor release four two")
        assert "Badge four two is no supervisor's." in boss.said()
        assert boss.mode is Mode.ASKING
    boss.say("supervisor release one seven")  # a technician is no supervisor
    assert boss.mode is Mode.HELD
    assert boss.records("hold_point") == []


def test_wrong_codes_count_over_new_tries(boss: Shop) -> None:
    """Going back and saying the badge again gives no fresh three."""
    boss.say(*ASK, "elephant", "go back", *ASK, "elephant", "correction", *ASK)
    assert boss.mode is Mode.PROVING
    boss.say("elephant")
    assert boss.mode is Mode.HELD
    assert [c["count"] for c in boss.records("code")] == ["1", "2", "3"]
    boss.say("resume work")
    assert (boss.mode, boss.step) == (Mode.ASKING, "boss")
    assert "code" not in boss.armed()


@pytest.mark.parametrize("words", ["say again", "hold work", "what is the limit", "time left"])
def test_commands_leave_the_code_word_asked(boss: Shop, words: str) -> None:
    boss.say(*ASK, words)
    if boss.mode is Mode.HELD:
        boss.say("resume work")
    assert boss.mode is Mode.PROVING
    assert "code" in boss.armed()
    boss.say(CODE)
    assert boss.step == "last"


def test_silence_is_no_code_word(boss: Shop) -> None:
    boss.say(*ASK)
    for _ in range(4):
        boss.quiet()
    assert boss.mode is Mode.HELD
    assert boss.records("hold_point") == []


@pytest.mark.parametrize("slots", [(), (("code", "maybe"),), (("answer", "yes"),)])
def test_neither_right_nor_wrong_changes_nothing(boss: Shop, slots: tuple[tuple[str, str], ...]) -> None:
    boss.say(*ASK)
    before = boss.state
    boss.feed(Answer(boss.at, "x", "code", slots))
    assert boss.state is before


def test_a_code_that_was_never_asked_for_releases_nothing(boss: Shop) -> None:
    boss.say("supervisor release four zero nine")
    boss.feed(Answer(boss.at, "(code word)", "code", (("code", "right"),)))
    assert boss.records("hold_point") == []


# -- another technician --------------------------------------------------------------------------------


def test_the_change_goes_on_where_it_was() -> None:
    drive = Drive(whole(PLY, SIZE))
    drive.say("fabric ply", "affirmative", "change technician")
    assert (drive.mode, drive.said()) == (Mode.SIGNING, "New technician: badge number, digit by digit?")
    drive.say("one eight")
    assert drive.said() == "Badge one eight. Affirmative?"
    drive.say("one seven")  # the badge once more in place of a yes or no
    assert drive.said() == "Badge one seven. Affirmative?"
    drive.say("affirmative")
    assert drive.said() == "One seven works on. Injury size?"
    assert (drive.mode, drive.step) == (Mode.ASKING, "size")
    (line,) = drive.records("technician")
    assert (line["was"], line["now"]) == ("Ana", "badge 17")
    drive.say("technician change", "two two", "affirmative")
    assert drive.records("technician")[1]["was"] == "badge 17"


@pytest.mark.parametrize("words", [("go back",), ("correction",), ("one eight", "go back")])
def test_the_change_can_be_called_off(words: tuple[str, ...]) -> None:
    drive = Drive(whole(PLY))
    drive.say("change technician", *words)
    assert (drive.mode, drive.step) == (Mode.ASKING, "ply")
    assert drive.records("technician") == []


def test_a_wrong_badge_is_asked_again() -> None:
    drive = Drive(whole(PLY))
    drive.say("change technician", "one eight", "negative", "one seven", "correction")
    assert (drive.mode, drive.state.pending) == (Mode.SIGNING, None)
    assert drive.said() == "Not recorded. New technician: badge number, digit by digit?"
    assert len(drive.records("not_confirmed")) == 2


def test_only_people_of_the_shop_take_over() -> None:
    drive = Shop(whole(PLY))
    drive.say("change technician", "nine nine")
    assert drive.said().startswith("Badge nine nine is not in the shop file.")
    drive.say("one seven")
    assert drive.said() == "Badge one seven, Mara Lindqvist. Affirmative?"
    drive.say("affirmative")
    assert drive.records("technician")[0]["name"] == "Mara Lindqvist"


@pytest.mark.parametrize(
    "words", [("fabric ply",), ("fabric ply", "affirmative", "seven", "affirmative"), ("hold work",)]
)
def test_no_change_while_something_waits_for_its_answer(words: tuple[str, ...]) -> None:
    drive = Drive(whole(PLY, SIZE))
    drive.say(*words, "change technician")
    assert drive.mode is not Mode.SIGNING


@pytest.mark.parametrize("seconds", [100, 250, 400], ids=["goes on", "over", "overrun"])
def test_a_wait_runs_on_through_the_change(seconds: int) -> None:
    drive = Drive(EVERY_KIND)
    drive.say(*TO_WAIT, "change technician", "one seven")
    drive.let(seconds)
    assert drive.mode is Mode.SIGNING
    drive.say("affirmative")
    expected = {100: ("dry", Mode.WAITING), 250: ("tack", Mode.ASKING), 400: ("cement", Mode.ASKING)}
    assert (drive.step, drive.mode) == expected[seconds]
    assert len(drive.records("technician")) == 1


def test_an_interrupted_change_is_taken_up_again() -> None:
    drive = Drive(EVERY_KIND)
    drive.say(*TO_WAIT, "change technician", "one seven")
    drive.power_cut(400)
    assert drive.mode is Mode.SIGNING
    assert drive.said().endswith("Badge one seven. Affirmative?")
    drive.say("affirmative")
    assert drive.step == "cement"  # the open time ran out meanwhile


def test_a_read_back_that_was_cut_off_confirms_nobody() -> None:
    drive = Drive(whole(PLY))
    drive.voice = lambda say: say.kind != "read_back"
    drive.say("change technician", "one seven")
    assert drive.mode is Mode.HELD
    assert drive.records("technician") == []


def test_an_inspection_goes_on_at_its_condition() -> None:
    drive = Drive(whole(LOOK))
    drive.say("nothing found", "change technician", "one seven", "affirmative")
    assert drive.state.index == 1
    assert drive.said().endswith("Liner dusty?")


# -- a job among others --------------------------------------------------------------------------------


def test_a_job_set_aside_tells_its_name_and_goes_on_where_it_was() -> None:
    drive = Drive(EVERY_KIND)
    drive.say(*TO_WAIT)
    drive.feed(SetAside(drive.at, "alfa"))
    assert (drive.mode, drive.said()) == (Mode.HELD, "Tire alfa is on hold.")
    due = drive.state.next_due
    assert due is not None
    drive.at = due
    drive.feed(TimerDue(due, "alfa"))
    assert drive.said() == "Tire alfa: The wait is over. The job is on hold."
    drive.feed(TakenUp(drive.at, "alfa"))
    assert drive.spoken()[0] == "Tire alfa."
    assert drive.step == "tack"


def test_a_read_back_is_read_back_again_when_its_job_is_taken_up() -> None:
    drive = Drive(whole(SIZE))
    drive.say("five")
    drive.feed(SetAside(drive.at, "alfa"))
    drive.say("affirmative")  # not to this job
    assert drive.readings() == []
    drive.feed(TakenUp(drive.at, "alfa"))
    assert drive.said().endswith("Injury size: five millimeters. Affirmative?")


def test_only_a_job_that_is_on_hold_is_taken_up() -> None:
    drive = Drive(whole(SIZE))
    before = drive.state
    drive.feed(TakenUp(drive.at, "alfa"))
    assert drive.state is before


def test_who_signs_in_by_voice_is_somebody_of_the_shop() -> None:
    shop = Shop(whole(SIGN_IN, SIZE))
    shop.say("four two")
    assert shop.said().startswith("Badge four two is not in the shop file. Your badge number?")
    shop.say("one seven")
    assert shop.said() == "Badge one seven, Mara Lindqvist. Affirmative?"
    shop.say("affirmative")
    assert shop.readings() == [("job.technician", "17")]
    (line,) = shop.records("technician")
    assert (line["was"], line["now"]) == ("Ana", "Mara Lindqvist, badge 17")


def test_whoever_the_job_was_begun_for_takes_over_from_nobody() -> None:
    shop = Shop(whole(SIGN_IN, SIZE), "Mara Lindqvist")
    shop.say("one seven", "affirmative")
    (line,) = shop.records("technician")
    assert (line["was"], line["now"]) == ("", "Mara Lindqvist, badge 17")


def test_without_a_shop_file_the_badge_is_read_back_and_counts() -> None:
    drive = Drive(whole(SIGN_IN, SIZE))
    drive.say("one one two two")
    assert drive.said() == "Badge one one two two. Affirmative?"
    drive.say("affirmative")
    (line,) = drive.records("technician")
    assert (line["was"], line["now"]) == ("", "badge 1122")  # Ana, for whom the job was begun, signs in


def test_a_corrected_badge_is_who_works() -> None:
    drive = Drive(whole(SIGN_IN, SIZE))
    drive.say("one one two two", "affirmative", "correction", "one one two three", "affirmative")
    assert drive.state.technician == "badge 1123"
    assert [r["replaces"] != "" for r in drive.records("reading")] == [False, True]


def test_whoever_did_some_of_the_work_releases_none_of_it() -> None:
    drive = Drive(whole(SIGN_IN, BADGE))
    drive.say("four zero nine", "affirmative", "change technician", "one seven", "affirmative")
    drive.say("supervisor release four zero nine")
    assert drive.said() == "Badge four zero nine has worked on this job. Another supervisor. Supervisor?"
    drive.say("affirmative")
    assert (drive.step, drive.records("hold_point")) == ("boss", [])
