"""Waits that are begun more than once in a job: each one is held against the clocks since its own beginning."""

from __future__ import annotations

from pathlib import Path

from procedure.conftest import TO_WAIT
from session.conftest import WHOLE

from handsfree.audit import audit
from handsfree.audit._time import waits
from handsfree.bench._channel import Arming
from handsfree.bench._simulation import Work, run_job
from handsfree.record import read_log

from .jobs import Entries, checks, forge, found, whole_job

#: When the cement has dried, before anything is placed on it: back to the cement, and the wait begins anew.
BEGUN_ANEW = [*TO_WAIT, "go back", "completed", "completed", "completed", "completed"]


def test_a_wait_that_going_back_undid_is_counted_from_its_new_beginning(tmp_path: Path) -> None:
    job = whole_job(tmp_path / "job", BEGUN_ANEW, WHOLE)
    outcomes = [line.body["outcome"] for line in read_log(job).lines if line.kind == "wait"]
    assert outcomes == ["started", "over", "started", "over", "used in time"]
    assert found(job) == []


def test_time_that_no_beginning_explains_is_found(tmp_path: Path) -> None:
    """Neither the first nor the second beginning was that long ago."""

    def longer(entries: Entries) -> None:
        over = [e for e in entries if e["kind"] == "wait" and e["outcome"] == "over"][1]
        over["waited_s"] = str(int(over["waited_s"]) + 500)

    job = forge(whole_job(tmp_path / "job", BEGUN_ANEW, WHOLE), longer)
    numbered = list(enumerate(read_log(job).lines, 1))
    assert any("by the events, recorded" in finding.message for finding in waits(numbered))
    assert "wait" in checks(audit(job))


def test_a_leak_test_that_is_made_again_is_counted_from_its_new_beginning(tmp_path: Path) -> None:
    """Simulated jobs that go back to the pressure after the leak test, or measure it again: the first one was over,
    and stopping in between is not what made it begin anew."""
    job = tmp_path / "job"
    run_job(Work("light-truck-steel"), 3, Arming(), job)
    leak = [
        line.body["outcome"]
        for line in read_log(job).lines
        if line.kind == "wait" and line.body["step"] == "leak-hold"
    ]
    assert leak == ["started", "over", "started", "over"]
    assert found(job) == []
