"""For all tests: the longest file first, and measured figures at the end (a pass alone says little about hearing)."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

# Nobody's own enrolled voice may change what a test hears. The folder is never made but by a test that enrols.
os.environ.pop("COLUMNS", None)  # xdist sets it for its workers: lines would break elsewhere than without it
os.environ["HANDSFREE_VOICES"] = str(Path(tempfile.gettempdir()) / f"handsfree-no-voices-{os.getpid()}")

_FIGURE = "figure"
#: Begun first, or one process works on them while the others have nothing left to do.
_LONGEST = ("test_demo.py", "test_pocketsphinx.py", "test_enrol.py", "test_listener.py")


@pytest.fixture(scope="session", autouse=True)
def quick_disk() -> Iterator[None]:
    """Thousands of lines are written, and no test pulls the plug: waiting for the disk shows nothing.

    That each line is synced before it counts, and what a refused sync does, is shown by watching and refusing the
    calls (record/test_log.py, record/test_faults.py, session/test_faults.py). A process of its own does sync."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "fsync", lambda fd: None)
        if hasattr(os, "fdatasync"):
            patch.setattr(os, "fdatasync", lambda fd: None)
        yield


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    items.sort(key=lambda item: item.path.name not in _LONGEST)


class Figures:
    """Kept with the test's own report, so that they come home from whichever process ran it."""

    def __init__(self, node: pytest.Item) -> None:
        self._node = node

    def add(self, what: str, figure: str) -> None:
        self._node.user_properties.append((_FIGURE, (what, figure)))


@pytest.fixture
def figures(request: pytest.FixtureRequest) -> Figures:
    assert isinstance(request.node, pytest.Item)
    return Figures(request.node)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    reports = [r for kind in ("passed", "failed") for r in terminalreporter.stats.get(kind, ())]
    rows = [row for r in reports if r.when == "call" for name, row in r.user_properties if name == _FIGURE]
    if rows:
        terminalreporter.section("hearing, measured")
        width = max(len(what) for what, _ in rows)
        for what, figure in sorted(rows):
            terminalreporter.write_line(f"{what:<{width}}  {figure}")
