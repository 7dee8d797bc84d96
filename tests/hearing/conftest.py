"""The measured figures are printed at the end of the run: a pass alone says little about hearing."""

from __future__ import annotations

import pytest

_FIGURES = pytest.StashKey[list[tuple[str, str]]]()


class Figures:
    def __init__(self, rows: list[tuple[str, str]]) -> None:
        self._rows = rows

    def add(self, what: str, figure: str) -> None:
        self._rows.append((what, figure))


def pytest_configure(config: pytest.Config) -> None:
    config.stash[_FIGURES] = []


@pytest.fixture(scope="session")
def figures(pytestconfig: pytest.Config) -> Figures:
    return Figures(pytestconfig.stash[_FIGURES])


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    rows = config.stash.get(_FIGURES, [])
    if rows:
        terminalreporter.section("hearing, measured")
        width = max(len(what) for what, _ in rows)
        for what, figure in rows:
            terminalreporter.write_line(f"{what:<{width}}  {figure}")
