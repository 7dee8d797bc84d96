"""Heard unsurely, and then the same again: that counts. In noise a short word is often heard right and not surely;
who has to say "affirmative" until it is sure by itself goes to the keyboard."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from handsfree.hearing import Hypothesis, is_short, probability_of, same_meaning

if TYPE_CHECKING:
    from handsfree.session._bay import Listening, Tire

__all__ = ["LEAST_PROBABILITY", "WITHIN_MS", "Twice"]

#: How likely each of the two must be right; what is less likely is only ever asked about.
LEAST_PROBABILITY: Final = 0.5
WITHIN_MS: Final = 20_000  # the tool's "Say again?" and the answer to it; later it is another conversation


class Twice:
    """Asked about every utterance in turn, of all jobs of the session."""

    def __init__(self) -> None:
        self._before: tuple[Tire | None, Listening, str, int] | None = None

    def __call__(self, hypothesis: Hypothesis, tire: Tire | None, listening: Listening, now: int) -> bool:
        """Whether an unsure one says what the one just before it said, to the same question of the same job."""
        before, self._before = self._before, None
        probable = probability_of(dict(hypothesis.scores)) >= LEAST_PROBABILITY
        unsure = hypothesis.accepted and hypothesis.unsure
        # A short word is found in talk also twice in a row.
        if not (unsure and probable) or is_short(hypothesis.text) or listening.armed is None:
            return False
        if before is not None:
            asked, then, text, at = before
            same = asked is tire and then.armed is listening.armed and now - at <= WITHIN_MS
            if same and same_meaning(listening.armed, hypothesis.text, text):
                return True
        self._before = tire, listening, hypothesis.text, now
        return False
