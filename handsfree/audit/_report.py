"""What an audit found, for a person and for a program."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from handsfree.record import Finding, counted

__all__ = ["FolderReport", "Report", "as_json", "as_text", "rows_of"]

_ORDER = {"error": 0, "warn": 1, "note": 2}


@dataclass(frozen=True, slots=True)
class Report:
    """One job. ``head_words`` stand for ``head``, the last line's hash; ``check_words`` are those told at its end;
    ``disposition``: as it stands, so that of a rejected job begins with the rejection; ``rejection`` says why."""

    folder: Path
    findings: tuple[Finding, ...]
    lines: int = 0
    head: str = ""
    head_words: tuple[str, ...] = ()
    check_words: tuple[str, ...] = ()
    words: str = ""  # what is to be said of the check words: told, not told, or compared
    told: bool = False  # whether there are check words, and they were played to their end
    disposition: str = ""
    rejection: str = ""
    signed: str = ""
    finished: bool = False
    first: str = ""  # hash of the first line, which tells this job from any other; "" when it can't be read

    @property
    def errors(self) -> int:
        return sum(finding.severity == "error" for finding in self.findings)

    @property
    def passed(self) -> bool:
        """Whether nothing was found that makes the record untrustworthy."""
        return not self.errors


@dataclass(frozen=True, slots=True)
class FolderReport:
    """A folder of jobs held against the shop's list of what was signed. ``listed``: how many jobs the list knows,
    None when no folder of keys was given, so that nothing was looked for; ``here``: how many of them are there."""

    folder: Path
    findings: tuple[Finding, ...] = ()
    listed: int | None = None
    here: int = 0

    @property
    def passed(self) -> bool:
        """Whether no job is missed as an error."""
        return all(finding.severity != "error" for finding in self.findings)


def as_text(report: Report) -> str:
    """The job, every finding, the worst first, and one line that sums up."""
    head = [f"Job: {report.folder.name}", f"Disposition: {report.disposition or 'not closed'}"]
    if report.rejection:
        head.append(f"Rejected because: {report.rejection}")
    if report.signed:
        head.append(f"Signed: {report.signed}{'' if report.passed else '; NOT TO BE RELIED ON, see below'}")
    if report.check_words:
        head.append(f"Check words{report.words}: {' '.join(report.check_words)}")
    if report.lines:
        own = f"its own words, told to nobody: {' '.join(report.head_words)}"
        head.append(f"Head of the last line: {report.head[:16]} ({own})")
    many = [sum(f.severity == severity for f in report.findings) for severity in _ORDER]
    summed = (counted(n, one) for n, one in zip(many, ("error", "warning", "note"), strict=True))
    verdict = "PASSED" if report.passed else "FAILED"
    return "\n".join(
        [
            *head,
            *rows_of(report.findings),
            *advice_of(report.findings),
            f"{verdict}: {counted(report.lines, 'line')}, {', '.join(summed)}",
        ]
    )


#: What to do about an error, by its check: for a supervisor, who can't mend a record, but may have a copy.
_ADVICE = {
    "line": "put the record back from a copy; keep the damaged one, it shows what was changed",
    "torn": "the last line is unfinished and was never confirmed: handsfree resume moves it aside and goes on",
    "pinned": "put the file back from a copy: what was asked and judged can't be told without it",
    "audio": "put the sound back from a copy; the record tells all the same what was understood",
    "gone": "put the record back from a copy",
    "folder": "put each record back into the folder that it was signed in",
}


def advice_of(findings: Iterable[Finding]) -> list[str]:
    """What to do, a row for each sort of damage that there is something to do about."""
    checks = dict.fromkeys(finding.check for finding in findings if finding.severity == "error")
    return [f"  to do  {_ADVICE[check]}" for check in checks if check in _ADVICE]


def rows_of(findings: Iterable[Finding]) -> list[str]:
    """A row for each finding, the worst first."""
    found = sorted(findings, key=lambda f: (_ORDER.get(f.severity, 0), f.line))
    return [f"  {f.severity:<5}  {_where(f):<9}  {_one_line(f.message)}" for f in found]


def _where(finding: Finding) -> str:
    return f"line {finding.line}" if finding.line else ""


def _one_line(text: str) -> str:
    return "".join(char if char.isprintable() else "\ufffd" for char in text)


def as_json(reports: Sequence[Report], folder: FolderReport | None = None) -> str:
    """All of it for a program: ``passed`` for the whole, each job's findings, and those of the folder they are in."""
    jobs = [
        {
            "job": str(report.folder),
            "passed": report.passed,
            "finished": report.finished,
            "lines": report.lines,
            "head": report.head,
            "head_words": list(report.head_words),
            "check_words": list(report.check_words),
            "check_words_told": report.told,
            "disposition": report.disposition,
            "rejection": report.rejection,
            "signed": report.signed,
            "findings": _json_of(report.findings),
        }
        for report in reports
    ]
    passed = all(report.passed for report in reports)
    told: dict[str, object] = {"passed": passed, "jobs": jobs}
    if folder is not None:
        told["passed"] = passed and folder.passed
        told["folder"] = {
            "folder": str(folder.folder),
            "passed": folder.passed,
            "listed": folder.listed,
            "here": folder.here,
            "findings": _json_of(folder.findings),
        }
    return json.dumps(told, indent=1, ensure_ascii=False) + "\n"


def _json_of(findings: Iterable[Finding]) -> list[dict[str, object]]:
    """Findings as they stand in the JSON."""
    return [
        {"severity": f.severity, "check": f.check, "line": f.line, "message": f.message} for f in findings
    ]
