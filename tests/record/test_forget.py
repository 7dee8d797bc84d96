"""Sound dropped by policy: the record says so, stays whole, and tells it from sound that was taken away."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from audit.jobs import checks, copy_of, forge, whole_job

from handsfree.audit import audit
from handsfree.record import Clock, JobLog, RecordError, check_chain, forget_audio, read_log
from handsfree.record import _forget as forgetting

from .conftest import BATCH, HEADER


@pytest.fixture(scope="module")
def original(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return whole_job(tmp_path_factory.mktemp("forget") / "job")


@pytest.fixture
def job(original: Path, tmp_path: Path) -> Path:
    return copy_of(original, tmp_path / "job")


def after(job: Path, days: float) -> Clock:
    """The clock so long after the job began."""
    moment = datetime.fromisoformat(read_log(job).lines[0].at) + timedelta(days=days)
    return lambda: (f"{moment:%Y-%m-%dT%H:%M:%S}.000Z", 0)


def soon() -> tuple[str, int]:
    return f"{datetime.now(UTC) + timedelta(minutes=1):%Y-%m-%dT%H:%M:%S}.000Z", 0


def sounds(job: Path) -> int:
    return len(list((job / "audio").iterdir()))


def test_sound_is_kept_for_its_days_and_dropped_after_them(
    job: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert forget_audio(job, 90, after(job, 89.9)) == 0
    assert sounds(job) == 3
    later = after(job, 90.1)
    assert forget_audio(job, 90, later) == 3
    assert sounds(job) == 0
    report = audit(job)
    assert report.passed
    told = [f.message for f in report.findings if f.check == "audio"]
    assert told == [f"3 utterances dropped on {later()[0][:10]} by policy (older than 90 days)"]
    assert forget_audio(job, 90, later) == 0  # nothing more to do


def test_sound_that_was_only_taken_away_is_damage(job: Path) -> None:
    for path in (job / "audio").iterdir():
        path.unlink()
    assert checks(audit(job)) == {"audio"}


def test_sound_dropped_before_its_days_is_an_error(job: Path) -> None:
    """The record was made in 2030 by its simulated clock; it is now long before that."""
    files = [line.body["audio"] for line in read_log(job).lines if line.body.get("audio")]
    with JobLog.open(job) as log:
        log.append([{"kind": "audio_dropped", "days": "90", "files": files}])
    for path in (job / "audio").iterdir():
        path.unlink()
    assert [f.message for f in check_chain(job) if f.severity == "error"] == [
        "utterances were dropped before the policy's days were over"
    ]


def test_a_file_is_named_that_never_was(job: Path) -> None:
    name = "audio/0009-" + "0" * 32 + ".flac"
    with JobLog.open(job) as log:
        log.append([{"kind": "audio_dropped", "days": "0", "files": [name]}])
    assert any("no line names it" in f.message and f.severity == "error" for f in check_chain(job))


def test_a_crash_between_the_line_and_the_files_is_made_good(
    job: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = after(job, 1)
    monkeypatch.setattr(forgetting, "_delete", lambda folder, names: 0)
    forget_audio(job, 0, now)
    assert sounds(job) == 3
    assert sum("still there" in f.message for f in check_chain(job)) == 3
    monkeypatch.undo()
    assert forget_audio(job, 0, now) == 3
    assert (sounds(job), sum(line.kind == "audio_dropped" for line in read_log(job).lines)) == (0, 1)


def test_nothing_but_named_sound_is_deleted(job: Path) -> None:
    (job / "audio" / "notes.txt").write_text("keep me", encoding="utf-8")
    forget_audio(job, 0, after(job, 1))
    assert [path.name for path in (job / "audio").iterdir()] == ["notes.txt"]


def test_a_job_that_goes_on_loses_only_what_it_had(tmp_path: Path) -> None:
    folder = tmp_path / "open"
    with JobLog.create(folder, HEADER) as log:
        log.append([{**BATCH[0], "audio": log.keep_audio(b"\1\0" * 9)}])
        with pytest.raises(RecordError, match="open in another window"):
            forget_audio(folder, 0, soon)
    assert forget_audio(folder, 0, soon) == 1
    with JobLog.open(folder) as log:
        assert log.keep_audio(b"\1\0" * 9).startswith("audio/0002-")
        log.append(BATCH)
    assert [f for f in check_chain(folder) if f.severity == "error"] == []


def test_the_sound_of_a_damaged_job_is_kept(job: Path) -> None:
    forge(job, list)
    data = bytearray((job / "record.jsonl").read_bytes())
    data[300] ^= 1
    (job / "record.jsonl").write_bytes(data)
    with pytest.raises(RecordError, match="its sound is kept"):
        forget_audio(job, 0, soon)
    assert sounds(job) == 3
