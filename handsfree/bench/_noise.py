"""Noise by seed, mixed at a level measured on the samples where somebody speaks."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from handsfree.audio import FRAME_BYTES, frame_levels, samples

__all__ = ["mix", "pink"]

_SPEECH_BELOW_PEAK_DB = 25.0


def pink(size: int, seed: int) -> NDArray[np.float64]:
    """Noise whose power falls with 1/f from 20 Hz, unit RMS."""
    rng = np.random.default_rng(seed)
    spectrum = rng.standard_normal(size // 2 + 1) + 1j * rng.standard_normal(size // 2 + 1)
    frequency = np.maximum(np.fft.rfftfreq(size, 1 / 16000), 20.0)
    noise = np.fft.irfft(spectrum / np.sqrt(frequency), size)
    return noise / float(np.sqrt(np.mean(noise**2)))


def mix(pcm: bytes, noise: NDArray[np.float64], snr_db: float) -> bytes:
    """Speech with noise ``snr_db`` under its active level (frames within 25 dB of the loudest)."""
    speech = samples(pcm).astype(np.float64)
    levels = frame_levels(pcm)
    size = FRAME_BYTES // 2
    frames = speech[: levels.size * size].reshape(-1, size)
    active = frames[levels > levels.max() - _SPEECH_BELOW_PEAK_DB]
    rms = float(np.sqrt(np.mean(active**2)))
    noisy = speech + noise[: speech.size] * rms * 10 ** (-snr_db / 20)
    return np.clip(np.rint(noisy), -32768, 32767).astype("<i2").tobytes()
