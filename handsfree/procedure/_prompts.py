"""The prompt file: every sentence the tool says of its own accord, in one TOML text a shop can translate."""

from __future__ import annotations

import string
import tomllib
from collections.abc import Mapping

__all__ = ["PromptError", "Prompts"]


class PromptError(ValueError):
    """A prompt is missing, or its variables are not those it is called with."""


class Prompts:
    """``say(key, **variables)`` fills a template; ``terse`` keys override in expert mode, never for cautions."""

    def __init__(self, text: str, name: str = "prompts") -> None:
        try:
            data = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            raise PromptError(f"{name}: not valid TOML: {error}") from None
        self._templates: dict[str, str] = {}
        for key, value in data.items():
            if not isinstance(value, str):
                raise PromptError(f"{name}: {key} must be a line of text")
            self._templates[key] = value

    @property
    def templates(self) -> Mapping[str, str]:
        return dict(self._templates)

    def variables(self, key: str) -> frozenset[str]:
        """The variables a template uses."""
        return frozenset(field for _, field, _, _ in string.Formatter().parse(self._templates[key]) if field)

    def say(self, key: str, **variables: str) -> str:
        """The filled sentence. Raises PromptError for a missing key or variable."""
        try:
            template = self._templates[key]
        except KeyError:
            raise PromptError(f"no prompt {key!r} in the prompt file") from None
        try:
            return " ".join(template.format_map(variables).split())
        except (KeyError, IndexError, ValueError) as error:
            raise PromptError(f"prompt {key!r}: variable {error} is not filled") from None
