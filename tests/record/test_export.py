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

from handsfree.record import check_words, current, export, read_log
from handsfree.record._pseudonyms import pseudonymised

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
    sizes = [(r["value"], r["unit"], r["in_force"]) for r in found if r["measurand"] == "injury.size"]
    assert sizes == [("5.5", "mm", "false"), ("5.2", "mm", "true")]
    assert all(len(row) == len(found[0]) and None not in row for row in found)


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
    assert [one.get("id") for one in sequence] == [f"line{e['seq']}" for e in heard]
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
    assert (signed["name"], signed["key"], signed["signature"]) == ("person 2", "person 3", "")
