"""Levels against AES17 (a full-scale sine is 0 dBFS) and arithmetic."""

from __future__ import annotations

import numpy as np
import pytest

from handsfree.audio import FLOOR_DBFS, clipped_samples, dbfs, frame_levels, noise_floor_dbfs, snr_db


def sine(peak: float, seconds: float = 1.0) -> bytes:
    t = np.arange(int(16000 * seconds)) / 16000
    return np.rint(peak * np.sin(2 * np.pi * 1000 * t)).astype("<i2").tobytes()


def test_full_scale_sine_is_zero_dbfs() -> None:
    assert dbfs(sine(32767)) == pytest.approx(0.0, abs=0.01)


def test_full_scale_square_is_three_db_over() -> None:
    square = np.tile([32767, -32767], 8000).astype("<i2").tobytes()
    assert dbfs(square) == pytest.approx(3.01, abs=0.01)


@pytest.mark.parametrize("db", [-6.0, -20.0, -40.0, -60.0])
def test_a_sine_turned_down_reads_so_many_db_less(db: float) -> None:
    assert dbfs(sine(32767 * 10 ** (db / 20))) == pytest.approx(db, abs=0.2)


@pytest.mark.parametrize("nothing", [b"", bytes(960), b"\x01"])
def test_silence_has_a_finite_level(nothing: bytes) -> None:
    assert dbfs(nothing) == FLOOR_DBFS
    assert noise_floor_dbfs(nothing) == FLOOR_DBFS


def test_noise_floor_is_the_level_under_the_speech() -> None:
    noise = np.random.default_rng(1).normal(0, 30, 32000)
    noise[8000:20000] += np.frombuffer(sine(9000, 0.75), "<i2")
    assert noise_floor_dbfs(noise.astype("<i2").tobytes()) == pytest.approx(20 * np.log10(30 / 23170), abs=1)


def test_snr_takes_the_noise_off_the_speech() -> None:
    # Equal powers of speech and noise measure 3.01 dB over the noise alone: 0 dB.
    assert snr_db(-40 + 3.0103, -40) == pytest.approx(0.0, abs=0.001)
    assert snr_db(-20, -60) == pytest.approx(40.0, abs=0.001)
    assert snr_db(-60, -20) == -10.0


def test_clipped_samples_are_counted_at_both_ends() -> None:
    assert clipped_samples(np.array([32767, -32768, 32766, 0, 32767], "<i2").tobytes()) == 3
    assert clipped_samples(sine(20000)) == 0


def test_an_offset_of_the_converter_is_no_sound() -> None:
    wave = np.rint(np.random.default_rng(4).normal(0, 50, 4800))
    off = (wave + 2000).astype("<i2").tobytes()
    plain = wave.astype("<i2").tobytes()
    assert dbfs(off) == pytest.approx(dbfs(plain), abs=0.1)
    assert frame_levels(off) == pytest.approx(frame_levels(plain), abs=0.1)
