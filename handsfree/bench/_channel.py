"""A recognizer's errors without a recognizer: words replaced by others that are allowed there and sound alike."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from functools import cache

from handsfree._checking import dictionary
from handsfree.grammar import Armed, Interpretation, Library
from handsfree.hearing import Hypothesis
from handsfree.procedure._sounds import distance

__all__ = ["Arming", "Channel", "meaning_of"]

ENGINE = "simulated"
_KEPT = 20_000


class Arming:
    """The grammars, each made once for all the jobs of a process. Takes a library's place in a session."""

    def __init__(self) -> None:
        self._library = Library.load()
        self._kept: dict[tuple[tuple[str, str], ...], Armed] = {}

    def arm(self, armed: Mapping[str, str]) -> Armed:
        key = tuple(armed.items())
        if key not in self._kept:
            self._kept[key] = self._library.arm(armed)
        return self._kept[key]


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
            others = _others(words, armed)
            if others:
                self.substituted += 1
                names, weights = zip(*others, strict=True)
                return Hypothesis(pick.choices(names, weights)[0], (), ENGINE)
        if pick.random() < self.rejection:
            return Hypothesis(words, (), ENGINE, (), accepted=False, reason="not accepted")
        return Hypothesis(words, (), ENGINE)


_OTHERS: dict[tuple[int, str], tuple[Armed, Sequence[tuple[str, float]]]] = {}


def _others(words: str, armed: Armed) -> Sequence[tuple[str, float]]:
    """Sentences of one other word and another meaning, each with its weight."""
    key = (id(armed), words)
    if key not in _OTHERS:
        if len(_OTHERS) > _KEPT:
            _OTHERS.clear()
        _OTHERS[key] = (armed, _find_others(words.split(), armed))  # the grammar kept, so that its id stays its own
    return _OTHERS[key][1]


def _find_others(words: list[str], armed: Armed) -> list[tuple[str, float]]:
    meant = meaning_of(armed.interpret(" ".join(words)))
    found = []
    for at, word in enumerate(words):
        for other in sorted(armed.next_words(" ".join(words[:at]))):
            sentence = " ".join([*words[:at], other, *words[at + 1 :]])
            if other != word:
                meaning = armed.interpret(sentence)
                if meaning is not None and meaning_of(meaning) != meant:
                    found.append((sentence, _nearness(word, other)))
    return found
