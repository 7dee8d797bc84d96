"""The dialogue of a reading: nothing enters the record unheard, unread-back or out of turn."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pint
import pytest

from handsfree.grammar import Number
from handsfree.limits import LimitsError, Override, Policy, Severity, parse_policy
from handsfree.procedure import Answer, Mode, Prompts, Say, Spoken, Start
from handsfree.procedure._events import exact_text
from handsfree.quantity import Quantity
from handsfree.session import packaged_procedure, prompts_text

from .driving import (
    AIR,
    CLEAR,
    ENDINGS,
    FOUND,
    HEAD,
    JOB,
    LOOK,
    ORDER,
    PLY,
    SIZE,
    SPEED,
    WARM,
    Drive,
    book_of,
    do,
    whole,
)

ANGLE = """[[step]]
id = "angle"
phase = "measure"
kind = "reading"
ask = "Angle?"
name = "Angle"
fact = "injury.angle"
grammar = "readings.angle"
unit = "deg"
plausible = [0, 90]
limits = ["injury.angle.one_piece"]
"""
AGE = """[[step]]
id = "age"
phase = "receive"
kind = "reading"
ask = "Date code?"
name = "Date code"
fact = "tire.date_code"
grammar = "readings.digits_4"
unit = ""
digits = [4, 4]
limits = ["tire.age"]
"""


def test_asked_heard_read_back_confirmed_judged_recorded(sizing: Drive) -> None:
    sizing.say("five point five millimeters")
    assert sizing.spoken() == ["Injury size: five point five millimeters. Affirmative?"]
    assert sizing.readings() == []
    sizing.say("affirmative")
    reading, verdict = sizing.records("reading", sizing.last), sizing.records("verdict", sizing.last)
    assert reading[0] | {"record": ""} == {
        "record": "",
        "step": "size",
        "measurand": "injury.size",
        "value": "5.5",
        "unit": "mm",
        "resolution": "0.1",
        "heard": "five point five millimeters",
        "replaces": "",
    }
    assert verdict[0]["outcome"] == "inside"
    assert verdict[0]["high"] == "6 mm"
    assert sizing.spoken()[0] == "Five point five millimeters. Limit at most six millimeters. Inside."
    assert sizing.step == "last"


@pytest.mark.parametrize(
    ("words", "read_back", "value", "unit", "resolution"),
    [
        ("four point five", "four point five millimeters", "4.5", "mm", "0.1"),
        ("four point five zero", "four point five zero millimeters", "4.50", "mm", "0.01"),
        ("one four", "one four millimeters", "14", "mm", "1"),
        ("eighteen", "one eight millimeters", "18", "mm", "1"),
        ("forty five", "four five millimeters", "45", "mm", "1"),
        ("zero point two inches", "zero point two inches", "0.2", "in", "0.1"),
        ("three sixteenths of an inch", "three sixteenths of an inch", "3/16", "in", "1/16"),
        ("a quarter", "one quarter of an inch", "1/4", "in", "1/4"),
    ],
)
def test_it_is_read_back_digit_by_digit_in_the_unit_that_counts(
    words: str, read_back: str, value: str, unit: str, resolution: str, sizing: Drive
) -> None:
    sizing.say(words)
    said = sizing.said()
    if "/" in value:  # how a fraction is worded is the grammar's own affair; that it is a fraction is ours
        assert words.split()[0].replace("a", "one") in said or "quarter" in said
    else:
        assert said == f"Injury size: {read_back}. Affirmative?"
    sizing.say("affirmative")
    body = sizing.records("reading")[0]
    assert (body["value"], body["unit"], body["resolution"]) == (value, unit, resolution)


@pytest.mark.parametrize(
    "words", ["a quarter", "three eighths", "seven thirty seconds", "zero point two inches"]
)
def test_inches_are_judged_as_pint_converts_them(words: str, sizing: Drive) -> None:
    sizing.say(words, "affirmative")
    value = sizing.state.facts["injury.size"]
    assert isinstance(value, Quantity)
    registry = pint.UnitRegistry(non_int_type=Fraction)
    millimeters = (Fraction(value.value) * registry.inch).to("mm").magnitude
    outside = millimeters - Fraction(value.resolution or 0) * Fraction("25.4") / 2 > 6
    inside = millimeters + Fraction(value.resolution or 0) * Fraction("25.4") / 2 <= 6
    outcome = sizing.records("verdict")[0]["outcome"]
    assert outcome == ("outside" if outside else "inside" if inside else "close")


def test_negative_asks_again_and_records_no_value(sizing: Drive) -> None:
    sizing.say("one five", "negative")
    assert sizing.said() == "Not recorded. Injury size?"
    assert sizing.readings() == []
    assert sizing.records("not_confirmed")[0]["heard"] == "one five"
    sizing.say("five", "affirmative")
    assert sizing.readings() == [("injury.size", "5 mm")]
    assert sizing.records("reading")[0]["replaces"] == ""


@pytest.mark.parametrize("word", ["correction", "go back"])
def test_before_it_is_recorded_correction_rejects_the_read_back(sizing: Drive, word: str) -> None:
    sizing.say("one five", word)
    assert sizing.said() == "Not recorded. Injury size?"
    assert sizing.mode is Mode.ASKING
    assert sizing.readings() == []


def test_the_value_said_once_more_takes_the_place_of_the_answer(sizing: Drive) -> None:
    sizing.say("five zero", "five point two")
    assert sizing.said() == "Injury size: five point two millimeters. Affirmative?"
    sizing.say("affirmative")
    assert sizing.readings() == [("injury.size", "5.2 mm")]


def test_a_value_that_was_replaced_can_not_be_confirmed_any_more(sizing: Drive) -> None:
    """The new one is implausible: the yes that follows must not record the old one."""
    sizing.say("five", "nine nine nine")
    assert "can't be right" in sizing.said()
    sizing.say("affirmative")
    assert sizing.readings() == []
    sizing.say("four", "affirmative")
    assert sizing.readings() == [("injury.size", "4 mm")]


def test_a_yes_before_the_read_back_was_heard_is_refused(sizing: Drive) -> None:
    sizing.voice = lambda say: None
    sizing.say("five")
    read_back = next(e for e in sizing.last if isinstance(e, Say))
    assert not read_back.barge_in
    sizing.say("affirmative")
    assert sizing.readings() == []
    assert "before the read-back was played" in sizing.records("refused")[0]["reason"]
    sizing.feed(Spoken(sizing.at, read_back.id))
    sizing.say("affirmative")
    assert sizing.readings() == [("injury.size", "5 mm")]


def test_the_wrong_report_does_not_open_the_read_back(sizing: Drive) -> None:
    sizing.voice = lambda say: None
    sizing.say("five")
    for number in range(1, sizing.state.awaiting):
        sizing.feed(Spoken(sizing.at, number))
    sizing.say("affirmative")
    assert sizing.readings() == []


def test_a_read_back_that_was_cut_off_is_said_again(sizing: Drive) -> None:
    cut = iter([False, False, True])
    sizing.voice = lambda say: next(cut) if say.kind == "read_back" else True
    sizing.say("five")
    assert [e.text for e in sizing.last if isinstance(e, Say)] == [
        "Injury size: five millimeters. Affirmative?"
    ] * 3
    assert len(sizing.records("cut_off")) == 2
    sizing.say("affirmative")
    assert sizing.readings() == [("injury.size", "5 mm")]


@pytest.mark.parametrize("words", [("five",), ("seven", "affirmative")])
def test_a_voice_that_fails_three_times_holds_the_job(sizing: Drive, words: tuple[str, ...]) -> None:
    """The read-back, or the verdict that must be heard."""
    sizing.say(*words[:-1])
    sizing.voice = lambda say: False
    sizing.say(words[-1])
    assert sizing.mode is Mode.HELD
    assert "The voice failed" in sizing.said()
    assert any("the voice failed" in e for e in sizing.state.exceptions)
    sizing.voice = lambda say: True
    sizing.say("resume work")
    assert sizing.spoken() == [f"Going on. {sizing.state.pending.spoken}" if sizing.state.pending else ""]
    assert sizing.mode is (Mode.CONFIRMING if len(words) == 1 else Mode.DISPOSING)


def test_a_verdict_that_was_cut_off_is_heard_whole_before_it_is_answered(sizing: Drive) -> None:
    cut = iter([False, True])
    sizing.voice = lambda say: next(cut) if say.kind == "verdict" else True
    sizing.say("seven", "affirmative")
    assert (
        sizing.spoken()
        == [
            "Seven millimeters. Limit at most six millimeters. Outside. "
            "Say: measure again, or: out of limits."
        ]
        * 2
    )
    sizing.say("measure again")
    assert sizing.mode is Mode.ASKING


def test_outside_measured_again_and_found_inside(sizing: Drive) -> None:
    sizing.say("seven", "affirmative", "measure again")
    assert sizing.said() == "Measure again. Injury size?"
    sizing.say("five", "affirmative")
    first, second = sizing.records("reading")
    assert second["replaces"] == first["record"]
    assert sizing.step == "last"
    assert sizing.state.reasons == ()


def test_outside_accepted_leaves_a_reason_and_takes_its_own_way() -> None:
    drive = Drive(whole(SIZE + 'on = { outside = "scrap" }\n'))
    drive.say("seven", "affirmative", "out of limits", "affirmative")
    assert drive.state.outcome == "scrap"
    close = drive.records("close")[0]
    assert close["reasons"]
    assert "Injury size: 7 mm; most 6 mm; outside by 1 mm" in drive.said()
    assert "(" not in drive.said()
    assert [r["outcome"] for r in drive.records("disposed")] == ["accept"]


def test_too_close_to_call_is_never_inside(sizing: Drive) -> None:
    sizing.say("six", "affirmative")  # 5.5 to 6.5 mm: the limit of 6 lies within
    assert "Too close to call" in sizing.said()
    assert sizing.mode is Mode.DISPOSING
    sizing.say("measure again", "five point nine", "affirmative")
    assert sizing.step == "last"


@pytest.mark.parametrize("words", ["go back", "correction"])
def test_a_finding_may_be_measured_again_by_other_words(sizing: Drive, words: str) -> None:
    sizing.say("seven", "affirmative", words)
    assert (sizing.mode, sizing.step) == (Mode.ASKING, "size")


@pytest.mark.parametrize("slots", [(), (("dispose", "ignore"),)])
def test_an_unknown_disposition_is_refused(sizing: Drive, slots: tuple[tuple[str, str], ...]) -> None:
    sizing.say("seven", "affirmative")
    sizing.feed(Answer(sizing.at, "ignore it", "answer", slots))
    assert sizing.records("refused")
    assert sizing.mode is Mode.DISPOSING
    assert sizing.state.reasons == ()


@pytest.mark.parametrize(
    ("words", "plausible"),
    [("zero point four", False), ("zero point five", True), ("six zero", True), ("six zero point one", False),
     ("three inches", False), ("two inches", True)],
)  # fmt: skip
def test_the_physical_range_is_a_gate_of_its_own(sizing: Drive, words: str, plausible: bool) -> None:
    sizing.say(words)
    assert (sizing.mode is Mode.CONFIRMING) is plausible
    if not plausible:
        assert "can't be right. Between zero point five millimeters and six zero millimeters" in sizing.said()
        assert sizing.records("missed")[0]["reason"] == "outside the physical range"


def test_a_unit_of_another_kind_can_not_be_the_measurand(sizing: Drive) -> None:
    number = Number(Decimal(5), Decimal(1), "5")
    sizing.feed(Answer(sizing.at, "five psi", "answer", (("unit", "psi"),), number))
    assert "psi is pressure" in sizing.records("missed")[0]["reason"]
    assert sizing.mode is Mode.ASKING


@pytest.mark.parametrize(
    ("value", "unit"),
    [("NaN", "mm"), ("Infinity", "mm"), ("1E+999999", "mm"), ("1E-999999", "mm"), ("5", "cubit")],
)
def test_what_nobody_could_have_said_is_refused(sizing: Drive, value: str, unit: str) -> None:
    number = Number(Decimal(value), Decimal("0.1"), value)
    sizing.feed(Answer(sizing.at, "?", "answer", (("unit", unit),), number))
    assert len(sizing.records("refused")) == 1
    assert sizing.mode is Mode.ASKING


def test_a_reading_without_a_number_is_refused(sizing: Drive) -> None:
    sizing.feed(Answer(sizing.at, "five", "answer"))
    assert sizing.records("refused")[0]["reason"] == "the answer has no number"


@pytest.mark.parametrize(
    ("words", "taken"),
    [
        ("one two", False),
        ("one two three", True),
        ("nine eight seven six five", True),
        ("one one one one one one", False),
    ],
)
def test_a_digit_string_has_its_length(words: str, taken: bool) -> None:
    drive = Drive(whole(ORDER))
    drive.say(words)
    assert (drive.mode is Mode.CONFIRMING) is taken
    if taken:
        assert drive.said() == f"Work order: {words}. Affirmative?"
        drive.say("affirmative")
        assert drive.said() == f"{words.capitalize()}. Recorded. Hand over."
        assert drive.records("reading")[0]["unit"] == ""
    else:
        assert drive.said() == f"{len(words.split())} digits heard, 3 to 5 wanted. Work order?"


def test_a_leading_zero_stays() -> None:
    drive = Drive(whole(ORDER))
    drive.say("zero zero seven", "affirmative")
    assert drive.readings() == [("job.work_order", "007")]


def test_a_setting_that_is_outside_is_put_right_and_measured_again() -> None:
    drive = Drive(whole(SPEED))
    drive.say("one five zero zero", "affirmative")
    assert drive.said() == (
        "One five zero zero r p m. Limit at most one two zero zero r p m. Outside. "
        "Put it right and measure again. Cutter speed?"
    )
    assert (drive.mode, drive.step) == (Mode.ASKING, "speed")
    drive.say("one zero zero zero", "affirmative")
    assert drive.step == "last"
    assert drive.records("reading")[1]["replaces"] == drive.records("reading")[0]["record"]


def test_a_warning_is_spoken_and_binds_only_where_the_procedure_says() -> None:
    free, bound = Drive(whole(ANGLE)), Drive(whole(ANGLE + 'binding = ["injury.angle.one_piece"]\n'))
    for drive in (free, bound):
        drive.say("three zero degrees", "affirmative")
    assert free.step == "last"
    assert "Warning." in free.spoken()[0]
    assert any("angle" in e for e in free.state.exceptions)
    assert (bound.step, bound.mode) == ("angle", Mode.DISPOSING)


def test_a_loosened_policy_moves_the_limit() -> None:
    policy = Policy(
        overrides={"injury.size.max": Override(Quantity(Decimal(8), "mm"), Severity.STOP, "Ana", "x")}
    )
    for expert in ((), (("expert", "short prompts"),)):
        drive = Drive(book_of(whole(SIZE), policy), start=False)
        drive.feed(Start(drive.at, (*JOB, *expert)))
        drive.say("seven", "affirmative")
        # Nothing bounds what a shop may loosen, so it is said at each reading, and to an expert as well.
        assert "Limit at most eight millimeters, loosened by the shop. Inside." in drive.said()
        drive = Drive(book_of(whole(SIZE), policy), start=False)
        drive.feed(Start(drive.at, (*JOB, *expert)))
        drive.say("nine", "affirmative")
        assert "Limit at most eight millimeters, loosened by the shop. Outside." in drive.said()


def test_a_loosened_limit_on_something_computed_is_named() -> None:
    """The limit on a loss would be heard as one on the pressure: the rule is named instead."""
    policy = parse_policy(
        'name = "x"\n[limits."pressure.set.placard"]\nlimit = "3 psi"\nallowed_by = "Boss"\nwhy = "a trial"\n'
    )
    pressure = SIZE.replace("readings.length_mm", "readings.pressure").replace('unit = "mm"', 'unit = "psi"')
    free = 'no_limit = "given by the maker"'
    placard = pressure.replace('"size"', '"placard"').replace("injury.size", "pressure.placard", 1)
    placard = placard.replace('limits = ["injury.size.max"]', free)
    put = pressure.replace("injury.size.max", "pressure.set.placard").replace("injury.size", "pressure.set")
    drive = Drive(book_of(whole(placard, put), policy))
    drive.say("three five", "affirmative", "three seven", "affirmative")
    assert drive.step == "last"
    assert (
        "loosened by the shop" in drive.said()
        or "Limit loosened: Cold pressure against placard." in drive.said()
    )


def test_what_can_not_be_judged_is_not_recorded() -> None:
    drive = Drive(whole(AGE))
    drive.say("nine nine two three", "affirmative")  # there is no week 99: 49 CFR 574.5
    assert drive.readings() == []
    assert drive.said().startswith("That can't be judged.")
    assert drive.said().endswith("Date code?")
    assert drive.records("not_judged")[0]["step"] == "age"
    drive.say("three six two nine", "affirmative")
    assert drive.readings() == [("tire.date_code", "3629")]


def test_a_step_whose_limit_can_not_be_worked_out_holds_aloud() -> None:
    """The passes ask for the body ply, which this (unproved) procedure never reads: no silent refusal."""
    text = (
        HEAD
        + do()
        + '[[step]]\nid = "drill"\nphase = "w"\nkind = "count"\nask = "Drill."\nrule = "passes.inside"\n'
    )
    drive = Drive(text + do("last", to="returned") + ENDINGS)
    drive.say("completed")
    assert (drive.mode, drive.step) == (Mode.HELD, "act")
    assert "can't be judged" in drive.said()
    assert "tire.body_ply" in drive.said()
    drive.say("resume work")
    assert drive.mode is Mode.ASKING
    drive.say("completed", "stop work")
    assert drive.mode is Mode.STOPPED


def test_a_choice_whose_limit_can_not_be_worked_out_holds_aloud(monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object) -> None:
        raise LimitsError("no such table")

    drive = Drive(whole(PLY + 'limits = ["injury.place.crown"]\n'))
    monkeypatch.setattr("handsfree.limits.judge", fails)
    drive.say("fabric ply", "affirmative")
    assert drive.mode is Mode.HELD
    assert drive.records("answer") == []
    assert "no such table" in drive.said()


def test_a_choice_is_read_back_judged_and_learned() -> None:
    place = (
        '[[step]]\nid = "place"\nphase = "m"\nkind = "choice"\nask = "Where?"\nfact = "injury.place"\n'
        'limits = ["injury.place.crown"]\noptions = [\n'
        '  { id = "crown", say = "crown area", name = "Crown" },\n'
        '  { id = "sidewall", say = "sidewall area", name = "Sidewall", scrap = "sidewall injury" },\n]\n'
    )
    drive = Drive(whole(place))
    drive.say("sidewall area")
    assert drive.said() == "Sidewall. Affirmative?"
    assert drive.records("answer") == []
    drive.say("affirmative")
    assert drive.state.facts["injury.place"] == "sidewall"
    assert drive.records("verdict")[0]["outcome"] == "outside"
    assert len(drive.state.reasons) == 2
    inside = Drive(whole(place))
    inside.say("crown area", "affirmative")
    assert inside.state.reasons == ()


def test_found_is_read_back_and_clear_is_not() -> None:
    drive = Drive(whole(LOOK))
    drive.say(CLEAR)
    assert drive.said() == "Clear. Liner dusty?"
    drive.say(FOUND)
    assert drive.said() == "Found: run-flat damage. Affirmative?"
    assert len(drive.records("inspect")) == 1
    drive.say("affirmative")
    assert drive.said() == "Recorded as found. Tread open?"
    drive.say(CLEAR)
    assert drive.step == "last"
    assert drive.state.reasons == ("run-flat damage",)
    assert [r["outcome"] for r in drive.records("inspect")] == ["clear", "found", "clear"]


@pytest.mark.parametrize("slots", [(), (("answer", "yes"),)])
def test_a_condition_is_clear_only_when_that_was_said(slots: tuple[tuple[str, str], ...]) -> None:
    drive = Drive(whole(LOOK))
    drive.feed(Answer(drive.at, "perhaps", "answer", slots))
    assert drive.records("inspect") == []
    assert len(drive.records("refused")) == 1


def test_the_limit_is_spoken_on_demand_in_the_technicians_unit() -> None:
    steps = HEAD + SIZE + PLY + SPEED + AIR + do("last", to="returned") + WARM + ENDINGS
    drive = Drive(steps)
    drive.say("what is the limit")
    assert drive.said().startswith("Limit: at most six millimeters.")
    drive.say("five", "what is the limit")  # also while a read-back waits
    assert (drive.mode, drive.said()[:6]) == (Mode.CONFIRMING, "Limit:")
    drive.say("affirmative", "what is the limit")
    assert drive.said() == "No limit here."


def test_a_limit_that_has_no_number_says_its_rule() -> None:
    drive = Drive(whole(AGE))
    drive.say("what is the limit")
    assert "one zero years" in drive.said() or "ten" in drive.said()


def _steps(*names: str, of: str = "passenger-one-piece") -> str:
    """Steps of a packaged procedure, as a procedure of their own."""
    parts = [
        "[[step]]\n" + part.partition("\n[[")[0] for part in packaged_procedure(of).split("[[step]]\n")[1:]
    ]
    found = (next(part for part in parts if f'id = "{name}"' in part) for name in names)
    return whole(*(part.replace("mark-scrap", "scrap") + "\n" for part in found))


@pytest.mark.parametrize(
    ("target", "applied", "limit"),
    [
        # 110 N.m and 4 % of it, 4.4 N.m, either way.
        (
            "one one zero newton meters",
            "one one zero newton meters",
            "one zero five point six to one one four point four newton meters",
        ),
        # 80 lbf.ft: 76.8 to 83.2, in the unit that the target was given in.
        (
            "eight zero foot pounds",
            "eight zero foot pounds",
            "seven six point eight to eight three point two foot pounds",
        ),
    ],
)
def test_a_limit_round_a_target_is_said_in_numbers_as_its_verdict_says_it(
    target: str, applied: str, limit: str
) -> None:
    drive = Drive(_steps("torque-target", "torque-applied", of="lug-nut-recheck"))
    drive.say(target, "affirmative", "what is the limit")
    assert drive.said().startswith(f"Limit: {limit}. ")
    drive.say(applied, "what is the limit")
    assert drive.said().startswith(f"Limit: {limit}. ")
    drive.say("affirmative")
    assert f"Limit {limit}. Inside." in drive.said()


@pytest.mark.parametrize(
    ("step", "rule"),
    [
        ("torque-applied", "target x 96 % <= applied <= target x 104 %"),
        ("patch-size", "patch >= d / cos a + 2 x margin"),
    ],
)
def test_before_what_it_follows_from_is_known_a_limit_is_its_rule(step: str, rule: str) -> None:
    drive = Drive(_steps(step))
    drive.say("what is the limit")
    assert drive.said().startswith(f"Limit: {rule}. ")


def test_a_limit_is_said_in_the_unit_in_use_and_names_what_it_limits() -> None:
    """Depths read in thirty seconds: what the highest groove is judged by is the wear, in thirty seconds too."""
    drive = Drive(_steps("tread-depth", "tread-highest"))
    drive.say("seven thirty seconds", "what is the limit")
    assert drive.said().startswith("Limit: more than two thirty seconds. ")
    drive.say("affirmative")
    assert "Limit more than two thirty seconds. Inside." in drive.said()
    drive.say("what is the limit")
    assert drive.said().startswith("Limit: Uneven wear across the grooves: at most two thirty seconds. ")
    drive.say("one four thirty seconds", "affirmative")  # worn unevenly: it is warned of the same limit
    assert "Uneven wear across the grooves: limit at most two thirty seconds." in drive.said()
    assert [row["high"] for row in drive.records("verdict")][-1] == "2 32nd"


def test_a_job_begun_with_older_prompts_says_a_limit_as_it_did() -> None:
    """Its record is checked against what its own prompts give."""
    book = book_of(_steps("torque-target", "torque-applied"))
    lines = [line for line in prompts_text().splitlines() if not line.startswith("limit_of")]
    drive = Drive(replace(book, prompts=Prompts("\n".join(lines))))
    drive.say("one one zero newton meters", "affirmative", "what is the limit")
    assert drive.said().startswith("Limit: target x 96 % <= applied <= target x 104 %. ")


def test_a_limit_that_can_not_be_worked_out_says_so() -> None:
    step = SIZE.replace("injury.size.max", "no.such.rule")
    drive = Drive(whole(step))
    drive.say("what is the limit")
    assert "That can't be judged. unknown rule 'no.such.rule'" in drive.said()
    assert drive.mode is Mode.ASKING


def test_silence_after_a_read_back_says_it_again(sizing: Drive) -> None:
    sizing.say("five")
    sizing.quiet()
    assert sizing.said() == "Injury size: five millimeters. Affirmative?"
    sizing.quiet()
    assert sizing.said() == "Say, for example: affirmative, or negative."
    assert sizing.readings() == []


def test_say_again_repeats_what_must_be_heard(sizing: Drive) -> None:
    sizing.say("say again")
    assert sizing.said() == "Injury size?"
    sizing.say("seven", "say again")
    assert sizing.said() == "Injury size: seven millimeters. Affirmative?"
    sizing.say("affirmative", "say again")
    assert "Outside" in sizing.said()
    assert next(e for e in sizing.last if isinstance(e, Say)).barge_in is False
    sizing.say("hold work", "say again")
    assert sizing.said() == "On hold. Say: resume work."
    assert sizing.mode is Mode.HELD


def test_only_the_measurands_own_sentences_are_armed(sizing: Drive) -> None:
    assert sizing.armed()["answer"] == "<readings.length_mm>"
    sizing.say("affirmative")
    assert sizing.records("missed")[0]["reason"] == "not an answer to what was asked"
    sizing.say("five")
    assert set(sizing.armed()) == {"command", "answer", "value"}


def test_the_day_comes_in_with_the_job() -> None:
    assert Drive(whole(SIZE)).state.facts["today"] == dict(JOB)["today"]
    assert exact_text(Decimal("1E+2")) == "100"


def test_a_job_without_a_day_still_starts() -> None:
    drive = Drive(whole(SIZE), start=False)
    drive.feed(Start(drive.at))
    assert "today" not in drive.state.facts
    assert drive.step == "size"
