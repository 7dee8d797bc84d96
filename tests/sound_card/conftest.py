from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from sound_card.card import VirtualCard, missing


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    why = missing()
    for item in items:
        if why and item.get_closest_marker("sound_card"):
            item.add_marker(pytest.mark.skip(reason=why))


@pytest.fixture
def card(tmp_path: Path) -> Iterator[VirtualCard]:
    folder = tmp_path / "card"
    folder.mkdir()
    made = VirtualCard(folder)
    try:
        yield made
    finally:
        made.close()
