"""One whole job, made once, and copies of it to spoil."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from pathlib import Path

import pytest

from .jobs import copy_of, job, original

__all__ = ["job", "original"]


@pytest.fixture
def fresh(original: Path, tmp_path: Path) -> Callable[[], Path]:
    """A new copy at every call."""
    numbers = itertools.count()
    return lambda: copy_of(original, tmp_path / f"copy-{next(numbers)}")
