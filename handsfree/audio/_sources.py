"""Where frames come from: a protocol, and a technician made of sound files."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from handsfree.audio._endpoint import FRAME_BYTES, FRAME_MS
from handsfree.audio._errors import AudioError
from handsfree.audio._flac import read_sound
from handsfree.audio._levels import frame_levels, noise_floor_dbfs, samples
from handsfree.audio._wav import SAMPLE_RATE

__all__ = ["ScriptLine", "Source", "WavScript", "room_noise"]

_ROOM_SECONDS: Final = 4
_QUIETEST_ROOM_DBFS: Final = -66.0  # a file without any noise of its own still gets a floor
_SPEECH_OVER_FLOOR_DB: Final = 10.0
_FULL_SCALE_RMS: Final = 32768 / 2**0.5


class Source(Protocol):
    """Gives 30 ms frames: mono, 16-bit little-endian, 16 kHz, 960 bytes each."""

    live: bool
    """Whether frames come at the pace of a clock (a microphone) or as fast as they are read."""
    frame_ms: int

    def read(self) -> bytes | None:
        """The next frame; None at the end of the source. Raises AudioError."""

    def cue(self, answer: bool = True) -> None:
        """The tool is listening now; ``answer``: to a question it asked, else only for commands."""

    def close(self) -> None:
        """Free the device or file."""


@dataclass(frozen=True, slots=True)
class ScriptLine:
    """One thing to say: a WAV or FLAC file, and how long to wait once asked."""

    path: Path
    pause_s: float = 0.4
    interjects: bool = False  # said of the speaker's own accord, also while nothing is asked (a wait)


def room_noise(like: bytes | None = None, level_dbfs: float | None = None, seed: int = 1) -> bytes:
    """Four seconds of noise at 16 kHz that loops without a seam.

    ``like`` is PCM whose quiet frames give the spectrum and the level; without it the noise is white.
    ``level_dbfs`` (AES17) overrides the level. Same arguments, same bytes.
    """
    size = _ROOM_SECONDS * SAMPLE_RATE
    spectrum = _quiet_spectrum(like) if like else np.ones(size // 2 + 1)
    if level_dbfs is None:
        level_dbfs = max(noise_floor_dbfs(like), _QUIETEST_ROOM_DBFS) if like else _QUIETEST_ROOM_DBFS
    phases = np.exp(2j * np.pi * np.random.default_rng(seed).random(size // 2 + 1))
    # Any spectrum with random phases is noise of that colour, periodic in its length: it loops by itself.
    noise = np.fft.irfft(spectrum * phases, size)
    noise *= _FULL_SCALE_RMS * 10 ** (level_dbfs / 20) / np.sqrt(np.mean(noise**2))
    return np.clip(np.rint(noise), -32768, 32767).astype("<i2").tobytes()


def _quiet_spectrum(pcm: bytes) -> NDArray[np.float64]:
    """Amplitude spectrum of the quiet frames, stretched to the loop's length; flat when all is zero."""
    size = FRAME_BYTES // 2
    levels = frame_levels(pcm)
    wanted = _ROOM_SECONDS * SAMPLE_RATE // 2 + 1
    if not levels.size:
        return np.ones(wanted)
    frames = samples(pcm)[: levels.size * size].reshape(-1, size).astype(np.float64)
    quiet = frames[levels <= np.percentile(levels, 15)]
    power = (np.abs(np.fft.rfft(quiet * np.hanning(size), axis=1)) ** 2).mean(axis=0)
    if not power.any():
        return np.ones(wanted)
    stretched: NDArray[np.float64] = np.interp(
        np.linspace(0, 1, wanted), np.linspace(0, 1, power.size), np.sqrt(power)
    )
    return stretched


class WavScript:
    """A technician who speaks when asked: one sound file after another, each on a cue.

    A line that does not interject waits for a cue that wants an answer. After ``cue()`` comes the line's
    pause of room noise, then the file. Before a cue, between files and after the last one there is room noise
    without end, made from the quiet parts of the first file (or at
    ``room_dbfs``): never digital zeros, which no microphone gives and which spoil the recognizer's mean.
    A cue while a line is waiting or being spoken is one cue too many and changes nothing; a cue in the
    quiet after the speech of a line counts for the next one. Raises AudioError for a file that can't be
    used, all of them before the first frame.
    """

    live = False
    frame_ms = FRAME_MS

    def __init__(
        self, lines: Iterable[ScriptLine | Path | str], *, room_dbfs: float | None = None, seed: int = 1
    ) -> None:
        self._lines: Sequence[ScriptLine] = [
            line if isinstance(line, ScriptLine) else ScriptLine(Path(line)) for line in lines
        ]
        if not self._lines:
            raise AudioError("no sound files given; name at least one WAV or FLAC file")
        first = read_sound(self._lines[0].path)
        for line in self._lines[1:]:
            read_sound(line.path)  # a bad tenth file is told now, not in the middle of the job
        self._room = room_noise(first, room_dbfs, seed)
        self._room_at = 0
        self._next = 0
        self._pause_frames = 0
        self._playing = b""
        self._at = 0
        self._speech_end = 0  # byte in _playing after which only quiet is left
        self._cued_again = False

    @property
    def exhausted(self) -> bool:
        """Every file has been said to its end."""
        return self._next >= len(self._lines) and not self._playing

    @property
    def speaking(self) -> bool:
        """A line is being said, or waits out its pause."""
        return bool(self._playing)

    @property
    def next_line(self) -> ScriptLine | None:
        """What is said at the next cue."""
        return self._lines[self._next] if self._next < len(self._lines) else None

    def cue(self, answer: bool = True) -> None:
        waiting = self.next_line
        if not answer and waiting is not None and not waiting.interjects:
            return
        if self._playing:
            self._cued_again = self._cued_again or (self._pause_frames == 0 and self._at >= self._speech_end)
        elif self._next < len(self._lines):
            self._take_line()

    def read(self) -> bytes:
        if self._pause_frames > 0:
            self._pause_frames -= 1
            return self._room_frame()
        if not self._playing:
            return self._room_frame()
        frame = self._playing[self._at : self._at + FRAME_BYTES]
        self._at += FRAME_BYTES
        if self._at >= len(self._playing):
            self._finish_line()
        return frame + self._room_frame()[len(frame) :]

    def close(self) -> None:
        self._playing = b""
        self._next = len(self._lines)

    def _take_line(self) -> None:
        line = self._lines[self._next]
        self._playing = read_sound(line.path)
        self._at = 0
        self._pause_frames = round(line.pause_s * 1000 / FRAME_MS)
        self._speech_end = _speech_end(self._playing)
        self._next += 1

    def _finish_line(self) -> None:
        self._playing = b""
        if self._cued_again:
            self._cued_again = False
            if self._next < len(self._lines):
                self._take_line()

    def _room_frame(self) -> bytes:
        begin = self._room_at
        self._room_at = (begin + FRAME_BYTES) % len(self._room)
        return (self._room + self._room[:FRAME_BYTES])[begin : begin + FRAME_BYTES]


def _speech_end(pcm: bytes) -> int:
    levels = frame_levels(pcm)
    loud = np.flatnonzero(levels > noise_floor_dbfs(pcm) + _SPEECH_OVER_FLOOR_DB)
    return (int(loud[-1]) + 1) * FRAME_BYTES if loud.size else 0
