"""Any single changed, removed, added, swapped or cut byte or line of a job is found: all of them.

The whole of it is marked slow (about two minutes); a sample runs with the fast set. ``-rP`` shows the counts.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from handsfree.audit import audit
from handsfree.record import check_read, read_log
from handsfree.record._audio import hash_prefix
from handsfree.record._check import sound_fault
from handsfree.record._line import BadLine, decode
from handsfree.record._pinned import contents_of, held_against
from handsfree.record._read import scan

from .jobs import RECORD, found

#: Of how many changes one is tried.
DEPTHS = [pytest.param(53, id="sample"), pytest.param(1, id="all", marks=pytest.mark.exhaustive)]

Changes = Iterator[tuple[str, bytes]]


@dataclass(frozen=True)
class Edit:
    """``gone`` bytes at a place give way to others."""

    what: str
    at: int
    gone: int
    new: bytes

    def of(self, data: bytes) -> bytes:
        return data[: self.at] + self.new + data[self.at + self.gone :]


def edits(data: bytes, every: int) -> Iterator[Edit]:
    """Each byte with each bit flipped, left out, doubled, changed places with the next; and each cut."""
    for at in range(0, len(data), every):
        byte = data[at]
        for bit in range(8):
            yield Edit(f"bit {bit} of byte {at}", at, 1, bytes([byte ^ 1 << bit]))
        yield Edit(f"byte {at} left out", at, 1, b"")
        yield Edit(f"byte {at} doubled", at, 0, bytes([byte]))
        pair = data[at : at + 2]
        if len(set(pair)) == 2:
            yield Edit(f"byte {at} swapped", at, 2, pair[::-1])
        yield Edit(f"cut at byte {at}", at, len(data) - at, b"")


def line_changes(lines: list[bytes], every: int) -> Changes:
    last = len(lines) - 1
    for at in range(0, len(lines), every):
        yield f"line {at + 1} removed", b"".join(lines[:at] + lines[at + 1 :])
        yield f"line {at + 1} doubled", b"".join(lines[: at + 1] + lines[at:])
        yield f"cut before line {at + 1}", b"".join(lines[:at])
        for to in {at + 1, (at + 40) % len(lines), last} - {at}:
            if to <= last:
                swapped = list(lines)
                swapped[at], swapped[to] = swapped[to], swapped[at]
                yield f"lines {at + 1} and {to + 1} swapped", b"".join(swapped)


def test_the_job_itself_is_found_good(original: Path) -> None:
    assert found(original) == []
    assert 100 < len(read_log(original).lines) < 160


@pytest.mark.parametrize("every", [pytest.param(19, id="sample"), DEPTHS[1]])
def test_every_line(every: int, job: Path) -> None:
    """Through the whole audit, each time."""
    lines = (job / RECORD).read_bytes().splitlines(keepends=True)
    tried = 0
    for what, changed in line_changes(lines, every):
        (job / RECORD).write_bytes(changed)
        assert found(job), what
        tried += 1
    print(f"{tried} changes of lines, all found")
    assert tried >= 5 * (len(lines) // every)


def spoiled(job: Path, data: bytes, edit: Edit) -> bool:
    """Whether the audit finds this record damaged.

    A change within a line concerns no other line, so a line that does not decode any more is enough (``scan``
    reports every such line); and a cut within a line leaves a torn end. Where newlines are concerned the whole
    chain check is done, and where all lines were still good the whole audit.
    """
    start = data.rfind(b"\n", 0, edit.at) + 1
    end = data.index(b"\n", edit.at)
    if edit.what.startswith("cut"):
        if edit.at > start:
            return any(damage.torn for damage in scan(job, data[start : edit.at]).damage)
    elif edit.at + edit.gone <= end and b"\n" not in edit.new:
        try:
            decode(data[start : edit.at] + edit.new + data[edit.at + edit.gone : end])
        except BadLine:
            return True
    changed = edit.of(data)
    if check_read(scan(job, changed)):
        return True
    (job / RECORD).write_bytes(changed)
    try:
        return bool(found(job))
    finally:
        (job / RECORD).write_bytes(data)


@pytest.mark.parametrize("every", DEPTHS)
def test_every_byte_of_the_record(every: int, job: Path) -> None:
    data = (job / RECORD).read_bytes()
    tried = 0
    for edit in edits(data, every):
        assert spoiled(job, data, edit), edit.what
        tried += 1
    print(f"{tried} changes of bytes of the record, all found")
    assert tried > 11 * (len(data) // every)


def every_byte_of(path: Path, is_found: Callable[[bytes], bool], every: int) -> int:
    data = path.read_bytes()
    assert not is_found(data)
    tried = 0
    for edit in edits(data, every):
        assert is_found(edit.of(data)), f"{path.name}: {edit.what}"
        tried += 1
    return tried


@pytest.mark.parametrize("every", DEPTHS)
def test_every_byte_of_the_sound(every: int, job: Path) -> None:
    files = sorted((job / "audio").iterdir())
    assert len(files) == 3
    tried = 0
    for path in files:
        prefix = hash_prefix(path.name)
        assert prefix is not None
        tried += every_byte_of(path, lambda data, p=prefix: bool(sound_fault(p, data)), every)  # type: ignore[misc]
    print(f"{tried} changes of bytes of the sound, all found")
    assert tried > 3 * 11 * (600 // every)


@pytest.mark.parametrize("every", DEPTHS)
def test_every_byte_of_the_pinned_files(every: int, job: Path) -> None:
    header = read_log(job).lines[0].body
    whole = contents_of(job)
    tried = 0
    for name in whole:
        tried += every_byte_of(
            job / name,
            lambda data, name=name: bool(held_against({**whole, name: data}, header)[1]),  # type: ignore[misc]
            every,
        )
    print(f"{tried} changes of bytes of the pinned files, all found")
    assert tried > 11 * (7000 // every)


def test_a_file_removed_renamed_swapped_or_added(fresh: Callable[[], Path]) -> None:
    job = fresh()
    files = sorted(path.relative_to(job) for path in job.rglob("*") if path.is_file() and path.suffix)
    assert len(files) == 7  # the record, three pinned files, three utterances
    for name in files:
        if name.name == RECORD:
            continue
        removed, renamed = fresh(), fresh()
        (removed / name).unlink()
        assert found(removed), name
        (renamed / name).rename((renamed / name).with_suffix(".other"))
        assert found(renamed), name
        swapped, other = fresh(), files[files.index(name) - 1]
        if other.name != RECORD:
            first, second = (swapped / name).read_bytes(), (swapped / other).read_bytes()
            (swapped / name).write_bytes(second)
            (swapped / other).write_bytes(first)
            assert found(swapped), (name, other)
    for name in ("audio/0009-" + "0" * 32 + ".flac", "record.torn-1"):
        added = fresh()
        (added / name).write_bytes(b"fLaC")
        assert audit_sees(added, Path(name).name), name


def audit_sees(job: Path, name: str) -> bool:
    return any(name in finding.message for finding in audit(job).findings)
