"""Every cut, every flipped bit, every lost, doubled or swapped line of a small record."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from handsfree.record import JobLog, RecordDamaged, RecordError, check_chain, read_log, show_text
from handsfree.record._line import BadLine, decode
from handsfree.record._read import RECORD, scan

from .conftest import BATCH


def batch_start(data: bytes) -> int:
    """Where the last three lines, written in one append, begin."""
    return len(b"\n".join(data.split(b"\n")[:-4])) + 1


def cuts(data: bytes) -> list[int]:
    """Every byte of the last line, and every seventeenth of the two that were written with it."""
    start, last = batch_start(data), data.rfind(b"\n", 0, -1)
    return [*range(start, last, 17), *range(last, len(data))]


def test_a_cut_at_every_byte_of_the_last_line_is_recovered(job: Path) -> None:
    data = (job / RECORD).read_bytes()
    before = read_log(job).lines[:4]
    for cut in cuts(data):
        (job / RECORD).write_bytes(data[:cut])
        whole = data[:cut].rfind(b"\n") + 1
        assert bool(check_chain(job)) == (whole < cut)
        with JobLog.open(job) as log:
            assert log.lines[:4] == before
            log.append(BATCH)
        assert check_chain(job) == []
        _nothing_was_deleted(job, data, whole, cut)
        for aside in job.glob("record.torn-*"):
            aside.unlink()


def _nothing_was_deleted(copy: Path, data: bytes, whole: int, cut: int) -> None:
    assert (copy / RECORD).read_bytes().startswith(data[:whole])
    aside = sorted(copy.glob("record.torn-*"))
    if whole == cut:
        assert aside == []
        return
    assert [path.name for path in aside] == ["record.torn-1"]
    assert aside[0].read_bytes() == data[whole:cut]
    recovered = next(line for line in read_log(copy).lines if line.kind == "recovered")
    assert recovered.body["file"] == "record.torn-1"
    assert recovered.body["torn_bytes"] == str(cut - whole)
    assert recovered.body["kept_bytes"] == str(whole)


def test_tails_are_kept_apart(job: Path) -> None:
    for number in (1, 2, 3):
        with (job / RECORD).open("ab") as file:
            file.write(b'{"half": %d' % number)
        JobLog.open(job).close()
    assert [(job / f"record.torn-{n}").read_bytes() for n in (1, 2, 3)] == [
        b'{"half": %d' % n for n in (1, 2, 3)
    ]
    assert check_chain(job) == []


@pytest.mark.parametrize("tail", [b"\0" * 4096, b"\0" * 100 + b"\n", b"\xff\xfe\n", b"{\n", b"\n"])
def test_blocks_that_never_reached_the_disk_are_a_torn_tail(tail: bytes, job: Path) -> None:
    with (job / RECORD).open("ab") as file:
        file.write(tail)
    assert [finding.check for finding in check_chain(job)] == ["torn"]
    with JobLog.open(job) as log:
        assert log.lines[-1].kind == "recovered"
    assert (job / "record.torn-1").read_bytes() == tail
    assert check_chain(job) == []


def test_a_record_cut_inside_its_opening_line_is_refused_not_restarted(job: Path) -> None:
    data = (job / RECORD).read_bytes()
    for cut in range(data.index(b"\n") + 1):
        (job / RECORD).write_bytes(data[:cut])
        with pytest.raises(RecordDamaged, match="start a new job"):
            JobLog.open(job)
        assert check_chain(job)
        assert (job / RECORD).read_bytes() == data[:cut]


def changed_is_found(job: Path, data: bytes, at: int, value: int) -> bool:
    """Whether the record with one byte changed is damaged.

    A line that does not decode is damage in any record; the whole record is scanned only where the number of
    lines changes or the line is still good by itself.
    """
    changed = data[:at] + bytes([value]) + data[at + 1 :]
    if 10 not in (value, data[at]):
        start, end = data.rfind(b"\n", 0, at) + 1, data.index(b"\n", at)
        try:
            decode(changed[start:end])
        except BadLine:
            return True
    return bool(scan(job, changed).damage)


def test_every_flipped_bit_is_found(job: Path) -> None:
    data = (job / RECORD).read_bytes()
    for at in range(len(data)):
        for bit in range(8):
            assert changed_is_found(job, data, at, data[at] ^ 1 << bit), (at, bit)


def test_a_byte_replaced_by_any_other_is_found(job: Path) -> None:
    """All 255 other values, at every 29th byte and at every newline."""
    data = (job / RECORD).read_bytes()
    for at in {*range(0, len(data), 29), *(at for at, byte in enumerate(data) if byte == 10)}:
        for value in set(range(256)) - {data[at]}:
            assert changed_is_found(job, data, at, value), (at, value)


def test_a_flipped_bit_before_the_last_line_stops_writing_but_not_reading(job: Path) -> None:
    data = bytearray((job / RECORD).read_bytes())
    data[data.index(b"5.5")] ^= 1
    (job / RECORD).write_bytes(data)
    with pytest.raises(RecordDamaged) as damaged:
        JobLog.open(job)
    assert damaged.value.line == 3
    assert "line 3" in str(damaged.value)
    assert "\n" not in str(damaged.value)
    assert len(read_log(job).lines) == 6
    assert "BROKEN" in show_text(job)
    assert show_text(job).index("DAMAGED") < show_text(job).index("Disposition")
    assert (job / RECORD).read_bytes() == data


def lines_of(job: Path) -> list[bytes]:
    return (job / RECORD).read_bytes().splitlines(keepends=True)


def refused(job: Path, lines: list[bytes]) -> None:
    (job / RECORD).write_bytes(b"".join(lines))
    assert any(finding.severity == "error" for finding in check_chain(job))
    with pytest.raises(RecordDamaged):
        JobLog.open(job)
    show_text(job)


@pytest.mark.parametrize("at", range(6))  # a cut of the last line is the one thing a chain alone can't show
def test_a_deleted_line_is_found(at: int, job: Path) -> None:
    lines = lines_of(job)
    refused(job, lines[:at] + lines[at + 1 :])


@pytest.mark.parametrize("at", range(7))
def test_a_doubled_line_is_found(at: int, job: Path) -> None:
    lines = lines_of(job)
    refused(job, [*lines[: at + 1], *lines[at:]])


def test_any_two_swapped_lines_are_found(job: Path) -> None:
    lines = lines_of(job)
    for a in range(7):
        for b in range(a + 1, 7):
            swapped = lines.copy()
            swapped[a], swapped[b] = swapped[b], swapped[a]
            refused(job, swapped)


def test_a_file_too_large_for_a_record_is_not_read_into_memory(job: Path) -> None:
    with (job / RECORD).open("r+b") as file:
        file.truncate(300 << 20)  # sparse: takes no disk
    with pytest.raises(RecordError, match="larger than any job's record"):
        JobLog.open(job)


def test_a_line_of_another_job_is_found(job: Path, new_job: Callable[[], Path]) -> None:
    with JobLog.create(new_job(), {"technician": "Ben"}) as other:
        other.append([*BATCH, *BATCH])
    theirs = lines_of(other.folder)
    lines = lines_of(job)
    for at in range(7):
        refused(job, [*lines[:at], theirs[at], *lines[at + 1 :]])


def test_an_empty_line_between_lines_is_found(job: Path) -> None:
    lines = lines_of(job)
    for at in range(7):
        refused(job, [*lines[:at], b"\n", *lines[at:]])


@pytest.mark.parametrize("ending", [b"\r\n", b" \n"])
def test_an_editor_that_changes_line_ends_is_found(ending: bytes, job: Path) -> None:
    refused(job, [line.replace(b"\n", ending) for line in lines_of(job)])


def test_a_cut_at_a_line_end_keeps_a_good_chain_but_another_head(job: Path) -> None:
    """Said plainly in check_chain's docstring: the head must be compared with one published elsewhere."""
    head = read_log(job).head
    (job / RECORD).write_bytes(b"".join(lines_of(job)[:-1]))
    assert check_chain(job) == []
    assert read_log(job).head != head


