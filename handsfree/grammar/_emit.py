"""The armed rules as one self-contained JSGF text for a recognizer: no imports, no tags, plain rule names."""

from __future__ import annotations

import re
from collections.abc import Mapping

from ._ast import NULL, Choice, Node, Optional, Ref, Repeat, Sequence, Special, Tagged, Word, walk

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
    """JSGF 1.0 text with one public rule ``<armed>``.

    ``<VOID>`` is cut out first: PocketSphinx 5.1.1 silently drops the alternatives beside it as well.
    """
    speakable: dict[str, Node | None] = {}
    armed = {label: node for label, whole in armed.items() if (node := _speakable(whole, rules, speakable))}
    rules = {name: node for name, node in speakable.items() if node}
    names = _safe_names(used_rules(rules, armed))
    lines = ["#JSGF V1.0;", "grammar armed;"]
    alternatives = " | ".join(_text(node, names, in_sequence=False) for node in armed.values())
    lines.append(f"public <armed> = {alternatives};")
    lines += [f"<{safe}> = {_text(rules[name], names, in_sequence=False)};" for name, safe in names.items()]
    return "\n".join(lines) + "\n"


def _speakable(node: Node, rules: Mapping[str, Node], known: dict[str, Node | None]) -> Node | None:
    """The node without what can never be said; None when nothing is left. ``known`` collects the rules met."""
    match node:
        case Special("VOID"):
            return None
        case Ref(name):
            if name not in known:
                known[name] = _speakable(rules[name], rules, known)
            return node if known[name] else None
        case Sequence(items):
            kept = [_speakable(item, rules, known) for item in items]
            return Sequence(tuple(item for item in kept if item)) if all(kept) else None
        case Choice(items, weights):
            pairs = list(
                zip((_speakable(item, rules, known) for item in items), weights or items, strict=True)
            )
            alive = tuple(item for item, _ in pairs if item)
            shares = tuple(share for item, share in pairs if item and isinstance(share, str))
            return Choice(alive, shares) if alive else None
        case Optional(item):
            inside = _speakable(item, rules, known)
            return Optional(inside) if inside else NULL
        case Repeat(item, least):
            inside = _speakable(item, rules, known)
            return Repeat(inside, least) if inside else None if least else NULL
        case Tagged(item):
            return _speakable(item, rules, known)
        case _:
            return node


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
