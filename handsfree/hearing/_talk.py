"""Is what is said meant for the tool, or do people talk? Told by what was just heard.

Talk comes in a row: several sentences of which hardly anything fits the grammar, and then one that does by chance.
So does work: a technician's answers fit one after the other. Two states, talk and work, change into one another at
random; each utterance's probability by its sound alone is evidence for one of them (the forward algorithm of a hidden
Markov model with two states; L. R. Rabiner, Proc. IEEE 77 (1989), 257). What comes out is the probability with which
the next utterance is met before it is heard.

It only ever makes stricter: after good answers nothing is let through that its sound alone would not.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import exp
from typing import Final

__all__ = ["EVEN", "Talk", "posterior", "probability_of"]

EVEN: Final = 0.5
"""The probability with which an utterance is met of which nothing is known; its acceptance was calibrated so, half
answers and half talk."""

_FORGOTTEN_S: Final = 15.0  # by then what was heard counts for a third (1/e)
_LEAST, _MOST = 0.05, 0.95  # one utterance can't say more: a dropped wrench is not yet talk


def posterior(probability: float, prior: float) -> float:
    """Of something whose probability would be ``probability`` had it been met evenly, and was met by ``prior``."""
    right, wrong = probability * prior, (1 - probability) * (1 - prior)
    return right / (right + wrong) if right + wrong else 0.0


def probability_of(scores: Mapping[str, object]) -> float:
    """Of a hypothesis by its scores (also as the record has them): by its sound, and by what was heard before it."""
    alone, prior = float(str(scores.get("probability", 0))), float(str(scores.get("prior", EVEN)))
    return posterior(alone, prior)


class Talk:
    """What is known of the people in the room; probabilities from 0 to 1, time in seconds of sound heard."""

    def __init__(self) -> None:
        self._meant = EVEN

    @property
    def prior(self) -> float:
        """With what probability the next utterance is meant for the tool; at most ``EVEN``."""
        return min(EVEN, self._meant)

    def passed(self, seconds: float) -> None:
        self._meant = EVEN + (self._meant - EVEN) * exp(-seconds / _FORGOTTEN_S)

    def heard(self, probability: float) -> None:
        """One utterance, with its probability by its sound alone."""
        self._meant = posterior(min(max(probability, _LEAST), _MOST), self._meant)