def test_a_closing_line_with_a_foreign_head_is_found(job: Path) -> None:
    with JobLog.open(job) as log:
        log.append([{"kind": "close", "outcome": "scrap", "head": "ab" * 32}])
    assert [finding.check for finding in check_chain(job)] == ["head"]


def test_every_flipped_byte_of_an_utterance_is_found(job: Path) -> None:
    (clip,) = (job / "audio").iterdir()
    content = clip.read_bytes()
    for at in range(len(content)):
        flipped = bytearray(content)
        flipped[at] ^= 0x10
        clip.write_bytes(flipped)
        assert [(f.check, f.line, f.severity) for f in check_chain(job)] == [("audio", 2, "error")], at


def test_lost_and_stray_audio(job: Path) -> None:
    (clip,) = (job / "audio").iterdir()
    clip.rename(clip.with_name("0009-" + "0" * 32 + ".wav"))
    lost, stray = sorted(check_chain(job), key=lambda finding: finding.severity)
    assert (lost.severity, "missing" in lost.message) == ("error", True)
    assert (stray.severity, "no line names it" in stray.message) == ("note", True)
    shutil.rmtree(job / "audio")
    assert ["missing" in finding.message for finding in check_chain(job)] == [True]


def test_sound_that_a_cut_left_without_a_line_does_not_bury_what_is_wrong(job: Path) -> None:
    for number in range(1, 60):
        (job / "audio" / f"{number:04d}-{'0' * 32}.wav").touch()
    with (job / RECORD).open("ab") as file:
        file.write(b'{"half"')
    errors = [f for f in check_chain(job) if f.severity == "error"]
    notes = [f for f in check_chain(job) if f.severity != "error"]
    assert [f.check for f in errors] == ["torn"]
    assert [f.message for f in notes] == ["59 files, audio/0001-... to 0059-...: no line names them"]
    shown = show_text(job)
    assert shown.index("damage: line 8") < shown.index("note: 59 files")


