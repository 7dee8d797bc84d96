"""Drives through the small procedures of ``driving``."""

from __future__ import annotations

import pytest

from .driving import (
    AIR,
    BADGE,
    CARE,
    CLEAR,
    ENDINGS,
    HEAD,
    LOOK,
    PLY,
    SIZE,
    WARM,
    Drive,
    count,
    do,
    wait,
    whole,
)

#: A job with one step of every kind; the cement's window runs up to "place".
EVERY_KIND = (
    HEAD
    + PLY
    + SIZE
    + LOOK
    + BADGE
    + CARE
    + do()
    + count()
    + AIR
    + do("cement")
    + wait("place", "cement")
    + do("tack")
    + do("place")
    + do("last", to="returned")
    + WARM
    + ENDINGS
)
TO_SIZE = ("fabric ply", "affirmative")
TO_LOOK = (*TO_SIZE, "five point five millimeters", "affirmative")
TO_BOSS = (*TO_LOOK, CLEAR, CLEAR, CLEAR)
TO_CARE = (*TO_BOSS, "supervisor release one two", "affirmative")
TO_DRILL = (*TO_CARE, "no flame", "completed")
TO_AIR = (*TO_DRILL, "pass one", "pass two", "pass three")
TO_WAIT = (
    *TO_AIR,
    "two one degrees celsius",
    "affirmative",
    "five five percent",
    "affirmative",
    "completed",
)


@pytest.fixture
def job() -> Drive:
    """At the first question of a job with every kind of step."""
    return Drive(EVERY_KIND)


@pytest.fixture
def sizing() -> Drive:
    """At one reading, with an action after it."""
    return Drive(whole(SIZE))
