"""A place for voices that is the test's own."""

from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.enrolment import VoiceStore


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> VoiceStore:
    monkeypatch.setenv("HANDSFREE_VOICES", str(tmp_path / "voices"))
    return VoiceStore()
