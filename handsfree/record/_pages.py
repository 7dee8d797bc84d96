"""The pages that were made of a job and lie by it: which of them were made before the record went on."""

from __future__ import annotations

import re
import shlex
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from ._line import Line
from ._wording import counted
from ._zone import minute_of

__all__ = ["CUSTOMER_PAGE", "PAGE", "PAGES", "OlderPage", "older_pages", "page_in"]

#: A job's page and the customer's sheet, in its own folder; and the folder of both for a whole folder of jobs.
PAGE, CUSTOMER_PAGE, PAGES = "review.html", "customer.html", "review"

#: What a page says of the record it was made from; before that stood in its head, where it gives the chain head.
_HEAD = re.compile(
    r'<meta name="record-head" content="([0-9a-f]{64})">|'
    r'<p class="small">Chain head, of the last line: <span class="hash">([0-9a-f]{64})</span>'
)
_WHERE = 4096  # characters within which the first of them stands
#: Lines that change nothing that such a page says; those with the sound are deleted with it.
_NO_MATTER = ("audio_dropped",)


@dataclass(frozen=True, slots=True)
class OlderPage:
    """A page made before the lines that stand in the record now: why it no longer tells all, in words, and the
    command that makes it again."""

    page: Path
    why: str
    again: str

    def __str__(self) -> str:
        return f"{self.page}: an older page, {self.why}; make it again: {self.again}"


def page_in(folder: Path, job: str, *, customer: bool = False) -> Path:
    """Where the page of a job lies among those of its folder of jobs."""
    return folder / f"job-{job}{'-customer' if customer else ''}.html"


def older_pages(folder: Path, lines: Sequence[Line]) -> list[OlderPage]:
    """The job's pages, in its folder and among those of the folder of jobs it lies in, that its record has gone
    beyond: signed since, above all. One that can't be read, or does not say what it was made from, is passed over."""
    folder = folder if folder.name not in ("", "..") else folder.resolve()
    found = []
    for customer in (False, True):
        for page, of in (
            (folder / (CUSTOMER_PAGE if customer else PAGE), folder),
            (page_in(folder.parent / PAGES, folder.name, customer=customer), folder.parent),
        ):
            why = _why_older(_made_from(page), lines)
            again = f"handsfree review {shlex.quote(str(of))}{' --customer' if customer else ''}"
            found += [OlderPage(page, why, again)] if why else []
    return found


def _made_from(page: Path) -> str:
    """The hash of the record's last line when the page was made, "" for not known."""
    try:
        with page.open(encoding="utf-8") as file:
            start = file.read(_WHERE)
            made = _HEAD.search(start) or _HEAD.search(start + file.read())
    except (OSError, UnicodeDecodeError):
        return ""
    return (made[1] or made[2]) if made is not None else ""


def _why_older(made: str, lines: Sequence[Line]) -> str:
    if not made:
        return ""
    at = next((number for number, line in enumerate(lines, start=1) if line.hash == made), 0)
    if not at:
        return "made from a record with other lines"
    since = [line for line in lines[at:] if line.kind not in _NO_MATTER]
    if not since:
        return ""
    signed = next((line for line in reversed(since) if line.kind == "signed"), None)
    if signed is None:
        return f"made before {counted(len(since), 'line')} of the record"
    told = f"{signed.body.get('decision')} by {signed.body.get('name')} on {minute_of(signed.at)}"
    return f"made before the signature of line {signed.seq + 1} ({told})"
