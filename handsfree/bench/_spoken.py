"""The simulated technician's voice and the room round him: frames as a microphone would give them."""

from __future__ import annotations

import shutil
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from handsfree.audio import FRAME_BYTES, FRAME_MS, SAMPLE_RATE, frame_levels
from handsfree.bench._noise import pink
from handsfree.bench._voices import flite, trimmed
from handsfree.speaking import Clip, Pyttsx3Voice

__all__ = ["VOICES", "SpokenSource", "spoken_samples"]

Samples = NDArray[np.float64]

#: flite's voices where it is installed; without it every job has the packaged voice.
VOICES = ("rms", "slt", "awb")
#: Active level of the speech, of the full scale: near a headset's microphone. Room for consonants' peaks.
_SPEECH_RMS = 32768 * 10 ** (-23 / 20)
_ACTIVE_BELOW_PEAK_DB = 25.0
_FLOOR_DB = 45.0  # a room is never quieter than this under the speech
_NOISE_S = 60
_WPM = 165


@lru_cache(maxsize=20_000)
def spoken_samples(text: str, voice: str, stretch: float, between_s: float = 0.0) -> Samples:
    """16 kHz samples with the active level of the speech at ``_SPEECH_RMS``. ``stretch`` over 1 is slower;
    ``between_s`` over 0 is word by word with such pauses."""
    if between_s and " " in text:
        pause = np.zeros(int(between_s * SAMPLE_RATE))
        parts = [part for word in text.split() for part in (spoken_samples(word, voice, stretch), pause)]
        return np.concatenate(parts[:-1])
    clip = _flite(text, voice, stretch) if shutil.which("flite") else _packaged(text, stretch)
    sound: Samples = trimmed(clip, np.float64)
    return sound * _SPEECH_RMS / _active_rms(sound)


def _active_rms(sound: Samples) -> float:
    """Over the frames within 25 dB of the loudest, as ``_noise.mix`` measures it."""
    size = FRAME_BYTES // 2
    levels = frame_levels(np.clip(np.rint(sound), -32768, 32767).astype("<i2").tobytes())
    frames = sound[: levels.size * size].reshape(-1, size)
    active = frames[levels > levels.max() - _ACTIVE_BELOW_PEAK_DB]
    return float(np.sqrt(np.mean(active**2)))


def _flite(text: str, voice: str, stretch: float) -> Clip:
    return flite(text, voice, "--setf", f"duration_stretch={stretch}")


@lru_cache(maxsize=4)
def _voice(stretch: float) -> Pyttsx3Voice:
    return Pyttsx3Voice(round(_WPM / stretch))


def _packaged(text: str, stretch: float) -> Clip:
    return _voice(stretch).clip(text)


class SpokenSource:
    """A microphone in a room with pink noise ``snr_db`` under the speech; it hears what ``say`` is given."""

    live = False
    frame_ms = FRAME_MS

    def __init__(self, snr_db: float, seed: int) -> None:
        self._noise = pink(_NOISE_S * SAMPLE_RATE, seed) * _SPEECH_RMS * 10 ** (-min(snr_db, _FLOOR_DB) / 20)
        self._at = 0
        self._speech: Samples = np.zeros(0)

    def say(self, sound: Samples, after_ms: int) -> None:
        """Speech that begins after so much silence, in the place of what was still to be said."""
        self._speech = np.concatenate((np.zeros(SAMPLE_RATE * after_ms // 1000), sound))

    def hush(self) -> None:
        """He falls silent: the tool speaks."""
        self._speech = np.zeros(0)

    @property
    def speaking(self) -> bool:
        return bool(self._speech.size)

    def read(self) -> bytes | None:
        size = FRAME_BYTES // 2
        frame = self._noise[self._at : self._at + size].copy()
        self._at = (self._at + size) % (self._noise.size - size)
        now, self._speech = self._speech[:size], self._speech[size:]
        frame[: now.size] += now
        return np.clip(np.rint(frame), -32768, 32767).astype("<i2").tobytes()

    def cue(self, answer: bool = True) -> None: ...

    def close(self) -> None: ...
