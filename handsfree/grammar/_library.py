"""All grammar files together: names resolved, recursion refused, rules armed by label."""

from __future__ import annotations

import hashlib
import importlib.resources
from collections.abc import Iterator, Mapping
from functools import cache, cached_property
from pathlib import Path

from ._armed import Armed
from ._ast import Grammar, Node, Ref, Rule, map_refs, walk
from ._parse import parse_expansion, parse_grammar
from ._types import GrammarError

__all__ = ["Library", "load_pronunciations"]

_DICTIONARY = "pronunciations.dict"


class Library:
    """Linked grammars, immutable. ``rules``: ``grammar.rule`` -> expansion, references fully qualified."""

    def __init__(self, grammars: Mapping[str, Grammar]) -> None:
        self._grammars = dict(grammars)
        self._public = frozenset(f"{g.name}.{r.name}" for g in grammars.values() for r in g.rules if r.public)
        names = {f"{g.name}.{r.name}" for g in grammars.values() for r in g.rules}
        self.rules: Mapping[str, Node] = {
            f"{grammar.name}.{rule.name}": node
            for grammar in grammars.values()
            for rule, node in _Linker(grammar, self._grammars, frozenset(names), self._public).linked()
        }
        self._refuse_recursion()

    @classmethod
    def from_texts(cls, texts: Mapping[str, str]) -> Library:
        """From file name -> JSGF text. GrammarError: bad syntax, undefined, duplicate or recursive rules."""
        grammars: dict[str, Grammar] = {}
        for file, text in texts.items():
            grammar = parse_grammar(text, file)
            if grammar.name in grammars:
                other = grammars[grammar.name].file
                raise GrammarError(f"{file}:1:1: grammar {grammar.name} is already in {other}; rename one")
            grammars[grammar.name] = grammar
        return cls(grammars)

    @classmethod
    def load(cls, folder: Path | None = None) -> Library:
        """From the ``*.jsgf`` files shipped with the package, or from ``folder``."""
        return cls.from_texts(_read_folder(folder)) if folder else _shipped()

    @cached_property
    def sha256(self) -> str:
        """Hash of every linked rule: what a record pins of the grammars."""
        text = "\n".join(f"{name} {self.rules[name]!r}" for name in sorted(self.rules))
        return hashlib.sha256(text.encode()).hexdigest()

    def public_rules(self) -> tuple[str, ...]:
        """Every ``grammar.rule`` that may be armed, sorted."""
        return tuple(sorted(self._public))

    def arm(self, expansions: Mapping[str, str]) -> Armed:
        """Listen for these: label -> inline JSGF such as ``"<readings.angle> | unknown {angle=none}"``.

        Rule references must be ``<grammar.rule>`` and public. Raises GrammarError.
        """
        if not expansions:
            raise GrammarError("<armed>:1:1: nothing to arm; give at least one label and expansion")
        names = frozenset(self.rules)
        nodes = {
            label: _Linker(Grammar("", (), (), f"<{label}>"), self._grammars, names, self._public).link(
                parse_expansion(text, f"<{label}>")
            )
            for label, text in expansions.items()
        }
        return Armed(self.rules, nodes)

    def _refuse_recursion(self) -> None:
        done: set[str] = set()
        for start in self.rules:
            path: list[str] = []
            todo: list[tuple[str, bool]] = [(start, True)]
            while todo:  # own stack: a long chain of rules must not exhaust Python's
                name, entering = todo.pop()
                if not entering:
                    done.add(path.pop())
                elif name in path:
                    raise self._recursion(path[path.index(name) :])
                elif name not in done:
                    path.append(name)
                    todo.append((name, False))
                    todo += [(node.name, True) for node in walk(self.rules[name]) if isinstance(node, Ref)]

    def _recursion(self, ring: list[str]) -> GrammarError:
        grammar, _, name = ring[0].rpartition(".")
        rule = next(rule for rule in self._grammars[grammar].rules if rule.name == name)
        way = " -> ".join(f"<{part}>" for part in (*ring, ring[0]))
        place = f"{self._grammars[grammar].file}:{rule.line}:{rule.column}"
        return GrammarError(f"{place}: recursion {way}; use '*' or '+' instead")


