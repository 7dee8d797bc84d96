"""Puts what the demo really says into the README's tour.

  handsfree demo --screen lines > demo.txt && python tests/tools/readme_tour.py demo.txt README.md

Every block of the section "Sixty seconds of it" is taken anew from the demo's output: from its first line to the
first line after it that begins as its last one does. Sound levels are left out, long lines wrapped.
"""

from __future__ import annotations

import re
import sys
import textwrap
from pathlib import Path

__all__ = ["refreshed"]

SECTION, WIDTH, INDENT, HEAD = "## Sixty seconds of it", 118, 13, 34


def _logical(lines: list[str]) -> list[str]:
    """Wrapped lines joined again: a line that begins with the indent goes on the one before."""
    found: list[str] = []
    for line in lines:
        if found and line.startswith(" " * INDENT) and not line.startswith(" " * (INDENT + 6)):
            found[-1] += " " + line.strip()
        else:
            found.append(line)
    return found


def _plain(line: str) -> str:
    return re.sub(r"  \(-?\d+ dBFS, .*\)$", "", line).rstrip()


def _wrapped(line: str) -> list[str]:
    if len(line) <= WIDTH:
        return [line]
    return textwrap.wrap(line, WIDTH, subsequent_indent=" " * INDENT)


def _block(old: list[str], demo: list[str]) -> list[str]:
    wanted = _logical(old)
    first = next(i for i, line in enumerate(demo) if line[:HEAD] == wanted[0][:HEAD])
    last = next(i for i in range(first + 1, len(demo)) if demo[i][:HEAD] == wanted[-1][:HEAD])
    return [part for line in demo[first : last + 1] for part in _wrapped(line)]


def refreshed(readme: str, demo: str) -> str:
    """The README with the blocks of the tour as the demo gives them. Raises StopIteration for a lost anchor."""
    lines = [_plain(line) for line in demo.splitlines()]
    before, heading, rest = readme.partition(SECTION)
    section, following, after = rest.partition("\n## ")
    parts = section.split("```\n")
    for number in range(1, len(parts), 2):
        parts[number] = "\n".join(_block(parts[number].splitlines(), lines)) + "\n"
    return before + heading + "```\n".join(parts) + following + after


if __name__ == "__main__":
    page = Path(sys.argv[2])
    page.write_text(
        refreshed(page.read_text(encoding="utf-8"), Path(sys.argv[1]).read_text(encoding="utf-8"))
    )
