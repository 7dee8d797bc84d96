"""The pages in a real browser: axe-core's rules, the keyboard, the filters, the phone, and paper.

Needs Debian's chromium (or CHROMIUM), playwright from PyPI, and axe-core from npm: AXE_CORE names its axe.min.js,
else it is looked for in node_modules here and in npm's global folder. Skipped without them.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from handsfree.review import review_folder, review_job

sync_api = pytest.importorskip("playwright.sync_api")

CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("google-chrome")
#: WCAG 2.2 level A and AA, and what axe's makers call good practice.
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="needs Debian's chromium"),
]

Jobs = Callable[[str], Path]


def axe() -> str:
    places = [os.environ.get("AXE_CORE", ""), "node_modules/axe-core/axe.min.js"]
    if shutil.which("npm"):
        root = subprocess.run(
            ["npm", "root", "-g"], capture_output=True, text=True, check=False
        ).stdout.strip()
        places.append(f"{root}/axe-core/axe.min.js")
    for place in filter(None, places):
        if Path(place).is_file():
            return Path(place).read_text(encoding="utf-8")
    pytest.skip("needs axe-core: npm install axe-core")


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    with sync_api.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def pages(job: Jobs, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Every sort of page: name -> file."""
    root = tmp_path_factory.mktemp("pages")
    found = {}
    for kind in ("whole", "eventful", "defect", "unfinished"):
        found[kind] = review_job(job(kind), root / f"{kind}.html").page
        found[f"{kind}, customer"] = review_job(job(kind), root / f"{kind}-c.html", customer=True).page
    shop = tmp_path_factory.mktemp("shop")
    for kind in ("whole", "eventful", "defect", "unfinished", "recheck"):
        shutil.copytree(job(kind), shop / kind)
    shutil.copytree(job("recheck"), shop / "damaged")
    (shop / "damaged" / "record.jsonl").write_bytes(b"\n")
    found["damaged"] = review_job(shop / "damaged", root / "damaged.html").page
    found["index"] = review_folder(shop, root / "index").page
    return found


NAMES = (
    "whole", "eventful", "defect", "unfinished", "damaged", "index",
    "whole, customer", "eventful, customer", "defect, customer", "unfinished, customer",
)  # fmt: skip
#: Pages with the timeline of a whole job take axe long, and differ in nothing else: each scheme and width once.
LONG, LOOKS = (
    ("whole", "eventful", "unfinished"),
    [("light", 1280), ("dark", 390), ("dark", 1280), ("light", 390)],
)
SEEN = [
    (name, *look)
    for name in NAMES
    for look in (LOOKS[:2] if name == "eventful" else LOOKS)
    if name not in LONG[::2]
]


@pytest.mark.parametrize(("name", "scheme", "width"), SEEN)
def test_axe_finds_nothing(name: str, scheme: str, width: int, chromium: Any, pages: dict[str, Path]) -> None:
    source = axe()
    page = chromium.new_page(viewport={"width": width, "height": 800}, color_scheme=scheme)
    try:
        page.goto(pages[name].as_uri())
        page.evaluate("for (const d of document.querySelectorAll('details')) d.open = true")
        page.evaluate(source)
        found = page.evaluate("tags => axe.run(document, {runOnly: tags, resultTypes: ['violations']})", TAGS)
    finally:
        page.close()
    assert len(found["passes"]) > 10
    told = [
        f"{one['id']}: {node['target']} {node['failureSummary']}"
        for one in found["violations"]
        for node in one["nodes"][:3]
    ]
    assert not told, "\n".join(told)


@pytest.mark.parametrize("name", NAMES)
def test_nothing_is_fetched_and_nothing_runs(name: str, chromium: Any, pages: dict[str, Path]) -> None:
    page = chromium.new_page()
    asked: list[str] = []
    complaints: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("dialog", lambda dialog: complaints.append(dialog.message))
    try:
        page.goto(pages[name].as_uri())
        page.wait_for_timeout(100)
    finally:
        page.close()
    assert [url for url in asked if not url.startswith("data:audio/")] == [pages[name].as_uri()]
    assert complaints == []


