"""The report in a real browser: axe-core finds nothing, and nothing is wider than a phone."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("playwright.sync_api")

from review.test_browser import CHROMIUM, TAGS, axe, chromium

from handsfree.archive import Archive, figures, report_page

from .conftest import PRACTICE

__all__ = ["chromium"]

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="needs Debian's chromium"),
]


@pytest.mark.parametrize(("scheme", "width"), [("light", 1280), ("dark", 390), ("light", 320)])
def test_the_report_is_for_everybody(
    filled: Archive, tmp_path: Path, chromium: Any, scheme: str, width: int
) -> None:
    source = axe()
    (tmp_path / "report.html").write_text(report_page(figures(filled, PRACTICE)))
    page = chromium.new_page(viewport={"width": width, "height": 800}, color_scheme=scheme)
    try:
        page.goto((tmp_path / "report.html").as_uri())
        page.evaluate("for (const d of document.querySelectorAll('details')) d.open = true")
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        page.evaluate(source)
        found = page.evaluate("tags => axe.run(document, {runOnly: tags, resultTypes: ['violations']})", TAGS)
    finally:
        page.close()
    assert len(found["passes"]) > 10
    told = [
        f"{one['id']}: {node['failureSummary']}" for one in found["violations"] for node in one["nodes"][:3]
    ]
    assert not told, "\n".join(told)
