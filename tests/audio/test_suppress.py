"""Noise goes down, speech stays, quiet sound stays as it is; on sound made here and on any sound at all."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.audio import FRAME_BYTES, Suppressor, dbfs, samples

RATE = 16000


def pcm(wave: np.ndarray) -> bytes:
    return np.clip(np.rint(wave), -32768, 32767).astype("<i2").tobytes()


def noise(seconds: float, rms: float, seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).normal(0, rms, int(seconds * RATE))


def run(suppressor: Suppressor, sound: bytes) -> bytes:
    """Whole frames through it, the delay taken off again."""
    frames = [sound[at : at + FRAME_BYTES] for at in range(0, len(sound) - FRAME_BYTES + 1, FRAME_BYTES)]
    return b"".join(suppressor.feed(frame) for frame in frames)[suppressor.delay_ms * 32 :]


def test_steady_noise_goes_down_by_ten_decibels_and_more() -> None:
    sound = pcm(noise(3, 1000))
    after = run(Suppressor(), sound)[2 * RATE :]
    assert dbfs(after) < dbfs(sound) - 10


def test_a_tone_over_the_noise_stays() -> None:
    t = np.arange(RATE) / RATE
    tone = np.sin(2 * np.pi * 1000 * t) * 8000
    sound = np.concatenate([noise(2, 500), noise(1, 500, seed=2) + tone])
    after = run(Suppressor(), pcm(sound))
    assert dbfs(after[2 * 2 * RATE + 8000 : 2 * 2 * RATE + 20000]) == pytest.approx(dbfs(pcm(tone)), abs=1.0)


def test_noise_far_under_the_speaker_is_left_alone() -> None:
    suppressor = Suppressor()
    suppressor.speech_dbfs = -20.0
    sound = pcm(noise(3, 20))  # 41 dB under that
    after = run(suppressor, sound)
    assert np.abs(samples(after).astype(int) - samples(sound[: len(after)])).max() <= 1


def test_noise_that_grows_is_followed_within_seconds() -> None:
    suppressor = Suppressor()
    run(suppressor, pcm(noise(2, 100)))
    before = suppressor.noise_dbfs
    run(suppressor, pcm(noise(4, 1000, seed=3)))
    assert suppressor.noise_dbfs == pytest.approx(before + 20, abs=2)


def test_what_is_said_is_not_taken_for_the_room() -> None:
    suppressor = Suppressor()
    run(suppressor, pcm(noise(2, 100)))
    before = suppressor.noise_dbfs
    suppressor.speaking = True
    run(suppressor, pcm(noise(1, 5000, seed=4)))
    assert suppressor.noise_dbfs == before
    suppressor.speaking = False
    assert suppressor.noise_dbfs == before


def test_a_reset_forgets_everything() -> None:
    suppressor, sound = Suppressor(), pcm(noise(1, 700))
    first = run(suppressor, sound)
    suppressor.reset()
    assert run(suppressor, sound) == first


@settings(max_examples=25, deadline=None)
@given(st.lists(st.binary(min_size=FRAME_BYTES, max_size=FRAME_BYTES), min_size=1, max_size=8))
def test_any_frames_give_as_many_back(frames: list[bytes]) -> None:
    suppressor = Suppressor()
    assert [len(suppressor.feed(frame)) for frame in frames] == [FRAME_BYTES] * len(frames)


@pytest.mark.parametrize("size", [0, 1, FRAME_BYTES - 2, FRAME_BYTES + 2])
def test_another_size_is_an_error(size: int) -> None:
    with pytest.raises(ValueError, match="960 bytes"):
        Suppressor().feed(bytes(size))


def test_digital_silence_is_no_error() -> None:
    assert run(Suppressor(), bytes(FRAME_BYTES * 50)).strip(b"\0") == b""
