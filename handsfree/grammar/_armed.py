"""What the tool listens for right now, in its three uses: recognizer text, word list, strict parse."""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping
from functools import cached_property

from ._arithmetic import read_tags, slot_of
from ._ast import Node, Ref, Tagged, walk
from ._emit import emit, words_of
from ._network import MAX_WORDS, Network
from ._types import Interpretation

__all__ = ["Armed"]


class Armed:
    """Labelled alternatives of one moment. Made by ``Library.arm``; safe to keep and to share."""

    def __init__(self, rules: Mapping[str, Node], armed: Mapping[str, Node]) -> None:
        self._rules, self._armed = rules, dict(armed)
        self._network = Network(rules, self._armed)

    @property
    def labels(self) -> tuple[str, ...]:
        return tuple(self._armed)

    @cached_property
    def _jsgf(self) -> str:
        return emit(self._rules, self._armed)

    @cached_property
    def _words(self) -> frozenset[str]:
        return words_of(self._rules, self._armed)

    def jsgf(self) -> str:
        """One self-contained JSGF text with the public rule ``<armed>``, tags stripped."""
        return self._jsgf

    def words(self) -> frozenset[str]:
        """Every word that can be said, for dictionary checks and word-list engines."""
        return self._words

    def slot_values(self, key: str) -> frozenset[str]:
        """Every value that some sentence sets a slot to; for "unit", the units that can be said."""
        found: set[str] = set()
        todo, seen = list(self._armed.values()), set[str]()
        while todo:
            for node in walk(todo.pop()):
                if isinstance(node, Tagged) and (slot := slot_of(node.tag)) and slot[0] == key:
                    found.add(slot[1])
                elif isinstance(node, Ref) and node.name not in seen:
                    seen.add(node.name)
                    todo.append(self._rules[node.name])
        return frozenset(found)

    def interpret(self, text: str) -> Interpretation | None:
        """The one meaning of ``text`` as a whole sentence; None for no match or more than one meaning."""
        found = self.interpretations(text)
        return found[0] if len(found) == 1 else None

    def interpretations(self, text: str) -> tuple[Interpretation, ...]:
        """Every different meaning (label, slots, value, resolution); more than one: ambiguous here."""
        words = _split(text)
        found: dict[object, Interpretation] = {}
        for label, tags in self._network.readings(words):
            slots, number = read_tags(tags)
            value = number and (type(number.value), number.value, number.resolution)
            found.setdefault((label, slots, value), Interpretation(label, " ".join(words), slots, number))
        return tuple(found.values())

    def can_continue(self, text: str) -> bool:
        """Whether ``text`` begins some longer sentence: then the speaker may only be pausing."""
        return self._network.can_continue(_split(text))

    def next_words(self, text: str) -> frozenset[str]:
        """The words that may follow ``text``; empty when it begins no longer sentence."""
        return self._network.next_words(_split(text))

    def sentences(self, max_words: int = MAX_WORDS) -> Iterator[str]:
        """Every sentence, shortest first. Stop when you have enough: most grammars hold very many."""
        return self._network.sentences(max_words)

    def examples(self, count: int, seed: int = 0, max_words: int = 12) -> tuple[str, ...]:
        """Up to ``count`` different sample sentences, the same ones for the same seed."""
        pick = random.Random(seed)
        found: dict[str, None] = {}
        for _ in range(count * 20):
            if len(found) == count:
                break
            found[self._walk(pick, max_words)] = None
        found.pop("", None)
        return tuple(found)

    def _walk(self, pick: random.Random, max_words: int) -> str:
        said: list[str] = []
        network = self._network
        while True:
            states = network.after(said)
            choices = sorted(network.next_words(said))
            if not choices or (network.can_end(states) and (len(said) >= max_words or pick.random() < 0.25)):
                return " ".join(said)
            if len(said) >= max_words:  # too long already: take the shortest way out
                choices = sorted(choices, key=lambda word: network.words_left(network.after([*said, word])))[
                    :1
                ]
            said.append(pick.choice(choices))


def _split(text: str) -> list[str]:
    # Without a limit split() builds a list as long as hostile input; one word too many already is no match.
    return text.lower().split(None, MAX_WORDS + 1)[: MAX_WORDS + 1]
