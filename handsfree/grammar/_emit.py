"""The armed rules as one self-contained JSGF text for a recognizer: no imports, no tags, plain rule names."""

from __future__ import annotations

import re
from collections.abc import Mapping

from ._ast import Choice, Node, Optional, Ref, Repeat, Sequence, Special, Tagged, Word, walk

__all__ = ["emit", "used_rules", "words_of"]


def used_rules(rules: Mapping[str, Node], armed: Mapping[str, Node]) -> tuple[str, ...]:
    """Names of all rules the armed expansions reach, in order of first use."""
    found: dict[str, None] = {}
    todo = list(reversed(tuple(armed.values())))
    while todo:
        for node in walk(todo.pop()):
            if isinstance(node, Ref) and node.name not in found:
                found[node.name] = None
                todo.append(rules[node.name])
    return tuple(found)


def words_of(rules: Mapping[str, Node], armed: Mapping[str, Node]) -> frozenset[str]:
    nodes = [*armed.values(), *(rules[name] for name in used_rules(rules, armed))]
    return frozenset(part.text for node in nodes for part in walk(node) if isinstance(part, Word))


def emit(rules: Mapping[str, Node], armed: Mapping[str, Node]) -> str:
    """JSGF 1.0 text with one public rule ``<armed>``."""
    names = _safe_names(used_rules(rules, armed))
    lines = ["#JSGF V1.0;", "grammar armed;"]
    alternatives = " | ".join(_text(node, names, in_sequence=False) for node in armed.values())
    lines.append(f"public <armed> = {alternatives};")
    lines += [f"<{safe}> = {_text(rules[name], names, in_sequence=False)};" for name, safe in names.items()]
    return "\n".join(lines) + "\n"


def _safe_names(rules: tuple[str, ...]) -> dict[str, str]:
    """Dots mean something in a rule name, so they go; a number keeps two names apart."""
    return {name: f"r{number}_{re.sub(r'[^A-Za-z0-9]', '_', name)}" for number, name in enumerate(rules)}


def _text(node: Node, names: Mapping[str, str], *, in_sequence: bool) -> str:
    match node:
        case Word(text):
            return text
        case Ref(name):
            return f"<{names[name]}>"
        case Special(name):
            return f"<{name}>"
        case Tagged(item):
            return _text(item, names, in_sequence=in_sequence)
        case Sequence(items):
            return " ".join(_text(item, names, in_sequence=True) for item in items)
        case Optional(item):
            return f"[ {_text(item, names, in_sequence=False)} ]"
        case Repeat(item, least):
            return f"( {_text(item, names, in_sequence=False)} ){'+' if least else '*'}"
        case Choice(items, weights):
            parts = [_text(item, names, in_sequence=bool(weights)) for item in items]
            if weights:
                parts = [f"/{weight}/ {part}" for weight, part in zip(weights, parts, strict=True)]
            text = " | ".join(parts)
            return f"( {text} )" if in_sequence or weights else text
