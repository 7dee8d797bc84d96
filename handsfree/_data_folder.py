"""Where what belongs to a user of this machine is kept."""

from __future__ import annotations

import os
from pathlib import Path

__all__ = ["data_folder"]


def data_folder(what: str) -> Path:
    """The folder of "models", say: HANDSFREE_MODELS, else handsfree/models in the user's data folder (XDG)."""
    named = os.environ.get(f"HANDSFREE_{what.upper()}")
    if named:
        return Path(named)
    data = os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share"
    return Path(data) / "handsfree" / what
