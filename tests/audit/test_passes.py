"""Passes that a correction broke off: counting goes on where it was, for the audit too."""

from __future__ import annotations

from pathlib import Path

from session.conftest import SHORT

from handsfree.audit import audit
from handsfree.record import read_log

from .jobs import Entries, checks, forge, found, whole_job

BROKEN_OFF = [
    "fabric ply", "affirmative", "5.5 mm", "affirmative", "no flame", "completed", "pass one", "pass two",
    "correction", "5.2 mm", "affirmative", "pass three", "completed",
]  # fmt: skip


def test_the_passes_before_a_correction_count(tmp_path: Path) -> None:
    job = whole_job(tmp_path / "job", BROKEN_OFF, SHORT)
    lines = read_log(job).lines
    assert [line.body["n"] for line in lines if line.kind == "pass"] == ["1", "2", "3"]
    assert [line.body["value"] for line in lines if line.kind == "reading"] == ["5.5", "5.2"]
    assert found(job) == []


def test_a_pass_that_nobody_counted_is_missed_all_the_same(tmp_path: Path) -> None:
    def skip(entries: Entries) -> Entries:
        place = next(n for n, e in enumerate(entries) if e["kind"] == "pass" and e["n"] == "2")
        return entries[:place] + entries[place + 1 :]

    job = forge(whole_job(tmp_path / "job", BROKEN_OFF, SHORT), skip)
    assert "passes" in checks(audit(job))
