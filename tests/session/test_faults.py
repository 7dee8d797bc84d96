"""A whole job on a machine that fails it: killed, each call refused, sound taken away, clocks set back."""

from __future__ import annotations

import contextlib
import errno
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from audit.jobs import LINES, Voiced
from procedure.driving import START_MS

from handsfree.audit import audit
from handsfree.procedure import Record, TimerDue
from handsfree.record import AUDIO, RecordError, check_chain, read_log
from handsfree.record import _files as files
from handsfree.review import review_job
from handsfree.session import NoView, SimulatedClock, SystemClock, open_job
from handsfree.session._replay import entry

from .bay import lines_of, new_job, readings, reopen, session, typed, work
from .conftest import SHORT, SHORT_LINES, SHORT_READINGS, WHOLE, WHOLE_LINES, WHOLE_READINGS
from .test_crash import said_so_far

#: Opening a held job takes the place of the words that would have resumed it.
PRACTICE = {"practice": "simulated clock, waits passed at once"}
UNHELD = [line for line in LINES if line not in ("hold work", "resume work")]


class Confirming(NoView):
    """Keeps what a technician has seen to be recorded, in its order."""

    def __init__(self) -> None:
        self.confirmed: list[dict[str, object]] = []

    def recorded(self, effect: Record) -> None:
        self.confirmed.append(json.loads(json.dumps(entry(effect))))


def held(folder: Path, confirmed: list[dict[str, object]]) -> None:
    """All that was confirmed is in the record, in its order."""
    lines = iter(
        [json.loads(json.dumps({**line.body, "kind": line.kind})) for line in read_log(folder).lines]
    )
    for one in confirmed:
        assert any(line == one for line in lines), one


def errors(folder: Path) -> list[str]:
    return [f"{f.line}: {f.message}" for f in audit(folder).findings if f.severity == "error"]


# -- killed --------------------------------------------------------------------------------------------

#: Works on the job in a child for every line it reads, until the child is killed or the job is done.
WORKERS = """
import json, os, sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from session.bay import new_job, open_job, session, typed
from session.test_crash import said_so_far
from session.test_faults import PRACTICE, UNHELD, Confirming, SimulatedClock, WHOLE, START_MS
from audit.jobs import Voiced

def tell(*words):  # one write: two processes write here
    os.write(1, (" ".join(map(str, words)) + "\\n").encode())

class Telling(Confirming):
    def recorded(self, effect):
        super().recorded(effect)
        tell("recorded", json.dumps(self.confirmed.pop()))

def go(folder):
    if (folder / "record.jsonl").exists():
        job, clock = open_job(folder, lambda not_before: SimulatedClock(max(START_MS, not_before)))
    else:
        clock = SimulatedClock(START_MS)
        job = new_job(folder, WHOLE, clock, PRACTICE)
    lines = UNHELD[said_so_far(job.log.lines):]
    running = session(job, clock, Voiced(typed(lines, clock), clock), view=Telling())
    tell("ended", running.run(job.first))
    running.close()

rehearsal = Path(sys.argv[2])  # every grammar armed once, for all the children
clock = SimulatedClock(START_MS)
job = new_job(rehearsal, WHOLE, clock, PRACTICE)
session(job, clock, Voiced(typed(UNHELD, clock), clock)).run(job.first)
for line in sys.stdin:
    child = os.fork()
    if not child:
        go(Path(line.strip()))
        os._exit(0)
    tell("child", child)
    os.waitpid(child, 0)
    tell("dead")
"""


