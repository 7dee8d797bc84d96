"""The whole thing on recorded sound: nothing bypasses recognition.

The whole demo takes a minute of a core, so it is in the slow set; .ci/run gives it the job of the demo that it has
just run by the README's own command. The fast set plays the demo's beginning, and hears a part of its lines one by
one (hearing/test_listener.py).
"""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from test_cli import by_process, handsfree

from handsfree.audio import read_sound, room_noise, samples, write_wav
from handsfree.record import check_chain, read_log
from handsfree.session import demo_folder

#: The folder of jobs that a demo was run into already, its output in ``demo.txt`` beside the job.
DONE = "HANDSFREE_DEMO_DONE"


def _demo(jobs: Path, recordings: Path | None = None) -> subprocess.CompletedProcess[str]:
    if recordings is not None:
        return handsfree("demo", "--jobs", str(jobs), "--wav", str(recordings))
    return by_process("demo", "--jobs", str(jobs), timeout_s=300)


def _job(jobs: Path) -> Path:
    return max(path for path in jobs.iterdir() if path.is_dir())


def _readings(job: Path) -> dict[str, str]:
    """Measurand -> value and unit in force."""
    return {
        str(line.body["measurand"]): f"{line.body['value']} {line.body['unit']}".strip()
        for line in read_log(job).lines
        if line.kind == "reading"
    }


@pytest.fixture(scope="module")
def finished(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    if DONE in os.environ:
        jobs = Path(os.environ[DONE])
        return _job(jobs), (jobs / "demo.txt").read_text(encoding="utf-8")
    jobs = tmp_path_factory.mktemp("demo")
    done = _demo(jobs)
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr
    return _job(jobs), done.stdout


@pytest.mark.slow
def test_it_ends_with_the_summary_and_the_path(finished: tuple[Path, str]) -> None:
    job, printed = finished
    assert "Disposition: practice, not for a real tire: repaired, return to service" in printed
    assert str(Path(job.name) / "record.jsonl") in printed


@pytest.mark.slow
def test_the_record_holds_what_the_technician_said(finished: tuple[Path, str]) -> None:
    readings = _readings(finished[0])
    assert readings["job.work_order"] == "4417"
    assert readings["injury.size"] == "5.0 mm"  # after drilling
    assert readings["tread.depth"] == "7 32nd"
    assert readings["air.humidity"] == "65 %"  # corrected after it was recorded
    assert readings["torque.applied"] == "110 N.m"
    assert readings["drill.rpm"] == "1000 rpm"


@pytest.mark.slow
def test_the_chain_and_every_utterance_hold(finished: tuple[Path, str]) -> None:
    job = finished[0]
    assert check_chain(job) == []
    events = [line.body for line in read_log(job).lines if line.kind == "event" and "hypothesis" in line.body]
    assert len(events) >= 120
    for event in events:
        assert (job / str(event["audio"])).is_file()


@pytest.mark.slow
def test_the_correction_points_at_the_line_it_replaces(finished: tuple[Path, str]) -> None:
    humid = [
        line.body
        for line in read_log(finished[0]).lines
        if line.kind == "reading" and line.body["measurand"] == "air.humidity"
    ]
    assert [one["value"] for one in humid] == ["55", "65"]
    assert humid[1]["replaces"] == humid[0]["record"]


@pytest.mark.slow
def test_replies_are_sound_files(finished: tuple[Path, str]) -> None:
    spoken = sorted((finished[0] / "spoken").glob("*.wav"))
    assert len(spoken) > 100


@pytest.fixture
def recordings(tmp_path: Path) -> Path:
    """The demo up to the work order: what follows is left out to save time."""
    folder = tmp_path / "recordings"
    shutil.copytree(demo_folder(), folder)
    scenario = folder / "scenario.toml"
    whole = scenario.read_text(encoding="utf-8")
    scenario.write_text(whole.split('[[line]]\nsay = "two zero six one eight"')[0], encoding="utf-8")
    assert scenario.read_text(encoding="utf-8") != whole
    return folder


def test_the_same_sound_makes_the_same_record(recordings: Path, tmp_path: Path) -> None:
    done = _demo(tmp_path / "jobs", recordings)
    assert done.returncode == 3, done.stdout[-2000:]
    assert _readings(_job(tmp_path / "jobs")) == {"job.technician": "1122", "job.work_order": "4417"}


def test_another_wav_makes_another_record(recordings: Path, tmp_path: Path) -> None:
    """The same technician with another four digits in the file: the date code's recording for the work order's."""
    (order,) = recordings.glob("*-four-four-one-seven.flac")
    (date,) = recordings.glob("*-three-six-two-three.flac")
    shutil.copyfile(date, order)
    _demo(tmp_path / "jobs", recordings)
    assert _readings(_job(tmp_path / "jobs")) == {"job.technician": "1122", "job.work_order": "3623"}


def test_silence_in_place_of_an_answer_is_no_answer(recordings: Path, tmp_path: Path) -> None:
    (order,) = recordings.glob("*-four-four-one-seven.flac")
    write_wav(order, room_noise(level_dbfs=-55.0)[: 2 * 32000], 16000)
    done = _demo(tmp_path / "jobs", recordings)
    assert done.returncode == 3
    assert _readings(_job(tmp_path / "jobs")) == {"job.technician": "1122"}


def test_sound_that_is_clipped_hard_is_no_reason_to_fail(recordings: Path, tmp_path: Path) -> None:
    """Clipped speech may be understood or not; it is never an error, and it is noted with its level."""
    (order,) = recordings.glob("*-four-four-one-seven.flac")
    loud = np.clip(samples(read_sound(order)).astype(np.int32) * 40, -32768, 32767).astype("<i2").tobytes()
    write_wav(order, loud, 16000)
    done = _demo(tmp_path / "jobs", recordings)
    assert done.returncode == 3
    assert "Traceback" not in done.stderr
    levels = [line.body["level"] for line in read_log(_job(tmp_path / "jobs")).lines if "level" in line.body]
    assert any(int(level["clipped"]) > 100 for level in levels)
