"""The bay's words as sound: synthetic speech made on this machine, through the real endpointer and recognizer."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Iterable
from pathlib import Path

import numpy as np
import pytest
import soxr

from handsfree.audio import MicrophoneLost, ScriptLine, WavScript, room_noise, samples, write_wav
from handsfree.grammar import load_pronunciations
from handsfree.hearing import make_engine
from handsfree.session import AudioEars, Clock
from handsfree.speaking import Pyttsx3Voice, VoiceError
from handsfree.speaking._sound_file import read_clip

ROOM_DBFS = -60.0


class Mouth:
    """Debian's flite where it is installed, else the package's own voice. A sentence is made once."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._voice: Pyttsx3Voice | None = None

    def say(self, text: str) -> Path:
        path = self.folder / f"{text.replace(' ', '-')}.wav"
        if not path.exists():
            write_wav(path, self._in_the_room(self._speech(text)), 16000)
        return path

    def _speech(self, text: str) -> bytes:
        if shutil.which("flite"):
            raw = self.folder / "raw.wav"
            subprocess.run(["flite", "-voice", "slt", "-t", text, "-o", str(raw)], check=True, timeout=60)
            clip = read_clip(raw)
        else:
            try:
                self._voice = self._voice or Pyttsx3Voice(rate_wpm=140)
                clip = self._voice.clip(text)
            except VoiceError as error:
                pytest.skip(f"no voice to test with: {error}")
        at_16k = soxr.resample(np.frombuffer(clip.pcm, "<i2"), clip.rate, 16000)
        return bytes(at_16k.astype("<i2").tobytes())

    def _in_the_room(self, speech: bytes) -> bytes:
        """With a floor under it and quiet around it, as a microphone would give it."""
        said = samples(speech).astype(np.int32)
        out = np.resize(samples(room_noise(level_dbfs=ROOM_DBFS)).astype(np.int32), said.size + 16000)
        out[8000 : 8000 + said.size] += said
        return np.clip(out, -32768, 32767).astype("<i2").tobytes()

    def close(self) -> None:
        if self._voice is not None:
            self._voice.close()


class Bay(WavScript):
    """A technician who says these lines when asked. ``lost_after``: the line after which the cable is pulled."""

    def __init__(self, mouth: Mouth, lines: Iterable[str], *, lost_after: int | None = None) -> None:
        # A line that begins with "! " is said of the speaker's own accord, also during a wait or on hold.
        super().__init__(
            [ScriptLine(mouth.say(x.removeprefix("! ")), interjects=x.startswith("! ")) for x in lines]
        )
        self._lost_after = lost_after

    def read(self) -> bytes:
        if self._lost_after is not None and self._next >= self._lost_after and not self.speaking:
            raise MicrophoneLost("the cable was pulled")
        return super().read()


def ears(source: WavScript, clock: Clock) -> AudioEars:
    return AudioEars(source, make_engine("pocketsphinx", pronunciations=load_pronunciations()), clock)
