"""The line format, checked against the standard library's JSON and RFC 8785's own example."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from decimal import Decimal
from enum import StrEnum
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from handsfree.record import GENESIS, JobLog, RecordError, read_log
from handsfree.record._line import MAX_LINE_BYTES, BadLine, build, decode

from .conftest import BATCH, HEADER, ticking_clock

AT = "2031-03-04T05:06:07.089Z"
# Surrogates have no UTF-8 form; RFC 8785 sorts keys by UTF-16 units, as Python does by code points only below
# the surrogates, so the standard library is an oracle for keys up to U+D7FF.
TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=40)
KEYS = st.text(st.characters(max_codepoint=0xD7FF), min_size=1, max_size=10)
INTS = st.integers(-(2**53) + 1, 2**53 - 1)
VALUES = st.recursive(
    st.none() | st.booleans() | INTS | TEXT,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(KEYS, inner, max_size=4),
    max_leaves=12,
)
BODIES = st.dictionaries(
    KEYS.filter(lambda key: key not in {"seq", "prev", "hash", "kind", "at", "mono_ms"}), VALUES
)


def by_stdlib(entry: dict[str, object]) -> bytes:
    return json.dumps(entry, sort_keys=True, ensure_ascii=False, separators=(",", ":")).encode()


@settings(max_examples=60)
@given(BODIES)
def test_bytes_and_hash_agree_with_the_standard_library(body: dict[str, object]) -> None:
    line = build({**body, "kind": "event"}, 7, "ab" * 32, AT, 12)
    entry = {**body, "kind": "event", "seq": 7, "prev": "ab" * 32, "at": AT, "mono_ms": 12}
    assert line.hash == hashlib.sha256(by_stdlib(entry)).hexdigest()
    assert line.encode() == by_stdlib({**entry, "hash": line.hash}) + b"\n"


@settings(max_examples=60)
@given(BODIES)
def test_what_was_written_is_read_back(body: dict[str, object]) -> None:
    line = build({**body, "kind": "event"}, 0, GENESIS, AT, 0)
    assert decode(line.encode()[:-1]) == line


def test_keys_are_sorted_as_in_the_example_of_rfc_8785() -> None:
    """RFC 8785 section 3.2.3: the emoji sorts before U+FB33 because UTF-16 units are compared."""
    names = ["\u20ac", "\r", "\ufb33", "1", "\U0001f600", "\u0080", "\u00f6"]
    line = build({"kind": "event", "body": dict.fromkeys(names, "")}, 0, GENESIS, AT, 0)
    written = dict(json.loads(line.encode(), object_pairs_hook=list))
    assert [key for key, _ in written["body"]] == [
        "\r",
        "1",
        "\u0080",
        "\u00f6",
        "\u20ac",
        "\U0001f600",
        "\ufb33",
    ]


class Side(StrEnum):
    LEFT = "left"


def test_enums_and_tuples_become_plain_json() -> None:
    line = build({"kind": "event", "side": Side.LEFT, "both": (Side.LEFT, "right")}, 0, GENESIS, AT, 0)
    assert line.body == {"side": "left", "both": ["left", "right"]}
    assert type(line.body["side"]) is str


@pytest.mark.parametrize(
    ("entry", "says"),
    [
        ({"kind": "event", "score": 0.5}, "score is a float; give measured values and scores as strings"),
        ({"kind": "event", "slots": {"size": Decimal("5.5")}}, "slots.size is a Decimal"),
        ({"kind": "event", "pcm": b"\0"}, "pcm is a bytes"),
        ({"kind": "event", "n": 2**53}, "beyond the exact integers"),
        ({"kind": "event", "text": "\ud800"}, "not valid Unicode"),
        ({"kind": "event", "slots": {1: "a"}}, "no string"),
        ({"kind": "event", "seq": 1}, "must not set 'seq'"),
        ({"kind": "event", "at": "yesterday"}, "RFC 3339"),
        ({"kind": "event", "at": "２031-03-04T05:06:07.089Z"}, "RFC 3339"),
        ({"kind": "event", "mono_ms": "12"}, "whole milliseconds"),
        ({"kind": "event", "mono_ms": True}, "whole milliseconds"),
        ({"kind": "Not A Kind"}, "needs a kind"),
        ({"text": "x"}, "needs a kind"),
        ({"kind": "event", "text": "x" * MAX_LINE_BYTES}, "keep sound in audio files"),
    ],
)
def test_an_entry_that_is_no_record_is_refused_and_the_log_goes_on(
    entry: dict[str, object], says: str, new_job: Callable[[], Path]
) -> None:
    with JobLog.create(new_job(), HEADER) as log:
        with pytest.raises(RecordError, match=r"[a-z]") as refused:
            log.append([{"kind": "event"}, entry])
        assert says in str(refused.value)
        assert "\n" not in str(refused.value)
        assert [line.kind for line in read_log(log.folder).lines] == ["open"]
        assert log.append(BATCH)[0].seq == 1


def test_nesting_is_bounded_both_ways() -> None:
    nested: object = "x"
    for _ in range(40):
        nested = [nested]
    with pytest.raises(RecordError, match="nested deeper"):
        build({"kind": "event", "nested": nested}, 0, GENESIS, AT, 0)
    for raw in (b"[" * 100_000, b'{"a":' * 100_000):
        with pytest.raises(BadLine):
            decode(raw)


def line_with(**changes: object) -> bytes:
    """A line whose hash fits whatever it holds, as a forger would write it."""
    entry: dict[str, object] = {"kind": "event", "seq": 0, "prev": GENESIS, "at": AT, "mono_ms": 0}
    entry = {key: value for key, value in {**entry, **changes}.items() if value is not ...}
    return by_stdlib({**entry, "hash": hashlib.sha256(by_stdlib(entry)).hexdigest()})


def test_the_forger_can_write_a_good_line() -> None:
    assert decode(line_with(text="x")).body == {"text": "x"}


@pytest.mark.parametrize(
    "raw",
    [
        line_with(score=0.5),
        line_with(score=float("nan")),
        line_with(seq="0"),
        line_with(seq=-1),
        line_with(seq=True),
        line_with(seq=...),
        line_with(prev="0" * 63),
        line_with(prev="A" * 64),
        line_with(at="2031-03-04 05:06:07"),
        line_with(kind=...),
        line_with(kind=["event"]),
        line_with(n=2**60),
        line_with().replace(b'":', b'": ', 1),
        b" " + line_with(),
        line_with()[:-1] + b',"kind":"event"}',
        b'{"n":' + b"9" * 5000 + b"}",
        b"[]",
        b"",
        b"\xff\xfe",
        b'"' + b"x" * MAX_LINE_BYTES + b'"',
    ],
)
def test_a_line_that_was_not_written_by_a_log_is_not_read_as_one(raw: bytes) -> None:
    with pytest.raises(BadLine) as bad:
        decode(raw)
    assert "\n" not in str(bad.value)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(batches=st.lists(st.lists(BODIES, max_size=3), max_size=4))
def test_a_whole_log_reads_back(batches: list[list[dict[str, object]]], new_job: Callable[[], Path]) -> None:
    folder = new_job()
    with JobLog.create(folder, HEADER, clock=ticking_clock()) as log:
        for batch in batches:
            log.append([{**body, "kind": "event"} for body in batch])
        written, head = log.lines, log.head
    read = read_log(folder)
    assert (read.lines, read.damage, read.head) == (written, (), head)
    assert [line.body for line in read.lines[1:]] == [body for batch in batches for body in batch]
