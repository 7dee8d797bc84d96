"""Levels of 16-bit mono PCM.

dBFS here is RMS relative to a full-scale sine (AES17): a sine that just reaches full scale is 0 dBFS, a
full-scale square wave is +3.01. A converter's offset is no sound: the mean of what is measured is taken off.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["FLOOR_DBFS", "clipped_samples", "dbfs", "frame_levels", "noise_floor_dbfs", "samples", "snr_db"]

FLOOR_DBFS: Final = -120.0
"""What digital silence is reported as: a finite number, so that logs and averages stay plain floats."""

_FULL_SCALE_SINE_POWER: Final = 32768.0**2 / 2


def samples(pcm: bytes) -> NDArray[np.int16]:
    """16-bit little-endian PCM as an int16 array (a view; a last odd byte is left out)."""
    return np.frombuffer(pcm, dtype="<i2", count=len(pcm) // 2)


def dbfs(pcm: bytes) -> float:
    """RMS level in dBFS (AES17), never under ``FLOOR_DBFS``; that floor for no samples at all."""
    data = samples(pcm)
    return _to_db(float(np.var(data, dtype=np.float64))) if data.size else FLOOR_DBFS


def frame_levels(pcm: bytes, rate: int = 16000, frame_ms: int = 30) -> NDArray[np.float64]:
    """Levels in dBFS of the whole frames of ``frame_ms``; a last part frame is left out."""
    size = rate * frame_ms // 1000
    data = samples(pcm).astype(np.float64)
    frames = data[: data.size // size * size].reshape(-1, size)
    power: NDArray[np.float64] = np.maximum(frames.var(axis=1) / _FULL_SCALE_SINE_POWER, 1e-12)
    return 10 * np.log10(power)


def noise_floor_dbfs(pcm: bytes, rate: int = 16000) -> float:
    """Level under the speech: the quietest tenth of the frames (the tenth percentile), in dBFS.

    A percentile, because the minimum of many noise frames is biased low and one dropped block would set it.
    """
    levels = frame_levels(pcm, rate)
    return float(np.percentile(levels, 10)) if levels.size else FLOOR_DBFS


def snr_db(speech_dbfs: float, noise_dbfs: float) -> float:
    """Signal-to-noise ratio in dB of speech whose measured level still holds the noise.

    The noise power is taken off the measured power first; 0 dB or less is reported as -10 at the lowest,
    because under that the difference is not measurable.
    """
    signal = 10 ** (speech_dbfs / 10) - 10 ** (noise_dbfs / 10)
    if signal <= 0:
        return -10.0
    return float(max(10 * np.log10(signal) - noise_dbfs, -10.0))


def clipped_samples(pcm: bytes) -> int:
    """How many samples sit at full scale, where the converter had nothing more to give."""
    data = samples(pcm)
    return int(np.count_nonzero((data >= 32767) | (data <= -32768)))


def _to_db(mean_square: float) -> float:
    if mean_square <= 0:
        return FLOOR_DBFS
    return float(max(10 * np.log10(mean_square / _FULL_SCALE_SINE_POWER), FLOOR_DBFS))
