"""The prompt file: every sentence the tool says of its own accord, in one TOML text a shop can translate."""

from __future__ import annotations

import string
import tomllib
from collections.abc import Mapping

__all__ = ["PromptError", "Prompts"]


class PromptError(ValueError):
    """A prompt is missing, or its variables are not those it is called with."""


def _must_be_plain(name: str, key: str, template: str) -> None:
    """A template holds words and plain {names}: nothing that could fail, or run wild, when it is filled."""
    try:
        parts = list(string.Formatter().parse(template))
    except ValueError as error:
        raise PromptError(f"{name}: {key}: {error}; write {{name}}, and {{{{ for a brace") from None
    for _, field, form, conversion in parts:
        if field is not None and (not field.isidentifier() or form or conversion):
            raise PromptError(f"{name}: {key}: {{{field}}} must be a plain name in braces")


class Prompts:
    """``say(key, **variables)`` fills a template; ``terse`` keys override in expert mode, never for cautions."""

    def __init__(self, text: str, name: str = "prompts") -> None:
        try:
            data = tomllib.loads(text)
        except (tomllib.TOMLDecodeError, RecursionError) as error:
            raise PromptError(f"{name}: not valid TOML: {error}") from None
        self._name = name
        self._templates: dict[str, str] = {}
        for key, value in data.items():
            if not isinstance(value, str):
                raise PromptError(f"{name}: {key} must be a line of text")
            _must_be_plain(name, key, value)
            self._templates[key] = value

    @property
    def templates(self) -> Mapping[str, str]:
        return dict(self._templates)

    def variables(self, key: str) -> frozenset[str]:
        """The variables a template uses."""
        return frozenset(field for _, field, _, _ in string.Formatter().parse(self._templates[key]) if field)

    def must_cover(self, packaged: Prompts) -> None:
        """Every sentence of the packaged file is there and asks for nothing more. Raises PromptError.

        Found out before a job begins, not when the sentence is wanted in the middle of it.
        """
        for key in packaged.templates:
            if key not in self._templates:
                raise PromptError(f"{self._name}: no prompt {key!r}; add it, the packaged file has one")
            if more := self.variables(key) - packaged.variables(key):
                raise PromptError(f"{self._name}: {key}: nothing fills {{{min(more)}}}; take it out")

    def say(self, key: str, **variables: str) -> str:
        """The filled sentence. Raises PromptError for a missing key or variable."""
        try:
            template = self._templates[key]
        except KeyError:
            raise PromptError(f"no prompt {key!r} in the prompt file") from None
        try:
            return " ".join(template.format_map(variables).split())
        except KeyError as missing:
            raise PromptError(f"prompt {key!r}: variable {missing} is not filled") from None
