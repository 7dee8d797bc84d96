"""What a supervisor reads."""

from __future__ import annotations

import unicodedata
from datetime import UTC, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.console import Console

from handsfree.record import Finding, JobLog, read_log, render, show_text
from handsfree.record._phrases import PHRASES

from .conftest import HEADER, ticking_clock

STORY: list[dict[str, Any]] = [
    {"kind": "step", "step": "injury_size", "phase": "inspect", "title": "Measure the injury"},
    {"kind": "said", "say": "ask", "text": "Say the injury size.", "played_ms": "900", "total_ms": "900",
     "completed": "true"},
    {"kind": "event", "type": "heard", "text": "five point five", "label": "value",
     "slots": {"value": "5.5"}},
    {"kind": "reading", "step": "injury_size", "measurand": "injury.size", "value": "5.5", "unit": "mm",
     "resolution": "0.1", "heard": "five point five", "replaces": ""},
    {"kind": "verdict", "step": "injury_size", "rule": "injury_size", "outcome": "outside",
     "limit": "at most 5 mm", "margin": "-0.5 mm", "source": "shop rule", "reason": "too large",
     "severity": "stop"},
    {"kind": "reading", "step": "injury_size", "measurand": "injury.size", "value": "4.5", "unit": "mm",
     "resolution": "0.1", "heard": "four point five", "replaces": "4"},
    {"kind": "verdict", "step": "injury_size", "rule": "injury_size", "outcome": "inside",
     "limit": "at most 5 mm"},
    {"kind": "caution", "step": "eyes", "text": "Wear eye protection.", "read_back": "eye protection"},
    {"kind": "caution", "step": "fumes", "text": "Keep flames away.", "read_back": ""},
    {"kind": "wait", "step": "dry", "planned_s": "180", "longest_s": "600", "waited_s": "190",
     "outcome": "over"},
    {"kind": "wait", "step": "dry again", "planned_s": "180", "longest_s": "", "waited_s": "65",
     "outcome": "cut"},
    {"kind": "pass", "step": "cutter", "n": "2", "target": "3"},
    {"kind": "inspect", "step": "liner", "condition": "loose liner", "outcome": "clear"},
    {"kind": "event", "type": "no_match", "text": "banana", "reason": "no sentence"},
    {"kind": "refused", "event": "timer", "reason": "no wait is running"},
    {"kind": "said", "say": "long", "text": "Hold the tool straight.", "played_ms": "300", "total_ms": "1200",
     "completed": "false"},
    {"kind": "answer", "step": "side", "outcome": "left", "heard": "left side"},
    {"kind": "hold", "reason": "phone"},
    {"kind": "novelty", "colour": "green"},
]  # fmt: skip


@pytest.fixture
def shown(tmp_path: Path) -> str:
    folder = tmp_path / "job"
    with JobLog.create(folder, {**HEADER, "procedure_sha256": "ab" * 32}, clock=ticking_clock()) as log:
        for entry in STORY:
            log.append([entry])
        log.append(
            [{"kind": "close", "outcome": "return to service", "reasons": ["held air"], "head": log.head}]
        )
    return show_text(folder, tz=UTC, width=120)


@pytest.mark.parametrize(
    "line",
    [
        "│ Disposition  RETURN TO SERVICE",
        "│              held air",
        "│ Technician   Ana",
        "│ Started      2031-03-04 05:00:00 +0000",
        "│ Ended        2031-03-04 05:00:20 +0000",
        "inspect / Measure the injury",
        "05:00:02   2  said       Say the injury size.",
        'heard      "five point five", understood as value (value 5.5)',
        "recorded   injury_size: injury.size 5.5 mm (to 0.1)",
        "verdict    OUTSIDE, limit at most 5 mm, margin -0.5 mm, too large, [shop rule]",
        "injury.size 4.5 mm (to 0.1)  CORRECTION, replaces injury.size 5.5 mm of #4",
        'caution    eyes: Wear eye protection., read back "eye protection"',
        "caution    fumes: Keep flames away., NOT READ BACK",
        "wait       dry: over, planned 3 min 00 s, at most 10 min 00 s, waited 3 min 10 s",
        "wait       dry again: cut, planned 3 min 00 s, waited 1 min 05 s",
        "pass       cutter: 2 of 3",
        "inspected  liner: loose liner, CLEAR",
        'no match   "banana" is no answer to the question, no sentence',
        "refused    timer, no wait is running",
        "said       Hold the tool straight. (cut off: 300 of 1200 ms played)",
        'answer     side: left, heard "left side"',
        "hold       reason phone",
        "novelty    colour green",
        "Exceptions: 5",
        "#5   injury_size: outside the limit, at most 5 mm, too large",
        "#6   injury_size: corrected, replaces #4",
        "#9   caution not read back: Keep flames away.",
        "#11  dry again: waited 1 min 05 s of 3 min 00 s",
        "#18  hold: reason phone",
        "Chain: unbroken, 21 lines, head ",
    ],
)
def test_the_story_is_told(line: str, shown: str) -> None:
    assert line in shown


def test_disposition_comes_first_and_exceptions_after_the_conversation(shown: str) -> None:
    order = [shown.index(part) for part in ("Disposition", "said", "Exceptions", "Chain")]
    assert order == sorted(order)


def test_an_unfinished_job_says_so(job: Path) -> None:
    text = show_text(job)
    assert "unfinished" in text
    assert "Exceptions: none" in text


def test_times_follow_the_time_zone(job: Path) -> None:
    assert "10:30:00" in show_text(job, tz=timezone(timedelta(hours=5, minutes=30)))


def test_findings_are_shown_and_an_unchecked_chain_is_not_called_unbroken() -> None:
    console = Console(width=100, no_color=True)
    with console.capture() as capture:
        console.print(
            render([{"kind": "event"}], [Finding("line", 3, "not JSON"), Finding("audio", 0, "x", "note")])
        )
        console.print(render([{"kind": "event"}]))
    text = capture.get()
    assert "BROKEN, 1 found in 1 lines" in text
    assert "error: line 3: not JSON" in text
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
    text = show_text(folder)
    assert "[bold]" in text
    assert ":smile:" in text
    assert not [char for char in text if unicodedata.category(char) in ("Cc", "Cf") and char != "\n"]


_KEYS = (
    "type", "text", "say", "step", "measurand", "value", "unit", "resolution", "heard", "replaces", "outcome",
    "limit", "margin", "source", "reason", "read_back", "planned_s", "longest_s", "waited_s", "n", "target",
    "condition", "event", "phase", "title", "completed", "played_ms", "label", "slots", "reasons", "file",
)  # fmt: skip
_ODD = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3),
    max_leaves=6,
)


@settings(max_examples=100, deadline=None)
@given(
    st.lists(
        st.fixed_dictionaries(
            {"kind": st.sampled_from([*PHRASES, "strange"]) | _ODD},
            optional=dict.fromkeys((*_KEYS, "at", "seq", "hash"), _ODD),
        ),
        max_size=4,
    )
)
def test_odd_entries_are_shown_not_raised(entries: list[dict[str, Any]]) -> None:
    console = Console(width=100)
    with console.capture() as capture:
        console.print(render(entries, []))
    assert "Chain" in capture.get()


def test_reading_does_not_change_the_job(job: Path) -> None:
    before = {path: path.read_bytes() for path in job.rglob("*") if path.is_file()}
    show_text(job)
    read_log(job)
    assert {path: path.read_bytes() for path in job.rglob("*") if path.is_file()} == before
