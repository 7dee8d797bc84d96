"""Steady noise taken out of speech before it is recognized; a stream in, the same stream a little later out.

Log-spectral amplitude estimator (Ephraim and Malah, IEEE Trans. ASSP 33, 1985) with the decision-directed
a-priori SNR; the noise's power is tracked by the probability of speech in each bin (Gerkmann and Hendriks,
IEEE Trans. ASLP 20, 2012).
"""

from __future__ import annotations

from collections import deque
from typing import Final

import numpy as np
from numpy.typing import NDArray

from handsfree.audio._endpoint import FRAME_BYTES, frames
from handsfree.audio._levels import FLOOR_DBFS, samples

__all__ = ["Suppressor", "suppressed"]

_RATE: Final = 16000
_HOP: Final = 160  # 10 ms
_SIZE: Final = 3 * _HOP  # windows of 30 ms; their squares add up to the same everywhere
_FULL_SCALE_RMS: Final = 32768 / 2**0.5

# Chosen on half of the packaged lines in pink noise at 10 dB (61, right with known ends of speech): depth 15 dB
# and smoothing 0.98 give 26, depth 20 dB 43, depth 25 dB and smoothing 0.95 give 53, deeper no more.
_SMOOTHING: Final = 0.95  # of the a-priori SNR, from one hop to the next
_DEEPEST_DB: Final = 25.0
_LEAST_SNR: Final = 10 ** (-20 / 10)
# Where the noise is far under the speech, taking it out does more harm than the noise (of 28 human numbers at 40 dB,
# 26 are heard as they are and 21 at full depth): full depth under the first SNR, nothing at all over the second, in
# dB; in between the depth goes linearly.
_FULL_BELOW_DB, _NONE_ABOVE_DB = 25.0, 33.0
_FIRST_SPEECH_DBFS: Final = -12.0  # until somebody has spoken; a loud voice, so that it is left as it is
_BAND: Final = slice(4, 205)  # 133 to 6800 Hz, what the recognizer listens to

_SPEECH_SNR: Final = 10 ** (15 / 10)  # the tracker's fixed guess of the SNR where there is speech
_NOISE_MEMORY: Final = 0.8
_FIRST_HOPS: Final = 20  # averaged plainly: there is no estimate yet
_STEADY_HOPS: Final = 60  # of a noise that has been steady for longer


