"""What C libraries print while a sound device vanishes stays off the terminal; what Python prints does not."""

from __future__ import annotations

import os
import subprocess
import sys

PROGRAM = """
import os, sys
from handsfree.audio import native_messages_hidden
os.write(2, b"before\\n")
with native_messages_hidden():
    os.write(2, b"Expression 'r' failed\\n")
    print("a note", file=sys.stderr)
    os.system("echo from a child >&2")
os.write(2, b"after\\n")
print("at last", file=sys.stderr)
try:
    with native_messages_hidden():
        raise KeyError("lost")
except KeyError:
    os.write(2, b"restored\\n")
"""


def run(**more: str) -> str:
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, **more},
    )
    return done.stderr


def test_only_what_python_prints_comes_out() -> None:
    assert run() == "before\na note\nafter\nat last\nrestored\n"


def test_they_can_be_asked_for() -> None:
    assert "Expression 'r' failed" in run(HANDSFREE_NATIVE_MESSAGES="1")
