"""What the writer promises."""

from __future__ import annotations

import hashlib
import os
import re
import stat
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import soundfile

from handsfree.audio import read_sound
from handsfree.record import GENESIS, SCHEMA, JobLog, RecordError, check_chain, read_log, system_clock
from handsfree.record._files import OsAppendFile

from .conftest import BATCH, HEADER, ticking_clock

posix_only = pytest.mark.skipif(os.name == "nt", reason="POSIX file modes")


def test_the_first_line_pins_the_header_and_the_schema(job: Path) -> None:
    first = read_log(job).lines[0]
    assert (first.kind, first.seq, first.prev, first.at) == ("open", 0, GENESIS, "2031-03-04T05:00:00.000Z")
    assert first.body == {**HEADER, "schema": SCHEMA}


def test_lines_are_numbered_and_chained(job: Path) -> None:
    lines = read_log(job).lines
    assert [line.seq for line in lines] == list(range(7))
    assert [line.prev for line in lines[1:]] == [line.hash for line in lines[:-1]]
    assert check_chain(job) == []


def test_append_returns_the_lines_and_keeps_the_head(new_job: Callable[[], Path]) -> None:
    with JobLog.create(new_job(), HEADER) as log:
        fresh = log.append(BATCH)
        assert [line.seq for line in fresh] == [1, 2, 3]
        assert log.lines[-3:] == tuple(fresh)
        assert log.head == fresh[-1].hash
        assert log.append([]) == []


def test_reopening_goes_on_where_it_ended(job: Path) -> None:
    with JobLog.open(job) as log:
        assert log.append([{"kind": "close", "outcome": "return to service", "head": log.head}])[0].seq == 7
    assert check_chain(job) == []


def test_an_entry_may_bring_the_time_of_its_event(new_job: Callable[[], Path]) -> None:
    with JobLog.create(new_job(), HEADER, clock=ticking_clock()) as log:
        own, stamped = log.append(
            [{"kind": "event", "at": "2030-01-01T00:00:00.000Z", "mono_ms": 5}, {"kind": "event"}]
        )
    assert (own.at, own.mono_ms) == ("2030-01-01T00:00:00.000Z", 5)
    assert (stamped.at, stamped.mono_ms) == ("2031-03-04T05:00:01.000Z", 1000)


def test_the_system_clock_gives_utc_milliseconds() -> None:
    before = datetime.now(UTC)
    at, mono_ms = system_clock()
    assert before - timedelta(milliseconds=1) <= datetime.fromisoformat(at) <= datetime.now(UTC)
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", at)
    assert isinstance(mono_ms, int)


def test_one_write_and_then_one_sync_before_append_returns(new_job: Callable[[], Path]) -> None:
    calls: list[tuple[str, int]] = []

    class Watched(OsAppendFile):
        def write(self, data: bytes) -> int:
            calls.append(("write", data.count(b"\n")))
            return super().write(data)

        def sync(self) -> None:
            calls.append(("sync", 0))
            super().sync()

    with JobLog.create(new_job(), HEADER, opener=Watched) as log:
        log.append(BATCH)
        assert calls == [("write", 3), ("sync", 0)]


@posix_only
def test_a_job_is_private_whatever_the_umask(new_job: Callable[[], Path]) -> None:
    folder = new_job()
    old = os.umask(0)
    try:
        with JobLog.create(folder, HEADER) as log:
            log.keep_audio(b"\0\1")
            modes = {path: stat.S_IMODE(path.stat().st_mode) for path in [folder, *folder.rglob("*")]}
    finally:
        os.umask(old)
    assert all(mode == (0o700 if path.is_dir() else 0o600) for path, mode in modes.items()), modes
    assert len(modes) == 6  # folder, audio, the clip, record, lock, writer


def test_audio_is_flac_named_by_number_and_hash_and_nothing_of_it_is_lost(
    new_job: Callable[[], Path],
) -> None:
    pcm = b"\x01\x00\x02\x00" * 80
    with JobLog.create(new_job(), HEADER) as log:
        first, second = log.keep_audio(pcm), log.keep_audio(pcm, rate=8000)
    path = log.folder / first
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    assert first == f"audio/0001-{digest[:32]}.flac"
    assert second.startswith("audio/0002-")
    assert path.read_bytes()[:4] == b"fLaC"  # RFC 9639, section 6
    with soundfile.SoundFile(path) as file:
        assert (file.channels, file.samplerate, file.frames, file.subtype) == (1, 16000, 160, "PCM_16")
        assert file.read(dtype="int16").tobytes() == pcm
    assert read_sound(path) == pcm


def test_audio_numbers_go_on_after_an_interruption(job: Path) -> None:
    with JobLog.open(job) as log:
        assert log.keep_audio(b"\0\1").startswith("audio/0002-")


@pytest.mark.parametrize("pcm", [b"", b"\0"])
def test_half_a_sample_is_no_sound_and_the_log_goes_on(pcm: bytes, new_job: Callable[[], Path]) -> None:
    with JobLog.create(new_job(), HEADER) as log:
        with pytest.raises(RecordError, match="no 16-bit sound"):
            log.keep_audio(pcm)
        assert log.append(BATCH)


def test_a_job_is_never_started_over(job: Path) -> None:
    before = (job / "record.jsonl").read_bytes()
    with pytest.raises(RecordError, match="already holds a job"):
        JobLog.create(job, HEADER)
    assert (job / "record.jsonl").read_bytes() == before


def test_a_start_that_was_cut_short_can_be_repeated(new_job: Callable[[], Path]) -> None:
    folder = new_job()
    folder.mkdir()
    (folder / "record.jsonl.new").write_bytes(b'{"half')
    with JobLog.create(folder, HEADER) as log:
        assert log.lines[0].kind == "open"
    assert check_chain(folder) == []


def test_a_closed_log_takes_nothing(job: Path) -> None:
    log = JobLog.open(job)
    log.close()
    log.close()
    with pytest.raises(RecordError, match="is closed"):
        log.append(BATCH)
    with pytest.raises(RecordError, match="is closed"):
        log.keep_audio(b"\0\1")


@pytest.mark.parametrize("use", [JobLog.open, read_log, check_chain])
def test_a_folder_without_a_record_is_named(use: Callable[[Path], object], tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="give the folder of a job"):
        use(tmp_path)
    assert list(tmp_path.iterdir()) == []
    with pytest.raises(RecordError, match="give the folder of a job"):
        use(tmp_path / "missing")


HOLDER = """
import sys, time
from handsfree.record import JobLog
log = JobLog.open(sys.argv[1])
print("open", flush=True)
time.sleep(60)
"""


def test_two_processes_can_not_write_one_job(job: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(job)], stdout=subprocess.PIPE, text=True
    ) as holder:
        try:
            assert holder.stdout is not None
            assert holder.stdout.readline() == "open\n"
            with pytest.raises(RecordError, match=rf"open in another window \(pid {holder.pid}\)"):
                JobLog.open(job)
            assert len(read_log(job).lines) == 7  # reading needs no lock
        finally:
            holder.kill()
    with JobLog.open(job) as log:  # a killed holder leaves no lock behind
        log.append(BATCH)


def test_two_logs_in_one_process_can_not_write_one_job(job: Path) -> None:
    with JobLog.open(job), pytest.raises(RecordError, match=rf"pid {os.getpid()}\)"):
        JobLog.open(job)
    with JobLog.open(job):
        pass
