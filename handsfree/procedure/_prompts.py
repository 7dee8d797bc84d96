"""The prompt file: every sentence the tool says of its own accord, in one TOML text a shop can translate."""

from __future__ import annotations

import string
from collections.abc import Mapping, Set

from handsfree._toml import TomlError, one_line, read_toml

__all__ = ["PromptError", "Prompts"]


class PromptError(ValueError):
    """A prompt is missing, or its variables are not those it is called with."""

    def __init__(self, message: str) -> None:
        super().__init__(one_line(message))  # a key of the file may be quoted in it, whatever it holds


def _must_be_plain(name: str, key: str, template: str) -> None:
    """A template holds words and plain {names}: nothing that could fail, or run wild, when it is filled."""
    try:
        parts = list(string.Formatter().parse(template))
    except ValueError as error:
        raise PromptError(f"{name}: {key}: {error}; write {{name}}, and {{{{ for a brace") from None
    for _, field, form, conversion in parts:
        if field is not None and (not field.isidentifier() or form or conversion):
            raise PromptError(f"{name}: {key}: {{{field}}} must be a plain name in braces")


#: Keys that begin so are heard as they are: cautions, what is out of limits, what stops or holds the work.
_NEVER_SHORTENED = (
    "caution",
    "closing",
    "check_words",
    "practice",
    "loosened",
    "limit_loosened",
    "stopped",
    "held",
    "outside",
    "close",
    "refused",
)


def _variables(template: str) -> frozenset[str]:
    return frozenset(field for _, field, _, _ in string.Formatter().parse(template) if field)


def _templates(name: str, data: Mapping[str, object]) -> dict[str, str]:
    found: dict[str, str] = {}
    for key, value in data.items():
        if not isinstance(value, str):
            raise PromptError(f"{name}: {key} must be a line of text")
        _must_be_plain(name, key, value)
        found[key] = value
    return found


class Prompts:
    """``say(key, expert, **variables)`` fills a template; the table ``[expert]`` holds shorter wordings."""

    def __init__(self, text: str, name: str = "prompts") -> None:
        try:
            data = read_toml(text)
        except TomlError as error:
            raise PromptError(f"{name}: not valid TOML: {error}") from None
        self._name = name
        expert = data.pop("expert", {})
        if not isinstance(expert, dict):
            raise PromptError(f"{name}: expert must be a table of prompts, [expert]")
        self._templates = _templates(name, data)
        self._expert = _templates(f"{name}: [expert]", expert)
        self._must_shorten(name)

    def _must_shorten(self, name: str) -> None:
        """An expert's prompt is another wording of a prompt that exists, and never one that must be heard whole."""
        for key in self._expert:
            if key not in self._templates:
                raise PromptError(f"{name}: [expert] {key}: there is no prompt of that name; take it out")
            if key.startswith(_NEVER_SHORTENED):
                raise PromptError(f"{name}: [expert] {key}: this is never shortened; take it out")

    @property
    def templates(self) -> Mapping[str, str]:
        return dict(self._templates)

    @property
    def expert(self) -> Mapping[str, str]:
        """The shorter wordings."""
        return dict(self._expert)

    def variables(self, key: str) -> frozenset[str]:
        """The variables a template uses."""
        return _variables(self._templates[key])

    def must_cover(self, packaged: Prompts, *, but: Set[str] = frozenset()) -> None:
        """Every sentence of the packaged file, ``but`` these, is there and asks for nothing more. Raises PromptError.

        Found out before a job begins, not when the sentence is wanted in the middle of it.
        """
        for key in packaged.templates.keys() - (but - self._templates.keys()):
            if key not in self._templates:
                raise PromptError(f"{self._name}: no prompt {key!r}; add it, the packaged file has one")
            used = self.variables(key) | _variables(self._expert.get(key, ""))
            if more := used - packaged.variables(key):
                raise PromptError(f"{self._name}: {key}: nothing fills {{{min(more)}}}; take it out")

    def say(self, key: str, expert: bool = False, /, **variables: str) -> str:
        """The filled sentence, in an expert's wording if there is one. Raises PromptError for a missing key or
        variable."""
        try:
            template = (expert and self._expert.get(key)) or self._templates[key]
        except KeyError:
            raise PromptError(f"no prompt {key!r} in the prompt file") from None
        try:
            return " ".join(template.format_map(variables).split())
        except KeyError as missing:
            raise PromptError(f"prompt {key!r}: variable {missing} is not filled") from None
