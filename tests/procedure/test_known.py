"""A question that another answer has told already is left out, and asked after all when that answer changes."""

from __future__ import annotations

from .driving import Drive, do, whole

SIZE = """[[step]]
id = "size"
phase = "receive"
kind = "reading"
ask = "Tire size?"
name = "Tire size"
fact = "tire.designation"
grammar = "readings.tire_size"
unit = ""
form = "designation"
limits = ["tire.kind"]
on = { outside = "scrap" }
"""
LOAD = """[[step]]
id = "load"
phase = "receive"
kind = "choice"
ask = "Load range?"
fact = "tire.load_range"
confirm = false
unless_known = true
options = [
  { id = "delta", value = "D", say = "load range delta", name = "Load range D" },
  { id = "echo", value = "E", say = "load range echo", name = "Load range E" },
]
on = { echo = "heavy" }
"""
HEAVY = do("heavy", ask="Heavy.").replace("Heavy.", "Heavy tire.")
PROCEDURE = whole(SIZE, LOAD, do("next", to="last", ask="Go on."), HEAVY)
WITHOUT = "lima tango two four five seven five romeo one six"
DELTA = WITHOUT + " load range delta"
ECHO = WITHOUT + " load range echo"


def test_it_is_asked_when_the_size_does_not_say_it() -> None:
    drive = Drive(PROCEDURE)
    drive.say(WITHOUT, "affirmative")
    assert drive.step == "load"
    drive.say("load range echo")
    assert drive.state.facts["tire.load_range"] == "E"
    assert drive.step == "heavy"


def test_it_is_left_out_when_the_size_says_it_and_goes_the_way_of_that_answer() -> None:
    drive = Drive(PROCEDURE)
    drive.say(DELTA, "affirmative")
    assert drive.step == "next"
    assert [r["outcome"] for r in drive.records("known")] == ["delta"]
    other = Drive(PROCEDURE)
    other.say(ECHO, "affirmative")
    assert other.step == "heavy"


def test_going_back_goes_to_the_step_that_told_it() -> None:
    drive = Drive(PROCEDURE)
    drive.say(DELTA, "affirmative", "go back")
    assert drive.step == "size"


def test_a_corrected_size_that_no_longer_says_it_asks_after_all() -> None:
    drive = Drive(PROCEDURE)
    drive.say(DELTA, "affirmative", "correction", WITHOUT, "affirmative")
    assert "tire.load_range" not in drive.state.facts
    assert drive.step == "load"


def test_a_corrected_size_that_still_says_it_takes_the_work_up_where_it_was() -> None:
    drive = Drive(PROCEDURE)
    drive.say(DELTA, "affirmative", "correction", DELTA, "affirmative")
    assert drive.step == "next"


def test_a_corrected_size_that_says_another_takes_that_way() -> None:
    drive = Drive(PROCEDURE)
    drive.say(DELTA, "affirmative", "correction", ECHO, "affirmative")
    assert drive.state.facts["tire.load_range"] == "E"
    assert drive.step == "heavy"
