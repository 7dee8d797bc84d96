"""A whole small job, and disks that need not prove themselves again."""

from __future__ import annotations

from pathlib import Path

import pytest
from procedure.conftest import EVERY_KIND, TO_WAIT
from procedure.driving import CARE, PLY, SIZE, count, do, whole

SHORT = whole(PLY, SIZE + 'on = { outside = "scrap" }\n', CARE, do(), count())
SHORT_LINES = [
    "fabric ply",
    "affirmative",
    "seven",
    "negative",
    "rhubarb",
    "five point five",
    "affirmative",
    "no flame",
    "correction",
    "5.2 mm",
    "affirmative",
    "completed",
    "pass one",
    "pass two",
    "hold work",
    "resume work",
    "pass three",
    "completed",
]
SHORT_READINGS = {"injury.size": "5.2 mm"}
WHOLE = EVERY_KIND
WHOLE_LINES = [*TO_WAIT, "completed", "completed", "completed"]
WHOLE_READINGS = {"injury.size": "5.5 mm", "air.temperature": "21 degC", "air.humidity": "55 %"}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "job"
