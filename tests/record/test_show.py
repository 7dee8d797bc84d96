"""What a supervisor reads."""

from __future__ import annotations

import ast
import re
import unicodedata
from datetime import UTC, timedelta, timezone
from importlib import resources
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from rich.console import Console

from handsfree import procedure
from handsfree.record import Finding, JobLog, read_log, render, show_text, summary_text, tell
from handsfree.record._exceptions import exceptions
from handsfree.record._phrases import EVENTS, PHRASES
from handsfree.record._units import in_use

from .conftest import HEADER, ticking_clock

STORY: list[dict[str, Any]] = [
    {"kind": "step", "record": "1", "step": "measure", "phase": "inspect", "step_kind": "reading"},
    {"kind": "event", "type": "spoken", "say": "1", "text": "Say the injury size.", "say_kind": "prompt",
     "completed": "true"},
    {"kind": "event", "type": "answer", "text": "five point five", "label": "value", "slots": [["unit", "mm"]],
     "number": {"value": "5.5", "resolution": "0.1", "spelled": "5.5"}},
    {"kind": "reading", "record": "2", "step": "measure", "measurand": "injury.size", "value": "5.5",
     "unit": "mm", "resolution": "0.1", "heard": "five point five", "replaces": ""},
    {"kind": "verdict", "record": "3", "step": "measure", "rule": "injury.size", "outcome": "outside", "low": "",
     "high": "5 mm", "margin": "-0.5 mm", "source": "shop rule", "reason": "too large", "severity": "stop"},
    {"kind": "event", "type": "command", "name": "correction", "text": "correction", "slots": []},
    {"kind": "command", "record": "4", "step": "measure", "name": "correction", "heard": "correction"},
    {"kind": "correction", "record": "5", "step": "next", "reopens": "measure", "record_no": "2"},
    {"kind": "reading", "record": "6", "step": "measure", "measurand": "injury.size", "value": "4.5",
     "unit": "mm", "resolution": "0.1", "heard": "four point five", "replaces": "2"},
    {"kind": "verdict", "record": "7", "step": "measure", "outcome": "inside", "low": "1 mm", "high": "5 mm"},
    {"kind": "caution", "record": "8", "step": "eyes", "text": "Eye protection.", "read_back": "eyes"},
    {"kind": "caution", "record": "9", "step": "fumes", "text": "Keep flames away.", "read_back": ""},
    {"kind": "wait", "record": "10", "step": "dry", "planned_s": "180", "longest_s": "600", "outcome": "started",
     "source": "drying rule"},
    {"kind": "wait", "record": "11", "step": "dry", "waited_s": "190", "outcome": "over"},
    {"kind": "wait", "record": "12", "step": "dry", "waited_s": "65", "outcome": "over"},
    {"kind": "wait", "record": "13", "step": "dry", "waited_s": "700", "outcome": "overrun"},
    {"kind": "pass", "record": "14", "step": "cutter", "n": "2", "target": "3"},
    {"kind": "inspect", "record": "15", "step": "liner", "condition": "loose liner", "outcome": "clear"},
    {"kind": "inspect", "record": "16", "step": "liner", "condition": "cut cord", "outcome": "found",
     "reason": "cords are cut"},
    {"kind": "event", "type": "no_match", "text": "banana", "reason": "not an answer to what was asked"},
    {"kind": "missed", "record": "17", "step": "liner", "heard": "banana", "reason": "not armed", "count": "1"},
    {"kind": "event", "type": "answer", "text": "affirmative", "label": "decoy", "slots": []},
    {"kind": "missed", "record": "18", "step": "liner", "heard": "affirmative", "reason": "not the words of it"},
    {"kind": "refused", "event": "timer", "reason": "no wait is running"},
    {"kind": "event", "type": "spoken", "say": "2", "text": "Hold still.", "completed": "false"},
    {"kind": "cut_off", "record": "19", "step": "eyes", "say": "2"},
    {"kind": "answer", "record": "20", "step": "side", "measurand": "tire.side", "outcome": "left", "heard": "left"},
    {"kind": "hold", "record": "21", "step": "side", "mode": "asking"},
    {"kind": "hold_point", "record": "22", "step": "release", "by": "disposition", "outcome": "refused",
     "reasons": "too large; cords are cut", "sources": "chart A; chart B"},
    {"kind": "reading", "record": "23", "step": "order", "measurand": "job.work_order", "value": "8899",
     "unit": "", "resolution": "", "replaces": ""},
    {"kind": "novelty", "colour": "green"},
]  # fmt: skip


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("shown") / "job"
    with JobLog.create(folder, {**HEADER, "grammar_sha256": "ab" * 32}, clock=ticking_clock()) as log:
        log.append(STORY)
        log.append([{"kind": "close", "disposition": "return to service", "reasons": "held air; clean"}])
    return show_text(folder, tz=UTC, width=120)


