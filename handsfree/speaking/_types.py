"""What the room passes around: a clip of sound, and what became of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

__all__ = ["Clip", "DuplexPlayer", "Played", "Player", "SpeakingError", "Voice", "VoiceError"]


class SpeakingError(RuntimeError):
    """Sound can't be put out: one line that says what to do."""


class VoiceError(SpeakingError):
    """Text can't be turned into sound: one line that says what to do."""


@dataclass(frozen=True, slots=True)
class Clip:
    """Mono 16-bit little-endian samples at ``rate`` Hz."""

    pcm: bytes
    rate: int

    @property
    def frames(self) -> int:
        """Number of samples."""
        return len(self.pcm) // 2

    @property
    def seconds(self) -> float:
        """Length of the sound."""
        return self.frames / self.rate


@dataclass(frozen=True, slots=True)
class Played:
    """How much of a clip came out: ``frames`` of ``total``, in samples of the clip at ``rate`` Hz."""

    frames: int
    total: int
    rate: int = 0

    @property
    def completed(self) -> bool:
        """The whole clip left the buffer. An empty clip was not heard by anybody."""
        return 0 < self.total <= self.frames

    @property
    def played_ms(self) -> int:
        """Milliseconds put out, rounded down."""
        return self.frames * 1000 // self.rate if self.rate else 0

    @property
    def total_ms(self) -> int:
        """Milliseconds there were, rounded down."""
        return self.total * 1000 // self.rate if self.rate else 0


class Voice(Protocol):
    """Turns text into sound."""

    def clip(self, text: str) -> Clip:
        """The spoken text. Raises VoiceError."""

    def close(self) -> None:
        """Give back what the voice holds."""


class Player(Protocol):
    """Puts sound out and says how much of it came out.

    One that can listen at the same time has a ``play_until`` as well, see ``DuplexPlayer``.
    """

    def play(self, clip: Clip, interruptible: bool = False) -> Played:
        """Play to the end, or until ``stop`` when ``interruptible``. Raises SpeakingError."""

    def stop(self) -> None:
        """End an interruptible clip that is playing (from any thread)."""

    def close(self) -> None:
        """Give the device back."""


@runtime_checkable
class DuplexPlayer(Protocol):
    """A player that leaves the caller time to listen while it plays."""

    def play_until(self, clip: Clip, cut: Callable[[], bool]) -> Played:
        """Play, and call ``cut`` again and again meanwhile; stop when it says so. Raises SpeakingError."""
