"""The keyboard as a recognizer: what a shop uses when the microphone is dead."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from handsfree.hearing._types import Hypothesis, Word

if TYPE_CHECKING:
    from handsfree.grammar import Armed

__all__ = ["TypedEngine"]


def _plain_words(text: str, armed: Armed | None) -> str:
    return text.lower()


class TypedEngine:
    """Takes UTF-8 text for sound. Everything else of an answer is checked as if it had been spoken.

    ``normalise`` turns what people type ("1.45") into what they would say ("one point four five"), given what is
    armed. Bytes that are no UTF-8 are replaced, so a line of rubbish is a no-match and not an error.
    """

    name = "typed"

    def __init__(self, normalise: Callable[[str, Armed | None], str] = _plain_words) -> None:
        self._normalise = normalise
        self._typed = b""
        self._armed: Armed | None = None

    def arm(self, armed: Armed) -> None:
        """Any grammar will do: no word is unknown to a keyboard."""
        self._armed = armed

    def begin(self) -> None:
        self._typed = b""

    def feed(self, pcm: bytes) -> None:
        self._typed += pcm

    def partial(self) -> str:
        return " ".join(self._normalise(self._typed.decode("utf-8", errors="replace"), self._armed).split())

    def end(self) -> Hypothesis:
        text = self.partial()
        self._typed = b""
        return Hypothesis(text, tuple(Word(word, 0.0, 0.0) for word in text.split()), self.name)

    def close(self) -> None:
        self._typed = b""
