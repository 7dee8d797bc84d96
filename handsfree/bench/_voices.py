"""Synthetic technicians: the voice that is always there in several accents, and flite's voices when installed."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import soxr
from numpy.typing import NDArray

from handsfree.audio import SAMPLE_RATE
from handsfree.bench._pairs import HALVES
from handsfree.speaking import Clip, Pyttsx3Voice, VoiceError
from handsfree.speaking._sound_file import read_clip

__all__ = ["Speakers", "flite", "trimmed", "voices"]

_PEAK = 9000  # about -11 dBFS, as speech close to a headset's microphone
#: By half: voices tuned on are not reported on.
_FLITE = {"tune": ("flite:slt", "flite:kal16"), "report": ("flite:rms", "flite:awb")}
_LIBRARY = {"tune": ("gmw/en-us", "gmw/en-029"), "report": ("gmw/en-gb-x-rp", "gmw/en")}


def voices(half: str) -> tuple[str, ...]:
    """The voices of a half. With flite two of its voices and one of the library's; else two of the library's."""
    assert half in HALVES
    if shutil.which("flite"):
        return (*_FLITE[half], _LIBRARY[half][0])
    return _LIBRARY[half]


class Speakers:
    """Says a text with any voice, once a run: sounds are kept in memory. Raises VoiceError."""

    def __init__(self) -> None:
        self._said: dict[tuple[str, str], bytes] = {}
        self._library: dict[str, Pyttsx3Voice] = {}

    def say(self, text: str, voice: str) -> bytes:
        """16-bit mono at 16 kHz, ends trimmed of silence, every voice with the same peak."""
        key = (text, voice)
        if key not in self._said:
            self._said[key] = _levelled(
                flite(text, voice.partition(":")[2]) if _is_flite(voice) else self._clip(text, voice)
            )
        return self._said[key]

    def close(self) -> None:
        for voice in self._library.values():
            voice.close()

    def _clip(self, text: str, voice: str) -> Clip:
        if voice not in self._library:
            self._library[voice] = Pyttsx3Voice(155, voice=voice)
        return self._library[voice].clip(text)


def flite(text: str, voice: str, *options: str) -> Clip:
    """A text by one of flite's voices. Raises VoiceError."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "say.wav"
        command = ["flite", "-voice", voice, *options, "-t", text, "-o", str(path)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        if done.returncode:
            raise VoiceError(f"flite can't say {text!r} with {voice}: {done.stderr.strip()[:120]}")
        return read_clip(path)


def trimmed(clip: Clip, kind: type[np.floating[Any]]) -> NDArray[Any]:
    """The clip's samples at 16 kHz without the silence at its ends, in that floating point type."""
    sound = np.frombuffer(clip.pcm, "<i2").astype(kind)
    if clip.rate != SAMPLE_RATE:
        sound = soxr.resample(sound, clip.rate, SAMPLE_RATE)
    loud = np.flatnonzero(np.abs(sound) > np.abs(sound).max() / 300)
    return sound[loud[0] : loud[-1] + 1]


def _is_flite(voice: str) -> bool:
    return voice.startswith("flite:")


def _levelled(clip: Clip) -> bytes:
    sound = trimmed(clip, np.float32)
    levelled: bytes = np.rint(sound / np.abs(sound).max() * _PEAK).astype("<i2").tobytes()
    return levelled
