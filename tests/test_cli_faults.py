"""The commands on a disk that fails: one line, the right exit code, and nothing that was recorded is lost."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from audit.jobs import whole_job
from test_cli import handsfree, one_line

from handsfree.audit import audit
from handsfree.record import AUDIO, check_chain, read_log

linux_only = pytest.mark.skipif(sys.platform != "linux", reason="mounts a small disk")
BEGINNING = "eye protection and gloves are on\n1122\naffirmative\n4417\naffirmative\n"


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of one megabyte."""
    place = tmp_path / "disk"
    place.mkdir()
    mount = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", place], capture_output=True)
    if mount.returncode:
        pytest.skip("may not mount a small disk here")
    try:
        yield place
    finally:
        subprocess.run(["umount", place], check=True)


def begun(place: Path) -> Path:
    """An unfinished practice job in the folder ``jobs`` of the place."""
    place.mkdir(parents=True, exist_ok=True)
    done = handsfree("run", "--engine", "typed", "--practice", typed=BEGINNING, cwd=place)
    assert done.returncode == 3, done.stderr
    (job,) = (place / "jobs").iterdir()
    return job


def errors(job: Path) -> list[str]:
    return [f.message for f in audit(job).findings if f.severity == "error"]


def resume(job: Path, typed: str) -> subprocess.CompletedProcess[str]:
    return handsfree("resume", str(job), "--engine", "typed", "--practice", typed=typed, cwd=job.parents[1])


@linux_only
def test_a_disk_that_fills_up_in_the_midst_of_a_job(disk: Path) -> None:
    job = begun(disk)
    before = (job / "record.jsonl").read_bytes()
    with (disk / "filler").open("wb", buffering=0) as filler:
        try:
            while filler.write(b"x" * 4096) == 4096:
                pass
        except OSError:
            pass
    with (disk / "filler").open("r+b") as filler:
        filler.truncate(filler.seek(0, os.SEEK_END) - 8192)
    done = resume(job, "what is the limit\nsay again\n" * 40)
    assert "full: free space" in one_line(done) or "the disk is full" in one_line(done)
    confirmed = done.stdout.count("Heard")
    held = read_log(job).lines
    assert (job / "record.jsonl").read_bytes().startswith(before)
    (disk / "filler").unlink()
    again = resume(job, "driver front\naffirmative\n")
    assert again.returncode == 3, again.stderr
    assert read_log(job).lines[: len(held)] == held
    assert len(held) > len(before.splitlines())
    assert confirmed == 0 or len(held) > confirmed
    assert errors(job) == []


@linux_only
def test_a_full_disk_lets_no_job_begin(disk: Path) -> None:
    with (disk / "filler").open("wb", buffering=0) as filler:
        try:
            while filler.write(b"x" * 65536) == 65536:
                pass
        except OSError:
            pass
    done = handsfree("run", "--engine", "typed", typed=BEGINNING, cwd=disk)
    assert re.search("full|No space", one_line(done))


@linux_only
@pytest.mark.slow
def test_a_read_only_disk_is_named_and_can_still_be_read(disk: Path, tmp_path: Path) -> None:
    job, finished = begun(disk), whole_job(disk / "jobs" / "finished")
    subprocess.run(["mount", "-o", "remount,ro", disk], check=True)
    (tmp_path / "phrase").write_text("eleven quiet herons\n")
    key = ("--passphrase-file", str(tmp_path / "phrase"))
    assert handsfree("keys", "new", "ortega.pem", *key, cwd=tmp_path).returncode == 0
    keys = ("--keys", str(tmp_path / "keys"))
    for words in (
        ("run", "--engine", "typed", "--jobs", str(disk / "jobs")),
        ("run", "--engine", "typed", "--jobs", str(disk / "new")),
        ("resume", str(job), "--engine", "typed", "--practice"),
        ("sign", str(finished), "--accept", "--key", str(tmp_path / "ortega.pem"), *key, *keys),
        ("review", str(finished)),
        ("review", str(disk / "jobs")),
        ("export", str(finished), "--to", str(disk / "out.json")),
        ("keys", "new", str(disk / "other.pem"), *key, "--keys", str(disk / "keys")),
    ):
        done = handsfree(*words, typed=BEGINNING, cwd=tmp_path)
        assert done.returncode == 1, (words, done.stdout, done.stderr)
        assert "Traceback" not in done.stderr
        lines = done.stderr.splitlines()
        assert lines, words
        assert all(re.search("read-only", line, re.IGNORECASE) for line in lines), (words, lines)
    for words in (("show", str(finished)), ("audit", str(finished)), ("export", str(finished))):
        done = handsfree(*words, cwd=tmp_path)
        assert done.returncode == 0, (words, done.stderr)


@linux_only
@pytest.mark.parametrize("words", [("show",), ("audit",), ("export",), ("limits",)])
def test_an_output_that_takes_nothing_is_one_line(words: tuple[str, ...], tmp_path: Path) -> None:
    job = whole_job(tmp_path / "job")
    command = [sys.executable, "-m", "handsfree", *words, *([str(job)] if words != ("limits",) else [])]
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, timeout=120)
    assert done.returncode == 1
    assert done.stderr == "handsfree: can't write the output: the disk is full: free space\n"


def test_two_processes_on_one_job(tmp_path: Path) -> None:
    job = begun(tmp_path)
    command = [sys.executable, "-m", "handsfree", "resume", str(job), "--engine", "typed", "--practice"]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=tmp_path
    ) as first:
        assert first.stdout is not None
        assert first.stdin is not None
        until = time.monotonic() + 60
        while not any(line.kind == "resumed" for line in read_log(job).lines):
            assert time.monotonic() < until
            time.sleep(0.1)
        second = resume(job, "driver front\naffirmative\n")
        assert f"open in another window (pid {first.pid})" in one_line(second)
        assert handsfree("show", str(job), cwd=tmp_path).returncode == 0  # reading needs no lock
        first.communicate("driver front\naffirmative\n", timeout=60)
    assert check_chain(job) == []
    assert sum(line.kind == "resumed" for line in read_log(job).lines) == 1
    assert resume(job, "").returncode == 3  # and the lock is free again
    assert errors(job) == []


def test_a_job_whose_sound_is_gone_is_told_by_every_reader(tmp_path: Path) -> None:
    job = whole_job(tmp_path / "job")
    named = [
        n for n, line in enumerate(read_log(job).lines, 1) if str(line.body.get("audio")).startswith(AUDIO)
    ]
    assert len(named) > 1
    for path in (job / AUDIO).iterdir():
        path.unlink()
    checked = handsfree("audit", str(job), cwd=tmp_path)
    for number in named:
        assert re.search(rf"line {number}\b.*the file is missing", checked.stdout), checked.stdout
    shutil.rmtree(job / AUDIO)
    checked = handsfree("audit", str(job), cwd=tmp_path)
    assert checked.returncode == 1
    assert "Traceback" not in checked.stderr
    assert f"the sound folder is gone ({len(named)} files)" in checked.stdout
    page = handsfree("review", str(job), cwd=tmp_path)
    assert "can't be trusted" in one_line(page)
    assert "the sound is missing" in (job / "review.html").read_text(encoding="utf-8")
    shown = handsfree("show", str(job), cwd=tmp_path)
    assert "damaged" in one_line(shown)
    listened = handsfree("audit", "--listen", str(job), cwd=tmp_path)
    assert listened.returncode == 1
    assert "Traceback" not in listened.stderr
