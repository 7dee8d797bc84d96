"""Whether somebody is heard too loud or too soft, and when that is said: once, until the level has changed."""

from __future__ import annotations

from typing import Final

from handsfree.audio import Utterance
from handsfree.hearing import LEAST_SNR_DB
from handsfree.procedure import TOO_LOUD, TOO_SOFT

__all__ = ["Loudness", "loudness_of"]

#: Of an utterance's samples at full scale: our own choice. A plosive touches it now and then, and hurts nothing.
_MOST_CLIPPED: Final = 0.001
#: dB over the noise under which fewer than nine of ten answers are heard right in noise (README, "What it reaches");
#: under LEAST_SNR_DB nothing is taken, and that is told anyway.
_LEAST_DB: Final = 10.0
_CHANGED_DB: Final = 6.0  # twice the sound pressure: our own choice


def loudness_of(utterance: Utterance) -> str:
    """TOO_LOUD, TOO_SOFT, or "" for neither."""
    if utterance.clipped > _MOST_CLIPPED * (len(utterance.pcm) // 2):
        return TOO_LOUD
    return TOO_SOFT if LEAST_SNR_DB <= utterance.least_snr_db < _LEAST_DB else ""


class Loudness:
    """Asked about every utterance of a job in turn."""

    def __init__(self) -> None:
        self._told: tuple[str, float] | None = None  # what was said last, and at what level

    def __call__(self, utterance: Utterance) -> str:
        """What is to be said of it; "" where nothing is, or it was said at about this level before."""
        what, level = loudness_of(utterance), utterance.speech_dbfs
        if not what:
            return ""
        if self._told is not None and what == self._told[0] and abs(level - self._told[1]) < _CHANGED_DB:
            return ""
        self._told = what, level
        return what
