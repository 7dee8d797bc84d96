"""What every engine gives back, whatever it is made of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from handsfree.grammar import Armed

__all__ = ["Engine", "EngineError", "Hypothesis", "MissingWord", "Word"]


class EngineError(RuntimeError):
    """The engine can't be used: one line that says what to do."""


class MissingWord(EngineError):
    """Words of the armed grammar that the engine's dictionary or model does not know."""

    def __init__(self, engine: str, words: tuple[str, ...]) -> None:
        super().__init__(
            f"{engine} does not know: {', '.join(words)}; add pronunciations or change the grammar"
        )
        self.words = words


@dataclass(frozen=True, slots=True)
class Word:
    """One word of a hypothesis, times in seconds from the utterance's first sample."""

    text: str
    start_s: float
    end_s: float
    score: float | None = None  # engine's own scale


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """The engine's best guess for one utterance.

    ``text`` is lower-case words joined by single spaces, fillers removed; "" when nothing was recognized.
    ``scores`` holds named floats for the record and for acceptance, for example ``grammar`` and ``phone``
    (log-likelihood per frame) or ``confidence``; never used as values.
    ``probability`` is by the sound alone, ``prior`` (where people talk) with what probability it was met.
    ``accepted`` is the acoustic acceptance (gate 3): False means treat as no-match and say so. ``unsure``: accepted,
    but to be confirmed in words before it counts.
    """

    text: str
    words: tuple[Word, ...]
    engine: str
    scores: tuple[tuple[str, float], ...] = ()
    accepted: bool = True
    reason: str = ""  # why it was not accepted, plain words
    unsure: bool = False


class Engine(Protocol):
    """A recognizer of one utterance at a time. Not thread-safe: one owner."""

    name: str

    def arm(self, armed: Armed) -> None:
        """Listen for this grammar from the next utterance on. Raises MissingWord."""

    def begin(self) -> None:
        """An utterance starts."""

    def feed(self, pcm: bytes) -> None:
        """More of it: mono, 16-bit little-endian, 16 kHz (the typed engine: UTF-8 text)."""

    def partial(self) -> str:
        """The words so far within an utterance, for the endpointer's question; never a value."""

    def end(self) -> Hypothesis:
        """The utterance is over."""

    def close(self) -> None:
        """Free the model."""
