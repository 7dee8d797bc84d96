"""Pages onto the disk: the room's only writing module."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from handsfree.record import (
    CUSTOMER_PAGE,
    NO_RECORD,
    PAGE,
    PAGES,
    SIGNED_LIST,
    OlderPage,
    RecordError,
    explain,
    first_hash,
    jobs_in,
    minute_of,
    noted,
    older_pages,
    page_in,
    read_log,
    remains_in,
    write_out,
)

from ._customer import customer_page
from ._index import Entry, entry_of, index_page, missing, unreadable
from ._page import job_page
from ._source import AUDIO_LIMIT, Source, beside, read_source

__all__ = ["Written", "forget_pages", "review_folder", "review_job"]

_INDEX = "index.html"


@dataclass(frozen=True, slots=True)
class Written:
    """``page``: what to open. ``damaged``: names of the jobs whose record can't be trusted. ``older``: other pages of
    the jobs that were made before their records went on; ``missing``: jobs that the shop's list of signatures knows
    and that are not in the folder."""

    page: Path
    jobs: int
    damaged: tuple[str, ...] = ()
    older: tuple[OlderPage, ...] = ()
    missing: tuple[str, ...] = ()


def review_job(
    folder: Path, out: Path | None = None, *, customer: bool = False, keys: Path | None = None
) -> Written:
    """Write one job's page. ``out``: a file, or a folder that exists; default: in the job's folder.

    ``keys``: the shop's public keys, to hold signatures against. A damaged record gets its page too.
    Raises RecordError (no record, or the page can't be written).
    """
    source = _read(folder, customer, keys)
    name = f"{source.name}-customer.html" if customer else f"{source.name}.html"
    page = folder / (CUSTOMER_PAGE if customer else PAGE) if out is None else out
    if out is not None and out.is_dir():
        page = out / name
    _put(page, customer_page(source) if customer else job_page(source))
    older = tuple(older_pages(folder, read_log(folder).lines))
    return Written(page, 1, (source.name,) if source.damage or source.doubt else (), older)


def forget_pages(folder: Path) -> int:
    """Delete a job's pages that may hold its sound: in its folder, and in ``review`` beside it. Returns how many.

    Pages written elsewhere with ``out`` are not known here. Raises RecordError when one can't be deleted.
    """
    found = [folder / PAGE, page_in(folder.parent / PAGES, folder.name)]
    found = [page for page in found if page.is_file()]
    for page in found:
        try:
            page.unlink(missing_ok=True)
        except OSError as error:
            raise RecordError(
                f"{page}: holds sound and can't be deleted: {error.strerror or error}"
            ) from None
    _unlink(folder.parent / PAGES / _INDEX, page_in(folder.parent / PAGES, folder.name))
    return len(found)


def _unlink(index: Path, page: Path) -> None:
    """The row of a job whose page is gone leads nowhere, and says how the page comes back."""
    if page.exists() or not index.is_file():
        return
    try:
        text = index.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise RecordError(f"{index}: leads to pages that are gone, and can't be read: {error}") from None
    link = re.compile(rf'<a class="job" href="{re.escape(quote(page.name))}">(.*?)</a>')
    again = '<span class="small">its page was deleted with its sound; handsfree review makes it again</span>'
    left = link.sub(rf'<span class="job">\1</span> {again}', text)
    if left != text:
        _put(index, left)


def _read(folder: Path, customer: bool, keys: Path | None) -> Source:
    return read_source(folder, audio_limit=0 if customer else AUDIO_LIMIT, keys=keys)


def review_folder(
    folder: Path, out: Path | None = None, *, customer: bool = False, keys: Path | None = None
) -> Written:
    """Write a page for every job in a folder, and an index of them; default: into its folder ``review``.

    ``customer``: the customers' copies instead, without an index. Raises RecordError (no jobs, or a
    page can't be written).
    """
    place = out or folder / PAGES
    if place.exists() and not place.is_dir():
        raise RecordError(f"{place} is a file: give a folder for the pages of several jobs")
    jobs = jobs_in(folder, none=True)
    gone = [left.folder.name for left in remains_in(folder) if left.had_one]
    if not jobs and not gone:
        raise RecordError(f"{folder}: no jobs there; give a job's folder, or a folder of jobs")
    try:
        place.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise explain(f"can't make the folder {place} for the pages", error) from None
    entries: list[Entry] = []
    damaged: list[str] = []
    older: list[OlderPage] = []
    for entry, bad in _pages(jobs, place, customer, keys):
        entries.append(entry)
        older += entry.older
        damaged += [entry.name] if bad else []
    entries += [unreadable(name, NO_RECORD) for name in gone]
    damaged += gone
    if customer:
        return Written(place, len(jobs), tuple(damaged), tuple(older))
    lacking = [] if keys is None else _missing(keys, jobs, gone)
    entries += lacking
    _put(place / _INDEX, index_page(folder.resolve().name, entries))
    names = tuple(one.name for one in lacking)
    return Written(place / _INDEX, len(jobs) + len(gone), tuple(damaged), tuple(older), names)


def _missing(keys: Path, jobs: Sequence[Path], gone: Sequence[str]) -> list[Entry]:
    """What the shop's list has and the folder has not. A job whose record is gone or has lost its first line is
    there, and told in its own row."""
    from handsfree.record.signing import public_keys  # its library takes time to load

    heads = {job.name: first_hash(job) for job in jobs}
    told = {*gone, *(name for name, head in heads.items() if not head)}
    owners = public_keys(keys)
    found: dict[str, Entry] = {}
    for row in noted(keys)[0]:  # of several signatures of a job the last one stands
        if row.job in heads.values() or row.name in told:
            continue
        who = owners.get(row.key, f"the key {row.key[:16]}")
        why = f"{row.decision} by {who} on {minute_of(row.at)}; {keys / SIGNED_LIST}, line {row.number}"
        name = row.name or f"a job without a name in the list, its first line {row.job[:16]}"
        found[row.job] = missing(name, why, _PUT_BACK)
    return list(found.values())


_PUT_BACK = (
    "put it back from a copy, or look for it in another bay\u2019s folder; of a job that was deleted on purpose take "
    "the lines out of the list"
)


def _pages(jobs: list[Path], place: Path, customer: bool, keys: Path | None) -> Iterator[tuple[Entry, bool]]:
    """Job by job, so that a folder of thousands needs the memory of one."""
    for job in jobs:
        try:
            source = beside(_read(job, customer, keys), job, jobs)
        except RecordError as error:
            yield unreadable(job.name, str(error)), True
            continue
        page = page_in(place, job.name, customer=customer)
        _put(page, customer_page(source) if customer else job_page(source))
        older = older_pages(job, read_log(job).lines)
        yield entry_of(source, page.name, older=older), bool(source.damage or source.doubt)


def _put(page: Path, text: str) -> None:
    """Whole or not at all, and private: a page holds names and voices."""
    write_out(page, text.encode(), replace=True)
