"""A recognizer's errors without a recognizer: words replaced by others that are allowed there and sound alike."""

from __future__ import annotations

import random
from collections.abc import Iterator
from functools import cache
from itertools import islice

from handsfree._checking import Arming, dictionary
from handsfree.grammar import Armed, Interpretation
from handsfree.hearing import Hypothesis
from handsfree.procedure._sounds import distance

__all__ = ["Arming", "Channel", "meaning_of"]

ENGINE = "simulated"


def meaning_of(meaning: Interpretation | None) -> object:
    """What tells one answer from another: everything but the words."""
    return meaning and (meaning.label, meaning.slots, meaning.number and meaning.number.value)


@cache
def _nearness(word: str, other: str) -> float:
    """2 to the minus phone distance: each phone that differs halves the chance."""
    forms = [[form.split() for form in dictionary().get(w, ())] for w in (word, other)]
    return max((2.0 ** -distance(a, b) for a in forms[0] for b in forms[1]), default=2.0**-8)


class Channel:
    """``substitution``: share of utterances of which one word is heard as another, so that they mean something
    else; ``rejection``: share not accepted; ``chatter``: share of what is no sentence at all that is heard as a
    sentence of what is armed (measured of PocketSphinx here: about 15 %)."""

    def __init__(
        self, seed: int, *, substitution: float = 0.1, rejection: float = 0.03, chatter: float = 0.15
    ) -> None:
        self._pick = random.Random(seed)
        self.substitution, self.rejection, self.chatter = substitution, rejection, chatter
        self.substituted = 0

    def hear(self, words: str, armed: Armed) -> Hypothesis:
        """What the recognizer makes of the words while this is armed."""
        pick = self._pick
        if armed.interpret(words) is None:
            if pick.random() >= self.chatter:
                return Hypothesis(words, (), ENGINE, (), accepted=False, reason="not accepted")
            heard = armed.examples(1, seed=pick.randrange(1 << 30), max_words=4)
            return Hypothesis(heard[0] if heard else "", (), ENGINE)
        if pick.random() < self.substitution:
            other = self._other(words, armed)
            if other:
                self.substituted += 1
                return Hypothesis(other, (), ENGINE)
        if pick.random() < self.rejection:
            return Hypothesis(words, (), ENGINE, (), accepted=False, reason="not accepted")
        return Hypothesis(words, (), ENGINE)

    def _other(self, words: str, armed: Armed) -> str:
        """The words with one replaced by another that may stand there, drawn by how alike they sound, so that they
        are a sentence of another meaning; if no word can be, another whole sentence of the moment; "" for none."""
        meant = meaning_of(armed.interpret(words))
        said = words.split()
        drawn = [(other, _nearness(a, b)) for other, a, b in _replaced(said, armed)]
        drawn += [(s, 2.0**-8) for s in _short(armed) if s not in {other for other, _ in drawn}]
        # Weighted, without putting back: the key of each is a random number to the power of 1/weight.
        drawn.sort(key=lambda one: self._pick.random() ** (1 / one[1]), reverse=True)
        for other, _ in drawn:
            meaning = armed.interpret(other)
            if meaning is not None and meaning_of(meaning) != meant:
                return other
        return ""


def _replaced(said: list[str], armed: Armed) -> Iterator[tuple[str, str, str]]:
    for at, word in enumerate(said):
        for other in sorted(armed.next_words(" ".join(said[:at])) - {word}):
            yield " ".join([*said[:at], other, *said[at + 1 :]]), word, other


_SHORT: dict[int, tuple[Armed, tuple[str, ...]]] = {}


def _short(armed: Armed) -> tuple[str, ...]:
    """The shortest sentences of a grammar; the grammar is kept with them, so that its id stays its own."""
    if id(armed) not in _SHORT:
        _SHORT[id(armed)] = (armed, tuple(islice(armed.sentences(max_words=3), 40)))
    return _SHORT[id(armed)][1]
