"""A finding that was confirmed by mistake and then corrected: its reason stands, and a supervisor can release it."""

from __future__ import annotations

import pytest

from handsfree.procedure import ProcedureError, read_procedure
from handsfree.session import packaged_procedure

from .driving import (
    AIR,
    BADGE,
    CLEAR,
    DISPOSE,
    ENDINGS,
    FOUND,
    HEAD,
    LOOK,
    PLY,
    SIZE,
    WARM,
    Drive,
    do,
    replayed,
    wait,
)
from .test_check import faults
from .test_derived import AFTER, PLACE, REPAIR, REST, TO_INJURY, injury

RELEASED = ENDINGS.replace('id = "returned"', 'id = "returned"\nreleased = true')
CORRECTED = HEAD + 'corrected = "boss"\n'
THROW = 'on = { outside = "throw" }\n'
TAIL = do("last", to="returned") + BADGE + do("throw", to="scrap") + RELEASED
TOO_LARGE = ("seven millimeters", "affirmative", "out of limits", "affirmative")
FIVE = ("five millimeters", "affirmative")
GOING_ON = BADGE.replace("on = {", 'on = { released = "act",')
RELEASE = ("supervisor release four two", "affirmative")
REJECT = ("supervisor rejection four two", "affirmative")


def small(*steps: str, tail: str = TAIL) -> Drive:
    return Drive(CORRECTED + "".join(steps) + tail)


def small_text(*, disposed: bool) -> str:
    """An answer that is a reason and changes no way, with or without a disposition after it."""
    scrap = 'name = "Steel ply"'
    ply = PLY.replace(scrap, f'{scrap}, scrap = "not for this repair"')
    return CORRECTED + ply + do() + (DISPOSE if disposed else "") + TAIL


@pytest.fixture
def sized() -> Drive:
    drive = small(SIZE + THROW, do())
    drive.say(*TOO_LARGE)
    assert drive.step == "throw"
    return drive


def test_a_corrected_reading_leads_to_the_supervisor_and_then_on(sized: Drive) -> None:
    reasons = sized.state.reasons
    sized.say("correction", *FIVE)
    assert sized.step == "boss"
    assert sized.said().endswith(
        "A finding stands: Injury size: 7 mm; most 6 mm; outside by 1 mm. "
        "Only a supervisor can release it. Supervisor?"
    )
    assert sized.state.reasons == reasons
    sized.say(*RELEASE)
    assert (sized.step, sized.state.reasons) == ("act", ())
    sized.say("completed", "completed")
    assert sized.state.outcome == "returned"
    exceptions = sized.records("close")[0]["exceptions"]
    assert any(text.startswith("finding corrected, released by badge 42: Injury size") for text in exceptions)
    assert not any("concession" in text for text in exceptions)  # no defect was put up with


def test_a_supervisor_may_reject_it_and_then_only_a_supervisor_helps(sized: Drive) -> None:
    sized.say("correction", *FIVE, *REJECT)
    assert sized.state.outcome == "scrap"
    assert len(sized.state.reasons) == 2


def test_corrected_once_more_to_outside_takes_its_own_way(sized: Drive) -> None:
    sized.say("correction", *FIVE, "correction", *TOO_LARGE)
    assert sized.step == "throw"
    sized.say("correction", "four millimeters", "affirmative", *RELEASE)
    assert sized.step == "act"


def test_going_back_and_answering_anew_is_the_same(sized: Drive) -> None:
    sized.say("go back", *FIVE)
    assert sized.step == "boss"
    sized.say("go back", *FIVE)
    assert sized.step == "boss"  # no way round it
    sized.say(*RELEASE)
    assert sized.step == "act"


def test_a_question_that_is_not_come_to_again() -> None:
    steel = 'on = { fabric = "act" }\n'
    drive = small(PLY + steel, SIZE + THROW, do(), DISPOSE)
    drive.say("steel ply", "affirmative", *TOO_LARGE, "go back", "go back", "fabric ply", "affirmative")
    assert drive.step == "act"
    drive.say("completed")
    assert drive.step == "boss"  # nothing that was answered is against the tire now, but its reason stands
    drive.say(*RELEASE)
    assert drive.step == "last"


def test_what_else_was_found_keeps_the_work_where_it_was() -> None:
    drive = small(LOOK + 'on = { found = "throw" }\n', do())
    drive.say(FOUND, "affirmative", CLEAR, FOUND, "affirmative", "correction", CLEAR)
    assert drive.step == "throw"
    assert drive.state.reasons == ("bead damage", "tread separation")


def test_a_condition_that_was_not_found_after_all() -> None:
    drive = small(LOOK + 'on = { found = "throw" }\n', do())
    drive.say(CLEAR, CLEAR, FOUND, "affirmative", "correction", CLEAR)
    assert drive.step == "boss"
    drive.say(*RELEASE)
    assert drive.step == "act"