@pytest.mark.parametrize(
    "line",
    [
        "│ Disposition  RETURN TO SERVICE",
        "│              held air",
        "│              clean",
        "│ Technician   Ana",
        "│ Work order   8899",
        "│ Started      2031-03-04 05:00:00 UTC",
        "│ Ended        2031-03-04 05:00:02 UTC",
        "inspect / measure",
        "05:00:01   3  said       Say the injury size.",
        'heard      "five point five"  understood: 5.5 mm',
        "recorded   measure: injury.size 5.5 mm (to 0.1)",
        "verdict    OUTSIDE, at most 5 mm, margin -0.5 mm, too large, [shop rule]",
        'heard      "correction"  command: correction',
        "reopened   measure, to be corrected",
        "injury.size 4.5 mm (to 0.1)  CORRECTION, replaces injury.size 5.5 mm of line 5",
        "verdict    INSIDE, at least 1 mm and at most 5 mm",
        'caution    eyes: Eye protection., read back "eyes"',
        "caution    fumes: Keep flames away., NOT READ BACK",
        "wait       dry: started, planned 3 min 00 s, at most 10 min 00 s, [drying rule]",
        "wait       dry: over, waited 3 min 10 s, planned 3 min 00 s, at most 10 min 00 s",
        "pass       cutter: 2 of 3",
        "inspected  liner: loose liner: CLEAR",
        "inspected  liner: cut cord: FOUND, cords are cut",
        'no match   "banana": not an answer to what was asked',
        'heard      "affirmative"',
        "not taken  not the words of it",
        "refused    timer, no wait is running",
        "said       Hold still. (NOT PLAYED TO ITS END)",
        "recorded   side: left",
        "hold       at side",
        "hold point release: refused by the limits and inspections, too large, cords are cut, [chart A; chart B]",
        "novelty    colour green",
        "Exceptions: 9",
        "line 6 measure: outside the limit, at most 5 mm, too large; corrected: 4.5 mm",
        "Readings in force: injury.size 4.5 mm inside: job.work_order 8899 no limit Exceptions",
        "line 10 measure: corrected from injury.size 5.5 mm to injury.size 4.5 mm",
        "line 13 caution not read back: Keep flames away.",
        "line 16 dry: waited 1 min 05 s, planned 3 min 00 s to 10 min 00 s",
        "line 17 dry: waited 11 min 40 s, planned 3 min 00 s to 10 min 00 s",
        "line 20 liner: cut cord found",
        "line 27 what must be heard was cut off at eyes",
        "line 29 put on hold at side",
        "line 30 release: refused by the limits and inspections, too large, cords are cut",
        "Chain: unbroken, 33 lines, head of the last line ",
    ],
)
def test_the_story_is_told(line: str, shown: str) -> None:
    assert " ".join(line.split()) in " ".join(shown.split())


def test_disposition_comes_first_and_exceptions_after_the_conversation(shown: str) -> None:
    order = [
        shown.index(part) for part in ("Disposition", "said", "Readings in force", "Exceptions", "Chain")
    ]
    assert order == sorted(order)


def test_an_unfinished_job_says_so(job: Path) -> None:
    text = show_text(job)
    assert "unfinished" in text
    assert "Exceptions: none" in text


def test_times_follow_the_time_zone(job: Path) -> None:
    text = show_text(job, tz=timezone(timedelta(hours=5, minutes=30)))
    assert "10:30:00" in text
    assert "2031-03-04 10:30:00 UTC+05:30" in text
    head = text.splitlines().index(next(line for line in text.splitlines() if line == "Time"))
    assert text.splitlines()[head + 1].split() == ["UTC+05:30", "Line", "What", "happened"]


