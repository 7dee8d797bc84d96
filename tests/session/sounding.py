"""The bay's words as sound: synthetic speech through the real endpointer and recognizer."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterable
from pathlib import Path

import numpy as np
import pytest
import soundfile
import soxr

from handsfree.audio import MicrophoneLost, ScriptLine, WavScript, room_noise, samples, write_wav
from handsfree.grammar import load_pronunciations
from handsfree.hearing import make_engine
from handsfree.session import AudioEars, Clock

ROOM_DBFS = -60.0
_PAUSE_S = 0.4
SAID = Path(__file__).parent / "said"


class Mouth:
    """Says a line from its recording in ``said/``; one that has none is made with Debian's flite, or skipped.

    ``SAID_KEEP=1`` in the environment keeps what was made: that is how the recordings were made (voice slt).
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def say(self, text: str) -> Path:
        name = text.replace(" ", "-")
        path = self.folder / f"{name}.wav"
        if not path.exists():
            recorded = SAID / f"{name}.flac"
            if recorded.exists():
                speech = soundfile.read(recorded, dtype="int16")[0]
            else:
                speech = self._made(text)
                if os.environ.get("SAID_KEEP"):
                    soundfile.write(recorded, speech, 16000, subtype="PCM_16")
            write_wav(path, self._in_the_room(speech), 16000)
        return path

    def _made(self, text: str) -> np.ndarray:
        if shutil.which("flite") is None:
            pytest.skip(f"{text!r} has no recording, and flite is not installed")
        raw = self.folder / "made.wav"
        subprocess.run(["flite", "-voice", "slt", "-t", text, "-o", str(raw)], check=True, timeout=60)
        pcm, rate = soundfile.read(raw, dtype="int16")
        return np.asarray(soxr.resample(pcm, rate, 16000), dtype=np.int16)

    def _in_the_room(self, speech: np.ndarray) -> bytes:
        """With a floor under it and quiet around it, as a microphone would give it."""
        said = speech.astype(np.int32)
        out = np.resize(samples(room_noise(level_dbfs=ROOM_DBFS)).astype(np.int32), said.size + 16000)
        out[8000 : 8000 + said.size] += said
        return np.clip(out, -32768, 32767).astype("<i2").tobytes()


def _line(mouth: Mouth, text: str) -> ScriptLine:
    """ "! hold work" is said of the speaker's own accord, also during a wait or on hold; "!90 hold work" only after
    ninety seconds of quiet."""
    mark, _, words = text.partition(" ") if text.startswith("!") else ("", "", text)
    pause_s = float(mark.removeprefix("!") or _PAUSE_S)
    return ScriptLine(mouth.say(words), pause_s, interjects=bool(mark))


class Bay(WavScript):
    """A technician who says these lines when asked. ``lost_after``: the line after which the cable is pulled."""

    def __init__(self, mouth: Mouth, lines: Iterable[str], *, lost_after: int | None = None) -> None:
        super().__init__([_line(mouth, x) for x in lines])
        self._lost_after = lost_after

    def read(self) -> bytes:
        if self._lost_after is not None and self._next >= self._lost_after and not self.speaking:
            raise MicrophoneLost("the cable was pulled")
        return super().read()


def ears(source: WavScript, clock: Clock) -> AudioEars:
    return AudioEars(source, make_engine("pocketsphinx", pronunciations=load_pronunciations()), clock)
