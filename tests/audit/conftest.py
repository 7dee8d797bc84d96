"""One whole job, made once, and copies of it to spoil."""

from __future__ import annotations

import itertools
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from .jobs import copy_of, whole_job


@pytest.fixture(autouse=True)
def _quick_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    """That lines are synced is the record's own test."""
    monkeypatch.setattr(os, "fsync", lambda _: None)
    if hasattr(os, "fdatasync"):
        monkeypatch.setattr(os, "fdatasync", lambda _: None)


@pytest.fixture(scope="session")
def original(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A finished job with sound. Never to be changed."""
    return whole_job(tmp_path_factory.mktemp("audit") / "job")


@pytest.fixture
def job(original: Path, tmp_path: Path) -> Path:
    return copy_of(original, tmp_path / "job")


@pytest.fixture
def fresh(original: Path, tmp_path: Path) -> Callable[[], Path]:
    """A new copy at every call."""
    numbers = itertools.count()
    return lambda: copy_of(original, tmp_path / f"copy-{next(numbers)}")