def test_a_change_of_the_clocks_within_a_job_is_told() -> None:
    """Central European Time ends on 26 October 2031 at 01:00 UTC (Directive 2000/84/EC, article 3)."""
    rows = [{"kind": "event", "at": f"2031-10-26T0{hour}:59:59.000Z"} for hour in (0, 1)]
    console = Console(width=100, no_color=True)
    with console.capture() as capture:
        console.print(render(rows, [], tz=ZoneInfo("Europe/Berlin")))
    assert "UTC+02:00, then UTC+01:00" in " ".join(capture.get().split())


def test_findings_are_shown_and_an_unchecked_chain_is_not_called_unbroken() -> None:
    console = Console(width=100, no_color=True)
    with console.capture() as capture:
        console.print(
            render([{"kind": "event"}], [Finding("line", 3, "not JSON"), Finding("audio", 0, "x", "note")])
        )
        console.print(render([{"kind": "event"}]))
    text = capture.get()
    assert "BROKEN, 1 found in 1 line" in text
    assert "damage: line 3: not JSON" in text
    assert "note: x" in text
    assert "not checked" in text


def test_a_record_can_not_steer_the_terminal(tmp_path: Path) -> None:
    nasty = "[bold]\x1b[2J\x1b]0;owned\x07\u202eevil[/nope] :smile:\r\n"
    folder = tmp_path / "job"
    with JobLog.create(folder, {"technician": nasty}) as log:
        log.append(
            [
                {"kind": kind, **dict.fromkeys(_KEYS, nasty)}
                for kind in [*PHRASES, "strange"]
                if kind != "open"
            ]
        )
    for text in (show_text(folder), summary_text(folder)):
        assert "[bold]" in text
        assert ":smile:" in text
        assert not [char for char in text if unicodedata.category(char) in ("Cc", "Cf") and char != "\n"]


_KEYS = (
    "type", "text", "say", "step", "measurand", "value", "unit", "resolution", "heard", "replaces", "outcome",
    "low", "high", "margin", "source", "reason", "read_back", "planned_s", "longest_s", "waited_s", "n", "target",
    "condition", "event", "phase", "title", "completed", "say_kind", "label", "slots", "reasons", "file", "number",
    "record", "severity", "by", "sources", "name", "instead", "reopens", "to", "device", "job", "disposition",
)  # fmt: skip
_ODD = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3),
    max_leaves=6,
)


_KINDS = st.sampled_from([*PHRASES, "strange", "", 7])
_ODD_ENTRIES = st.builds(
    lambda kind, body: {"kind": kind, **body},
    _KINDS,
    st.dictionaries(st.sampled_from([*_KEYS, "at", "seq", "hash"]), _ODD, max_size=6),
)


@settings(max_examples=100, deadline=None)
@given(st.lists(_ODD_ENTRIES, max_size=4))
@example([{"kind": "signed", "seq": ":"}])
@example([{"kind": "event", "type": "answer", "number": {"value": "5"}, "slots": [5]}])
@example([{"kind": "event", "type": "answer", "number": {"value": "5"}, "slots": [["unit"]]}])
def test_odd_entries_are_shown_not_raised(entries: list[dict[str, Any]]) -> None:
    console = Console(width=100)
    with console.capture() as capture:
        console.print(render(entries, []))
    assert "Chain" in capture.get()


def machine_kinds() -> set[str]:
    """Every kind of line the procedure's code writes, read from its source."""
    found: set[str] = set()
    for path in Path(str(resources.files("handsfree.procedure"))).glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and node.args and isinstance(node.args[0], ast.Constant):
                name = (
                    node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
                )
                if name in ("record", "Record"):
                    found.add(str(node.args[0].value))
    return found


def test_every_line_the_machine_writes_has_its_words() -> None:
    kinds = machine_kinds()
    assert {"reading", "verdict", "wait", "close"} <= kinds
    assert kinds - set(PHRASES) == set()
    assert set(procedure.EVENTS) - set(EVENTS) == set()


def test_reading_does_not_change_the_job(job: Path) -> None:
    before = {path: path.read_bytes() for path in job.rglob("*") if path.is_file()}
    show_text(job)
    read_log(job)
    assert {path: path.read_bytes() for path in job.rglob("*") if path.is_file()} == before


