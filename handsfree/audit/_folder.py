"""A folder of jobs as a whole: what no record can tell by itself, a job that is no longer there."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from pathlib import Path

from handsfree.record import CUT_OFF, NO_RECORD, SIGNED_LIST, Finding, Noted, Remains, counted

from ._report import FolderReport, Report, rows_of

__all__ = ["doubled", "folder_text", "missing_jobs", "without_record"]


def without_record(left: Remains) -> Report:
    """The report of a job's folder whose record is gone: an error, but for one that may never have had any."""
    if left.had_one:
        return Report(left.folder, (Finding("gone", 0, NO_RECORD),))
    return Report(left.folder, (Finding("gone", 0, CUT_OFF, "warn"),))


def missing_jobs(
    folder: Path,
    keys: Path,
    listed: Sequence[Noted],
    owners: Mapping[str, str],
    here: Collection[str],
    also: Collection[str] = (),
    *,
    elsewhere: bool = False,
) -> FolderReport:
    """Every job that the list knows must be there: ``here`` and ``also`` are hashes of first lines, those of the
    folder and of other folders that were named. ``owners``: key (hex) -> name. ``elsewhere``: there are folders
    that were not named, so a job that is not found is only a warning."""
    jobs: dict[str, list[Noted]] = {}
    for row in listed:
        jobs.setdefault(row.job, []).append(row)
    severity = "warn" if elsewhere else "error"
    found = [
        Finding("missing", 0, _missed(folder, keys, rows, owners), severity)
        for job, rows in jobs.items()
        if job not in here and job not in also
    ]
    return FolderReport(folder, tuple(found), len(jobs), sum(job in here for job in jobs))


def doubled(reports: Sequence[Report]) -> tuple[Finding, ...]:
    """Folders that hold one and the same record, or one record and an older copy of it: a warning that names them."""
    folders: dict[str, list[str]] = {}
    for report in reports:
        if report.first:
            folders.setdefault(report.first, []).append(report.folder.name)
    return tuple(
        Finding(
            "doubled",
            0,
            f"{' and '.join(names)} hold the same job's record: keep one",
            "warn",
        )
        for names in folders.values()
        if len(names) > 1
    )


def _missed(folder: Path, keys: Path, rows: Sequence[Noted], owners: Mapping[str, str]) -> str:
    last = rows[-1]
    name = next((row.name for row in reversed(rows) if row.name), "")
    named = name or f"a job without a name in the list, its first line {last.job[:16]}"
    who = owners.get(last.key, f"the key {last.key[:16]}")
    numbers = ", ".join(str(row.number) for row in rows)
    return (
        f"{named}: {last.decision} by {who} on {last.day}, and the job is not in {folder} "
        f"({keys / SIGNED_LIST}, line {numbers})"
    )


def folder_text(report: FolderReport) -> str:
    """The folder, what is missed, and what to do about it."""
    if report.listed is None:
        why = "without the shop's folder of keys (--keys)"
        told = f"Folder: {report.folder}: whether a job is missing can't be told {why}"
        return "\n".join([told, *rows_of(report.findings)])
    known = f"{counted(report.listed, 'job')} in the list of signatures, {report.here} of them here"
    lines = [f"Folder: {report.folder}: {known}", *rows_of(report.findings)]
    missed = [one for one in report.findings if one.check == "missing"]
    if missed:
        lines.append(
            "  Put a missing job back from a copy; name other folders by the same keys with --also FOLDER, or give "
            "--elsewhere\n  where they are not at hand; of a job that was deleted on purpose take the lines out of "
            "the list."
        )
        verdict = "PASSED" if report.passed else "FAILED"
        lines.append(f"{verdict}: {counted(len(missed), 'signed job')} missed")
    return "\n".join(lines)
