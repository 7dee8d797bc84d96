"""A job in other forms: against the CSV and JSON readers of the library, and the XML namespace of EMMA."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from audit.jobs import copy_of, forge, whole_job
from procedure.driving import BADGE, PLY, SIGN_IN, SIZE, START_MS, whole
from review.jobs import make_job
from session.bay import new_job, work

from handsfree._checking import pronounce
from handsfree.grammar import Library
from handsfree.record import check_words, current, export, read_log
from handsfree.record._pseudonyms import WITHHELD_BADGE, pseudonymised
from handsfree.session import People, SimulatedClock
from handsfree.shop import parse_shop

OLD_JOB = Path(__file__).parent / "schema-1"
E = "{http://www.w3.org/2003/04/emma}"
J = "{urn:x-handsfree:job}"
#: Elements and attributes of EMMA 1.0 that are used here (W3C Recommendation, 10 February 2009; from memory).
ELEMENTS = {"emma", "sequence", "interpretation"}
ATTRIBUTES = set(
    "medium mode function verbal start end tokens process signal uninterpreted no-input".split()  # noqa: SIM905
)


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return whole_job(tmp_path_factory.mktemp("export") / "job")


def test_the_json_holds_every_line_whole(job: Path) -> None:
    whole = json.loads(export(job, "json"))
    assert whole["lines"] == current(read_log(job).lines)
    assert whole["head"] == read_log(job).head
    seal = next(line for line in whole["lines"] if line["kind"] == "seal")
    assert whole["check_words"] == seal["words"] == list(check_words(seal["head"]))
    assert json.loads(export(OLD_JOB, "json"))["schema"] == "2"


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


def test_the_csv_has_a_row_for_each_verdict(job: Path) -> None:
    found = rows(export(job, "csv"))
    entries = current(read_log(job).lines)
    verdicts = [e for e in entries if e["kind"] == "verdict"]
    assert [(r["rule"], r["outcome"], r["reason"]) for r in found] == [
        (v["rule"], v["outcome"], v["reason"]) for v in verdicts
    ]
    # With its own line and time, also where it judges again what was read before.
    lines = read_log(job).lines
    assert [(r["verdict_line"], r["verdict_at"]) for r in found if r["rule"]] == [
        (str(line.seq + 1), line.at) for line in lines if line.kind == "verdict"
    ]
    sizes = [(r["value"], r["unit"], r["in_force"]) for r in found if r["measurand"] == "injury.size"]
    assert sizes == [("5.5", "mm", "false"), ("5.2", "mm", "true")]
    assert all(len(row) == len(found[0]) and None not in row for row in found)


def test_the_csv_has_what_is_judged_twice_and_what_is_answered(tmp_path: Path) -> None:
    """The patch is judged as it is chosen and again when the hole is drilled; a choice's value is what was chosen."""
    make_job(tmp_path / "job")
    found = rows(export(tmp_path / "job", "csv"))
    verdicts = [line for line in read_log(tmp_path / "job").lines if line.kind == "verdict"]
    assert [r["rule"] for r in found if r["rule"]] == [line.body["rule"] for line in verdicts]
    first, again = (r for r in found if r["rule"] == "patch.size.min")
    assert (first["seq"], first["value"]) == (again["seq"], again["value"])
    assert int(first["verdict_line"]) < int(again["verdict_line"])
    assert (first["verdict_in_force"], again["verdict_in_force"]) == ("false", "true")
    (tubeless,) = (r for r in found if r["rule"] == "tire.tubeless")
    assert (tubeless["step"], tubeless["value"], tubeless["unit"]) == ("tubeless", "yes", "")


def test_no_cell_becomes_a_formula(job: Path, tmp_path: Path) -> None:
    def poisoned(lines: list[dict[str, Any]]) -> list[dict[str, Any]]:
        return [{**e, "reason": '=HYPERLINK("x")'} if e["kind"] == "verdict" else e for e in lines]

    found = rows(export(forge(copy_of(job, tmp_path / "bad"), poisoned), "csv"))
    assert {row["reason"] for row in found} == {'\'=HYPERLINK("x")'}


def emma(job: Path) -> ET.Element:
    return ET.fromstring(export(job, "emma"))  # what is not well formed raises here


