"""Disks that are full, broken or not ours, and a process killed at any moment."""

from __future__ import annotations

import errno
import os
import random
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from handsfree.record import JobLog, RecordError, check_chain, read_log
from handsfree.record import _files as files
from handsfree.record._files import OsAppendFile

from .conftest import BATCH, HEADER

linux_only = pytest.mark.skipif(sys.platform != "linux", reason="uses Linux's own faults")


class FailingFile(OsAppendFile):
    """Does as told at the nth write or sync."""

    fail: str = ""
    error: int = errno.EIO

    def write(self, data: bytes) -> int:
        if self.fail == "write":
            raise OSError(self.error, os.strerror(self.error))
        if self.fail == "short":
            return super().write(data[: len(data) // 2])
        return super().write(data)

    def sync(self) -> None:
        if self.fail == "sync":
            raise OSError(self.error, os.strerror(self.error))
        super().sync()


@pytest.mark.parametrize(
    ("fail", "error", "says"),
    [
        ("write", errno.EIO, "do not trust it"),
        ("write", errno.ENOSPC, "free space"),
        ("sync", errno.EIO, "do not trust it"),
        ("sync", errno.ENOSPC, "free space"),
        ("short", 0, "disk is full"),
    ],
)
def test_a_failed_append_is_told_once_and_refused_ever_after(
    fail: str, error: int, says: str, new_job: Callable[[], Path]
) -> None:
    made: list[FailingFile] = []

    def opener(path: Path) -> FailingFile:
        made.append(FailingFile(path))
        return made[-1]

    log = JobLog.create(new_job(), HEADER, opener=opener)
    log.append(BATCH)
    made[0].fail, made[0].error = fail, error
    with pytest.raises(RecordError, match=says):
        log.append(BATCH)
    made[0].fail = ""  # the disk claims to be well again; the log must not believe it
    for again in (lambda: log.append(BATCH), lambda: log.keep_audio(b"\0\1")):
        with pytest.raises(RecordError, match="takes no more lines after a failure"):
            again()
    assert says in log.failed
    assert len(log.lines) == 4
    log.close()
    with JobLog.open(log.folder) as resumed:
        assert resumed.lines[:4] == log.lines
        resumed.append(BATCH)
    assert check_chain(log.folder) == []


def test_a_sync_that_fails_for_an_utterance_fails_the_log(
    new_job: Callable[[], Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    log = JobLog.create(new_job(), HEADER)

    def no_sync(_fd: int) -> None:
        raise OSError(errno.EIO, "broken")

    with monkeypatch.context() as patch:
        patch.setattr(files, "sync", no_sync)
        with pytest.raises(RecordError, match="can't keep the utterance"):
            log.keep_audio(b"\0\1")
    with pytest.raises(RecordError, match="takes no more lines"):
        log.append(BATCH)
    log.close()
    with JobLog.open(log.folder) as resumed:  # the number of the doubtful file is not used again
        assert resumed.keep_audio(b"\0\1").startswith("audio/0002-")


@linux_only
def test_the_kernels_own_full_device(new_job: Callable[[], Path]) -> None:
    log = JobLog.create(new_job(), HEADER, opener=lambda _: OsAppendFile(Path("/dev/full")))
    with pytest.raises(RecordError, match="the disk is full: free space"):
        log.append(BATCH)
    log.close()
    assert len(read_log(log.folder).lines) == 1


def test_a_full_disk_when_recovering_loses_nothing(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with (job / "record.jsonl").open("ab") as file:
        file.write(b'{"half')
    before = (job / "record.jsonl").read_bytes()

    def full(_fd: int, _data: object) -> int:
        raise OSError(errno.ENOSPC, "full")

    with monkeypatch.context() as patch:
        patch.setattr(files.os, "write", full)
        with pytest.raises(RecordError, match="free space"):
            JobLog.open(job)
    assert (job / "record.jsonl").read_bytes() == before
    JobLog.open(job).close()
    assert check_chain(job) == []


FILLER = """
import resource, sys
from handsfree.record import JobLog, RecordError
limit = int(sys.argv[2])
log = JobLog.create(sys.argv[1], {"technician": "Ana"})
if limit:
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
try:
    for n in range(100000):
        if sys.argv[3] == "audio":
            log.keep_audio(b"\\0\\1" * 20000)
        log.append([{"kind": "event", "text": "x" * 200, "n": n}])
        print(n, flush=True)
except RecordError as error:
    print(error, flush=True)
"""


def fill(folder: Path, limit: int, what: str) -> tuple[int, str]:
    """Append until it fails: how many were confirmed, and the error's line."""
    done = subprocess.run(
        [sys.executable, "-c", FILLER, str(folder), str(limit), what],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    *confirmed, error = done.stdout.splitlines()
    assert done.stderr == ""
    return len(confirmed), error


@linux_only
@pytest.mark.parametrize("limit", [4096, 20_000, 20_001])
def test_a_file_size_limit_is_told_and_nothing_confirmed_is_lost(limit: int, tmp_path: Path) -> None:
    confirmed, error = fill(tmp_path / "job", limit, "lines")
    assert "full" in error or "limit" in error
    _holds(tmp_path / "job", confirmed)


@linux_only
@pytest.mark.parametrize("what", ["lines", "audio"])
def test_a_real_full_disk_is_told_and_nothing_confirmed_is_lost(what: str, tmp_path: Path) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=256k", "tmpfs", str(disk)], capture_output=True
    )
    if mount.returncode:
        pytest.skip("may not mount a small disk here")
    try:
        confirmed, error = fill(disk / "job", 0, what)
        assert "full: free space" in error or "the disk is full" in error
        assert confirmed > 0
        saved = tmp_path / "saved"
        subprocess.run(["cp", "-r", str(disk / "job"), str(saved)], check=True)
    finally:
        subprocess.run(["umount", str(disk)], check=True)
    _holds(saved, confirmed)


def _holds(folder: Path, confirmed: int) -> None:
    with JobLog.open(folder) as log:
        kept = [line.body["n"] for line in log.lines if line.kind == "event"]
        assert kept[:confirmed] == list(range(confirmed))
        log.append(BATCH)
    assert [finding for finding in check_chain(folder) if finding.severity == "error"] == []


@linux_only
def test_a_folder_that_is_not_ours_is_named() -> None:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        (folder / "job").mkdir()
        folder.chmod(0o555)
        (folder / "job").chmod(0o555)
        user = os.geteuid()
        if user == 0:
            os.seteuid(65534)  # root may write anywhere, so be nobody for a moment
        try:
            for target in (folder / "new", folder / "job"):
                with pytest.raises(RecordError, match="no permission: choose a folder you may write to"):
                    JobLog.create(target, HEADER)
        finally:
            os.seteuid(user)
            folder.chmod(0o755)
            (folder / "job").chmod(0o755)


def test_a_file_where_the_folder_should_be_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    for target in (tmp_path / "file", tmp_path / "file" / "job"):
        with pytest.raises(RecordError, match="choose another folder"):
            JobLog.create(target, HEADER)
        with pytest.raises(RecordError):
            read_log(target)


def test_a_lock_that_can_not_be_made_is_told(job: Path) -> None:
    (job / ".lock").unlink()
    (job / ".lock").mkdir()
    with pytest.raises(RecordError, match="can't lock"):
        JobLog.open(job)


def test_a_recovery_whose_line_can_not_be_written_gives_the_job_back(job: Path) -> None:
    with (job / "record.jsonl").open("ab") as file:
        file.write(b'{"half')

    def opener(path: Path) -> FailingFile:
        file = FailingFile(path)
        file.fail = "sync"
        return file

    with pytest.raises(RecordError, match="do not trust it"):
        JobLog.open(job, opener=opener)
    JobLog.open(job).close()  # the lock is free again
    assert (job / "record.torn-1").read_bytes() == b'{"half'
    assert check_chain(job) == []


@pytest.mark.skipif(os.name == "nt", reason="SIGKILL and fork")
@pytest.mark.parametrize("kills", [30, pytest.param(500, marks=pytest.mark.exhaustive)])
def test_kill_9_at_random_moments_loses_nothing_confirmed(kills: int, new_job: Callable[[], Path]) -> None:
    folder = new_job()
    JobLog.create(folder, HEADER).close()
    moments = random.Random(4711)
    confirmed: list[int] = []
    with subprocess.Popen(
        [sys.executable, "-c", WRITERS, str(folder)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as writers:
        # A test that waits for a line that never comes must fail, not hang.
        watchdog = threading.Timer(60 + 5 * kills, writers.kill)
        watchdog.daemon = True
        watchdog.start()
        for round_ in range(kills):
            in_opening = round_ % 4 == 0  # else while it appends
            confirmed += _write_and_kill(writers, round_ * 100_000, in_opening, moments.uniform(0, 0.06))
            held = {line.body["n"] for line in read_log(folder).lines if line.kind == "reading"}
            assert set(confirmed) <= held
            assert [finding for finding in check_chain(folder) if finding.severity == "error"] == []
        assert writers.stdin is not None
        writers.stdin.close()
        watchdog.cancel()
    assert len(confirmed) > kills
    JobLog.open(folder).close()
    torn = sum(line.kind == "recovered" for line in read_log(folder).lines)
    print(f"appends: {kills} kills, {len(confirmed)} confirmed, {torn} torn lines set aside, nothing lost")


#: Starts a writer for each number it reads; a writer goes on until it is killed.
WRITERS = """
import os, sys
from handsfree.record import JobLog

def tell(*words):  # one write: two processes write here
    os.write(1, (" ".join(map(str, words)) + "\\n").encode())

def write(n):
    log = JobLog.open(sys.argv[1])
    tell("ready")
    while True:
        audio = log.keep_audio(n.to_bytes(4, "little") * 400) if n % 5 == 0 else ""
        log.append([{"kind": "event", "n": n, "audio": audio}, {"kind": "reading", "value": str(n), "n": n}])
        tell(n)
        n += 1

for line in sys.stdin:
    child = os.fork()
    if not child:
        write(int(line))
    tell("child", child)
    os.waitpid(child, 0)
    tell("dead")
"""


def _write_and_kill(
    writers: subprocess.Popen[str], start: int, in_opening: bool, after_s: float
) -> list[int]:
    """Let one writer write, kill it; the numbers whose append had returned."""
    assert writers.stdin is not None
    assert writers.stdout is not None
    print(start, file=writers.stdin, flush=True)
    lines: list[str] = []
    while not any(line.startswith("child") for line in lines) or ("ready\n" not in lines and not in_opening):
        lines.append(writers.stdout.readline())
        assert lines[-1], "the writer ended by itself"
    time.sleep(after_s)
    os.kill(next(int(line.split()[1]) for line in lines if line.startswith("child")), signal.SIGKILL)
    # Seen once: the killed writer's last number without its end of line, "dead" right behind it.
    while not lines[-1].endswith("dead\n"):
        lines.append(writers.stdout.readline())
        assert lines[-1], "the writers ended by themselves, or this took too long"
    return [int(line) for line in lines if line.strip().isdigit()]
