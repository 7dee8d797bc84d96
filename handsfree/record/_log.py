"""The one writer of a job: what it has returned from is on the disk."""

from __future__ import annotations

import contextlib
import hashlib
import time
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Self

from ._audio import AUDIO, audio_name, flac_bytes, last_number
from ._errors import RecordDamaged, RecordError
from ._files import AppendFile, OsAppendFile, explain, make_folder, set_aside, sync_folder, write_new
from ._line import GENESIS, Line, build
from ._lock import JobLock
from ._migrate import SCHEMA
from ._read import RECORD, LogRead, read_log

__all__ = ["SCHEMA", "Clock", "JobLog", "system_clock"]

_NO_SOUND = "the folder of sound was gone and was made anew: sound kept before this line may be lost"

#: Gives wall time (RFC 3339, UTC, milliseconds) and monotonic milliseconds.
Clock = Callable[[], tuple[str, int]]
Opener = Callable[[Path], AppendFile]


def system_clock() -> tuple[str, int]:
    """Wall time and monotonic milliseconds, read one after the other."""
    now = datetime.now(UTC)
    return now.strftime(
        "%Y-%m-%dT%H:%M:%S."
    ) + f"{now.microsecond // 1000:03d}Z", time.monotonic_ns() // 1_000_000


class JobLog:
    """A job's record, open for appending. Not thread-safe: one owner.

    Use ``create`` for a new job and ``open`` for one that was interrupted; both take the job's lock.
    """

    def __init__(
        self, folder: Path, lock: JobLock, lines: list[Line], *, clock: Clock, opener: Opener = OsAppendFile
    ) -> None:
        self._folder = folder
        self._lock = lock
        self._lines = lines
        self._clock = clock
        self._failed = ""
        self._closed = False
        # Also those of sound that was dropped since: a number is never given twice.
        named = [str(line.body["audio"]).rpartition("/")[2] for line in lines if "audio" in line.body]
        self._clips = last_number([*named, *(path.name for path in (folder / AUDIO).glob("*"))])
        self._file = opener(folder / RECORD)
        self._size = self._file.size()

    @classmethod
    def create(
        cls,
        folder: Path | str,
        header: Mapping[str, object],
        *,
        clock: Clock = system_clock,
        opener: Opener = OsAppendFile,
    ) -> Self:
        """Start a job's record; ``header`` becomes the body of its first line, kind ``open``.

        Raises RecordError when the folder holds a record, can't be written, or is in use.
        """
        folder = Path(folder)
        try:
            make_folder(folder)
            make_folder(folder / AUDIO)
        except OSError as error:
            raise explain(f"can't make the job folder {folder}", error) from None
        return cls._locked(folder, clock, opener, lambda: _first_line(folder, header, clock))

    @classmethod
    def open(cls, folder: Path | str, *, clock: Clock = system_clock, opener: Opener = OsAppendFile) -> Self:
        """Go on with an interrupted job.

        A torn last line is moved to ``record.torn-<n>`` and a line of kind ``recovered`` says so. Raises
        RecordDamaged when a line before it is damaged, RecordError when there is no record or it is in use.
        """
        folder = Path(folder)
        read_log(folder)  # before the lock, which would leave its file in a folder that is no job
        recovered: list[dict[str, object]] = []
        log = cls._locked(folder, clock, opener, lambda: _recover(folder, recovered))
        if recovered:
            try:
                log.append(recovered)
            except RecordError:
                log.close()
                raise
        return log

    @classmethod
    def _locked(cls, folder: Path, clock: Clock, opener: Opener, prepare: Callable[[], list[Line]]) -> Self:
        lock = JobLock(folder)
        try:
            return cls(folder, lock, prepare(), clock=clock, opener=opener)
        except OSError as error:
            lock.release()
            raise explain(f"can't write the record in {folder}", error) from None
        except BaseException:
            lock.release()
            raise

    @property
    def folder(self) -> Path:
        """The job's folder."""
        return self._folder

    @property
    def lines(self) -> tuple[Line, ...]:
        """Every line on disk, first to last."""
        return tuple(self._lines)

    @property
    def head(self) -> str:
        """Hash of the last line."""
        return self._lines[-1].hash if self._lines else GENESIS

    @property
    def failed(self) -> str:
        """Why the log takes no more lines, "" while it does."""
        return self._failed

    def append(self, entries: Sequence[Mapping[str, object]]) -> list[Line]:
        """Add the entries (``kind`` and body keys each) in one write, on disk when this returns.

        Raises RecordError: for an entry that is no JSON, before anything is written; for a failed write or
        sync, after which the log refuses everything (a kernel may drop the unwritten pages of a failed sync
        and report the next one as good, so trying again would prove nothing).
        """
        self._must_be_usable()
        at, mono_ms = self._clock()
        fresh: list[Line] = []
        prev, seq = self.head, len(self._lines)
        for entry in entries:
            fresh.append(build(entry, seq, prev, at, mono_ms))
            prev, seq = fresh[-1].hash, seq + 1
        if fresh:
            self._put(b"".join(line.encode() for line in fresh))
            self._lines.extend(fresh)
        return fresh

    def keep_audio(self, pcm: bytes, rate: int = 16000) -> str:
        """Keep one utterance (mono 16-bit little-endian) as a FLAC file, on disk when this returns.

        Returns its path relative to the job, ``audio/<number>-<hash>.flac``, for the event's ``audio``. When
        somebody took the folder of sound away, it is made anew and a line of kind ``note`` says so.
        """
        self._must_be_usable()
        content = flac_bytes(pcm, rate)
        name = audio_name(self._clips + 1, content)
        try:
            if not (self._folder / AUDIO).exists():
                make_folder(self._folder / AUDIO)
                self.append([{"kind": "note", "text": _NO_SOUND}])
            write_new(self._folder / AUDIO / name, content)
        except OSError as error:
            raise self._fail(explain(f"can't keep the utterance {name}", error)) from None
        self._clips += 1
        return f"{AUDIO}/{name}"

    def close(self) -> None:
        """Give the job back; the record stays as it is. Safe to call twice."""
        if self._closed:
            return
        self._closed = True
        with contextlib.suppress(OSError):
            self._file.close()
        self._lock.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _put(self, data: bytes) -> None:
        try:
            if self._file.size() != self._size:
                # The lock was taken away, or a copy was put back: what follows would be another record.
                raise self._fail(RecordError(f"another program changed the record in {self._folder}"))
            taken = self._file.write(data)
            if taken != len(data):
                raise self._fail(
                    RecordError(f"only {taken} of {len(data)} bytes were written: the disk is full")
                )
            self._file.sync()
            self._size += taken
        except OSError as error:
            raise self._fail(explain(f"can't write the record in {self._folder}", error)) from None

    def _fail(self, error: RecordError) -> RecordError:
        self._failed = str(error)
        return error

    def _must_be_usable(self) -> None:
        if self._closed:
            raise RecordError(f"the record in {self._folder} is closed")
        if self._failed:
            raise RecordError(
                f"the record takes no more lines after a failure ({self._failed}); resume the job"
            )


