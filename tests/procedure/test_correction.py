"""Going back and correcting: old lines stay, new ones point at them, and the work goes on where it was."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

import pytest

from handsfree.limits import Decision, Policy
from handsfree.procedure import Mode
from handsfree.quantity import Quantity

from .conftest import TO_LOOK
from .driving import (
    BADGE,
    CARE,
    CLEAR,
    DISPOSE,
    ENDINGS,
    FOUND,
    HEAD,
    LOOK,
    ORDER,
    PLY,
    SIZE,
    SPEED,
    Drive,
    count,
    do,
    whole,
)

EDGE = (
    SIZE.replace('"size"', '"edge"')
    .replace('"Injury size"', '"Edge distance"')
    .replace("Injury size?", "Edge distance?")
    .replace("injury.size.max", "injury.edge.min")
    .replace("injury.size", "injury.edge_distance")
    .replace("[0.5, 60]", "[0, 250]")
)
MORE = """[[step]]
id = "more"
phase = "measure"
kind = "choice"
ask = "Another injury?"
confirm = false
options = [
  { id = "none", say = "no more injuries", name = "No more injuries" },
  { id = "again", say = "another injury", name = "Another injury", archive = "injury" },
]
on = { again = "size" }
"""
INJURIES = whole(ORDER, SIZE, EDGE, MORE, DISPOSE, do())
ORDERED = ("one two three", "affirmative")
FIRST = ("five", "affirmative", "six zero", "affirmative")


def test_a_correction_is_a_new_line_that_names_the_old_one() -> None:
    drive = Drive(whole(ORDER, SIZE))
    drive.say(*ORDERED, "five", "affirmative")
    old = drive.records("reading")[-1]
    drive.say("correction")
    assert drive.said() == "Correction. Injury size?"
    assert drive.records("correction")[0]["record_no"] == old["record"]
    drive.say("four", "affirmative")
    new = drive.records("reading")[-1]
    assert (new["value"], new["replaces"]) == ("4", old["record"])
    assert old in drive.records("reading")
    assert drive.step == "last"
    assert str(drive.state.facts["injury.size"]).count("Decimal('4')") == 1
    drive.say("correction", "three", "affirmative")
    assert drive.records("reading")[-1]["replaces"] == new["record"]


def test_it_comes_back_to_the_passes_already_counted() -> None:
    drive = Drive(whole(PLY, SIZE, count(), do()))
    drive.say("fabric ply", "affirmative", "five", "affirmative", "pass one", "pass two", "correction")
    assert drive.step == "size"
    drive.say("four", "affirmative")
    assert drive.said().endswith("Drill. one passes.")
    drive.say("pass three")
    assert drive.step == "act"


def test_it_comes_back_to_an_inspection_not_begun() -> None:
    drive = Drive(whole(SIZE, LOOK))
    drive.say("five", "affirmative", "correction", "four", "affirmative")
    assert drive.said().endswith("Inspect the tire. Beads torn?")


def test_within_an_inspection_the_condition_is_asked_again() -> None:
    drive = Drive(whole(SIZE, LOOK))
    drive.say("five", "affirmative", CLEAR, CLEAR, "correction")
    assert drive.said() == "Correction. Liner dusty?"
    drive.say(FOUND, "affirmative", CLEAR)
    lines = drive.records("inspect")
    assert [(r["condition"], r["outcome"]) for r in lines] == [
        ("beads", "clear"),
        ("liner", "clear"),
        ("liner", "found"),
        ("tread", "clear"),
    ]
    assert lines[2]["replaces"] == lines[1]["record"]
    assert drive.state.reasons == ("run-flat damage",)


def test_an_inspection_left_is_corrected_by_its_last_condition() -> None:
    drive = Drive(whole(LOOK + 'on = { found = "scrap" }\n'))
    drive.say(CLEAR, CLEAR, CLEAR, "correction")
    assert drive.said() == "Correction. Tread open?"
    drive.say(CLEAR)
    assert (drive.step, drive.mode) == ("last", Mode.ASKING)
    drive.say("correction", FOUND, "affirmative")
    assert drive.state.outcome == "scrap"


def test_a_condition_found_stands_whatever_the_last_one_is_corrected_to() -> None:
    text = HEAD + LOOK + 'on = { found = "throw" }\n' + do("last", to="returned") + do("throw", to="scrap")
    drive = Drive(text + ENDINGS)
    drive.say(FOUND, "affirmative", CLEAR, CLEAR)
    assert drive.step == "throw"
    drive.say("correction", CLEAR)
    assert drive.step == "throw"
    assert drive.state.reasons == ("bead damage",)


def test_a_corrected_reading_that_is_outside_takes_its_own_way() -> None:
    text = HEAD + SIZE + 'on = { outside = "throw" }\n' + do() + do("last", to="returned")
    drive = Drive(text + do("throw", to="scrap") + ENDINGS)
    drive.say(
        "five",
        "affirmative",
        "completed",
        "correction",
        "seven",
        "affirmative",
        "out of limits",
        "affirmative",
    )
    assert drive.step == "throw"
    # And back again: the reading was misheard after all. Its reason stays for whoever looks at the record.
    drive.say("correction", "four", "affirmative")
    assert drive.step == "act"
    assert len(drive.state.reasons) == 1


def test_a_corrected_choice_that_leads_elsewhere_is_followed() -> None:
    text = whole(PLY + 'on = { steel = "set-aside" }\n', SIZE)
    text = text.replace(ENDINGS, do("set-aside", to="scrap") + ENDINGS)
    drive = Drive(text)
    drive.say("steel ply", "affirmative")
    assert drive.step == "set-aside"
    drive.say("correction", "fabric ply", "affirmative")
    assert (drive.step, drive.state.facts["tire.body_ply"]) == ("size", "fabric")
    drive.say("go back")
    assert drive.step == "ply"  # the way that was wrong is no way to go back to
    drive.say("fabric ply", "affirmative")
    assert drive.step == "size"


def test_no_more_injuries_instead_of_another_one() -> None:
    drive = Drive(INJURIES)
    drive.say(*ORDERED, *FIRST, "another injury")
    assert drive.step == "size"
    drive.say("correction")
    assert drive.said() == "Correction. Another injury?"
    drive.say("no more injuries")
    assert drive.step == "act"
    assert [r["outcome"] for r in drive.records("hold_point")] == ["released"]
    drive.say("go back", "go back")
    assert drive.step == "edge"
    assert str(drive.state.facts["injury.size"]).count("Decimal('5')") == 1


def test_another_injury_instead_of_no_more() -> None:
    drive = Drive(INJURIES)
    drive.say(*ORDERED, *FIRST, "no more injuries", "correction", "another injury")
    assert (drive.step, len(drive.state.archived)) == ("size", 1)
    drive.say("correction", "another injury")
    assert (drive.step, len(drive.state.archived)) == ("size", 1)


def test_the_next_injurys_readings_correct_nothing_of_the_last_ones() -> None:
    drive = Drive(INJURIES)
    drive.say(*ORDERED, *FIRST, "another injury", *FIRST, "no more injuries")
    assert [r["replaces"] for r in drive.records("reading")] == [""] * 5


def test_an_injury_put_aside_is_judged_too() -> None:
    drive = Drive(INJURIES)
    drive.say(
        *ORDERED,
        "seven",
        "affirmative",
        "out of limits",
        "affirmative",
        "six zero",
        "affirmative",
        "another injury",
    )
    drive.say(*FIRST, "no more injuries")
    assert drive.state.outcome == "scrap"
    assert "7 mm" in drive.records("close")[0]["reasons"][0]


def test_going_back_over_an_archived_injury_gives_its_facts_back() -> None:
    drive = Drive(INJURIES)
    drive.say(*ORDERED, *FIRST, "another injury")
    assert "injury.size" not in drive.state.facts
    drive.say("go back")
    assert (drive.step, drive.state.archived) == ("more", ())
    assert "injury.size" in drive.state.facts
    assert "injury.edge_distance" in drive.state.facts
    drive.say("go back", "six one", "affirmative")
    new, old = drive.records("reading")[-1], drive.records("reading")[-2]
    assert new["replaces"] == old["record"]


def test_a_disposition_given_for_a_wrong_value_is_given_anew() -> None:
    drive = Drive(whole(SIZE, DISPOSE, do()))
    drive.say("five", "affirmative")
    assert drive.records("hold_point")[0]["outcome"] == "released"
    drive.say("correction", "four", "affirmative")
    assert drive.step == "act"  # still repairable: on with the work
    drive.say("correction", "seven", "affirmative", "out of limits", "affirmative")
    assert drive.records("hold_point")[-1]["outcome"] == "refused"
    assert drive.state.outcome == "scrap"


def test_a_corrected_choice_is_disposed_again_too() -> None:
    """The choice names no limit of its own; only the disposition judges it."""
    place = (
        PLY.replace("tire.body_ply", "injury.place")
        .replace('"fabric"', '"crown"')
        .replace('"steel"', '"sidewall"')
    )
    drive = Drive(whole(place, DISPOSE, do()))
    drive.say("fabric ply", "affirmative")
    assert drive.step == "act"
    drive.say("correction", "steel ply", "affirmative")
    assert drive.state.outcome == "scrap"


def test_go_back_asks_every_later_step_again() -> None:
    drive = Drive(whole(do("buff"), do("vacuum"), do("cement")))
    drive.say("completed", "completed", "go back", "go back")
    assert (drive.step, drive.said()) == ("buff", "Back. Do it.")
    drive.say("completed", "completed", "completed")
    assert drive.step == "last"
    assert [r["step"] for r in drive.records("answer")] == ["buff", "vacuum", "buff", "vacuum", "cement"]
    assert [(r["step"], r["to"]) for r in drive.records("back")] == [("cement", "vacuum"), ("vacuum", "buff")]
    assert "went back from cement to vacuum" in drive.state.exceptions


def test_go_back_forgets_what_only_later_steps_knew() -> None:
    drive = Drive(whole(PLY, SIZE))
    drive.say("fabric ply", "affirmative", "five", "affirmative", "go back", "go back")
    assert drive.step == "ply"
    assert set(drive.state.facts) == {"today", "job.technician"}


def test_a_value_corrected_since_stays_corrected_when_going_back() -> None:
    drive = Drive(whole(PLY, do(), do("then")))
    drive.say("fabric ply", "affirmative", "completed", "correction", "steel ply", "affirmative", "go back")
    assert (drive.step, drive.state.facts["tire.body_ply"]) == ("act", "steel")


def test_going_back_reads_a_new_line_that_names_the_old_one() -> None:
    drive = Drive(whole(SIZE))
    drive.say("five", "affirmative", "go back", "four", "affirmative")
    first, second = drive.records("reading")
    assert second["replaces"] == first["record"]


def test_not_before_the_first_step() -> None:
    drive = Drive(whole(SIZE))
    drive.say("go back")
    assert drive.said() == "This is the first step. Injury size?"
    assert (drive.step, drive.records("back")) == ("size", [])
    drive.say("five", "affirmative")
    assert drive.step == "last"


def test_over_a_hold_point_that_releases_itself() -> None:
    drive = Drive(whole(SIZE, DISPOSE, do()))
    drive.say("five", "affirmative", "go back")
    assert drive.step == "size"


def test_a_supervisors_hold_point_is_asked_again() -> None:
    drive = Drive(whole(do(), BADGE, do("then")))
    drive.say("completed", "supervisor release one two", "affirmative", "go back")
    assert drive.step == "boss"


def test_go_back_within_an_inspection_is_one_condition() -> None:
    drive = Drive(whole(do(), LOOK))
    drive.say("completed", CLEAR, CLEAR, "go back")
    assert drive.said() == "Back. Liner dusty?"
    drive.say("go back", "go back")
    assert drive.step == "act"


def test_go_back_gives_a_correction_up() -> None:
    drive = Drive(whole(PLY, SIZE, count(), do()))
    drive.say("fabric ply", "affirmative", "five", "affirmative", "pass one", "correction", "go back")
    assert drive.said() == "Back. Drill. two passes."
    drive.say("pass two", "pass three")
    assert drive.step == "act"
    assert drive.readings() == [("injury.size", "5 mm")]


def test_nothing_to_correct() -> None:
    drive = Drive(whole(do(), SIZE))
    armed = drive.armed()
    drive.say("correction")
    assert drive.said() == "Nothing to correct yet."
    assert drive.armed() == armed


def test_a_correction_within_a_correction_changes_nothing() -> None:
    drive = Drive(whole(ORDER, SIZE))
    drive.say(*ORDERED, "five", "affirmative", "correction", "correction")
    assert drive.said() == "Nothing to correct yet."
    drive.say("four", "affirmative")
    assert drive.step == "last"


def test_steps_undone_are_not_reopened_from_before() -> None:
    """Back at the work order, "correction" must not ask for the size, which comes later."""
    drive = Drive(whole(do(), ORDER, SIZE, do("then")))
    drive.say("completed", *ORDERED, "five", "affirmative", "go back", "go back", "correction")
    assert (drive.step, drive.mode) == ("order", Mode.ASKING)
    drive.say("four five six", "affirmative", "five", "affirmative")
    assert drive.step == "then"
    drive.say("go back", "go back", "go back", "correction")
    assert drive.said() == "Nothing to correct yet."


def test_a_setting_said_wrong_is_corrected_in_place() -> None:
    drive = Drive(whole(ORDER, SPEED))
    drive.say(*ORDERED, "one five zero zero", "affirmative", "correction")
    assert drive.said() == "Correction. Cutter speed?"
    drive.say("one zero zero zero", "affirmative")
    assert drive.step == "last"


@pytest.mark.parametrize("words", ["go back", "correction", "negative"])
def test_the_read_back_of_a_correction_can_be_rejected(words: str) -> None:
    drive = Drive(whole(ORDER, SIZE))
    drive.say(*ORDERED, "five", "affirmative", "correction", "four", words)
    assert (drive.step, drive.mode) == ("size", Mode.ASKING)
    drive.say("three", "affirmative")
    assert drive.step == "last"
    assert drive.readings()[-1] == ("injury.size", "3 mm")


def test_a_hold_in_the_middle_of_a_correction() -> None:
    drive = Drive(
        whole(ORDER, SIZE, count().replace("passes.inside", "passes.outside")).replace(SIZE, PLY + SIZE)
    )
    drive.say(
        *ORDERED, "fabric ply", "affirmative", "five", "affirmative", "pass one", "correction", "hold work"
    )
    drive.power_cut(100)
    assert drive.said() == "Job opened again. Phase: measure. Injury size?"
    drive.say("four", "affirmative", "pass two", "pass three")
    assert drive.step == "last"


def test_many_corrections_keep_the_chain(job: Drive) -> None:
    job.say(*TO_LOOK)
    for value in ("four", "three", "two"):
        job.say("correction", value, "affirmative")
    numbers = [r["record"] for r in job.records("reading")]
    assert [r["replaces"] for r in job.records("reading")] == ["", *numbers[:-1]]
    assert job.step == "look"


@pytest.mark.parametrize(("two_piece", "step"), [(True, "act"), (False, "boss")])
def test_a_two_piece_repair_is_no_reason_where_it_can_be_made(
    monkeypatch: pytest.MonkeyPatch, two_piece: bool, step: str
) -> None:
    """The engine's decision takes a dozen readings; here the angle alone stands for them."""

    def decides(facts: Mapping[str, Quantity | str], policy: Policy) -> Decision:
        angle = facts["injury.angle"]
        assert isinstance(angle, Quantity)
        return Decision.TWO_PIECE if angle.value > 25 else Decision.ONE_PIECE

    monkeypatch.setattr("handsfree.procedure._judging._decision", decides)
    angle = SIZE.replace('"size"', '"angle"').replace(
        'limits = ["injury.size.max"]', 'no_limit = "at the end"'
    )
    angle = (
        angle.replace("injury.size", "injury.angle").replace("length_mm", "angle").replace('"mm"', '"deg"')
    )
    angle = angle.replace("[0.5, 60]", "[0, 90]")
    point = DISPOSE.replace('refused = "scrap"', 'refused = "boss"') + (
        "two_piece = true\n" if two_piece else ""
    )
    text = HEAD + angle + point + do() + do("last", to="returned") + BADGE + "# last\n" + ENDINGS
    text = text.replace('on = { refused = "scrap" }\n# last', 'on = { released = "act", refused = "scrap" }')
    drive = Drive(text)
    drive.say("two zero", "affirmative")
    assert drive.step == "act"
    drive.say("correction", "four zero", "affirmative")
    assert drive.step == step


