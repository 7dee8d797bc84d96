"""Two recognizers of different make over the same sound: what both hear alike is taken, the rest is asked again."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from handsfree.hearing._adaptation import Adaptation
from handsfree.hearing._pocketsphinx import PocketSphinxEngine
from handsfree.hearing._types import Engine, Hypothesis

if TYPE_CHECKING:
    from handsfree.grammar import Armed

__all__ = ["UNLIKE", "AgreedEngine", "agreed", "same_meaning"]

UNLIKE: Final = "the two recognizers heard different words"
"""The reason of a hypothesis that was not accepted for that alone."""


def agreed(armed: Armed, first: Hypothesis, second: Hypothesis) -> Hypothesis:
    """What to make of both. Pure.

    Accepted is what ``first`` accepts, if ``second`` heard the same words, or others of the same meaning and value
    ("five gram" for "five grams"). What ``second`` thinks of its own acoustic fit does not count: agreeing with
    another make of recognizer is the stronger evidence. Work is stopped when either hears that.
    """
    if _stops(armed, second) and not _stops(armed, first):
        return second
    alike = bool(first.text) and same_meaning(armed, first.text, second.text)
    scores = (*first.scores, ("agreed", float(alike)))
    if alike or not first.accepted or _stops(armed, first):
        return replace(first, scores=scores)
    return replace(first, scores=scores, accepted=False, reason=UNLIKE)


def _stops(armed: Armed, heard: Hypothesis) -> bool:
    meaning = armed.interpret(heard.text) if heard.accepted and heard.text else None
    return meaning is not None and meaning.label == "command" and meaning.slot("command") == "stop_work"


def same_meaning(armed: Armed, one: str, other: str) -> bool:
    """Whether both mean the same with the same exact value, or, where they mean nothing, are the same words."""
    return _meaning(armed, one) == _meaning(armed, other)


def _meaning(armed: Armed, text: str) -> object:
    meaning = armed.interpret(text) if text else None
    if meaning is None:
        return text
    number = meaning.number
    return meaning.label, meaning.slots, number and (number.value, number.resolution)


class AgreedEngine:
    """``first`` is the one whose hypothesis is given back, ``second`` the one that must agree.

    ``feed`` may bring a second form of the sound, with the noise taken out: that is for ``second``.
    """

    def __init__(self, first: Engine, second: Engine) -> None:
        self.first, self.second = first, second
        self.name = first.name
        self._armed: Armed | None = None

    def arm(self, armed: Armed) -> None:
        self.first.arm(armed)
        self.second.arm(armed)
        self._armed = armed

    def use(self, voice: Adaptation | None) -> None:
        """As for PocketSphinx, which alone knows voices."""
        if isinstance(self.second, PocketSphinxEngine):
            self.second.use(voice)

    def begin(self, snr_db: float | None = None) -> None:
        """``snr_db``: as for PocketSphinx."""
        self.first.begin()
        if isinstance(self.second, PocketSphinxEngine):
            self.second.begin(snr_db)
        else:
            self.second.begin()

    def feed(self, pcm: bytes, clean: bytes | None = None) -> None:
        self.first.feed(pcm)
        self.second.feed(pcm if clean is None else clean)

    def partial(self) -> str:
        return self.first.partial()

    def end(self, snr_db: float | None = None) -> Hypothesis:
        """``snr_db``: as for PocketSphinx."""
        assert self._armed is not None  # else begin had refused
        second = self.second
        heard = second.end(snr_db) if isinstance(second, PocketSphinxEngine) else second.end()
        return agreed(self._armed, self.first.end(), heard)

    def close(self) -> None:
        self.first.close()
        self.second.close()
