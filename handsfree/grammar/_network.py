"""The strict parser: a finite-state network of words and tags, followed on all paths at once.

Grammars here have no recursion, so the tree unrolls into a network whose arcs take one word or emit one tag.
 Nothing that can be empty may repeat, so tag arcs make no cycle and every walk ends.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from ._ast import Choice, Node, Optional, Ref, Repeat, Special, Tagged, Word
from ._ast import Sequence as Seq
from ._types import GrammarError

__all__ = ["MAX_STATES", "MAX_WORDS", "Network"]

MAX_STATES = 100_000  # rules are unrolled at each use; a few thousand is usual
MAX_WORDS = 40  # no sentence a technician says is longer
_MAX_READINGS = 16  # different tag sequences kept at one point of one utterance: 2 already mean "ambiguous"
_MAX_DEPTH = 200  # of rule references and brackets together, so that building can't exhaust Python's stack

States = frozenset[int]
Tags = tuple[str, ...]


class Network:
    """Words and tags of labelled expansions. Immutable once built, apart from a cache of visited sets."""

    def __init__(self, rules: Mapping[str, Node], armed: Mapping[str, Node]) -> None:
        self._rules = rules
        self._silent: list[list[tuple[int, str | None]]] = []
        self._takes: list[dict[str, list[int]]] = []
        self._nullable: dict[str, bool] = {}
        self._steps: dict[tuple[States, str], States] = {}
        start = self._state()
        self._labels = {self._build(node, start, label, 0): label for label, node in armed.items()}
        self._left = self._words_left()
        if self._left[start] > MAX_WORDS:
            raise GrammarError(f"<{next(iter(armed))}>:1:1: nothing of at most {MAX_WORDS} words can be said")
        self._drop_dead_ends()
        self._start = self._close([start])
        self._first = start

    @property
    def size(self) -> int:
        return len(self._silent)

    def after(self, words: Sequence[str]) -> States:
        """Every live state after these words; empty when no sentence starts with them."""
        states = self._start
        for word in words[: MAX_WORDS + 1]:
            states = self._step(states, word)
        return states if len(words) <= MAX_WORDS else frozenset()

    def can_continue(self, words: Sequence[str]) -> bool:
        return len(words) < MAX_WORDS and any(self._takes[state] for state in self.after(words))

    def next_words(self, words: Sequence[str]) -> frozenset[str]:
        """What may be said next."""
        return frozenset(word for state in self.after(words) for word in self._takes[state])

    def readings(self, words: Sequence[str]) -> Iterator[tuple[str, Tags]]:
        """Each label with each different tag sequence under which ``words`` is a whole sentence."""
        if not words or not self.can_end(self.after(words)):
            return
        points = self._spread({self._first: [()]})
        for word in words:
            moved: dict[int, list[Tags]] = {}
            for state, many in points.items():
                for target in self._takes[state].get(word, ()):
                    _merge(moved.setdefault(target, []), many)
            points = self._spread(moved)
        for state, label in self._labels.items():
            yield from ((label, tags) for tags in points.get(state, ()))

    def sentences(self, max_words: int) -> Iterator[str]:
        """Every different sentence of at most ``max_words`` words, shortest first."""
        for length in range(1, min(max_words, MAX_WORDS) + 1):
            reached = False
            for words, states in self._begun((), self._start, length):
                reached = True
                if self.can_end(states):
                    yield " ".join(words)
            if not reached:
                return

    def _begun(self, words: Tags, states: States, more: int) -> Iterator[tuple[Tags, States]]:
        """All beginnings that add ``more`` words; made anew each time, as kept ones fill memory."""
        if not more:
            yield words, states
            return
        for word in sorted({word for state in states for word in self._takes[state]}):
            yield from self._begun((*words, word), self._step(states, word), more - 1)

    def can_end(self, states: States) -> bool:
        return not self._labels.keys().isdisjoint(states)

    def words_left(self, states: States) -> int:
        """The fewest words that complete a sentence from here."""
        return min((self._left[state] for state in states), default=MAX_WORDS + 1)

    def _step(self, states: States, word: str) -> States:
        key = (states, word)
        if key not in self._steps:
            if (
                len(self._steps) > 20_000
            ):  # one armed grammar listens for hours; the cache must not grow with it
                self._steps.clear()
            self._steps[key] = self._close(t for state in states for t in self._takes[state].get(word, ()))
        return self._steps[key]

    def _close(self, states: Iterable[int]) -> States:
        todo = list(states)
        seen = set(todo)
        while todo:
            for target, _ in self._silent[todo.pop()]:
                if target not in seen:
                    seen.add(target)
                    todo.append(target)
        return frozenset(seen)

    def _spread(self, points: dict[int, list[Tags]]) -> dict[int, list[Tags]]:
        todo = [(state, tags) for state, many in points.items() for tags in many]
        while todo:
            state, tags = todo.pop()
            for target, tag in self._silent[state]:
                longer = tags if tag is None else (*tags, tag)
                known = points.setdefault(target, [])
                if longer not in known and len(known) < _MAX_READINGS:
                    known.append(longer)
                    todo.append((target, longer))
        return points

    def _words_left(self) -> list[int]:
        """For each state the fewest words to the end; unreachable (below ``<VOID>``) counts as too many."""
        back: list[list[tuple[int, int]]] = [[] for _ in self._silent]
        for state, arcs in enumerate(self._silent):
            for target, _ in arcs:
                back[target].append((state, 0))
            for targets in self._takes[state].values():
                for target in targets:
                    back[target].append((state, 1))
        left = [MAX_WORDS + 1] * len(self._silent)
        wave, words = list(self._labels), 0
        while wave and words <= MAX_WORDS:
            longer: list[int] = []
            while wave:
                state = wave.pop()
                if left[state] <= words:
                    continue
                left[state] = words
                for source, cost in back[state]:
                    (longer if cost else wave).append(source)
            wave, words = longer, words + 1
        return left

    def _drop_dead_ends(self) -> None:
        """Remove arcs from which no sentence can be completed, so that "may go on" never lies."""

        def alive(target: int) -> bool:
            return self._left[target] <= MAX_WORDS

        self._silent = [[arc for arc in arcs if alive(arc[0])] for arcs in self._silent]
        for state, takes in enumerate(self._takes):
            kept = {word: [target for target in targets if alive(target)] for word, targets in takes.items()}
            self._takes[state] = {word: targets for word, targets in kept.items() if targets}

    # Building: each method adds the part from ``start`` and returns the state where the part has matched.

    def _state(self) -> int:
        if len(self._silent) >= MAX_STATES:
            raise GrammarError(
                f"the armed grammar unrolls to more than {MAX_STATES} states; arm narrower rules"
            )
        self._silent.append([])
        self._takes.append({})
        return len(self._silent) - 1

    def _arc(self, source: int, target: int, tag: str | None = None) -> int:
        self._silent[source].append((target, tag))
        return target

    def _build(self, node: Node, start: int, label: str, depth: int) -> int:
        if depth > _MAX_DEPTH:
            raise GrammarError(f"<{label}>:1:1: rules are nested deeper than {_MAX_DEPTH}; flatten them")
        match node:
            case Word(text):
                end = self._state()
                self._takes[start].setdefault(text, []).append(end)
                return end
            case Ref(name):
                return self._build(self._rules[name], start, label, depth + 1)
            case Special(name):
                end = self._state()
                return self._arc(start, end) if name == "NULL" else end
            case Seq(items):
                for item in items:
                    start = self._build(item, start, label, depth + 1)
                return start
            case Choice(items):
                end = self._state()
                for item in items:
                    self._arc(self._build(item, self._arc(start, self._state()), label, depth + 1), end)
                return end
            case Optional(item):
                end = self._arc(start, self._state())
                return self._arc(self._build(item, self._arc(start, self._state()), label, depth + 1), end)
            case Tagged(item, tag):
                return self._arc(self._build(item, start, label, depth + 1), self._state(), tag)
            case Repeat(item, least):
                return self._repeat(item, least, start, label, depth)

    def _repeat(self, item: Node, least: int, start: int, label: str, depth: int) -> int:
        begin = self._arc(start, self._state())
        end = self._arc(self._build(item, begin, label, depth + 1), self._state())
        if self._can_be_empty(item):  # asked after building, which bounds the depth
            raise GrammarError(
                f"<{label}>:1:1: '*' or '+' after something that can be empty; drop its [ ] or *"
            )
        self._arc(end, begin)
        return self._arc(start, self._arc(end, self._state())) if least == 0 else end

    def _can_be_empty(self, node: Node) -> bool:
        match node:
            case Word():
                return False
            case Special(name):
                return name == "NULL"
            case Ref(name):
                if name not in self._nullable:
                    self._nullable[name] = self._can_be_empty(self._rules[name])
                return self._nullable[name]
            case Seq(items):
                return all(self._can_be_empty(item) for item in items)
            case Choice(items):
                return any(self._can_be_empty(item) for item in items)
            case Tagged(item) | Repeat(item, 1):
                return self._can_be_empty(item)
            case _:
                return True


def _merge(known: list[Tags], more: Iterable[Tags]) -> None:
    for tags in more:
        if tags not in known and len(known) < _MAX_READINGS:
            known.append(tags)
