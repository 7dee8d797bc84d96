"""Players: a sound card, a folder of files, or nothing; each says how much came out."""

from __future__ import annotations

import re
from pathlib import Path

from ._cache import write_wav
from ._types import Clip, Played, SpeakingError

__all__ = ["FilePlayer", "NullPlayer"]

_NUMBERED = re.compile(r"(\d{4,})\.wav")


class NullPlayer:
    """Plays nothing and says that it was played: for a job without sound, as in tests."""

    def play(self, clip: Clip, interruptible: bool = False) -> Played:
        """The whole clip, at once."""
        return Played(clip.frames, clip.frames, clip.rate)

    def stop(self) -> None:
        """Nothing plays."""

    def close(self) -> None:
        """Nothing to give back."""


class FilePlayer:
    """Writes each reply to ``0001.wav``, ``0002.wav``, ... and goes on after the highest number there."""

    def __init__(self, folder: Path | str) -> None:
        self._folder = Path(folder)
        try:
            self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            names = [path.name for path in self._folder.iterdir()]
        except OSError as error:
            raise SpeakingError(f"can't write replies to {self._folder} ({error.strerror})") from None
        self._count = max((int(m[1]) for name in names if (m := _NUMBERED.fullmatch(name))), default=0)

    @property
    def last(self) -> Path | None:
        """The file written last, None before the first."""
        return self._folder / f"{self._count:04d}.wav" if self._count else None

    def play(self, clip: Clip, interruptible: bool = False) -> Played:
        """Write the whole clip; a file can't be interrupted. Raises SpeakingError."""
        path = self._folder / f"{self._count + 1:04d}.wav"
        try:
            path.touch(mode=0o600)  # private, as all of a job is
            write_wav(path, clip)
        except OSError as error:
            raise SpeakingError(f"can't write the reply {path} ({error.strerror}): free space") from None
        self._count += 1
        return Played(clip.frames, clip.frames, clip.rate)

    def stop(self) -> None:
        """A file is whole."""

    def close(self) -> None:
        """Nothing to give back."""
