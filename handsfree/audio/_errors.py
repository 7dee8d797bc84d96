"""What can go wrong with sound, each as one line that says what to do."""

from __future__ import annotations

__all__ = ["AudioError", "MicrophoneLost"]


class AudioError(RuntimeError):
    """A sound file or a sound device can't be used: one line that says what to do."""


class MicrophoneLost(AudioError):
    """The microphone stopped giving sound while in use (unplugged, or its driver died)."""