def _first_line(folder: Path, header: Mapping[str, object], clock: Clock) -> list[Line]:
    """Write the opening line under another name first: a record exists whole or not at all."""
    record = folder / RECORD
    if record.exists():
        raise RecordError(f"{folder} already holds a job: resume it, or choose another folder")
    at, mono_ms = clock()
    line = build({"schema": SCHEMA, **header, "kind": "open"}, 0, GENESIS, at, mono_ms)
    draft = folder / f"{RECORD}.new"
    write_new(draft, line.encode(), replace=True)
    draft.rename(record)
    sync_folder(folder)
    return [line]


def _recover(folder: Path, recovered: list[dict[str, object]]) -> list[Line]:
    """The record's lines, its torn tail moved aside and described in ``recovered``."""
    read = read_log(folder)
    if read.broken:
        raise RecordDamaged(read.broken.line, read.broken.reason)
    if not read.lines:
        raise RecordDamaged(1, "its opening line is not whole")
    if read.torn:
        recovered.append(_set_aside(read))
    return list(read.lines)


def _set_aside(read: LogRead) -> dict[str, object]:
    torn = read.torn
    assert torn is not None
    name, tail = set_aside(read.folder / RECORD, torn.offset)
    return {
        "kind": "recovered",
        "file": name,
        "torn_line": str(torn.line),
        "torn_bytes": str(len(tail)),
        "torn_sha256": hashlib.sha256(tail).hexdigest(),
        "kept_bytes": str(torn.offset),
        "reason": torn.reason,
    }
