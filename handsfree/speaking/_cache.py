"""Clips spoken before: in memory, and in a folder when one is given."""

from __future__ import annotations

import contextlib
import os
import wave
from collections import OrderedDict
from pathlib import Path

from ._sound_file import read_clip
from ._types import Clip, VoiceError

__all__ = ["ClipCache"]

#: A sentence of two seconds takes 88 kB; a whole procedure's prompts fit.
_MEMORY_BYTES = 16 << 20


class ClipCache:
    """Least recently used clips in memory. A folder that can't be used is done without."""

    def __init__(self, folder: Path | None, memory_bytes: int = _MEMORY_BYTES) -> None:
        self._folder = folder
        self._limit = memory_bytes
        self._size = 0
        self._clips: OrderedDict[str, Clip] = OrderedDict()

    def get(self, key: str) -> Clip | None:
        """The clip kept under ``key`` (a hex digest), None when there is none or its file is damaged."""
        clip = self._clips.get(key)
        if clip is not None:
            self._clips.move_to_end(key)
            return clip
        if self._folder is None:
            return None
        try:
            clip = read_clip(self._folder / f"{key}.wav")
        except VoiceError:
            return None
        if not clip.pcm:
            return None
        self._remember(key, clip)
        return clip

    def put(self, key: str, clip: Clip) -> None:
        """Keep a clip."""
        self._remember(key, clip)
        if self._folder is not None:
            with contextlib.suppress(OSError):
                self._store(self._folder, key, clip)

    def _remember(self, key: str, clip: Clip) -> None:
        old = self._clips.pop(key, None)
        self._size += len(clip.pcm) - (len(old.pcm) if old else 0)
        self._clips[key] = clip
        while self._size > self._limit and len(self._clips) > 1:
            self._size -= len(self._clips.popitem(last=False)[1].pcm)

    def _store(self, folder: Path, key: str, clip: Clip) -> None:
        """Under another name first: a half-written clip must not be found by the next run."""
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        draft = folder / f"{key}.{os.getpid()}.new"
        write_wav(draft, clip)
        draft.replace(folder / f"{key}.wav")


def write_wav(path: Path, clip: Clip) -> None:
    """The clip as a WAV file. Raises OSError."""
    # Opened here: wave's own opening leaves a half-made object behind when it fails, which prints at its end.
    with path.open("wb") as raw, wave.open(raw, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(clip.rate)
        file.writeframes(clip.pcm)