@pytest.mark.skipif(os.name == "nt", reason="SIGKILL and fork")
@pytest.mark.parametrize("kills", [20, pytest.param(500, marks=pytest.mark.exhaustive)])
def test_kill_9_at_random_moments_of_whole_jobs(kills: int, tmp_path: Path) -> None:
    moments = random.Random(4711)
    tests = str(Path(__file__).parents[1])
    counts: Counter[str] = Counter()
    confirmed: list[dict[str, object]] = []
    with subprocess.Popen(
        [sys.executable, "-c", WORKERS, tests, str(tmp_path / "rehearsal")],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as workers:
        watchdog = threading.Timer(60 + 2 * kills, workers.kill)  # a test that waits for ever must fail
        watchdog.daemon = True
        watchdog.start()
        folder = tmp_path / "job-0"
        while counts["kills"] < kills:
            told = _work_and_kill(workers, folder, moments.randrange(12), moments.uniform(0, 0.03))
            fresh = [json.loads(line.partition(" ")[2]) for line in told if line.startswith("recorded ")]
            confirmed += fresh
            counts["confirmed"] += len(fresh)
            ended = any(line.startswith("ended") for line in told)
            counts["kills"] += not ended
            if (folder / "policy.toml").exists():
                held(folder, confirmed)
                torn = [f for f in check_chain(folder) if f.check == "torn"]
                counts["torn"] += len(torn)
                assert [f for f in check_chain(folder) if f.severity == "error" and f.check != "torn"] == []
            else:  # killed before its last file was written: it never was a job
                assert not confirmed
                shutil.rmtree(folder, ignore_errors=True)
                counts["unborn"] += 1
            if ended or (folder.exists() and lines_of(folder, "close")):
                _whole(folder)
                counts["jobs"] += 1
                confirmed, folder = [], tmp_path / f"job-{counts['jobs']}"
        assert workers.stdin is not None
        workers.stdin.close()
        watchdog.cancel()
    assert counts["confirmed"] > kills
    assert counts["jobs"] > 0
    print(f"whole jobs: {dict(counts)}, nothing lost")


def _whole(folder: Path) -> None:
    """The job came to its end with what was said, however often it was cut off."""
    with pytest.raises(RecordError, match="finished"):  # writes what a kill kept from being written
        reopen(folder)
    assert errors(folder) == []
    assert readings(folder) == {**WHOLE_READINGS, "injury.size": "5.2 mm"}


def _work_and_kill(workers: subprocess.Popen[str], folder: Path, lines: int, after_s: float) -> list[str]:
    """Let a worker work on the job and kill it a moment after so many lines were confirmed; everything it said."""
    assert workers.stdin is not None
    assert workers.stdout is not None
    print(folder, file=workers.stdin, flush=True)
    told: list[str] = []
    while not any(line.startswith("child") for line in told):
        told.append(workers.stdout.readline())
        assert told[-1], "the worker ended by itself"
    while sum(line.startswith("recorded") for line in told) < lines and told[-1] != "dead\n":
        told.append(workers.stdout.readline())
        assert told[-1], "the worker ended by itself"
    time.sleep(after_s)
    child = next(int(line.split()[1]) for line in told if line.startswith("child"))
    with contextlib.suppress(ProcessLookupError):  # it was done before
        os.kill(child, signal.SIGKILL)
    while not told[-1].endswith("dead\n"):
        told.append(workers.stdout.readline())
        assert told[-1], "the workers ended by themselves"
    # A line that was cut off by the kill has told nobody anything.
    return [line for line in told if line.endswith("\n") and "dead" not in line.removesuffix("dead\n")]


# -- each call refused ---------------------------------------------------------------------------------


class FailingOs:
    """The system as the record sees it; refuses the nth of the calls that change a disk, and all after it."""

    def __init__(self, nth: int, how: str) -> None:
        self.nth, self.how, self.calls = nth, how, 0

    def __getattr__(self, name: str) -> Any:
        return getattr(os, name)

    def _due(self) -> bool:
        self.calls += 1
        return self.calls >= self.nth

    def open(self, *args: Any) -> int:
        if args[1] & os.O_CREAT and self._due():
            raise OSError(errno.ENOSPC if self.how == "full" else errno.EIO, "refused")
        return os.open(*args)

    def write(self, fd: int, data: Any) -> int:
        if self._due():
            if self.how == "short":
                return os.write(fd, bytes(data)[: len(data) // 2])
            raise OSError(errno.ENOSPC if self.how == "full" else errno.EIO, "refused")
        return os.write(fd, data)

    def fsync(self, fd: int) -> None:
        if self._due() and self.how != "short":
            raise OSError(errno.EIO, "refused")

    fdatasync = fsync


def _begin(folder: Path, view: Confirming) -> str:
    """A job by keyboard with a little sound, from its first file to its last line."""
    clock = SimulatedClock(START_MS)
    job = new_job(folder, SHORT, clock, PRACTICE)
    running = session(job, clock, Voiced(typed(SHORT_LINES, clock), clock), view=view)
    try:
        return running.run(job.first)
    finally:
        running.close()


@pytest.mark.skipif(os.name == "nt", reason="counts the calls of Linux and macOS")
@pytest.mark.parametrize("how", ["full", "broken", "short"])
@pytest.mark.parametrize("step", [7, pytest.param(1, marks=pytest.mark.exhaustive)])
def test_an_error_at_every_call_loses_nothing(
    how: str, step: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    counting = FailingOs(1 << 30, how)
    with monkeypatch.context() as patch:
        patch.setattr(files, "os", counting)
        assert _begin(tmp_path / "counted", Confirming()) == "returned"
    assert counting.calls > 70
    began = 0
    for nth in range(1, counting.calls + 1, step):
        folder, view = tmp_path / f"job-{nth}", Confirming()
        with monkeypatch.context() as patch:
            patch.setattr(files, "os", FailingOs(nth, how))
            with contextlib.suppress(RecordError):
                assert _begin(folder, view) == "returned"
        if not (folder / "policy.toml").exists() or not (folder / "record.jsonl").exists():
            assert not view.confirmed  # the job never began
            continue
        before = (folder / "record.jsonl").read_bytes()
        held(folder, view.confirmed)
        began += _goes_on(folder)
        held(folder, view.confirmed)
        _every_byte_is_there(folder, before)
    assert began > counting.calls // step // 2
    print(f"{how}: {len(range(1, counting.calls + 1, step))} of {counting.calls} calls refused, nothing lost")


def _goes_on(folder: Path) -> bool:
    """On a disk that is well again, to the end; False for a job whose pinned files had not all been written."""
    why = ""
    try:
        job, clock = reopen(folder)
    except RecordError as error:
        why = str(error)
    if why:
        assert any(word in why for word in ("finished", "was changed since", "can't be read")), why
        return "finished" in why
    done = said_so_far(job.log.lines)
    in_hold = SHORT_LINES[done - 1 : done + 1] == ["hold work", "resume work"]
    assert work(job, SHORT_LINES[done + in_hold :], clock) == "returned"
    assert readings(folder) == SHORT_READINGS
    assert errors(folder) == []
    return True


def _every_byte_is_there(folder: Path, before: bytes) -> None:
    """What recovery cut from the record it has put beside it."""
    now = (folder / "record.jsonl").read_bytes()
    whole = before[: before.rfind(b"\n") + 1]
    assert now.startswith(whole)
    if len(whole) < len(before):
        asides = [path.read_bytes() for path in folder.glob("record.torn-*")]
        assert before[len(whole) :] in asides


# -- two of them ---------------------------------------------------------------------------------------


def test_a_lock_that_was_taken_away_lets_no_two_write_into_one_chain(tmp_path: Path) -> None:
    """Somebody deleted the lock's file: the second one to write is refused, and both have lost nothing."""
    clock = SimulatedClock(START_MS)
    first = new_job(tmp_path / "job", SHORT, clock)
    running = session(first, clock, typed([], clock))
    running.feed(first.first)
    (tmp_path / "job" / ".lock").unlink()
    second, _ = reopen(tmp_path / "job")
    second.log.append([{"kind": "note", "text": "here first"}])
    with pytest.raises(RecordError, match="another program changed the record"):
        first.log.append([{"kind": "note", "text": "too late"}])
    first.log.close()
    second.log.append([{"kind": "note", "text": "and again"}])
    second.log.close()
    assert [line["text"] for line in lines_of(tmp_path / "job", "note")] == ["here first", "and again"]
    assert check_chain(tmp_path / "job") == []


@pytest.mark.parametrize("how", ["deleted", "replaced"])
def test_a_record_that_was_taken_away_takes_nothing_more(tmp_path: Path, how: str) -> None:
    clock = SimulatedClock(START_MS)
    job = new_job(tmp_path / "job", SHORT, clock)
    record = tmp_path / "job" / "record.jsonl"
    content = record.read_bytes()
    record.unlink()
    if how == "replaced":
        record.write_bytes(content)
    with pytest.raises(RecordError, match="no such file"):
        job.log.append([{"kind": "note", "text": "into nowhere"}])
    job.log.close()


# -- sound taken away ----------------------------------------------------------------------------------


def test_the_folder_of_sound_gone_in_the_midst_of_a_job(tmp_path: Path) -> None:
    folder = tmp_path / "job"
    clock = SimulatedClock(START_MS)
    job = new_job(folder, SHORT, clock, PRACTICE)
    ears = Voiced(typed(SHORT_LINES, clock), clock, loud=range(100))
    running = session(job, clock, ears)
    running.feed(job.first)
    for _ in range(4):
        running._turn()
    assert len(list((folder / AUDIO).iterdir())) == 4
    shutil.rmtree(folder / AUDIO)
    while not running.outcome:
        running._turn()
        running._seal_finished()
    running.close()
    named = [str(e["audio"]) for e in lines_of(folder, "event") if e.get("audio")]
    assert len(set(named)) == len(named)
    assert "folder of sound was gone" in str(lines_of(folder, "note")[0]["text"])
    missing = [f for f in audit(folder).findings if f.severity == "error"]
    assert [f.message for f in missing] == [f"{name}: the file is missing" for name in named[:4]]
    assert all(f.line > 1 for f in missing)
    page = review_job(folder)
    assert page.damaged
    assert page.page.read_text(encoding="utf-8").count("the sound is missing: audio/") >= 4


def test_the_folder_of_sound_gone_while_the_job_was_closed(tmp_path: Path) -> None:
    folder = tmp_path / "job"
    clock = SimulatedClock(START_MS)
    work(new_job(folder, SHORT, clock, PRACTICE), SHORT_LINES[:3], clock)
    shutil.rmtree(folder / AUDIO)
    again, clock = reopen(folder)
    ears = Voiced(typed(SHORT_LINES[3:], clock), clock)
    running = session(again, clock, ears)
    assert running.run(again.first) == "returned"
    running.close()
    assert len(lines_of(folder, "note")) == 1
    assert errors(folder) == []  # no line names a sound that is not there


def test_a_file_in_the_place_of_the_sound_is_one_line(tmp_path: Path) -> None:
    folder = tmp_path / "job"
    job = new_job(folder, SHORT)
    (folder / AUDIO).rmdir()
    (folder / AUDIO).write_text("no folder")
    with pytest.raises(RecordError, match="can't keep the utterance"):
        job.log.keep_audio(b"\0\1" * 50)
    job.log.close()
    assert (folder / AUDIO).read_text() == "no folder"


# -- clocks set back -----------------------------------------------------------------------------------


class Clocks:
    """The computer's two clocks: one that people set, one that nobody can."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.wall, self.mono = START_MS * 1_000_000, 5_000_000_000
        monkeypatch.setattr(time, "time_ns", lambda: self.wall)
        monkeypatch.setattr(time, "monotonic_ns", lambda: self.mono)

    def passes(self, seconds: float) -> None:
        self.wall += int(seconds * 1e9)
        self.mono += int(seconds * 1e9)

    def is_set(self, seconds: float) -> None:
        self.wall += int(seconds * 1e9)


def _until_the_wait(folder: Path, clocks: Clocks) -> Any:
    clock = SystemClock()
    job = new_job(folder, WHOLE, clock)
    running = session(job, clock, typed(WHOLE_LINES[:-3], clock))
    running.feed(job.first)
    while job.machine.state.step != "dry":
        clocks.passes(2)
        running._turn()
    return running


def _finish(running: Any, clocks: Clocks) -> None:
    machine = running.machine
    while machine.state.step == "dry":
        due = machine.state.next_due
        assert due is not None
        clocks.passes(max(0, due - running._clock.now()) / 1000)
        running.feed(TimerDue(running._clock.now()))


@pytest.mark.parametrize("by", [-86_400, -3600, 3600])
def test_a_clock_set_in_the_midst_of_a_wait_does_not_change_the_wait(
    by: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    clocks = Clocks(monkeypatch)
    running = _until_the_wait(tmp_path / "job", clocks)
    began = clocks.mono
    clocks.passes(5)
    clocks.is_set(by)
    _finish(running, clocks)
    running.close()
    waits = {w["outcome"]: w for w in lines_of(tmp_path / "job", "wait")}
    planned, over = int(str(waits["started"]["planned_s"])), waits["over"]
    lasted = (clocks.mono - began) / 1e9
    assert planned <= lasted < planned + 5
    assert int(str(over["waited_s"])) >= planned
    report = audit(tmp_path / "job")
    assert [f.message for f in report.findings if f.severity == "error"] == []
    way = "back" if by < 0 else "forward"
    told = [f for f in report.findings if f.check == "time"]
    assert [f.severity for f in told] == ["warn"]
    assert f"was set {way} by {abs(by)} s" in told[0].message
    assert told[0].line > 1


def test_a_clock_set_back_while_the_job_was_closed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The rest of the wait is waited once more in full, and the record shows that the clock was set back."""
    clocks = Clocks(monkeypatch)
    running = _until_the_wait(tmp_path / "job", clocks)
    clocks.passes(20)
    running.close()
    clocks.is_set(-7200)
    job, clock = open_job(tmp_path / "job", SystemClock)
    again = session(job, clock, typed([], clock))
    again.feed(job.first)
    _finish(again, clocks)
    again.close()
    report = audit(tmp_path / "job")
    assert [f.message for f in report.findings if f.severity == "error"] == []
    assert ["set back, by 71" in f.message for f in report.findings if f.check == "time"] == [True]