def test_the_emma_is_of_its_namespace_and_holds_every_utterance(job: Path) -> None:
    root = emma(job)
    assert (root.tag, root.get("version")) == (f"{E}emma", "1.0")
    (sequence,) = root
    heard = [
        e
        for e in current(read_log(job).lines)
        if e["kind"] == "event" and e["type"] in ("answer", "command", "no_match", "no_input")
    ]
    assert [one.get("id") for one in sequence] == [f"line{e['seq'] + 1}" for e in heard]
    for element in root.iter():
        space, _, name = element.tag[1:].partition("}")
        assert name in ELEMENTS if space == E[1:-1] else f"{{{space}}}" == J
        own = {key.removeprefix(E) for key in element.keys() if key.startswith(E)}  # noqa: SIM118
        assert own <= ATTRIBUTES


def test_an_interpretation_says_what_was_understood(job: Path) -> None:
    found = {one.get(f"{E}tokens"): one for one in emma(job).iter(f"{E}interpretation")}
    one = found["five point two millimeters"]
    assert (one.get(f"{E}medium"), one.get(f"{E}mode")) == ("tactile", "keys")
    number = one.find(f"{J}answer/{J}number")
    assert number is not None
    assert (number.get("value"), number.get("resolution")) == ("5.2", "0.1")
    assert int(str(one.get(f"{E}start"))) <= int(str(one.get(f"{E}end")))
    command = found["correction"].find(f"{J}command")
    assert command is not None
    assert command.get("name") == "correction"
    sound = {one.get(f"{E}signal") for one in emma(job).iter(f"{E}interpretation")} - {None}
    assert sound == {line.body["audio"] for line in read_log(job).lines if line.body.get("audio")}


def test_what_was_not_understood_is_empty_and_marked(job: Path) -> None:
    marked = [one for one in emma(job).iter(f"{E}interpretation") if one.get(f"{E}uninterpreted")]
    assert [one.get(f"{E}tokens") for one in marked] == ["rhubarb"]
    assert all(len(one) == 0 and not (one.text or "").strip() for one in marked)


def test_odd_text_stays_well_formed(job: Path, tmp_path: Path) -> None:
    def odd(lines: list[dict[str, Any]]) -> list[dict[str, Any]]:
        return [{**e, "hypothesis": "<a> & \x00\x1b\ufffe"} if "hypothesis" in e else e for e in lines]

    root = emma(forge(copy_of(job, tmp_path / "odd"), odd))
    assert {one.get(f"{E}tokens") for one in root.iter(f"{E}interpretation")} == {"<a> & \ufffd\ufffd\ufffd"}


# -- pseudonyms ----------------------------------------------------------------------------------


@pytest.mark.parametrize("form", ["json", "csv", "emma"])
@pytest.mark.parametrize("folder", ["old", "new"])
def test_nobody_is_named(form: str, folder: str, job: Path) -> None:
    place = job if folder == "new" else OLD_JOB
    plain = export(place, form)
    assert "Ortega" in plain or "one two" in plain
    text = export(place, form, pseudonyms=True)
    for name in (
        "Ana",
        "Ortega",
        "badge 12",
        "badge one two",
        "release one two",
        "badge: one two",
        ">12<",
    ):
        assert name not in text, name
    assert not re.search(r'"badge",\s*"12"', text)
    assert "person " in text


def said(entries: Sequence[dict[str, Any]]) -> list[Any]:
    keys = ("value", "unit", "outcome", "low", "high", "at", "step")
    return [[entry.get(key) for key in keys] for entry in entries]


def test_what_is_said_of_the_tire_stays(job: Path) -> None:
    entries = current(read_log(job).lines)
    changed = pseudonymised(entries)
    assert said(changed) == said(entries)
    assert "person 1" in str(changed)
    assert pseudonymised(entries) == changed


def test_a_name_that_is_a_unit_or_a_step_changes_neither() -> None:
    entries = [
        {"kind": "open", "technician": "mm", "seq": 0},
        {"kind": "reading", "step": "size", "unit": "mm", "value": "5", "heard": "five", "seq": 1},
        {
            "kind": "signed",
            "name": "size",
            "key": "ab" * 32,
            "signature": "00",
            "decision": "accept",
            "seq": 2,
        },
    ]
    opened, reading, signed = pseudonymised(entries)
    assert opened["technician"] == "person 1"
    assert (reading["step"], reading["unit"]) == ("size", "mm")
    assert (signed["name"], signed["key"], signed["signature"]) == ("person 2", "person 2", "")


# -- badges: figures and words that are nothing else in these jobs --------------------------------

