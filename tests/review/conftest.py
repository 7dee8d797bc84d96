"""Jobs are made once for the run; pages are parsed strictly: a page that is no HTML fails wherever it is used."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from datetime import UTC
from functools import cache
from pathlib import Path
from xml.etree import ElementTree as ET

import html5lib
import pytest

from handsfree.review import job_page, read_source
from handsfree.review._clock import Clock

from .jobs import KINDS, make_job

XHTML, SVG = "{http://www.w3.org/1999/xhtml}", "{http://www.w3.org/2000/svg}"
UTC_CLOCK = Clock(UTC)


@pytest.fixture(scope="session")
def job(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """Gives the folder of a job of a kind, made when it is first asked for. Not to be changed: copy it."""
    root = tmp_path_factory.mktemp("jobs")

    @cache
    def made(kind: str) -> Path:
        make_job(root / kind, **KINDS[kind])
        return root / kind

    return made


@pytest.fixture
def copied(job: Callable[[str], Path], tmp_path: Path) -> Callable[[str], Path]:
    """A copy of a job to break."""

    def copy(kind: str) -> Path:
        shutil.copytree(job(kind), tmp_path / kind)
        return tmp_path / kind

    return copy


def parse(text: str) -> ET.Element:
    """The page as a tree. Raises where HTML5's parser finds a fault."""
    tree: ET.Element = html5lib.HTMLParser(strict=True).parse(text)
    return tree


def words(element: ET.Element) -> str:
    """What a reader reads: the text of the body, spaces as one."""
    body = element.find(f"{XHTML}body")
    return " ".join("".join((body if body is not None else element).itertext()).split())


@cache
def page(folder: Path) -> ET.Element:
    """A job's page, parsed once: not to be changed."""
    return parse(job_page(read_source(folder), UTC_CLOCK))


def drawing(root: ET.Element, name: str) -> ET.Element:
    """The SVG whose title has this id."""
    (found,) = [
        one
        for one in root.iter(f"{SVG}svg")
        if (one.get("aria-labelledby") or "").startswith(f"{name}-title")
    ]
    return found


def shapes(svg: ET.Element, cls: str) -> list[ET.Element]:
    """The shapes of a class, in order."""
    return [one for one in svg.iter() if cls in (one.get("class") or "").split()]
