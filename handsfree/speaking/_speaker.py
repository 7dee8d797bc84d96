"""The one who speaks: a voice and a player."""

from __future__ import annotations

from collections.abc import Callable

from ._chimes import chime
from ._text import speakable
from ._types import Clip, DuplexPlayer, Played, Player, Voice

__all__ = ["Speaker"]


class Speaker:
    """Says text and plays chimes, one after the other. Not thread-safe except ``stop``."""

    def __init__(self, voice: Voice, player: Player) -> None:
        self._voice = voice
        self._player = player

    def prepare(self, text: str) -> Clip:
        """Make the sound without playing it, so that ``say`` starts at once. Raises VoiceError."""
        return self._voice.clip(speakable(text))

    def say(self, text: str, interruptible: bool = False, *, cut: Callable[[], bool] | None = None) -> Played:
        """Say the text; a caution is never ``interruptible``. Raises VoiceError or SpeakingError.

        ``cut``: called again and again while an interruptible text plays, where the player allows that; it stops
        when that says so.
        """
        clip = self.prepare(text)
        if interruptible and cut is not None and isinstance(self._player, DuplexPlayer):
            return self._player.play_until(clip, cut)
        return self._player.play(clip, interruptible)

    def chime(self, name: str) -> Played:
        """Play ``armed``, ``accepted``, ``refused`` or ``wait_over``. Raises SpeakingError."""
        return self._player.play(chime(name))

    def stop(self) -> None:
        """Cut off what is being said, if it may be interrupted (from any thread)."""
        self._player.stop()

    def close(self) -> None:
        """Give back the voice and the player."""
        self._voice.close()
        self._player.close()