SHOP = """name = "Harbor Row"
[[technician]]
badge = "904317"
name = "Mara Lindqvist"
[[technician]]
badge = "980716"
name = "Ben Okoro"
[[supervisor]]
badge = "690238"
name = "R. Holt"
code = "granite window"
"""
#: With what a misheard one, a part of one and a slip of the tongue leave behind.
SIGNING = [
    "niner oh four three", "negative", "nine zero four three one eight four", "niner oh four three one eight",
    "affirmative", "correction", "nine zero four three one seven", "affirmative", "fabric ply", "affirmative",
    "change technician", "nine eight zero seven", "nine eight zero seven one six", "affirmative",
    "five point five", "affirmative", "supervisor release nine eight oh seven one six",
    "supervisor release six nine", "negative", "six nine oh two three eight",
    "supervisor release six nine oh two three eight", "affirmative", "completed",
]  # fmt: skip
SIGNING_BY_SHOP = [
    "niner oh four three", "nine zero four three one eight four", "niner oh four three one seven",
    "affirmative", "fabric ply", "affirmative", "change technician", "nine eight zero seven",
    "nine eight zero seven one six", "affirmative", "five point five", "affirmative",
    "supervisor release nine eight oh seven one six", "supervisor release six nine",
    "six nine oh two three eight", "supervisor release six nine oh two three eight", "affirmative",
    "granite window", "completed",
]  # fmt: skip


@pytest.fixture(scope="module", params=["badge alone", "shop file"])
def badges(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder, clock = tmp_path_factory.mktemp("badges") / "job", SimulatedClock(START_MS)
    by_shop = request.param == "shop file"
    also = {"technician": "Mara Lindqvist", **({"shop": "Harbor Row"} if by_shop else {})}
    job = new_job(folder, whole(SIGN_IN, PLY, SIZE, BADGE), clock, also=also)
    people = People(parse_shop(SHOP), pronounce) if by_shop else None
    lines = SIGNING_BY_SHOP if by_shop else SIGNING
    assert work(job, lines, clock, people=people, library=Library.load()) == "returned"
    return folder


WORD = "(?:zero|oh|one|two|three|four|five|six|seven|eight|nine|niner)"


def without_hashes(text: str) -> str:
    """Hashes and times are figures, too."""
    return re.sub(r"[0-9a-f]{64}|\d{13}|\d{4}-\d\d-\d\dT[\d:.]+Z", "", text)


@pytest.mark.parametrize("form", ["json", "csv", "emma"])
def test_no_badge_is_left_in_figures_or_in_words(form: str, badges: Path) -> None:
    badge = re.compile(r"9043\d*|9807\d*|690238")
    said = re.compile(rf"\b{WORD}\s+{WORD}\b", re.I)  # nothing else in these jobs has two digits in a row
    plain, text = (without_hashes(export(badges, form, pseudonyms=hidden)) for hidden in (False, True))
    assert badge.search(plain)
    assert said.search(plain)
    # The tool's own example of how a badge is said.
    assert said.findall(text.replace("one two three four", "")) == []
    assert badge.findall(text) == []
    for name in ("Lindqvist", "Okoro", "Holt"):
        assert name.casefold() not in text.casefold()
    assert "person " in text
    if form != "csv":
        assert "five point five" in text, "the tire's readings are no secret"


def test_one_person_has_one_number(badges: Path) -> None:
    changed = pseudonymised(current(read_log(badges).lines))
    signing = [entry for entry in changed if entry["kind"] == "technician"]
    for entry in signing:
        assert entry["badge"].startswith("person ")
        assert entry["now"] == entry["badge"]
        assert entry["name"] in ("", entry["badge"])
    given = [e for e in changed if e["kind"] == "reading" and e["measurand"] == "job.technician"]
    assert [e["value"] for e in given] == [e["badge"] for e in signing][: len(given)]
    assert {e["heard"] for e in given} == {WITHHELD_BADGE}
    (boss,) = (entry for entry in changed if entry["kind"] == "hold_point")
    (released,) = (
        dict(e["slots"]) for e in changed
        if e.get("type") == "answer" and dict(e["slots"]).get("badge") == boss["by"].removeprefix("supervisor ")
    )  # fmt: skip
    assert boss["name"] in ("", released["badge"])
    assert released["badge"] not in {entry["badge"] for entry in signing}
    if changed[0].get("shop"):
        assert signing[0]["now"] == changed[0]["technician"]


def test_a_number_of_the_tire_that_is_like_a_badge_stays() -> None:
    entries = [
        {
            "kind": "technician",
            "step": "who",
            "badge": "12",
            "now": "badge 12",
            "was": "",
            "name": "",
            "seq": 0,
        },
        {
            "kind": "reading",
            "step": "mix",
            "measurand": "work_order",
            "value": "12",
            "heard": "one two",
            "seq": 1,
        },
        {"kind": "event", "type": "spoken", "text": "Speed: one two rpm. Affirmative?", "seq": 2},
    ]
    assert pseudonymised(entries)[1:] == entries[1:]