class _Linker:
    """Resolves the rule references of one grammar."""

    def __init__(
        self, grammar: Grammar, grammars: Mapping[str, Grammar], names: frozenset[str], public: frozenset[str]
    ) -> None:
        self._grammar, self._grammars, self._names, self._public = grammar, grammars, names, public
        self._own = {rule.name for rule in grammar.rules}
        self._imported = dict(self._imports())

    def linked(self) -> Iterator[tuple[Rule, Node]]:
        for rule in self._grammar.rules:
            yield rule, self.link(rule.expansion)

    def link(self, node: Node) -> Node:
        return map_refs(node, self._resolve)

    def _error(self, line: int, column: int, message: str) -> GrammarError:
        return GrammarError(f"{self._grammar.file}:{line}:{column}: {message}")

    def _imports(self) -> Iterator[tuple[str, str]]:
        for wanted in self._grammar.imports:
            if wanted.grammar not in self._grammars:
                known = ", ".join(sorted(self._grammars))
                message = f"no grammar {wanted.grammar!r} to import from; known: {known}"
                raise self._error(wanted.line, wanted.column, message)
            rules = [
                r.name
                for r in self._grammars[wanted.grammar].rules
                if r.public and wanted.rule in ("*", r.name)
            ]
            if not rules:
                message = f"no public rule <{wanted.grammar}.{wanted.rule}>; check its name or make it public"
                raise self._error(wanted.line, wanted.column, message)
            yield from ((name, f"{wanted.grammar}.{name}") for name in rules)

    def _resolve(self, ref: Ref) -> Ref:
        if "." not in ref.name:
            if ref.name in self._own:
                return Ref(f"{self._grammar.name}.{ref.name}", ref.line, ref.column)
            if ref.name in self._imported:
                return Ref(self._imported[ref.name], ref.line, ref.column)
            raise self._error(ref.line, ref.column, f"undefined rule <{ref.name}>; define or import it")
        if ref.name not in self._names:
            raise self._error(
                ref.line, ref.column, f"undefined rule <{ref.name}>; check grammar and rule name"
            )
        if ref.name not in self._public and ref.name.rpartition(".")[0] != self._grammar.name:
            raise self._error(ref.line, ref.column, f"<{ref.name}> is private; make it public or use another")
        return ref


@cache
def _shipped() -> Library:
    return Library.from_texts(_read_folder(_folder()))


def load_pronunciations(folder: Path | None = None) -> dict[str, tuple[str, ...]]:
    """Word -> pronunciations (CMU phones, space separated) for words the packaged dictionary lacks."""
    file = (folder or _folder()) / _DICTIONARY
    words: dict[str, tuple[str, ...]] = {}
    for number, line in enumerate(file.read_text("utf-8").splitlines(), 1):
        if not line.strip() or line.startswith(";"):
            continue
        word, _, phones = line.strip().partition(" ")
        if not phones.strip():
            raise GrammarError(f"{_DICTIONARY}:{number}:1: write the word, a space and its phones")
        word = word.partition("(")[0]  # "word(2)" is the CMU way to write a second pronunciation
        words[word] = (*words.get(word, ()), " ".join(phones.split()))
    return words


def _folder() -> Path:
    """The wheel carries the files inside the package; an editable install finds them beside it."""
    package = Path(str(importlib.resources.files("handsfree")))
    for folder in (package / "grammars", package.parent / "grammars"):
        if folder.is_dir():
            return folder
    raise GrammarError(f"{package / 'grammars'}: no grammar files there; reinstall the package")


def _read_folder(folder: Path) -> dict[str, str]:
    texts = {path.name: path.read_text("utf-8") for path in sorted(folder.glob("*.jsgf"))}
    if not texts:
        raise GrammarError(f"{folder}: no *.jsgf file there; give the folder of the grammars")
    return texts
