"""A tire against which nothing is sure is set aside: that job's record is one of the format, too."""

from __future__ import annotations

from pathlib import Path

from procedure.test_derived import TO_INJURY, injury

from handsfree.record import read_log
from handsfree.session import packaged_procedure

from .jobs import found, whole_job


def test_a_job_that_ends_unclear_passes_its_audit(tmp_path: Path) -> None:
    twice = [*injury("four"), "another injury", "affirmative", *injury("four")]
    lines = [*TO_INJURY, *twice, "no more injuries", "affirmative", "completed"]
    job = whole_job(tmp_path / "job", lines, packaged_procedure("passenger-one-piece"))
    held = [line for line in read_log(job).lines if line.kind == "hold_point"]
    assert [line.body["outcome"] for line in held] == ["unclear"]
    assert found(job) == []