def test_measuring_again_from_an_earlier_step_ends_the_correction_that_led_there() -> None:
    """A corrected value is out of limits and is measured again from two steps back: the job goes on from there."""
    again = SIZE.replace("forms", 'again = "mark"\non = { outside = "scrap" }\nforms')
    drive = Drive(whole(do("mark"), again, ORDER, do("after")))
    drive.say("completed", "five", "affirmative", "correction", "seven", "affirmative", "measure again")
    assert (drive.step, drive.mode) == ("mark", Mode.ASKING)
    drive.say("completed", "five", "affirmative", *ORDERED)
    assert drive.step == "after"
    assert [v for _, v in drive.readings()] == ["5 mm", "7 mm", "5 mm", "123"]


def test_conditions_undone_by_going_back_are_all_asked_again() -> None:
    """A correction at the first of them must not reopen the last, and so leave the others out."""
    drive = Drive(whole(PLY, do("clean"), LOOK, do("pull")))
    drive.say(
        "fabric ply", "affirmative", "completed", CLEAR, CLEAR, CLEAR, "go back", "go back", "completed"
    )
    assert (drive.step, drive.state.index) == ("look", 0)
    drive.say("correction")
    assert drive.step == "ply"
    drive.say("fabric ply", "affirmative")
    assert (drive.step, drive.state.index) == ("look", 0)