def test_an_utterance_that_can_not_be_read_is_found(job: Path) -> None:
    (clip,) = (job / "audio").iterdir()
    clip.unlink()
    clip.mkdir()
    assert ["can't be read" in finding.message for finding in check_chain(job)] == [True]


@pytest.mark.parametrize(
    "name", ["../record.jsonl", "/etc/passwd", "audio/../record.jsonl", "audio/x.wav", "x"]
)
def test_audio_names_can_not_lead_out_of_the_job(name: str, job: Path) -> None:
    with JobLog.open(job) as log:
        log.append([{"kind": "event", "type": "heard", "audio": name}])
    assert ["not the name of a kept utterance" in finding.message for finding in check_chain(job)] == [True]


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_any_bytes_are_read_without_a_crash(data: st.DataObject, job: Path) -> None:
    good = (job / RECORD).read_bytes()
    start = data.draw(st.integers(0, len(good)))
    end = data.draw(st.integers(start, len(good)))
    changed = good[:start] + data.draw(st.binary(max_size=60)) + good[end:]
    read = scan(job, changed)
    whole_lines_cut = changed == good[: len(changed)] and changed.endswith(b"\n")
    assert changed == good or read.damage or whole_lines_cut


@pytest.mark.parametrize(
    ("kept", "told"),
    [
        (slice(2, 3), "1 line is missing after line 2 (line 3)"),
        (slice(2, 5), "3 lines are missing after line 2 (3 to 5)"),
        (slice(0, 2), "2 lines are missing at the start (1 to 2)"),
    ],
)
def test_lines_cut_out_are_counted_and_named(kept: slice, told: str, job: Path) -> None:
    lines = lines_of(job)
    del lines[kept]
    (job / RECORD).write_bytes(b"".join(lines))
    found = [f for f in check_chain(job) if f.check == "line"]
    assert [(f.line, f.message) for f in found] == [(kept.start + 1, told)]


def test_a_folder_of_sound_that_is_gone_is_one_finding(job: Path) -> None:
    with JobLog.open(job) as log:
        named = [log.keep_audio(bytes([number, 0] * 99)) for number in range(5)]
        log.append([{"kind": "event", "type": "heard", "audio": path} for path in named])
    first = next(iter((job / "audio").iterdir()))
    first.unlink()
    assert [f.message.rpartition(": ")[2] for f in check_chain(job)] == ["the file is missing"]
    shutil.rmtree(job / "audio")
    assert [f.message for f in check_chain(job)] == ["the sound folder is gone (6 files)"]
