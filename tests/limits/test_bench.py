"""The sweep counts what it judges, repeats itself, and draws."""

from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.bench import limits as bench
from handsfree.limits import Decision, rules, rules_page


def test_sweep_counts_every_injury_and_repeats_itself() -> None:
    found = bench.sweep(300, seed=5)
    assert sum(found.decisions.values()) == 300
    assert set(found.decisions) == {decision.value for decision in Decision}
    assert found.verdicts >= 300 * 7
    again = bench.sweep(300, seed=5)
    assert (again.decisions, again.reasons, again.cells) == (found.decisions, found.reasons, found.cells)
    assert bench.sweep(300, seed=6).cells != found.cells


def test_the_sweep_s_zone_has_no_hole_and_no_island() -> None:
    """Well inside nothing is scrap, well outside everything is."""
    straight = bench.sweep(600, seed=2).cells["up to 20 deg"]
    for (center, size), counts in straight.items():
        if center <= 45 and size <= 5.9:
            assert Decision.SCRAP.value not in counts
        if center >= 61 or size >= 6.1:
            assert set(counts) == {Decision.SCRAP.value}


def test_main(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    page = tmp_path / "RULES.md"
    assert bench.main(["--page", str(page)]) == 0
    assert page.read_text(encoding="utf-8") == rules_page()
    assert bench.main(["--sweep", "50"]) == 0
    said = capsys.readouterr().out
    assert said.startswith("50 injuries, ")
    assert "disposition" in said
    assert {name for name, _ in bench.speed(0.0001)} == {item.id for item in rules()}


def test_plot(tmp_path: Path) -> None:
    pytest.importorskip("matplotlib")
    picture = tmp_path / "sweep.png"
    assert bench.main(["--sweep", "200", "--plot", str(picture)]) == 0
    assert picture.read_bytes().startswith(b"\x89PNG")
