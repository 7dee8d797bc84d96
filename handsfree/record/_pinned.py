"""The files a job works from, kept beside its record: its first line pins each by hash."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path

__all__ = ["PINNED", "pinned"]

#: By name, with the key of the first line that pins it.
PINNED: Mapping[str, str] = {
    "procedure.toml": "procedure_sha256",
    "prompts.toml": "prompts_sha256",
    "policy.toml": "policy_sha256",
}


def pinned(folder: Path, header: Mapping[str, object]) -> tuple[dict[str, str], dict[str, str]]:
    """The texts of the pinned files that are those the job began with, by name, and what is wrong with the others.

    ``header``: the body of the record's first line.
    """
    return held_against(contents_of(folder), header)


def contents_of(folder: Path) -> dict[str, bytes | None]:
    """The pinned files as they are, None for one that can't be read."""
    found: dict[str, bytes | None] = {}
    for name in PINNED:
        try:
            found[name] = (folder / name).read_bytes()
        except OSError:
            found[name] = None
    return found


def held_against(
    contents: Mapping[str, bytes | None], header: Mapping[str, object]
) -> tuple[dict[str, str], dict[str, str]]:
    """The same, of files that were read."""
    texts: dict[str, str] = {}
    faults: dict[str, str] = {}
    for name, key in PINNED.items():
        content = contents[name]
        if content is None:
            faults[name] = f"{name} can't be read; without it the job can't be replayed"
        elif hashlib.sha256(content).hexdigest() != header.get(key):
            faults[name] = f"{name} is not the file the job began with"
        else:
            texts[name] = content.decode("utf-8", errors="replace")
    return texts, faults
