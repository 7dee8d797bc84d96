"""JSGF text to tree: the Java Speech Grammar Format 1.0, without recursion and without empty alternatives."""

from __future__ import annotations

import re
from functools import cache
from typing import Any

from lark import Lark, Token, Transformer
from lark.exceptions import UnexpectedCharacters, UnexpectedInput, UnexpectedToken, VisitError

from ._ast import (
    NULL,
    VOID,
    Choice,
    Grammar,
    Import,
    Node,
    Optional,
    Ref,
    Repeat,
    Rule,
    Sequence,
    Tagged,
    Word,
)
from ._types import GrammarError

__all__ = ["MAX_CHARS", "MAX_NESTING", "parse_expansion", "parse_grammar"]

MAX_CHARS = 400_000  # a grammar file longer than this is a mistake, not a grammar
MAX_NESTING = 60  # the tree is walked recursively, so its depth is bounded before anything is built

_SYNTAX = r"""
grammar_file: HEADER "grammar" NAME ";" import_line* rule*
import_line: "import" RULE_NAME ";"
rule: [PUBLIC] RULE_NAME "=" choice ";"
expansion: choice
choice: weighted ("|" weighted)*
weighted: [WEIGHT] item+
?item: word | ref | group | optional | star | plus | tagged
word: WORD | QUOTED
ref: RULE_NAME
group: "(" choice ")"
optional: "[" choice "]"
star: item "*"
plus: item "+"
tagged: item TAG

HEADER: /#JSGF[^;\n]*;/
PUBLIC: "public"
NAME: /[A-Za-z_][\w.]*/
RULE_NAME: /<[ \t]*[A-Za-z_][\w.\-]*(\.\*)?[ \t]*>/
WEIGHT: /\/[ \t]*[0-9]+(\.[0-9]*)?[ \t]*\//
TAG: /\{([^{}\\]|\\.)*\}/s
QUOTED: /"[^"\n]+"/
WORD: /[^\s;=|*+<>()\[\]{}\/"\\#]+/
COMMENT: /\/\/[^\n]*/ | /\/\*[\s\S]*?\*\//
%ignore COMMENT
%ignore /\s+/
"""

_HEADER = re.compile(r"#JSGF[ \t]+V1\.0([ \t]+[\w.-]+){0,2}[ \t]*;")
_WORD = re.compile(r"[^\W_][\w'.\-]*\Z")
_SLOT_TAG = re.compile(r"[a-z_][a-z0-9_]*\s*\+?=\s*\S.*\Z", re.S)
_NUMBER_TAG = re.compile(r"[0-9.+*/()\-]+\Z")
_NAMES = {
    "SEMICOLON": "';'",
    "EQUAL": "'='",
    "VBAR": "'|'",
    "LPAR": "'('",
    "RPAR": "')'",
    "LSQB": "'['",
    "RSQB": "']'",
    "STAR": "'*'",
    "PLUS": "'+'",
    "TAG": "a {tag}",
    "WORD": "a word",
    "QUOTED": "a word",
    "RULE_NAME": "a <rule>",
    "WEIGHT": "a /weight/",
    "GRAMMAR": "'grammar NAME;'",
    "IMPORT": "'import <...>;'",
    "PUBLIC": "'public'",
    "NAME": "a grammar name",
    "HEADER": "'#JSGF V1.0;'",
    "$END": "the end",
}


def parse_grammar(text: str, file: str) -> Grammar:
    """One whole file. Raises GrammarError with ``file:line:column`` and what to do."""
    text = _checked(text.removeprefix("\ufeff"), file)
    if not _HEADER.match(text.lstrip()):
        raise GrammarError(f"{file}:1:1: the first line must be the header '#JSGF V1.0;'")
    return _run(text, file, "grammar_file")  # type: ignore[no-any-return]


def parse_expansion(text: str, file: str) -> Node:
    """One right-hand side, as armed inline; ``file`` only names it in errors."""
    return _run(_checked(text, file), file, "expansion")  # type: ignore[no-any-return]


def _checked(text: str, file: str) -> str:
    if len(text) > MAX_CHARS:
        raise GrammarError(f"{file}:1:1: longer than {MAX_CHARS} characters; split it into several grammars")
    depth = 0
    for at, char in enumerate(text):
        depth += (char in "([") - (char in ")]")
        if depth > MAX_NESTING:
            line, column = text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at)
            raise GrammarError(
                f"{file}:{line}:{column}: over {MAX_NESTING} brackets deep; give the inner part a rule"
            )
    return text


@cache
def _lark() -> Lark:
    return Lark(_SYNTAX, parser="lalr", start=["grammar_file", "expansion"], maybe_placeholders=True)


def _run(text: str, file: str, start: str) -> Any:
    try:
        tree = _lark().parse(text, start=start)
    except UnexpectedInput as wrong:
        raise GrammarError(_explain(wrong, text, file)) from None
    try:
        return _Build(file).transform(tree)
    except VisitError as wrong:
        if isinstance(wrong.orig_exc, GrammarError):
            raise wrong.orig_exc from None
        raise


