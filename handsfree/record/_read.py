"""Reading a record without changing it, damage and all."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from ._errors import RecordError
from ._files import explain
from ._line import GENESIS, MAX_LINE_BYTES, BadLine, Line, decode

__all__ = ["RECORD", "Damage", "LogRead", "first_hash", "read_log"]

RECORD = "record.jsonl"
#: A whole repair takes under 1 MiB; what is hundreds of times that was not written by a job.
MAX_RECORD_BYTES = 256 << 20


@dataclass(frozen=True, slots=True)
class Damage:
    """One damaged line. ``line`` counts from 1; ``torn``: the unfinished end of the file, never confirmed;
    opening the job moves it aside."""

    line: int
    reason: str
    torn: bool = False
    offset: int = 0  # bytes from the start of the file
    size: int = 0  # bytes of the damaged line


@dataclass(frozen=True, slots=True)
class LogRead:
    """A record as it is on disk: every line that can be read, and every line that can't or does not fit."""

    folder: Path
    lines: tuple[Line, ...]
    damage: tuple[Damage, ...]
    numbers: tuple[int, ...] = ()  # line number in the file of each of ``lines``, from 1

    @property
    def head(self) -> str:
        """Hash of the last whole line, 64 zeros when there is none."""
        return self.lines[-1].hash if self.lines else GENESIS

    @property
    def torn(self) -> Damage | None:
        """The unfinished last line, if any."""
        return next((damage for damage in self.damage if damage.torn), None)

    @property
    def broken(self) -> Damage | None:
        """The first damage that is no torn tail, if any: such a record takes no more lines."""
        return next((damage for damage in self.damage if not damage.torn), None)


def read_log(folder: Path | str) -> LogRead:
    """Read a job's record; changes nothing and takes no lock, so it works beside a running job.

    Raises RecordError only when there is no record to read; damage is reported, not raised.
    """
    folder = Path(folder)
    path = folder / RECORD
    try:
        if path.stat().st_size > MAX_RECORD_BYTES:
            raise RecordError(f"{path} is larger than any job's record ({MAX_RECORD_BYTES >> 20} MiB)")
        data = path.read_bytes()
    except FileNotFoundError:
        raise RecordError(f"no {RECORD} in {folder}: give the folder of a job") from None
    except OSError as error:
        raise explain(f"can't read {path}", error, folder=False) from None
    return scan(folder, data)


def first_hash(folder: Path) -> str:
    """The hash of a record's first line, by which a job is known wherever it lies; "" when that can't be read."""
    try:
        with (folder / RECORD).open("rb") as file:
            return decode(file.readline(MAX_LINE_BYTES).removesuffix(b"\n")).hash
    except (OSError, BadLine):
        return ""


def scan(folder: Path, data: bytes) -> LogRead:
    """Split the bytes of a record into lines and place each in the chain."""
    *whole, tail = data.split(b"\n")
    lines: list[Line] = []
    numbers: list[int] = []
    damage: list[Damage] = []
    before: Line | None = None  # the line just before, when it could be read
    expected, offset = 0, 0
    for number, raw in enumerate(whole, start=1):
        size = len(raw) + 1
        try:
            line = decode(raw)
        except BadLine as bad:
            torn = number == len(whole) and not tail and str(bad) in _TORN
            damage.append(Damage(number, str(bad), torn, offset, size))
            before, expected = None, expected + 1
        else:
            misfit = _misfit(before, number, expected, line)
            if misfit:
                damage.append(Damage(number, misfit, False, offset, size))
            lines.append(line)
            numbers.append(number)
            before, expected = line, line.seq + 1
        offset += size
    if tail:
        reason = (
            "no newline at its end" if len(tail) < MAX_LINE_BYTES else f"longer than {MAX_LINE_BYTES} bytes"
        )
        damage.append(Damage(len(whole) + 1, reason, True, offset, len(tail)))
    if not whole and not tail:
        damage.append(Damage(1, "the file is empty", False, 0, 0))
    return LogRead(folder, tuple(lines), tuple(damage), tuple(numbers))


#: What a last line cut off by a power loss looks like when its newline did reach the disk (blocks of one
#: write may land in any order). Whole JSON with a wrong hash is not among them: that is a change, not a cut.
_TORN = frozenset({"not JSON", "not UTF-8", "not a JSON object"})


def _misfit(before: Line | None, number: int, expected: int, line: Line) -> str:
    """Why a line that is sound in itself does not belong at this place, or ""."""
    if line.seq > expected:
        return _gap(expected, line.seq)
    if line.seq != expected:
        return f"by its seq it is line {line.seq + 1}, where line {expected + 1} was due"
    if number == 1:
        return _bad_start(line)
    if before is not None and line.prev != before.hash:
        return "prev is not the hash of the line before"
    return "a second opening line" if line.kind == "open" else ""


def _gap(last: int, seq: int) -> str:
    """``last``: lines before the gap; ``seq``: of the line after it, from 0."""
    which = f"{last + 1} to {seq}" if seq > last + 1 else f"line {seq}"
    lacking = "1 line is" if seq == last + 1 else f"{seq - last} lines are"
    return f"{lacking} missing {f'after line {last}' if last else 'at the start'} ({which})"


def _bad_start(line: Line) -> str:
    if line.prev != GENESIS:
        return "the first line must have 64 zeros as prev"
    return "" if line.kind == "open" else f"the first line is {line.kind!r}, not 'open'"
