"""Any single changed, removed, added, swapped or cut byte or line of a job is found: all of them.

The whole of it is marked slow (about two minutes); a sample runs with the fast set. ``-rP`` shows the counts.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from handsfree.audit._audit import _pinned
from handsfree.record import check_read, read_log
from handsfree.record._check import _audio_fault
from handsfree.record._line import BadLine, decode
from handsfree.record._read import scan

from .jobs import RECORD, found

#: Of how many changes one is tried.
DEPTHS = [pytest.param(97, id="sample"), pytest.param(1, id="all", marks=pytest.mark.slow)]

Changes = Iterator[tuple[str, bytes]]


def byte_changes(data: bytes, every: int) -> Changes:
    """Each byte with each bit flipped, left out, doubled, changed places with the next; and each cut."""
    for at in range(0, len(data), every):
        byte, rest = data[at], data[at + 1 :]
        for bit in range(8):
            yield f"bit {bit} of byte {at}", data[:at] + bytes([byte ^ 1 << bit]) + rest
        yield f"byte {at} left out", data[:at] + rest
        yield f"byte {at} doubled", data[: at + 1] + data[at:]
        if rest and rest[0] != byte:
            yield f"byte {at} swapped", data[:at] + rest[:1] + bytes([byte]) + rest[1:]
        yield f"cut at byte {at}", data[:at]


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


@pytest.mark.parametrize("every", [pytest.param(11, id="sample"), DEPTHS[1]])
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


def spoiled(job: Path, data: bytes, changed: bytes) -> bool:
    """Whether the audit finds this record damaged.

    A change within a line concerns no other line, so a line that does not decode any more is enough (``scan``
    reports every such line). Where newlines or ends are concerned the whole chain check is done, and where a
    line were still good the whole audit.
    """
    if changed.count(b"\n") == data.count(b"\n") and changed.endswith(b"\n"):
        at = next(n for n, (a, b) in enumerate(zip(data, changed, strict=False)) if a != b)
        start = changed.rfind(b"\n", 0, at) + 1
        end = changed.index(b"\n", at)
        if start and data[start - 1 : start] == b"\n":
            try:
                decode(changed[start:end])
            except BadLine:
                return True
    if not changed.endswith(b"\n") and changed:
        start = changed.rfind(b"\n") + 1
        return any(damage.torn for damage in scan(job, changed[start:]).damage)
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
    for what, changed in byte_changes(data, every):
        assert spoiled(job, data, changed), what
        tried += 1
    print(f"{tried} changes of bytes of the record, all found")
    assert tried > 11 * (len(data) // every)


def every_byte_of(path: Path, is_found: Callable[[], bool], every: int) -> int:
    data = path.read_bytes()
    tried = 0
    for what, changed in byte_changes(data, every):
        path.write_bytes(changed)
        assert is_found(), f"{path.name}: {what}"
        tried += 1
    path.write_bytes(data)
    assert not is_found()
    return tried


@pytest.mark.parametrize("every", DEPTHS)
def test_every_byte_of_the_sound(every: int, job: Path) -> None:
    files = sorted((job / "audio").iterdir())
    assert len(files) == 3
    tried = sum(
        every_byte_of(f, lambda f=f: bool(_audio_fault(job, f"audio/{f.name}")), every)  # type: ignore[misc]
        for f in files
    )
    print(f"{tried} changes of bytes of the sound, all found")
    assert tried > 3


@pytest.mark.parametrize("every", DEPTHS)
def test_every_byte_of_the_pinned_files(every: int, job: Path) -> None:
    header = read_log(job).lines[0].body
    names = ("procedure.toml", "prompts.toml", "policy.toml")
    tried = sum(every_byte_of(job / name, lambda: bool(_pinned(job, header)[1]), every) for name in names)
    print(f"{tried} changes of bytes of the pinned files, all found")
    assert tried > 3


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
        for other in files:
            if other not in (name, Path(RECORD)):
                swapped = fresh()
                first, second = (swapped / name).read_bytes(), (swapped / other).read_bytes()
                (swapped / name).write_bytes(second)
                (swapped / other).write_bytes(first)
                assert found(swapped), (name, other)
    for name in ("audio/0009-" + "0" * 32 + ".flac", "record.torn-1"):
        added = fresh()
        (added / name).write_bytes(b"fLaC")
        assert audit_sees(added, Path(name).name), name


def audit_sees(job: Path, name: str) -> bool:
    from handsfree.audit import audit

    return any(name in finding.message for finding in audit(job).findings)