def test_a_reading_is_not_reopened_over_the_caution_that_stands_before_it() -> None:
    loop = BADGE.replace('on = { refused = "scrap" }', 'on = { released = "care", refused = "scrap" }')
    drive = Drive(HEAD + CARE.replace('"act"', '"size"') + SIZE + loop + do("last", to="returned") + ENDINGS)
    drive.say("no flame", "five", "affirmative", "supervisor release one two", "affirmative")
    assert (drive.step, drive.mode) == ("care", Mode.READING_BACK)
    drive.say("correction")
    assert (drive.step, drive.mode) == ("care", Mode.READING_BACK)


def test_an_injury_put_aside_by_mistake_is_taken_up_again() -> None:
    """ "Another injury" was wrong: the one that was measured must not be lost to the steps that need it."""
    drive = Drive(INJURIES)
    drive.say(*ORDERED, *FIRST, "another injury")
    assert (drive.step, len(drive.state.archived)) == ("size", 1)
    drive.say("correction", "no more injuries")
    assert drive.step != "size"
    assert drive.state.archived == ()
    assert drive.state.facts["injury.size"] == Quantity(Decimal(5), "mm", Decimal(1))
    assert {"size", "edge"} <= {entry.step for entry in drive.state.entries}
    assert [r["outcome"] for r in drive.records("answer") if r["step"] == "more"] == ["again", "none"]


def test_going_back_within_the_second_injury_reopens_nothing_of_it_that_is_undone() -> None:
    drive = Drive(INJURIES)
    drive.say(*ORDERED, *FIRST, "another injury", *FIRST)
    drive.say("go back", "go back")
    assert drive.step == "size"
    drive.say("correction")
    assert drive.step != "edge"