def reading(record: str, value: str, replaces: str = "") -> dict[str, Any]:
    return {"kind": "reading", "record": record, "step": "speed", "measurand": "drill.rpm", "value": value,
            "unit": "rpm", "replaces": replaces}  # fmt: skip


def verdict(outcome: str) -> dict[str, Any]:
    return {"kind": "verdict", "step": "speed", "rule": "drill.rpm.max", "outcome": outcome, "reason": "So."}


def choice(record: str, outcome: str, replaces: str = "") -> dict[str, Any]:
    return {"kind": "answer", "record": record, "step": "again", "outcome": outcome, "replaces": replaces}


def told(tmp_path: Path, lines: list[dict[str, Any]], **header: Any) -> tuple[list[str], str, str]:
    """A job of these lines: its exceptions, the whole of it, and its summary."""
    folder = tmp_path / "job"
    with JobLog.create(folder, {**HEADER, **header}, clock=ticking_clock()) as log:
        log.append(lines or [{"kind": "step", "step": "a"}])
    text = show_text(folder, width=150)
    found = [line.partition("  ")[2].strip() for line in text.splitlines() if re.match(r"line \d", line)]
    return found, text, summary_text(folder)


def test_a_setting_put_right_says_so_and_is_no_correction(tmp_path: Path) -> None:
    lines = [reading("1", "1800"), verdict("outside"), reading("2", "1500", "1"), verdict("outside"),
             reading("3", "1000", "2"), verdict("inside")]  # fmt: skip
    found, text, summary = told(tmp_path, lines)
    assert found == ["speed: outside the limit, So; put right: 1000 rpm"] * 2
    assert "CORRECTION" not in text
    assert "instead of drill.rpm 1500 rpm of line 4" in text
    assert "corrected after they were recorded: 0; put right or measured again: 2" in summary


def test_a_setting_never_put_right_does_not_say_so(tmp_path: Path) -> None:
    lines = [reading("1", "1800"), verdict("outside"), reading("2", "1500", "1"), verdict("outside")]
    assert told(tmp_path, lines)[0] == ["speed: outside the limit, So."] * 2


def test_a_good_reading_that_is_replaced_is_shown(tmp_path: Path) -> None:
    lines = [reading("1", "900"), verdict("inside"), reading("2", "1000", "1"), verdict("inside")]
    assert told(tmp_path, lines)[0] == [
        "speed: measured again, drill.rpm 1000 rpm instead of drill.rpm 900 rpm"
    ]


@pytest.mark.parametrize(
    ("reopened", "now", "found"),
    [
        (False, "none", []),
        (True, "more", []),
        (True, "none", ["again: corrected from more to none"]),
    ],
)
def test_a_choice_is_corrected_only_when_reopened_and_different(
    reopened: bool, now: str, found: list[str], tmp_path: Path
) -> None:
    reopening = [{"kind": "correction", "step": "next", "reopens": "again", "record_no": "1"}] * reopened
    shown, text, _ = told(tmp_path, [choice("1", "more"), *reopening, choice("2", now, "1")])
    assert shown == found
    assert ("CORRECTION" in text) == bool(found)


def test_an_inspection_that_came_out_otherwise_is_shown(tmp_path: Path) -> None:
    line = {"kind": "inspect", "step": "liner", "condition": "cut cord"}
    lines = [
        {**line, "record": "1", "outcome": "found"},
        {**line, "record": "2", "outcome": "clear", "replaces": "1"},
    ]
    assert told(tmp_path, lines)[0][1:] == ["liner: cut cord found became clear"]


def test_practice_and_loosened_limits_come_first(tmp_path: Path) -> None:
    moved = ["injury.size.max 5 mm", "buffer.rpm.max 5500 rpm, loosened, allowed by A. Lead: measured"]
    found, text, summary = told(
        tmp_path, [], practice="simulated clock", policy="our shop", policy_moved=moved
    )
    practice = "PRACTICE, not for a real tire: simulated clock"
    loosened = "limit loosened: buffer.rpm.max 5500 rpm, allowed by A. Lead: measured"
    assert found == [practice, loosened]
    assert text.splitlines()[1].strip("│ ") == practice
    assert "│ Policy       our shop" in text
    assert summary.splitlines()[:3] == [practice, loosened, "Disposition: not closed"]


