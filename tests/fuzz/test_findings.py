"""What fuzzing and reading the code found, each input kept: it was a traceback, or an error of several lines."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest

from handsfree.audio import AudioError, read_sound
from handsfree.audit._time import times, waits
from handsfree.grammar import GrammarError, evaluate
from handsfree.limits import LimitsError
from handsfree.limits._policy_file import parse_quantity
from handsfree.record._line import GENESIS, BadLine, Line, build, decode

from .targets import TARGETS

TOML = ("procedure", "prompts", "shop", "policy", "scenario")
ESCAPE = "\\u001b[2J\\u202e\\n"


@pytest.mark.parametrize("name", TOML)
@pytest.mark.parametrize(
    "text",
    [
        "a = " + "9" * 5000,  # an integer that Python refuses to read
        "a = " + "[" * 5000,  # nested deeper than Python's stack
        f'"{ESCAPE}" = 1',  # a name that would clear the terminal and end the line
        f'[limits."{ESCAPE}"]\nlimit = "1 mm"',
        f'"a" = "{{{ESCAPE}}}"',
        f'name = "n"\nbase = "{ESCAPE}"',
        f'name = "n"\n[choose]\n"{ESCAPE}" = "x"',
        f'name = "n"\n[choose]\n"injury.edge.min" = "{ESCAPE}"',
        f'name = "n"\n[limits."injury.size.max"]\nlimit = "{ESCAPE}"',
        f'[[step]]\nkind = "{ESCAPE}"\nid = "{ESCAPE}"',
        f'[[technician]]\nbadge = "{ESCAPE}"\n"{ESCAPE}" = 1',
        f'[scenario]\n[[line]]\nfile = 1\n"{ESCAPE}" = {ESCAPE!r}',
    ],
)
def test_a_file_of_tables_is_refused_in_one_plain_line(name: str, text: str) -> None:
    TARGETS[name].feed(text.encode())


def test_a_tag_is_quoted_without_its_control_characters() -> None:
    TARGETS["grammar"].feed(b"#JSGF V1.0;\ngrammar g;\npublic <a> = b {com\x01\x00\nmand=c};")
    TARGETS["grammar"].feed(b"#JSGF V1.0;\ngrammar g;\npublic <a> = b {\x1b[2J};")


@pytest.mark.parametrize(
    "at",
    [
        "2031-03-04T05:61:07.000Z",
        "2031-02-30T05:06:07.000Z",
        "0000-01-01T00:00:00.000Z",
        "2031-13-04T25:06:07.000Z",
    ],
)
def test_a_time_that_no_clock_shows_is_a_damaged_line(at: str) -> None:
    """The audit counted with it, and ended in a traceback."""
    good = build({"kind": "open"}, 0, GENESIS, "2031-03-04T05:06:07.000Z", 0)
    raw = good.encode().replace(b"2031-03-04T05:06:07.000Z", at.encode())[:-1]
    with pytest.raises(BadLine, match="at or kind is malformed"):
        decode(raw)


@pytest.mark.parametrize("text", ["\u00b2", "9" * 5000, "--5", "\u0665", "1" * 400, ""])
def test_a_number_that_is_none_is_no_time(text: str) -> None:
    at = "2031-03-04T05:06:07.000Z"
    lines = [
        Line(0, GENESIS, "", "event", at, 0, {"type": "answer", "at_ms": text}),
        Line(1, GENESIS, "", "wait", at, 0, {"step": "a", "outcome": "started", "planned_s": text}),
        Line(2, GENESIS, "", "wait", at, 0, {"step": "a", "outcome": "over", "waited_s": text}),
    ]
    numbered = list(enumerate(lines, 1))
    assert list(waits(numbered)) is not None
    assert list(times(numbered)) is not None


def test_a_sound_of_which_nothing_is_left_is_refused(tmp_path: Path) -> None:
    """One frame at 96 kHz is none at 16 kHz."""
    layout = struct.pack("<4sIHHIIHH", b"fmt ", 16, 1, 1, 96000, 192000, 2, 16)
    body = b"WAVE" + layout + struct.pack("<4sI", b"data", 2) + b"\1\0"
    (tmp_path / "short.wav").write_bytes(b"RIFF" + struct.pack("<I", len(body)) + body)
    with pytest.raises(AudioError, match="no sound in the file"):
        read_sound(tmp_path / "short.wav")


@pytest.mark.parametrize("text", ["9" * 5000, "1/" + "1" * 5000 + " mm", "2/" + "\0" * 300])
def test_a_limit_longer_than_any_is_refused_in_a_short_line(text: str) -> None:
    with pytest.raises(LimitsError, match="is no limit: write a number and a unit") as caught:
        parse_quantity(text)
    assert len(str(caught.value)) < 400


@pytest.mark.parametrize("spelled", ["9" * 5000, "(" * 400 + "1", "+".join(["1"] * 2000)])
def test_a_number_longer_than_any_utterance_is_refused(spelled: str) -> None:
    with pytest.raises(GrammarError, match="spell"):
        evaluate(spelled)
