"""Speech in a room that it was not recorded in: its own floor before and after it, and noise at a level under it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from handsfree.audio._endpoint import FRAME_BYTES
from handsfree.audio._levels import frame_levels, samples
from handsfree.audio._sources import room_noise
from handsfree.audio._wav import SAMPLE_RATE

__all__ = ["active_dbfs", "coloured_noise", "mix", "pink", "surround"]

_SPEECH_BELOW_PEAK_DB: Final = 25.0
_ROOM_S: Final = 4  # how long the floor is before it begins anew

Samples = NDArray[np.float64]


def pink(size: int, seed: int) -> Samples:
    """Noise whose power falls with 1/f from 20 Hz, unit RMS."""
    return coloured_noise(size, seed, lambda f: 1 / np.sqrt(np.maximum(f, 20.0)))


def coloured_noise(size: int, seed: int, amplitude: Callable[[Samples], Samples]) -> Samples:
    """Noise of that amplitude over frequency (Hz), unit RMS."""
    rng = np.random.default_rng(seed)
    spectrum = rng.standard_normal(size // 2 + 1) + 1j * rng.standard_normal(size // 2 + 1)
    frequency = np.asarray(np.fft.rfftfreq(size, 1 / SAMPLE_RATE), dtype=np.float64)
    wave: Samples = np.fft.irfft(spectrum * amplitude(frequency), size)
    scaled: Samples = wave / float(np.sqrt(np.mean(wave**2)))
    return scaled


def _active(pcm: bytes) -> NDArray[np.bool_]:
    levels = frame_levels(pcm)
    active: NDArray[np.bool_] = levels > levels.max() - _SPEECH_BELOW_PEAK_DB
    return active


def active_dbfs(pcm: bytes) -> float:
    """Level of the speech: of the frames within 25 dB of the loudest, dBFS (AES17)."""
    return float(10 * np.log10(np.mean(10 ** (frame_levels(pcm)[_active(pcm)] / 10))))


def mix(pcm: bytes, noise: Samples, snr_db: float) -> bytes:
    """Speech with noise ``snr_db`` under its active level (frames within 25 dB of the loudest)."""
    speech, active = samples(pcm).astype(np.float64), _active(pcm)
    size = FRAME_BYTES // 2
    frames = speech[: active.size * size].reshape(-1, size)[active]
    rms = float(np.sqrt(np.mean(frames**2)))
    noisy = speech + noise[: speech.size] * rms * 10 ** (-snr_db / 20)
    return np.clip(np.rint(noisy), -32768, 32767).astype("<i2").tobytes()


def surround(pcm: bytes, before_s: float, after_s: float) -> bytes:
    """The recording with its own room floor before and after it."""
    room = room_noise(pcm)

    def quiet(seconds: float) -> bytes:
        return (room * (int(seconds) // _ROOM_S + 1))[: int(seconds * SAMPLE_RATE) * 2]

    return quiet(before_s) + pcm + quiet(after_s)