def test_a_real_job_is_not_called_practice_and_the_usual_policy_goes_unsaid(tmp_path: Path) -> None:
    _, text, summary = told(tmp_path, [], policy="us", policy_moved=[], practice="")
    assert "PRACTICE" not in text + summary
    assert "Policy " not in text


@pytest.mark.parametrize("width", [60, 80, 110, 200])
def test_no_line_is_wider_than_asked(width: int, tmp_path: Path) -> None:
    folder = tmp_path / "job"
    with JobLog.create(folder, {**HEADER, "practice": "simulated clock"}, clock=ticking_clock()) as log:
        log.append(STORY)
    lines = show_text(folder, width=width).splitlines()
    assert max(map(len, lines)) <= width
    # Every word is there at any width.
    assert "read back" in " ".join(" ".join(lines).split())


@pytest.mark.parametrize(
    ("written", "shown"),
    [
        (
            "Tire age: ~3.2335 a; most 10 a; inside by ~6.7665 a",
            "Tire age: 3.24 years; most 10 years; inside by 6.76 years",
        ),
        (
            "Tire age: ~3.1979 a; most 10 a; inside by ~6.8021 a (week of 2023-09-17 to 2023-09-23).",
            "Tire age: 3.2 years; most 10 years; inside by 6.8 years (week of 2023-09-17 to 2023-09-23).",
        ),
        (
            "Tire age: ~10.1932 a; most 10 a; outside by ~0.1932 a",
            "Tire age: 10.2 years; most 10 years; outside by 0.2 years",
        ),
        ("1 a", "1 year"),
        ("margin 16 K", "margin 16 °C"),
        ("air.temperature 21 degC", "air.temperature 21 °C"),
        ("7 32nd", "7/32 in"),
        ("injury.angle 15 deg", "injury.angle 15 degrees"),
        ("~-0.1695 psi", "-0.2 psi"),
        ("inside by ~0.0412 psi", "inside by less than 0.1 psi"),
        # A limit is never cut to its loose side.
        ("at least 34.1611 psi", "at least 34.17 psi"),
        ("at most 105.6999 N.m", "at most 105.69 N.m"),
        # What was said or printed stays as it is.
        ("5.50 mm", "5.50 mm"),
        ("0.125 in", "0.125 in"),
        ("2/32 in", "2/32 in"),
        ("215/65R15", "215/65R15"),
        ("dried for 5 a week", "dried for 5 a week"),
        # Inches from the edge inward: no unit twice.
        ("crown starts 1 to 1.5 in in", "crown starts 1 to 1.5 in inward"),
        ("1 in in hand", "1 in in hand"),
    ],
)
def test_amounts_are_shown_as_a_technician_says_them(written: str, shown: str) -> None:
    assert in_use(written) == shown


def test_the_record_keeps_the_exact_amount_that_show_cuts(tmp_path: Path) -> None:
    verdict = {
        "kind": "verdict", "step": "date", "rule": "tire.age", "outcome": "inside", "severity": "stop", "low": "",
        "high": "10 a", "margin": "6.7665 a", "reason": "Tire age: ~3.2335 a; most 10 a; inside by ~6.7665 a.",
        "source": "",
    }  # fmt: skip
    _, text, _ = told(tmp_path, [verdict])
    assert (
        "INSIDE, at most 10 years, margin 6.76 years, Tire age: 3.24 years; most 10 years; inside by 6.76"
        in text
    )
    assert '"margin":"6.7665 a"' in (tmp_path / "job" / "record.jsonl").read_text(encoding="utf-8")


