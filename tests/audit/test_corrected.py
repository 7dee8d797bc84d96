"""A finding that was corrected and released by a supervisor is a course of work like any other, for the audit too."""

from __future__ import annotations

from pathlib import Path

from procedure.test_corrected_finding import FOUND, RELEASE, TO_NUTS, TOO_LARGE, TORQUE, small_text
from procedure.test_derived import TO_INJURY

from handsfree.audit import audit
from handsfree.record import read_log
from handsfree.session import packaged_procedure

from .jobs import Entries, checks, forge, found, whole_job

STEEL = ["steel ply", "affirmative", "correction", "fabric ply", "affirmative", "completed"]


def test_a_corrected_size_and_the_work_after_it(tmp_path: Path) -> None:
    lines = [*TO_INJURY, *TOO_LARGE, "correction", "4.5 mm", "affirmative", *RELEASE]
    lines += ["15 degrees", "affirmative", "stop work"]
    job = whole_job(tmp_path / "job", lines, packaged_procedure("passenger-one-piece"))
    assert [line.body["step"] for line in read_log(job).lines if line.kind == "step"][-3:] == [
        "finding-supervisor",
        "injury-angle",
        "injury-lean",
    ]
    assert [one for one in found(job) if one.severity == "error"] == []


def test_a_recheck_to_its_end(tmp_path: Path) -> None:
    lines = [*TO_NUTS, FOUND, "affirmative", "correction", "nothing found", *RELEASE]
    lines += ["nothing found", *TORQUE, "every nut holds", "affirmative", "completed"]
    assert found(whole_job(tmp_path / "job", lines, packaged_procedure("lug-nut-recheck"))) == []


def test_a_disposition_made_anew_and_an_ending(tmp_path: Path) -> None:
    lines = [*STEEL, *RELEASE, "completed"]
    job = whole_job(tmp_path / "job", lines, small_text(disposed=True))
    held = [line.body["outcome"] for line in read_log(job).lines if line.kind == "hold_point"]
    assert held == ["refused", "released", "released"]
    assert found(job) == []
    lines = [*STEEL, "completed", *RELEASE]
    job = whole_job(tmp_path / "end", lines, small_text(disposed=False))
    assert [line.body["outcome"] for line in read_log(job).lines if line.kind == "close"] == ["returned"]
    assert found(job) == []


def test_a_supervisor_left_out_is_missed(tmp_path: Path) -> None:
    def skip(entries: Entries) -> Entries:
        return [e for e in entries if e.get("step") != "boss"]

    lines = [*STEEL, *RELEASE, "completed"]
    job = forge(whole_job(tmp_path / "job", lines, small_text(disposed=True)), skip)
    assert "replay" in checks(audit(job)) or "course" in checks(audit(job))
