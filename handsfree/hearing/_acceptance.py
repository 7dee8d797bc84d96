"""Gate 3: was this really spoken, or is it what a grammar makes of a cough and a radio?

A pure function of what the engine measured. How likely it is that the words heard, with their meaning, are what was
said comes from a logistic regression (``acceptance.json``, fitted and tested by tests/hearing/calibrate.py with other
voices and sentences). It can't know a wrong number for sure ("eighty" for "eighteen" fits nearly as well): only
reading back does.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from math import exp
from pathlib import Path
from typing import Final

from handsfree.hearing._talk import EVEN, posterior

__all__ = [
    "FEATURES",
    "Calibration",
    "Evidence",
    "Judgement",
    "Outcome",
    "WordEvidence",
    "calibration",
    "is_short",
    "judge",
]


_SHORT: Final = 4  # letters


class Outcome(StrEnum):
    ACCEPT = "accept"
    CONFIRM = "confirm"  # not to be acted on before it was confirmed in words
    REJECT = "reject"


@dataclass(frozen=True, slots=True)
class WordEvidence:
    """One word: seconds from the utterance's start; natural-log likelihood per 10 ms frame of the word and of
    the phone loop over the same frames."""

    text: str
    start_s: float
    end_s: float
    score: float
    phone: float

    @property
    def ratio(self) -> float:
        return self.score - self.phone

    @property
    def letters(self) -> int:
        """Stand for its sounds; a letter that is said by its name has some too."""
        return max(len(self.text), 3)


@dataclass(frozen=True, slots=True)
class Evidence:
    """One utterance: natural-log likelihood per 10 ms frame of the grammar (with what it gives for silences) and of
    the phone loop, both for the record.

    ``seconds`` is its length; ``unexplained_s`` how long the phone loop heard speech sounds where the grammar
    has no word. ``agreed``: False when a second decode heard other words. ``snr_db`` as measured.
    """

    grammar: float
    phone: float
    seconds: float
    unexplained_s: float
    words: tuple[WordEvidence, ...]
    agreed: bool = True
    snr_db: float = 40.0

    @property
    def ratio(self) -> float:
        """Of the words' frames: how a room's silence fits tells nothing of what was said in it."""
        fit = sum(word.ratio * (word.end_s - word.start_s) for word in self.words)
        return fit / self.spoken_s if self.spoken_s else 0.0

    @property
    def worst_word(self) -> float:
        return min((word.ratio for word in self.words), default=0.0)

    @property
    def slowest_word_s(self) -> float:
        """Seconds a letter: a short word stretched over a long sound is hardly that word."""
        return max(((word.end_s - word.start_s) / word.letters for word in self.words), default=0.0)

    @property
    def spoken_s(self) -> float:
        """Seconds that the words take."""
        return sum(word.end_s - word.start_s for word in self.words)

    def named(self) -> tuple[tuple[str, float], ...]:
        """For the record."""
        return (
            ("grammar", round(self.grammar, 3)),
            ("phone", round(self.phone, 3)),
            ("ratio", round(self.ratio, 3)),
            ("worst_word", round(self.worst_word, 3)),
            ("unexplained_s", round(self.unexplained_s, 2)),
            ("agreed", float(self.agreed)),
        )


def _letters(evidence: Evidence) -> float:
    return float(min(sum(word.letters for word in evidence.words), 30))


#: What the regression looks at, each bounded to where there was data. Letters stand for the sounds that had to fit:
#: much that fits fairly is better proof than little that fits well.
FEATURES: Final[Mapping[str, Callable[[Evidence], float]]] = {
    "ratio": lambda e: e.ratio,
    "worst_word": lambda e: max(e.worst_word, -12.0),
    "unexplained_s": lambda e: e.unexplained_s,
    "slowest_word_s": lambda e: e.slowest_word_s,
    "letters": _letters,
    "snr_db": lambda e: min(max(e.snr_db, 0.0), 40.0),
    "agreed": lambda e: float(e.agreed),
    "spoken_s": lambda e: min(e.spoken_s, 2.0),
    "ratio_times_letters": lambda e: e.ratio * _letters(e),
}

#: What speaks most against an utterance that is not accepted, in plain words.
_REASONS: Final[Mapping[str, str]] = {
    "ratio": "the sound does not fit the words",
    "ratio_times_letters": "the sound does not fit the words",
    "worst_word": "one word does not fit the sound",
    "unexplained_s": "more was said than the words heard",
    "slowest_word_s": "a word lasted too long",
    "agreed": "other words were heard at the second listening",
    "snr_db": "the noise is loud",
}


@dataclass(frozen=True, slots=True)
class Calibration:
    """``terms``: feature -> (mean, spread, weight) over the tuning voices. From ``accept`` on an utterance counts,
    figures, a command or one short word from ``accept_strict`` on, from ``confirm`` on it is asked about.

    Talk and noise are taken for figures more than for anything else, since a grammar of digits has a sentence for
    every sound; and a reading is read back however surely it was heard, so that strictness costs nothing there. One
    syllable ("hold") is found in any talk too, and commands are armed all day, whatever is asked.
    """

    terms: Mapping[str, tuple[float, float, float]]
    bias: float
    accept: float
    accept_strict: float
    confirm: float

    def shares(self, evidence: Evidence) -> dict[str, float]:
        """What each feature adds to the logarithm of the odds."""
        return {
            name: weight * (FEATURES[name](evidence) - mean) / spread
            for name, (mean, spread, weight) in self.terms.items()
        }

    def probability(self, evidence: Evidence) -> float:
        return 1 / (1 + exp(-max(min(self.bias + sum(self.shares(evidence).values()), 700.0), -700.0)))


@dataclass(frozen=True, slots=True)
class Judgement:
    """``probability``: by its sound alone. ``reason``: why it was not accepted outright, "" when it was."""

    outcome: Outcome
    probability: float
    reason: str = ""


def is_short(text: str) -> bool:
    """One syllable ("hold", "stop"): it is found in any talk."""
    return len(text) <= _SHORT


@cache
def calibration() -> Calibration:
    """The packaged one."""
    found = json.loads(Path(__file__).with_name("acceptance.json").read_text(encoding="utf-8"))
    terms = {name: (float(m), float(s), float(w)) for name, (m, s, w) in found["terms"].items()}
    bounds = (float(found[name]) for name in ("accept", "accept_strict", "confirm"))
    return Calibration(terms, float(found["bias"]), *bounds)


def judge(
    evidence: Evidence, by: Calibration | None = None, *, strict: bool = False, prior: float = EVEN
) -> Judgement:
    """Accept, confirm or reject. ``strict``: what was heard is figures, a command or one short word. ``prior``: with
    what probability it was met (``Talk``). By a small one nothing is refused that else is asked about: in the middle
    of talk an answer by the technician is asked about too, and not lost."""
    by = by or calibration()
    if not evidence.words:
        return Judgement(Outcome.REJECT, 0.0, "no words heard")
    probability = by.probability(evidence)
    least = by.accept_strict if strict else by.accept
    if posterior(probability, min(prior, EVEN)) >= least:
        return Judgement(Outcome.ACCEPT, probability)
    if probability >= least:
        return Judgement(Outcome.CONFIRM, probability, "people talk")
    shares = {name: share for name, share in by.shares(evidence).items() if name in _REASONS}
    reason = _REASONS[min(shares, key=lambda name: shares[name])]
    outcome = Outcome.CONFIRM if probability >= by.confirm else Outcome.REJECT
    return Judgement(outcome, probability, reason)