def _explain(wrong: UnexpectedInput, text: str, file: str) -> str:
    line, column, found = wrong.line, wrong.column, "the end of the text"
    expected: set[str] = set()
    if isinstance(wrong, UnexpectedToken):
        expected = set(wrong.accepts or wrong.expected)
        if wrong.token.type != "$END":
            found = repr(str(wrong.token))
    elif isinstance(wrong, UnexpectedCharacters):
        expected, found = set(wrong.allowed or ()), repr(wrong.char)
    if found == "the end of the text" or line is None or line < 1:
        line, column = text.count("\n") + 1, len(text) - text.rfind("\n")
    wanted = ", ".join(sorted({_NAMES.get(name, name) for name in expected})) or "something else"
    return f"{file}:{line}:{column}: unexpected {found}; put here: {wanted}"


class _Build(Transformer[Token, Any]):
    """Lark's tree to ours; the only place that knows lark."""

    def __init__(self, file: str) -> None:
        super().__init__()
        self._file = file

    def _error(self, token: Token, message: str) -> GrammarError:
        return GrammarError(f"{self._file}:{token.line}:{token.column}: {message}")

    def grammar_file(self, parts: list[Any]) -> Grammar:
        imports = tuple(part for part in parts if isinstance(part, Import))
        rules = tuple(part for part in parts if isinstance(part, Rule))
        if not rules:
            raise GrammarError(f"{self._file}:1:1: no rules; add at least one 'public <rule> = ...;'")
        seen: dict[str, Rule] = {}
        for rule in rules:
            if rule.name in seen:
                raise GrammarError(
                    f"{self._file}:{rule.line}:{rule.column}: <{rule.name}> is already defined on line "
                    f"{seen[rule.name].line}; rename or remove one"
                )
            seen[rule.name] = rule
        return Grammar(str(parts[1]), imports, rules, self._file)

    def import_line(self, parts: list[Token]) -> Import:
        grammar, dot, rule = _inner(parts[0]).rpartition(".")
        if not dot:
            raise self._error(parts[0], "name the grammar too: import <grammar.rule>; or import <grammar.*>;")
        return Import(grammar, rule, parts[0].line or 0, parts[0].column or 0)

    def rule(self, parts: list[Any]) -> Rule:
        public, name, expansion = parts
        plain = _inner(name)
        if "." in plain or plain in ("NULL", "VOID"):
            raise self._error(name, f"<{plain}> can't be defined here; use a plain name without dots")
        return Rule(plain, public is not None, expansion, name.line, name.column)

    def expansion(self, parts: list[Node]) -> Node:
        return parts[0]

    def choice(self, parts: list[tuple[Token | None, Node]]) -> Node:
        weights = [weight for weight, _ in parts if weight is not None]
        if weights and len(weights) != len(parts):
            raise self._error(weights[0], "give every alternative a /weight/, or none")
        if len(parts) == 1:
            return parts[0][1]
        return Choice(tuple(node for _, node in parts), tuple(weight.strip("/ \t") for weight in weights))

    def weighted(self, parts: list[Any]) -> tuple[Token | None, Node]:
        weight, *items = parts
        return weight, items[0] if len(items) == 1 else Sequence(tuple(items))

    def word(self, parts: list[Token]) -> Node:
        words = parts[0].strip('"').lower().split()
        for word in words:
            if not _WORD.match(word):
                raise self._error(parts[0], f"{word!r} is not a word; spell it with letters")
        if not words:
            raise self._error(parts[0], "empty quotes; use <NULL> to say nothing")
        return Word(words[0]) if len(words) == 1 else Sequence(tuple(Word(word) for word in words))

    def ref(self, parts: list[Token]) -> Node:
        name = _inner(parts[0])
        if name.endswith(".*"):
            raise self._error(parts[0], f"<{name}> names many rules; name one")
        special = {"NULL": NULL, "VOID": VOID}.get(name)
        return special or Ref(name, parts[0].line or 0, parts[0].column or 0)

    def group(self, parts: list[Node]) -> Node:
        return parts[0]

    def optional(self, parts: list[Node]) -> Node:
        return Optional(parts[0])

    def star(self, parts: list[Node]) -> Node:
        return Repeat(parts[0], 0)

    def plus(self, parts: list[Node]) -> Node:
        return Repeat(parts[0], 1)

    def tagged(self, parts: list[Any]) -> Node:
        item, token = parts
        tag = re.sub(r"\\(.)", r"\1", token[1:-1]).strip()
        if not (_SLOT_TAG.match(tag) or _NUMBER_TAG.match(tag)):
            raise self._error(
                token, f"{{{tag}}} is neither {{key=value}}, {{key+=text}} nor a piece of arithmetic"
            )
        return Tagged(item, tag)


def _inner(token: Token) -> str:
    return token[1:-1].strip()