def test_corrected_within_the_inspection() -> None:
    drive = small(LOOK + 'on = { found = "throw" }\n', do())
    drive.say(FOUND, "affirmative", "correction", CLEAR, CLEAR, CLEAR)
    assert drive.step == "boss"


def test_an_answer_that_changes_no_way_is_told_at_once_and_asked_about_at_the_disposition() -> None:
    drive = Drive(small_text(disposed=True))
    drive.say("steel ply", "affirmative", "correction", "fabric ply", "affirmative")
    assert drive.step == "act"
    assert "A finding stands: not for this repair." in drive.said()
    drive.say("completed")
    assert drive.step == "boss"
    assert drive.records("hold_point")[-1]["outcome"] == "refused"
    drive.say(*RELEASE)
    assert [line["outcome"] for line in drive.records("hold_point")] == ["refused", "released", "released"]
    assert drive.step == "last"


def test_an_end_that_would_release_asks_the_supervisor_first() -> None:
    drive = Drive(small_text(disposed=False))
    drive.say("steel ply", "affirmative", "correction", "fabric ply", "affirmative", "completed", "completed")
    assert (drive.step, drive.state.outcome) == ("boss", "")
    drive.say(*RELEASE)
    assert drive.state.outcome == "returned"


def test_after_a_rejection_a_correction_leads_no_other_way() -> None:
    tail = TAIL.replace(BADGE, GOING_ON.replace('refused = "scrap"', 'refused = "throw"'))
    drive = small(SIZE + 'on = { outside = "boss" }\n', do(), tail=tail)
    drive.say(*TOO_LARGE, *REJECT)
    assert drive.step == "throw"
    drive.say("correction", *FIVE)
    assert drive.step == "boss"  # where it was taken to before; the rejection stands too
    assert "rejected by supervisor badge" in drive.said()
    drive.say(*RELEASE)
    assert drive.step == "act"


def test_after_a_rejection_and_a_correction_a_release_goes_on() -> None:
    text = CORRECTED + SIZE + THROW + do() + TAIL.replace('refused = "scrap"', 'refused = "throw"')
    drive = Drive(text)
    drive.say(*TOO_LARGE, "correction", *FIVE, *REJECT)
    assert drive.step == "throw"
    drive.say("correction", *FIVE)
    assert drive.step == "boss"
    drive.say(*RELEASE)
    assert drive.step == "act"
    drive.say("completed", "completed")
    assert drive.state.outcome == "returned"


def test_a_wait_that_runs_is_not_lost_by_it() -> None:
    tail = TAIL.replace(BADGE, GOING_ON).replace(RELEASED, WARM + RELEASED)
    drive = small(AIR, wait("last", "dry"), SIZE + 'on = { outside = "boss" }\n', do(), tail=tail)
    drive.say("two one degrees celsius", "affirmative", "five five percent", "affirmative")
    drive.let(240)
    drive.say(*FIVE)
    (timer,) = drive.state.timers
    drive.say("correction", *TOO_LARGE, "correction", *FIVE)
    assert drive.step == "boss"
    drive.say(*RELEASE)
    assert drive.step == "act"
    assert drive.state.timers == (timer,)


def test_a_job_begun_by_an_older_procedure_goes_on_as_it_was() -> None:
    drive = Drive(HEAD + SIZE + THROW + do() + TAIL)
    drive.say(*TOO_LARGE, "correction", *FIVE)
    assert drive.step == "act"


def test_its_record_replays(sized: Drive) -> None:
    sized.say("correction", *FIVE, *RELEASE, "completed", "completed")
    assert replayed(sized) == (sized.effects, sized.state)


def test_what_is_found_and_corrected_must_have_somebody() -> None:
    assert any("size: what is found there by mistake" in text for text in faults(HEAD + SIZE + THROW + TAIL))
    assert faults(CORRECTED + SIZE + THROW + do() + TAIL) == []


@pytest.mark.parametrize("name", ["last", "nobody"])
def test_it_must_be_a_supervisors_hold_point(name: str) -> None:
    with pytest.raises(ProcedureError, match="name a hold point that is released by a supervisor"):
        read_procedure(HEAD + f'corrected = "{name}"\n' + SIZE + THROW + TAIL)


def test_where_other_steps_lead_to_it_too_a_release_needs_its_way() -> None:
    with pytest.raises(ProcedureError, match="'size' leads to it too; say where a release goes"):
        small(SIZE + 'on = { outside = "boss" }\n', do())
    with pytest.raises(ProcedureError, match="'act' leads to it too"):
        small(SIZE + THROW, do(), tail=BADGE + TAIL.replace(BADGE, ""))


