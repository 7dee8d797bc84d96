"""The technician in sound: noise at the stated level, and a job done by the real ears."""

from __future__ import annotations

import math

import numpy as np
import pytest

from handsfree.audio import FRAME_BYTES, samples
from handsfree.bench._channel import Arming
from handsfree.bench._simulation import Work, run_job
from handsfree.bench._spoken import SpokenSource
from handsfree.bench._technician import IN_SOUND

FRAME = FRAME_BYTES // 2


def frames(source: SpokenSource, many: int) -> np.ndarray:
    read = [source.read() for _ in range(many)]
    assert all(frame is not None and len(frame) == FRAME_BYTES for frame in read)
    return samples(b"".join(frame for frame in read if frame)).astype(float)


@pytest.mark.parametrize("snr", [10.0, 20.0])
def test_the_noise_lies_so_far_under_the_speech(snr: float) -> None:
    """A steady tone at the speech's level is all active: its power over the noise's is the ratio."""
    level = 32768 * 10 ** (-23 / 20)
    tone = level * math.sqrt(2) * np.sin(2 * np.pi * 440 * np.arange(FRAME * 300) / 16000)
    source = SpokenSource(snr, seed=3)
    source.say(tone, 0)
    both, alone = frames(source, 300), frames(SpokenSource(snr, seed=3), 300)
    measured = 10 * math.log10(np.mean((both - alone) ** 2) / np.mean(alone**2))
    assert measured == pytest.approx(snr, abs=0.5)


def test_speech_begins_when_it_is_due_and_ends_at_a_word() -> None:
    source = SpokenSource(20, seed=3)
    source.say(np.full(FRAME * 10, 9000.0), 300)
    quiet, loud = frames(source, 10), frames(source, 5)
    assert abs(quiet.mean()) < 500 < 8000 < loud.mean()
    assert source.speaking
    source.hush()
    assert not source.speaking
    assert abs(frames(source, 5).mean()) < 500


@pytest.mark.slow
def test_a_job_by_voice_alone() -> None:
    """The first bars hold whatever is heard; in a quiet bay nearly everything is heard right."""
    work = Work("lug-nut-recheck", IN_SOUND, 0, 0, 0, snr_db=40.0)
    outcome = run_job(work, 3, Arming())
    assert outcome.ending in ("checked", "held", "not-released")
    counts = outcome.counts
    assert not any(counts[n] for n in ("undetected errors", "limits passed", "deadlocks", "rules broken"))
    assert counts["concepts"] > 5
    assert counts["concepts wrong"] <= 0.2 * counts["concepts"]
