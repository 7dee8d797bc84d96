"""Four chimes told apart by rhythm, count and length alone.

Every chime has the same two tones, so pitch carries nothing: not everyone tells pitches apart, and age and
noise take the high tones first. The tones lie between 500 and 1500 Hz, where ISO 7731 (auditory danger
signals) wants the energy for people with hearing loss or ear protection (from memory). The peak is full scale
less 3 dB: the volume of the device decides, and the chimes must not be softer than the voice.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt

from ._types import Clip, SpeakingError

__all__ = ["CHIMES", "RATE", "chime"]

RATE = 22050
_TONES_HZ = (640.0, 960.0)
_PEAK = 0.7079  # -3 dB
_RAMP_S = 0.008  # a step would be heard as a click

#: Each chime as (sound, gap) in milliseconds, one pair a pulse.
CHIMES: dict[str, tuple[tuple[int, int], ...]] = {
    "armed": ((90, 0),),  # one short: your turn
    "accepted": ((90, 90), (90, 0)),  # two short: taken
    "refused": ((600, 0),),  # one long: not taken
    "wait_over": ((90, 90), (90, 90), (350, 350), (90, 90), (90, 90), (350, 0)),  # short short long, twice
}


@cache
def chime(name: str) -> Clip:
    """The chime as a clip at 22050 Hz. Raises SpeakingError for an unknown name."""
    try:
        pulses = CHIMES[name]
    except KeyError:
        raise SpeakingError(f"no chime {name!r}: there are {', '.join(CHIMES)}") from None
    parts = [part for sound, gap in pulses for part in (_pulse(sound), np.zeros(_samples(gap)))]
    wave = np.concatenate([*parts, np.zeros(_samples(20))])
    return Clip(np.round(wave * 32767).astype("<i2").tobytes(), RATE)


def _pulse(length_ms: int) -> npt.NDArray[np.float64]:
    t = np.arange(_samples(length_ms)) / RATE
    tone = sum((np.sin(2 * np.pi * hertz * t) for hertz in _TONES_HZ), np.zeros_like(t))
    ramp = np.minimum(1.0, np.minimum(t, t[-1] - t) / _RAMP_S)
    shaped = tone * (0.5 - 0.5 * np.cos(np.pi * ramp))
    return np.asarray(shaped / np.abs(shaped).max() * _PEAK, dtype=np.float64)


def _samples(milliseconds: int) -> int:
    return round(milliseconds * RATE / 1000)