# -- the packaged procedures --------------------------------------------------------------------------


@pytest.fixture
def tire() -> Drive:
    drive = Drive(packaged_procedure("passenger-one-piece"))
    drive.say(*TO_INJURY)
    return drive


def test_a_hole_said_too_large(tire: Drive) -> None:
    tire.say("seven point five millimeters", "affirmative", "out of limits", "affirmative")
    assert tire.step == "mark-scrap"
    tire.say("correction", "four point five millimeters", "affirmative")
    assert tire.step == "finding-supervisor"
    tire.say(*RELEASE)
    assert tire.step == "injury-angle"


def test_a_sidewall_said_for_the_crown(tire: Drive) -> None:
    tire.say(*injury("four")[:10], "sidewall area", "affirmative")
    assert tire.step == "mark-scrap"
    tire.say("correction", "crown area", "affirmative", *RELEASE)
    assert tire.step == "injury-grooves"


def mounted(drive: Drive) -> None:
    drive.say(*injury("four"), "no more injuries", "affirmative", *REPAIR)
    drive.let(240)
    drive.say(*PLACE, "every injury is repaired", *AFTER[:6])
    assert drive.step == "seating-pressure"


def test_a_seating_pressure_said_too_high(tire: Drive) -> None:
    mounted(tire)
    tire.say("four five p s i", "affirmative")
    assert tire.step == "over-pressure-supervisor"
    tire.say("correction", "three five p s i", "affirmative")
    assert tire.step == "over-pressure-supervisor"  # the beads are looked at all the same
    tire.say(*RELEASE, *AFTER[8:])
    tire.let(301)
    tire.say(*REST)
    assert tire.state.outcome == "returned"


def test_a_cold_bay_that_was_warmed_is_nothing_against_the_tire(tire: Drive) -> None:
    cold = REPAIR.index("two one degrees celsius")
    tire.say(*injury("four"), "no more injuries", "affirmative", *REPAIR[:cold])
    tire.say("two degrees celsius", "affirmative")
    assert tire.said().endswith("Outside. Say: measure again, or, to put the bay right: out of limits.")
    tire.say("out of limits", "affirmative")
    assert (tire.step, tire.state.reasons) == ("too-cold-or-damp", ())
    assert any("air-temperature" in text for text in tire.state.exceptions)
    tire.say("completed", *REPAIR[cold:])
    assert tire.step == "drying"


def test_the_bay_is_measured_again_before_anything_is_released() -> None:
    text = packaged_procedure("passenger-one-piece").replace('done = "air-temperature"', 'done = "cement"')
    assert any(
        text.startswith("air-temperature: ambient, but after outside a release is reached")
        for text in faults(text)
    )


TO_NUTS = (
    "brake is on wheels are down", "one one two two", "affirmative", "four four one seven", "affirmative",
    "driver front", "affirmative", "three zero miles", "affirmative", "nothing found", "nothing found",
)  # fmt: skip


def test_a_nut_that_had_moved_is_for_the_supervisor_to_see() -> None:
    drive = Drive(packaged_procedure("lug-nut-recheck"))
    torque = ["a nut moved" if said == "none has turned" else said for said in TORQUE]
    drive.say(*TO_NUTS, "nothing found", *torque, "every nut holds", "affirmative", "completed")
    assert drive.state.outcome == "checked"
    assert "noted at torque-found: a nut had moved since the wheel was refitted" in drive.state.exceptions


TORQUE = (
    "one one zero newton meters", "affirmative", "five", "affirmative", "none has turned", "affirmative",
    "one one zero newton meters", "affirmative",
)  # fmt: skip


@pytest.mark.parametrize("how", ["correction", "go back"])
def test_a_missing_stud_that_is_there(how: str) -> None:
    drive = Drive(packaged_procedure("lug-nut-recheck"))
    drive.say(*TO_NUTS, FOUND, "affirmative")
    assert drive.step == "set-aside"
    drive.say(how, "nothing found")
    assert drive.step == "call-supervisor"
    drive.say(*RELEASE, "nothing found", *TORQUE, "every nut holds", "affirmative", "completed")
    assert drive.state.outcome == "checked"


@pytest.mark.parametrize("how", ["correction", "go back"])
def test_a_nut_that_held_after_all(how: str) -> None:
    drive = Drive(packaged_procedure("lug-nut-recheck"))
    drive.say(*TO_NUTS, "nothing found", *TORQUE, "one turned again", "affirmative")
    assert drive.step == "call-supervisor"
    drive.say(how, "every nut holds", "affirmative")
    assert drive.step == "call-supervisor"
    drive.say(*RELEASE)
    assert drive.step == "studs"
