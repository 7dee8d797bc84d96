"""Small jobs to break."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from pathlib import Path

import pytest

from handsfree.record import Clock, JobLog

HEADER = {"technician": "Ana", "work_order": "4711", "procedure": "passenger", "engine": "typed"}
BATCH = [
    {"kind": "event", "type": "heard", "text": "five point five"},
    {"kind": "reading", "step": "injury_size", "measurand": "injury.size", "value": "5.5", "unit": "mm"},
    {"kind": "verdict", "step": "injury_size", "outcome": "inside", "limit": "at most 6 mm"},
]


def ticking_clock() -> Clock:
    """A clock that gives the same times in every run: a second a call."""
    ticks = itertools.count()

    def clock() -> tuple[str, int]:
        tick = next(ticks)
        return f"2031-03-04T05:{tick // 60 % 60:02d}:{tick % 60:02d}.000Z", 1000 * tick

    return clock


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """An unfinished job: an opening line, an utterance, two batches of three lines."""
    folder = tmp_path / "job"
    with JobLog.create(folder, HEADER, clock=ticking_clock()) as log:
        audio = log.keep_audio(b"\x01\x00\xff\xff" * 20)
        log.append([{**BATCH[0], "audio": audio}, *BATCH[1:]])
        log.append(BATCH)
    return folder


@pytest.fixture
def new_job(tmp_path: Path) -> Callable[[], Path]:
    """Gives a path for a new job at every call."""
    numbers = itertools.count()
    return lambda: tmp_path / f"job-{next(numbers)}"