class Suppressor:
    """Feed it every frame of the source, also the quiet ones: they tell it the noise.

    ``feed`` takes and gives 30 ms frames (mono, 16-bit little-endian, 16 kHz, 960 bytes); the sound comes out
    20 ms late. ``speech_dbfs`` is how loud the speaker is; set it when it is known better: where the noise is
    far under that level nothing is taken out at all. Same sound and levels since ``reset``, same result. Raises
    ValueError for another size.
    """

    delay_ms = 1000 * (_SIZE - _HOP) // _RATE

    def __init__(self) -> None:
        self._window = np.sqrt(0.5 - 0.5 * np.cos(2 * np.pi * np.arange(_SIZE) / _SIZE))
        self.reset()

    def reset(self) -> None:
        """Forget the room and the speaker."""
        self.speech_dbfs = _FIRST_SPEECH_DBFS
        bins = _SIZE // 2 + 1
        self._past = np.zeros(_SIZE)
        self._tail = np.zeros(_SIZE)
        self._noise = np.zeros(bins)
        self._speech = np.zeros(bins)  # power of the last estimate
        self._presence = np.zeros(bins)
        self._hops = 0
        self._lately: deque[float] = deque(maxlen=_RATE // _HOP)
        self._before, self._speaking = FLOOR_DBFS, False
        self._powers: deque[NDArray[np.float64]] = deque(maxlen=_STEADY_HOPS)

    def settle(self) -> None:
        """The last 0.6 s were nothing but noise: take it for the noise at once. By itself the tracker, which has to
        think of speech first, takes a second or more for a compressor that starts."""
        if not self._powers:
            return
        self._noise = np.maximum(np.mean(self._powers, axis=0), 1.0)
        self._speech = np.zeros_like(self._noise)
        self._presence = np.zeros_like(self._noise)
        self._before = self._level()
        self._lately.clear()
        self._lately.append(self._before)

    @property
    def noise_dbfs(self) -> float:
        """The noise within the recognizer's band: the lowest of the last second, and as it was before the speech
        while ``speaking``, because the beginning of a word is taken for noise at first."""
        return self._before if self.speaking else min(self._lately, default=FLOOR_DBFS)

    @property
    def snr_db(self) -> float:
        """The known speaker over the tracked noise."""
        return self.speech_dbfs - self.noise_dbfs

    @property
    def speaking(self) -> bool:
        """An utterance is under way; to be set by whoever knows."""
        return self._speaking

    @speaking.setter
    def speaking(self, on: bool) -> None:
        if on == self._speaking:
            return
        if on:
            self._before = self.noise_dbfs
        else:
            self._lately.clear()
            self._lately.append(self._before)
        self._speaking = on

    def feed(self, frame: bytes) -> bytes:
        if len(frame) != FRAME_BYTES:
            raise ValueError(f"a frame is {FRAME_BYTES} bytes, got {len(frame)}")
        hops = samples(frame).astype(np.float64).reshape(-1, _HOP)
        clean = np.concatenate([self._hop(hop) for hop in hops])
        limited: NDArray[np.int16] = np.clip(np.rint(clean), -32768, 32767).astype("<i2")
        return limited.tobytes()

    def _hop(self, hop: NDArray[np.float64]) -> NDArray[np.float64]:
        self._past = np.concatenate([self._past[_HOP:], hop])
        spectrum = np.fft.rfft(self._past * self._window)
        gain = self._gain(spectrum.real**2 + spectrum.imag**2)
        self._tail = np.concatenate([self._tail[_HOP:], np.zeros(_HOP)])
        self._tail += np.fft.irfft(spectrum * gain, _SIZE) * self._window
        done: NDArray[np.float64] = self._tail[:_HOP] / 1.5  # three squared Hann windows over one another
        return done

    def _gain(self, power: NDArray[np.float64]) -> NDArray[np.float64]:
        self._follow(power)
        snr = np.minimum(power / self._noise, 1e4)
        prior = _SMOOTHING * self._speech / self._noise + (1 - _SMOOTHING) * np.maximum(snr - 1, 0)
        share = np.maximum(prior, _LEAST_SNR)
        share = share / (1 + share)
        gain = np.minimum(share * np.exp(0.5 * _exponential_integral(share * snr)), 1.0)
        self._speech = gain**2 * power
        depth = (_NONE_ABOVE_DB - self.snr_db) / (_NONE_ABOVE_DB - _FULL_BELOW_DB)
        least = 10 ** (-_DEEPEST_DB * min(max(depth, 0.0), 1.0) / 20)
        limited: NDArray[np.float64] = np.maximum(gain, least)
        return limited

    def _follow(self, power: NDArray[np.float64]) -> None:
        self._hops += 1
        if self._hops <= _FIRST_HOPS:
            self._noise += (power - self._noise) / self._hops
        else:
            odds = (1 + _SPEECH_SNR) * np.exp(-power / self._noise * _SPEECH_SNR / (1 + _SPEECH_SNR))
            presence = 1 / (1 + odds)
            self._presence = 0.9 * self._presence + 0.1 * presence
            # A bin said to hold speech for long is noise that has grown: let the estimate move again.
            presence = np.where(self._presence > 0.99, np.minimum(presence, 0.99), presence)
            heard = presence * self._noise + (1 - presence) * power
            self._noise = _NOISE_MEMORY * self._noise + (1 - _NOISE_MEMORY) * heard
        self._noise = np.maximum(self._noise, 1.0)
        self._powers.append(power)
        self._lately.append(self._level())

    def _level(self) -> float:
        """Of the tracked noise, dBFS."""
        mean_square = 4 * float(self._noise[_BAND].sum()) / _SIZE**2
        return float(10 * np.log10(mean_square / _FULL_SCALE_RMS**2))


def _exponential_integral(x: NDArray[np.float64]) -> NDArray[np.float64]:
    """E1(x), x > 0, to 5e-5 (Abramowitz and Stegun 5.1.53 and 5.1.54)."""
    x = np.maximum(x, 1e-8)
    small = -np.log(x) + np.polyval(
        (0.00107857, -0.00976004, 0.05519968, -0.24991055, 0.99999193, -0.57721566), x
    )
    large = np.exp(-x) / x * (x * x + 2.334733 * x + 0.250621) / (x * x + 3.330657 * x + 1.681534)
    value: NDArray[np.float64] = np.where(x < 1, small, large)
    return value


def suppressed(pcm: bytes, speech_dbfs: float | None = None) -> bytes:
    """A whole sound, as by a new ``Suppressor``, without its delay: silence fills the end. ``speech_dbfs``: the level
    of the speech, where it is known."""
    suppressor = Suppressor()
    if speech_dbfs is not None:
        suppressor.speech_dbfs = speech_dbfs
    out = b"".join(map(suppressor.feed, frames(pcm + bytes(-len(pcm) % FRAME_BYTES))))
    late = suppressor.delay_ms * 2 * _RATE // 1000
    return out[late:] + bytes(late)
