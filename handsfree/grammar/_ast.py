"""What a JSGF file says, as frozen dataclasses: one tree for recognizer text, word list and strict parse."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

__all__ = [
    "NULL",
    "VOID",
    "Choice",
    "Grammar",
    "Import",
    "Node",
    "Optional",
    "Ref",
    "Repeat",
    "Rule",
    "Sequence",
    "Special",
    "Tagged",
    "Word",
    "children",
    "map_refs",
    "walk",
]


@dataclass(frozen=True, slots=True)
class Word:
    """One spoken word, lower case."""

    text: str


@dataclass(frozen=True, slots=True)
class Ref:
    """``<name>`` or ``<grammar.name>``; after linking always ``grammar.name``."""

    name: str
    line: int = 0
    column: int = 0


@dataclass(frozen=True, slots=True)
class Special:
    """``<NULL>`` (says nothing, always matches) or ``<VOID>`` (never matches)."""

    name: str


NULL = Special("NULL")
VOID = Special("VOID")


@dataclass(frozen=True, slots=True)
class Sequence:
    items: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class Choice:
    """Alternatives; ``weights`` is empty or has one number an alternative (as written)."""

    items: tuple[Node, ...]
    weights: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Optional:
    item: Node


@dataclass(frozen=True, slots=True)
class Repeat:
    """``item*`` (``least`` 0) or ``item+`` (``least`` 1)."""

    item: Node
    least: int


@dataclass(frozen=True, slots=True)
class Tagged:
    """``item {tag}``: the tag is emitted after the item has matched."""

    item: Node
    tag: str


Node = Word | Ref | Special | Sequence | Choice | Optional | Repeat | Tagged


@dataclass(frozen=True, slots=True)
class Import:
    """``import <grammar.rule>;``; ``rule`` is ``*`` for every public rule."""

    grammar: str
    rule: str
    line: int
    column: int


@dataclass(frozen=True, slots=True)
class Rule:
    name: str
    public: bool
    expansion: Node
    line: int
    column: int


@dataclass(frozen=True, slots=True)
class Grammar:
    """One file. ``file`` is for error messages only."""

    name: str
    imports: tuple[Import, ...]
    rules: tuple[Rule, ...]
    file: str


def children(node: Node) -> tuple[Node, ...]:
    match node:
        case Sequence() | Choice():
            return node.items
        case Optional() | Repeat() | Tagged():
            return (node.item,)
        case _:
            return ()


def walk(node: Node) -> Iterator[Node]:
    """The node and everything below it, rule references not followed."""
    todo = [node]
    while todo:
        here = todo.pop()
        yield here
        todo.extend(children(here))


def map_refs(node: Node, change: Callable[[Ref], Ref]) -> Node:
    """The same tree with every rule reference replaced."""
    match node:
        case Ref():
            return change(node)
        case Sequence() | Choice():
            return replace(node, items=tuple(map_refs(item, change) for item in node.items))
        case Optional() | Repeat() | Tagged():
            return replace(node, item=map_refs(node.item, change))
        case _:
            return node
