"""The text of a TOML file that a person wrote, read safely; and a complaint about it in one line. Pure."""

from __future__ import annotations

import tomllib
from typing import Any

__all__ = ["TomlError", "one_line", "read_toml"]

_LONGEST_LINE = 400


class TomlError(ValueError):
    """The text is not valid TOML; one line says where."""


def read_toml(text: str) -> dict[str, Any]:
    """The tables of a TOML text. Raises TomlError, also for what the standard library lets escape."""
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise TomlError("nested too deep") from None
    except ValueError as error:  # TOMLDecodeError, or an integer of thousands of digits
        raise TomlError(one_line(str(error))) from None


def one_line(text: str) -> str:
    """A message that may quote a file, as one line without anything that could move a terminal's cursor."""
    line = "".join(char if char.isprintable() else " " for char in text)
    return " ".join(line.split())[:_LONGEST_LINE]