@pytest.mark.parametrize("name", NAMES)
def test_it_fits_a_phone(name: str, chromium: Any, pages: dict[str, Path]) -> None:
    """No sideways scrolling, and no letter under 11 px (the drawings' own labels among them)."""
    page = chromium.new_page(viewport={"width": 390, "height": 844}, device_scale_factor=2)
    try:
        page.goto(pages[name].as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        smallest = page.evaluate(
            """() => Math.min(...[...document.querySelectorAll('p, td, th, dd, dt, li, a, span, text')].map(e => {
                 const svg = e.closest('svg');
                 const scale = svg ? svg.getBoundingClientRect().width / svg.viewBox.baseVal.width : 1;
                 return parseFloat(getComputedStyle(e).fontSize) * (scale || 99);
               }))"""
        )
        assert smallest >= (9 if "customer" in name else 10)
    finally:
        page.close()


def test_the_keyboard_reaches_everything(chromium: Any, pages: dict[str, Path]) -> None:
    """The first tab is the skip link, which leads to the content; every focus can be seen."""
    page = chromium.new_page(viewport={"width": 1280, "height": 800})
    try:
        page.goto(pages["eventful"].as_uri())
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.className") == "skip"
        assert page.evaluate("document.activeElement.getBoundingClientRect().left") >= 0
        page.keyboard.press("Enter")
        assert page.url.endswith("#main")
        seen = set()
        for _ in range(400):
            page.keyboard.press("Tab")
            if page.evaluate("document.activeElement === document.body"):
                break
            seen.add(page.evaluate("document.activeElement.tagName"))
            style = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
            assert style != "none" or page.evaluate("document.activeElement.tagName") == "AUDIO"
        assert {"A", "SUMMARY", "AUDIO"} <= seen
    finally:
        page.close()


def test_the_filters_hide_what_does_not_fit_without_a_script(chromium: Any, pages: dict[str, Path]) -> None:
    context = chromium.new_context(java_script_enabled=False)
    page = context.new_page()
    try:
        page.goto(pages["index"].as_uri())
        rows = page.locator("tbody tr")

        def shown() -> set[str]:
            return {row.locator(".job").inner_text() for row in rows.all() if row.is_visible()}

        everything = {"whole", "eventful", "defect", "unfinished", "recheck", "damaged"}
        assert shown() == everything
        page.select_option("#filter-technician", label="not named")
        assert shown() == {"damaged"}
        page.select_option("#filter-technician", label="badge 1234")
        assert shown() == everything - {"damaged"}
        page.select_option("#filter-technician", value="")
        page.select_option("#filter-exceptions", label="without exceptions")
        assert shown() == {"whole", "damaged"}
        page.select_option("#filter-disposition", label="repaired, return to service")
        assert shown() == {"whole"}
        page.select_option("#filter-exceptions", value="")
        assert shown() == {"whole", "eventful"}
        page.select_option("#filter-disposition", value="")
        page.select_option("#filter-date", label="2030-03-17")
        assert shown() == everything - {"damaged"}
    finally:
        context.close()


@pytest.mark.parametrize("size", ["A4", "Letter"])
@pytest.mark.parametrize("name", [name for name in NAMES if "customer" in name])
def test_the_customers_copy_is_one_sheet(name: str, size: str, chromium: Any, pages: dict[str, Path]) -> None:
    assert sheets(chromium, pages[name], size) == 1


def test_a_job_prints(chromium: Any, pages: dict[str, Path]) -> None:
    """Disposition and what to look at are on the first sheets; the whole is a booklet, not a roll."""
    assert 4 <= sheets(chromium, pages["whole"], "A4") <= 40


def sheets(chromium: Any, file: Path, size: str) -> int:
    page = chromium.new_page()
    try:
        page.goto(file.as_uri())
        data = page.pdf(format=size, print_background=True, prefer_css_page_size=False)
    finally:
        page.close()
    return len(re.findall(rb"/Type\s*/Page[^s]", data))
