"""A hole is larger after drilling than before as a rule: what was judged by the first size is judged again."""

from __future__ import annotations

import pytest

from handsfree.procedure import Record, written
from handsfree.procedure._model import Reading, read_procedure
from handsfree.quantity import Quantity
from handsfree.record._story import tell
from handsfree.session import packaged_procedure

from .driving import Drive
from .test_check import faults
from .test_derived import REPAIR, TO_INJURY, injury

NAMES = ("passenger-one-piece", "light-truck-steel")
DRILLED = REPAIR.index("five point zero millimeters")
#: Injury 4.5 mm at 15 degrees (as read: to 4.55 and 15.5): patch at least 4.55 / cos 15.5 + 2 * 12 = 28.7217 mm;
#: 5.0 after drilling: 5.05 / cos 15.5 + 24 = 29.2406 mm (worked by hand).
TOO_SMALL = "two nine point zero millimeters"


@pytest.fixture
def measuring() -> Drive:
    drive = Drive(packaged_procedure("passenger-one-piece"))
    drive.say(*TO_INJURY)
    return drive


def drilled(drive: Drive, patch: str, size: str, *, edge: str = "six five") -> None:
    drive.say(*injury("four", edge=edge), "no more injuries", "affirmative")
    drive.say(*REPAIR[:2], patch, *REPAIR[3:DRILLED], size, "affirmative")


def test_a_patch_too_small_for_the_drilled_injury_is_chosen_anew(measuring: Drive) -> None:
    drilled(measuring, TOO_SMALL, "five point zero millimeters")
    verdict = measuring.records("verdict")[-1]
    assert (verdict["step"], verdict["rule"], verdict["outcome"]) == (
        "patch-size",
        "patch.size.min",
        "outside",
    )
    assert verdict["low"] == "29.2406 mm"
    assert measuring.step == "larger-patch"
    assert "Patch diameter: 29 mm; least 29.2 mm" in measuring.said()
    assert any("patch-size: 29.0 mm outside" in text for text in measuring.state.exceptions)
    measuring.say(TOO_SMALL, "affirmative")
    assert measuring.step == "larger-patch"  # no way round it
    measuring.say("four zero millimeters", "affirmative", "five zero millimeters", "affirmative", "completed")
    measuring.say("eight millimeters", "affirmative")
    assert measuring.step == "buffer-speed"
    assert written(measuring.state.facts["patch.size"]) == "40 mm"


def test_a_patch_that_does_is_judged_again_and_work_goes_on(measuring: Drive) -> None:
    drilled(measuring, "four zero millimeters", "five point zero millimeters")
    rules = [(v["step"], v["rule"], v["outcome"]) for v in measuring.records("verdict")[-3:]]
    assert rules == [
        ("drilled-size", "injury.size.max", "inside"),
        ("drilled-size", "injury.channel.crown", "inside"),
        ("patch-size", "patch.size.min", "inside"),
    ]
    assert measuring.step == "buffer-speed"


def test_the_way_through_the_tire_is_judged_again(measuring: Drive) -> None:
    drilled(measuring, "four zero millimeters", "five point nine millimeters", edge="three three")
    assert measuring.records("verdict")[-1]["rule"] == "injury.channel.crown"
    assert measuring.records("verdict")[-1]["outcome"] != "inside"
    assert (measuring.step, measuring.mode) == ("drilled-size", "disposing")
    measuring.say("out of limits", "affirmative")
    assert measuring.step == "mark-scrap"


def test_how_far_injuries_lie_apart_is_judged_again(
    measuring: Drive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing of it was judged after drilling before; what the distance comes to is tests/limits/test_spacing.py."""
    asked: list[object] = []

    def near(
        facts: object, injuries: list[dict[str, Quantity]], policy: object
    ) -> tuple[tuple[str, bool], ...]:
        sizes = [written(one["injury.size"]) for one in injuries]
        asked.append(sizes)
        return (("injury 1 and injury 2 overlap", True),) if "5.0 mm" in sizes else ()

    monkeypatch.setattr("handsfree.procedure._judging.spacing_reasons", near)
    measuring.say(
        *injury("four"), "another injury", "affirmative", *injury("nine"), "no more injuries", "affirmative"
    )
    measuring.say(*REPAIR[: DRILLED + 2])
    assert asked[-1] == ["4.5 mm", "5.0 mm"]
    assert measuring.records("hold_point")[-1]["step"] == "distances"
    assert measuring.records("hold_point")[-1]["outcome"] == "refused"
    assert measuring.step == "mark-scrap"


def test_the_larger_patch_takes_the_smaller_ones_place(measuring: Drive) -> None:
    drilled(measuring, TOO_SMALL, "five point zero millimeters")
    measuring.say("four zero millimeters", "affirmative")
    rows = tell([{"kind": e.kind, **dict(e.body)} for e in measuring.effects if isinstance(e, Record)])
    (first, second) = [
        row for row in rows if row.get("measurand") == "patch.size" and row["kind"] == "reading"
    ]
    assert first.replaced_by is second
    assert not first.inside
    assert second.inside
    (size,) = [row for row in rows if row["kind"] == "reading" and row["step"] == "drilled-size"]
    assert {v["rule"] for v in size.verdicts} == {"injury.size.max", "injury.channel.crown"}


@pytest.mark.parametrize("name", NAMES)
def test_a_procedure_that_does_not_judge_again_is_not_proved(name: str) -> None:
    text = packaged_procedure(name)
    assert not faults(text)
    left = text.replace('fits = ["patch.size.min"]\n', "").replace(', unfit = "larger-patch" }', " }")
    told = [fault for fault in faults(left) if "depends on it" in fault]
    assert told == ["drilled-size: patch.size.min of patch-size depends on it; name it in limits or fits"]


def test_a_job_begun_by_the_procedure_as_it_was_goes_on_as_it_was() -> None:
    """Its record pins the procedure: nothing is judged there that was not then."""
    text = packaged_procedure("passenger-one-piece")
    text = text.replace('fits = ["patch.size.min"]\n', "").replace(', unfit = "larger-patch" }', " }")
    text = text.replace('["injury.size.max", "injury.channel.crown"]', '["injury.size.max"]')
    drive = Drive(text)
    drive.say(*TO_INJURY)
    drilled(drive, TOO_SMALL, "five point zero millimeters")
    assert drive.records("verdict")[-1]["rule"] == "injury.size.max"
    assert drive.step == "buffer-speed"


@pytest.mark.parametrize("name", NAMES)
def test_every_reading_that_takes_anothers_place_reads_the_same(name: str) -> None:
    steps = {step.id: step for step in read_procedure(packaged_procedure(name)).step}
    pairs = [(s, steps[s.instead_of]) for s in steps.values() if isinstance(s, Reading) and s.instead_of]
    assert len(pairs) == 3
    for new, old in pairs:
        assert isinstance(old, Reading)
        same = ("fact", "grammar", "unit", "plausible", "limits", "binding", "adjust", "name")
        assert [getattr(new, key) for key in same] == [getattr(old, key) for key in same]


def test_a_drilled_size_recorded_too_large_can_be_corrected(measuring: Drive) -> None:
    """Not under what it was before drilling, though."""
    drilled(measuring, "four zero millimeters", "five point nine millimeters")
    measuring.say("correction", "four point zero millimeters")
    assert "can't be. Before it was four point five millimeters" in measuring.said()
    measuring.say("five point zero millimeters", "affirmative")
    assert measuring.step == "buffer-speed"
    assert written(measuring.state.facts["injury.size"]) == "5.0 mm"
