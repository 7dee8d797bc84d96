"""What talk is taken for most must be heard more surely; to stop, only if it is one syllable."""

from __future__ import annotations

import pytest

from handsfree.grammar import Library
from handsfree.hearing._pocketsphinx import _strictly

ARMED = Library.load().arm(
    {
        "command": "<commands.command>",
        "bay": "<commands.bay>",
        "answer": "<readings.length_mm> | (crown area) {option=crown} | (flat) {option=flat}",
    }
)


@pytest.mark.parametrize(
    ("text", "strict"),
    [
        ("five point zero millimeters", True),
        ("go back", True),
        ("hold", True),
        ("start another tire", True),
        ("flat", True),
        ("crown area", False),
        ("stop", True),
        ("stop work", False),
    ],
)
def test_how_surely_it_must_be_heard(text: str, strict: bool) -> None:
    meaning = ARMED.interpret(text)
    assert meaning is not None
    assert _strictly(text, meaning) is strict