def test_a_wait_says_what_it_was_computed_from_and_in_one_unit() -> None:
    climate = [
        {"kind": "reading", "measurand": "air.temperature", "value": "21", "unit": "degC"},
        {"kind": "reading", "measurand": "air.humidity", "value": "65", "unit": "%"},
    ]
    started = {
        "kind": "wait", "step": "drying", "outcome": "started", "planned_s": "236", "longest_s": "344",
        "reason": "Cement drying: at least 236 s, then at most 344 s before cementing again; cold or damp: longer "
        "than 180 s.",
    }  # fmt: skip
    over = {"kind": "wait", "step": "drying", "outcome": "over", "waited_s": "236"}
    later = {"kind": "reading", "measurand": "air.temperature", "value": "12", "unit": "degC"}
    console = Console(width=400, no_color=True)
    with console.capture() as capture:
        console.print(render([*climate, started, later, over]))
    first, last = [line for line in capture.get().splitlines() if "drying" in line]
    computed = "computed from air.temperature 21 °C and air.humidity 65 %"
    assert (
        f"planned 3 min 56 s, at most 5 min 44 s, {computed}, Cement drying: at least 3 min 56 s, then"
        in first
    )
    assert "longer than 3 min 00 s" in first
    assert f"waited 3 min 56 s, planned 3 min 56 s, at most 5 min 44 s, {computed}" in last
    assert not re.search(r"\d{3} s\b", first + last)


def _noted(*rows: dict[str, object]) -> list[str]:
    return [note for _, note in exceptions(tell(rows))]


def test_a_tire_set_aside_for_another_is_no_exception_and_one_put_on_hold_is() -> None:
    hold = {"kind": "hold", "step": "look", "mode": "asking"}
    aside = {"kind": "event", "type": "set_aside", "tire": "alfa"}
    opened = {"kind": "event", "type": "resumed", "aside": "true", "tire": "alfa"}
    said = {"kind": "event", "type": "command", "name": "hold"}
    assert _noted(aside, {"kind": "set_aside", "step": "look"}, hold) == []
    assert _noted(opened, hold) == []
    assert _noted(aside, hold, said, hold) == ["put on hold at look"]
    assert _noted({"kind": "event", "type": "resumed"}, hold) == ["put on hold at look"]


@pytest.mark.parametrize(("severity", "said"), [("warn", " (warning)"), ("note", " (warning)"), ("stop", "")])
def test_what_was_spoken_as_a_warning_is_called_one(severity: str, said: str) -> None:
    row = {"kind": "verdict", "step": "far", "outcome": "outside", "severity": severity, "high": "25 mi"}
    assert _noted(row) == [f"far: outside the limit{said}, at most 25 mi"]


@pytest.mark.parametrize(("reopened", "word"), [(True, "corrected: crown"), (False, "put right: crown")])
def test_an_answer_outside_its_rule_says_what_became_of_it(reopened: bool, word: str) -> None:
    """As a size does: whoever reads of a shoulder must not have to find the crown fifty lines on."""
    place = {"kind": "answer", "step": "injury-place", "measurand": "injury.place"}
    verdict = {"kind": "verdict", "step": "injury-place", "rule": "injury.place.crown", "severity": "stop"}
    lines = [
        {**place, "record": "1", "outcome": "shoulder"},
        {**verdict, "record": "2", "outcome": "outside",
         "reason": "Injury place: shoulder; rule: crown only; outside."},
        *([{"kind": "correction", "record_no": "1"}] if reopened else []),
        {**place, "record": "4", "outcome": "crown", "replaces": "1"},
        {**verdict, "record": "5", "outcome": "inside", "reason": "Injury place: crown; rule: crown only; inside."},
    ]  # fmt: skip
    found = [note for _, note in exceptions(tell(lines))]
    assert (
        found[0]
        == f"injury-place: outside the limit, Injury place: shoulder; rule: crown only; outside; {word}"
    )


@pytest.mark.parametrize(
    ("line", "who"),
    [
        (
            {"by": "supervisor badge 409", "name": "Ines Ortega", "verified": "code word"},
            "released by supervisor badge 409, Ines Ortega, code word right",
        ),
        (
            {"by": "supervisor badge 409", "name": "", "verified": "not verified"},
            "released by supervisor badge 409, not verified",
        ),
    ],
)
def test_a_release_says_who_and_by_which_proof(line: dict[str, str], who: str) -> None:
    row = {"kind": "hold_point", "step": "finding-supervisor", "outcome": "released", **line}
    assert exceptions(tell([row])) == [("line ?", f"finding-supervisor: {who}")]
    assert PHRASES["hold_point"](tell([row])[0]).text.plain == f"finding-supervisor: {who}"
