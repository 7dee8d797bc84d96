"""Typed text says the same as speech, and what is not understood is never repaired into a number."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.grammar import Armed, Interpretation, Library, accepted_forms, tire_designation, typed_to_words
from handsfree.grammar._spoken import DIGITS, whole_words
from handsfree.grammar._typed import _plain
from handsfree.limits import parse_designation

LIBRARY = Library.load()
ARMED = {rule: LIBRARY.arm({"x": f"<{rule}>"}) for rule in LIBRARY.public_rules()}

YES_NO = LIBRARY.arm({"command": "<commands.hold>", "answer": "<answers.yes_no>"})
SPEED = LIBRARY.arm({"answer": "<answers.yes_no>", "value": "(november {n=1}) | (yankee {y=1})"})
DECOY = LIBRARY.arm({"answer": "eyes are covered", "decoy": "affirmative | completed"})
SIDES = LIBRARY.arm(
    {"answer": "(driver [side] front) {o=df} | (passenger [side] front) {o=pf} | (driver [side] rear) {o=dr}"}
)
WHEELS = LIBRARY.arm({"answer": "<answers.wheel_position>"})


@pytest.mark.parametrize(
    ("armed", "typed", "words"),
    [
        (YES_NO, "y", "affirmative"),
        (YES_NO, "Y", "affirmative"),
        (YES_NO, "ok", "affirmative"),
        (YES_NO, "OK.", "affirmative"),
        (YES_NO, "n", "negative"),
        (YES_NO, "hold", "hold"),
        (YES_NO, "okay then", "okay then"),
        (SPEED, "y", "yankee"),  # a letter where letters are asked
        (SPEED, "n", "november"),
        (SPEED, "ok", "affirmative"),
        (DECOY, "y", "y"),  # armed to be heard as wrong: it asks for no yes, and for no letter
        (DECOY, "ok", "ok"),
        (WHEELS, "y", "y"),  # no letter is asked for: what was typed is what the record says
        (WHEELS, "N", "n"),
        (WHEELS, "ok", "ok"),
        (WHEELS, "load range e", "load range e"),
        (WHEELS, "front left", "left front"),
        (WHEELS, "rear right", "right rear"),
        (WHEELS, "left front", "left front"),
        (WHEELS, "front spare tire", "front spare tire"),
        (SIDES, "front driver side", "driver side front"),
        (SIDES, "front passenger", "passenger front"),
        (SIDES, "rear passenger", "rear passenger"),  # not among what can be said
        (SIDES, "front left", "front left"),  # on which side the driver sits is nowhere said
        (None, "y", "yankee"),
        (None, "front left", "front left"),
    ],
)
def test_what_a_typed_word_stands_for_where_it_is_asked(armed: Armed | None, typed: str, words: str) -> None:
    assert typed_to_words(typed, armed) == words


@given(st.text(max_size=12) | st.sampled_from(["y", "n", "ok", "front left"]))
def test_what_stands_for_another_sentence_is_never_a_sentence_itself(text: str) -> None:
    for armed in (YES_NO, SPEED, DECOY, SIDES, WHEELS):
        plain, meant = typed_to_words(text), typed_to_words(text, armed)
        means = armed.interpret(meant) is not None or meant == _plain(text)  # a letter nobody asked for
        assert meant == plain or (armed.interpret(plain) is None and means)


WORDS = [
    ("5.5 mm", "five point five millimeters"),
    ("5.5mm", "five point five millimeters"),
    ("14", "one four"),
    ("3/8 in", "three eighths inches"),
    ('3/8"', "three eighths inches"),
    ("1/4", "one quarter"),
    ("1 3/8 in", "one and three eighths inches"),
    ("1-3/8 in", "one and three eighths inches"),
    ("1\u00bd", "one and one half"),
    ("7/32", "seven thirty seconds"),
    ("5 32nds", "five thirty seconds"),
    ("32 psi", "three two p s i"),
    ("Say again!", "say again"),
    ("what is the limit?", "what is the limit"),
    ("\u22125.5 \u00b0C", "minus five point five celsius"),
    ("68\u00b0F", "six eight fahrenheit"),
    ("1,200 rpm", "one two zero zero r p m"),
    (".25 in", "point two five inches"),
    ("3:30", "three thirty"),
    ("3 o'clock", "three o'clock"),
    ("100 N\u00b7m", "one zero zero newton meters"),
    ("pass 3", "pass three"),
    ("0324", "zero three two four"),
    ("1 4 5", "one four five"),
    ("five point five", "five point five"),
]


@pytest.mark.parametrize(("typed", "words"), WORDS)
def test_typed(typed: str, words: str) -> None:
    assert typed_to_words(typed) == words


@pytest.mark.parametrize(
    "typed",
    [
        "5,5",
        "14 15",
        "5 . 5",
        ". 5",
        "5, 5",
        "five, five",
        "5 5.5",
        "10/8",
        "3/0",
        "1.2.3",
        "5..5",
        "1e3",
        "0x10",
        "5 mm 6 7,7",
    ],
)
def test_what_is_not_understood_stays_unreadable(typed: str) -> None:
    words = typed_to_words(typed)
    assert all(armed.interpretations(words) == () for armed in ARMED.values()), words


# Sample designations of a vehicle maker's tire chart and their parts, as the prefix rules of facts give them.
DESIGNATIONS = [
    (
        "P215/65R15 95H",
        {"prefix": "P", "width": "215", "aspect": "65", "construction": "R", "rim": "15", "load": "95"},
    ),
    (
        "215/65R15 96H",
        {"width": "215", "aspect": "65", "construction": "R", "rim": "15", "load": "96", "speed": "H"},
    ),
    ("LT235/85R16C", {"prefix": "LT", "width": "235", "aspect": "85", "rim": "16", "range": "C"}),
    ("T145/80D18 103M", {"prefix": "T", "width": "145", "construction": "D", "load": "103", "speed": "M"}),
    ("P215/65R15XL 95H", {"prefix": "P", "extra": "XL", "load": "95", "speed": "H"}),
    ("235/85 R 16 120/116S", {"width": "235", "load": "120/116", "speed": "S"}),
]


@pytest.mark.parametrize(("typed", "parts"), DESIGNATIONS)
def test_tire_designations(typed: str, parts: dict[str, str]) -> None:
    meaning = ARMED["readings.tire_size"].interpret(typed_to_words(typed))
    assert meaning is not None
    assert {key: meaning.slot(key) for key in parts} == parts
    # The limits' own reader, written apart from this one, must see the same tire.
    written = tire_designation(meaning)
    assert written is not None
    assert replace(parse_designation(written), text="") == replace(parse_designation(typed), text="")


def test_every_spoken_tire_size_is_a_designation() -> None:
    for sentence in ARMED["readings.tire_size"].examples(300, seed=5, max_words=18):
        meaning = ARMED["readings.tire_size"].interpret(sentence)
        assert meaning is not None
        written = tire_designation(meaning)
        assert written is not None
        again = ARMED["readings.tire_size"].interpret(typed_to_words(written))
        assert again is not None, (sentence, written)
        assert dict(again.slots) == {"construction": "R"} | dict(meaning.slots)


@pytest.mark.parametrize("rule", ["readings.digits", "readings.date_code", "answers.supervisor_release"])
def test_every_digit_is_itself_in_a_string(rule: str) -> None:
    head, key = ("supervisor release ", "badge") if rule.startswith("answers") else ("", "digits")
    for word, digit in [*zip(DIGITS, "0123456789", strict=True), ("oh", "0"), ("niner", "9")]:
        meaning = ARMED[rule].interpret(f"{head}one two {word}")
        assert meaning is not None
        assert meaning.slot(key) == f"12{digit}"


SIZES = [f"{width}/65R15" for width in range(105, 400, 10)]
SIZES += [f"215/{aspect}R15" for aspect in range(20, 100, 5)]
SIZES += [f"215/65{build}{rim}" for build in ("R", "ZR", "D", "B") for rim in range(10, 27)]
SIZES += [f"215/65R15 {load}/{load + 1}{speed}" for load in range(60, 139) for speed in "HV"]
SIZES += [f"215/65R15 95{speed}" for speed in "JKLMNPQRSTUHVWY"]


def test_every_part_of_a_tire_size_digit_by_digit() -> None:
    for size in SIZES:
        meaning = ARMED["readings.tire_size"].interpret(typed_to_words(size))
        assert meaning is not None, size
        assert tire_designation(meaning) == size


def test_every_part_of_a_tire_size_in_natural_words() -> None:
    for width in range(115, 400, 10):
        for aspect in range(20, 100, 5):
            hundreds, rest = divmod(width, 100)
            head = f"{DIGITS[hundreds]} {'oh five' if rest == 5 else whole_words(rest)} {whole_words(aspect)}"
            for rim, load in ((10 + aspect % 17, 60 + aspect % 41), (10 + width % 17, 60 + width % 41)):
                tail = "one hundred" if load == 100 else whole_words(load)
                meaning = ARMED["readings.tire_size"].interpret(f"{head} {whole_words(rim)} {tail} hotel")
                assert meaning is not None
                assert tire_designation(meaning) == f"{width}/{aspect}R{rim} {load}H"


def test_no_tire_size_in_other_meanings() -> None:
    meaning = ARMED["readings.length_mm"].interpret("five")
    assert meaning is not None
    assert tire_designation(meaning) is None


@pytest.mark.parametrize(
    "text",
    [
        "p two one five sixty five r fifteen",
        "two one five slash six five romeo one five",
        "two fifteen sixty five fifteen",
        "two fifteen six five one five",
    ],
)
def test_spoken_designations(text: str) -> None:
    meaning = ARMED["readings.tire_size"].interpret(text)
    assert meaning is not None
    assert (meaning.slot("width"), meaning.slot("aspect"), meaning.slot("rim")) == ("215", "65", "15")


@pytest.mark.parametrize(
    ("rule", "text", "slots"),
    [
        ("commands.command", "hold work", {"command": "hold"}),
        ("commands.command", "how much time is left", {"command": "time_left"}),
        ("commands.stop_work", "stop work", {"command": "stop_work"}),
        ("answers.yes_no", "affirmative", {"answer": "yes"}),
        ("answers.finding", "defect found", {"answer": "found"}),
        ("answers.pass", "pass niner", {"pass": "9"}),
        (
            "answers.supervisor_release",
            "supervisor release badge oh four one",
            {"answer": "release", "badge": "041"},
        ),
        ("answers.tack", "still wet", {"answer": "wet"}),
        ("answers.done", "completed", {"answer": "done"}),
        ("readings.date_code", "two six two three", {"digits": "2623"}),
    ],
)
def test_words_of_the_dialogue(rule: str, text: str, slots: dict[str, str]) -> None:
    meaning = ARMED[rule].interpret(text)
    assert meaning is not None
    assert dict(meaning.slots) == slots


@given(st.decimals(min_value=0, max_value=999, places=2))
@settings(deadline=None)
def test_typed_decimals_read_as_themselves(value: Decimal) -> None:
    meaning = ARMED["readings.length_mm"].interpret(typed_to_words(f"{value} mm"))
    assert meaning is not None
    assert meaning.number is not None
    assert (str(meaning.number.value), meaning.slot("unit")) == (str(value), "mm")


def test_typed_fractions_read_as_themselves() -> None:
    for bottom in (2, 4, 8, 16, 32):
        for top in range(1, bottom):
            for whole in ("", "3 ", "12-"):
                meaning = ARMED["readings.length_mm"].interpret(typed_to_words(f"{whole}{top}/{bottom}"))
                assert meaning is not None
                assert meaning.number is not None
                assert meaning.number.value == int(whole.strip(" -") or 0) + Fraction(top, bottom)
                assert meaning.number.resolution == Fraction(1, bottom)


@given(st.text(max_size=80))
def test_any_text_is_normalized_without_a_crash(text: str) -> None:
    words = typed_to_words(text)
    assert words == " ".join(words.split())


@pytest.mark.parametrize("rule", LIBRARY.public_rules())
def test_spoken_words_pass_through_unchanged(rule: str) -> None:
    for sentence in ARMED[rule].examples(20):
        assert typed_to_words(sentence) == sentence


def test_no_form_for_what_a_reading_does_not_take() -> None:
    assert accepted_forms(Decimal("-5"), "length_mm") == []
    assert accepted_forms(Fraction(1, 3), "length_mm") == []
    assert accepted_forms(Fraction(1, 2), "angle") == []
    assert accepted_forms(Fraction(13), "clock_position") == []


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("yes", "affirmative"),
        (" No ", "negative"),
        ("5 millimetres", "five millimeters"),
        ("70 km/h", "seven zero kilometers per hour"),
    ],
)
def test_what_is_only_typed(typed: str, words: str) -> None:
    assert typed_to_words(typed) == words


@pytest.mark.parametrize(
    "text",
    [
        "LT235/85R16 E",
        "LT235/85R16E",
        "LT235/85R16/E",
        "lt 235/85 r16 load range E",
    ],
)
def test_a_load_range_after_a_tire_size(text: str) -> None:
    said = "lima tango two three five slash eight five romeo one six load range echo"
    assert typed_to_words(text) == said
    assert tire_designation(size_of(said)) is not None


@pytest.mark.parametrize(
    "text", ["LT245/75R16 120/116Q E", "LT245/75R16 E 120/116Q", "LT245/75R16 120/116Q load range E"]
)
def test_a_load_range_beside_a_service_description(text: str) -> None:
    size = "lima tango two four five slash seven five romeo one six"
    said = f"{size} one two zero slash one one six quebec load range echo"
    assert typed_to_words(text) == said
    assert size_of(said).slots


def test_two_load_ranges_are_not_chosen_between() -> None:
    words = typed_to_words("LT245/75R16D 120/116Q E")
    assert ARMED["readings.tire_size"].interpret(words) is None


@pytest.mark.parametrize(
    ("text", "words"), [("E", "echo"), ("load range E", "load range echo"), ("f", "foxtrot")]
)
def test_a_letter_alone_is_its_word(text: str, words: str) -> None:
    assert typed_to_words(text) == words


def size_of(said: str) -> Interpretation:
    meaning = ARMED["readings.tire_size"].interpret(said)
    assert meaning is not None
    return meaning
