"""Small whole jobs to audit and to archive, as fixtures too, and somebody who forges them."""

from __future__ import annotations

import random
import shutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from procedure.driving import START_MS
from session.bay import ABOUT, session, typed
from session.conftest import WHOLE, WHOLE_LINES

from handsfree.audio import Utterance
from handsfree.audit import Report, audit
from handsfree.grammar import Armed, Library
from handsfree.record import GENESIS, Finding, Line, check_words, read_log
from handsfree.record._line import build
from handsfree.session import (
    Closed,
    Heard,
    Lost,
    Quiet,
    SimulatedClock,
    TypedEars,
    create_job,
    prompts_text,
)

RECORD = "record.jsonl"
LINES = [
    *WHOLE_LINES[:2],
    "seven",
    "negative",
    "rhubarb",
    *WHOLE_LINES[2:4],
    "correction",
    "5.2 mm",
    "affirmative",
    "hold work",
    "resume work",
    *WHOLE_LINES[4:],
]
POLICY = """name = "Harbor Row"
base = "us"
[limits."injury.size.max"]
limit = "6.5 mm"
allowed_by = "R. Ortega"
why = "trial with a finer gauge"
"""


class Voiced:
    """Typed lines that take their time, some of them with a little sound as of a microphone."""

    def __init__(self, inner: TypedEars, clock: SimulatedClock, loud: Sequence[int] = (2, 3, 5)) -> None:
        self.inner, self.engine, self.clock, self.loud = inner, inner.engine, clock, loud
        self.heard = 0
        self.noise = random.Random(7)

    def listen(self, armed: Armed, until: int | None, *, answer: bool) -> Heard | Quiet | Lost | Closed:
        result = self.inner.listen(armed, until, answer=answer)
        if isinstance(result, Heard):
            self.heard += 1
            self.clock.advance(1200)
            if self.heard in self.loud:
                samples = (int(self.noise.gauss(0, 900)) for _ in range(400))
                pcm = b"".join(sample.to_bytes(2, "little", signed=True) for sample in samples)
                result = replace(result, utterance=Utterance(pcm, 0, 25, -31.2, -58.0, 0))
        return result

    def close(self) -> None:
        self.inner.close()


def whole_job(
    folder: Path,
    lines: Sequence[str] = LINES,
    procedure: str = WHOLE,
    about: Mapping[str, str] | None = None,
) -> Path:
    """A practice job by keyboard, run to its end with a shop's policy, sealed."""
    clock = SimulatedClock(START_MS)
    job = create_job(
        folder,
        procedure=procedure,
        prompts=prompts_text(),
        policy=POLICY,
        about={**ABOUT, **(about or {}), "practice": "simulated clock, waits passed at once"},
        pins={"engine": "typed", "grammar_sha256": Library.load().sha256, "input": "keyboard"},
        clock=clock,
    )
    running = session(job, clock, Voiced(typed(lines, clock), clock))
    try:
        running.run(job.first)
    finally:
        running.close()
    return folder


@pytest.fixture(scope="session")
def original(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A finished job with sound. Never to be changed."""
    return whole_job(tmp_path_factory.mktemp("original") / "bay-2-job")


@pytest.fixture
def job(original: Path, tmp_path: Path) -> Path:
    """A copy of it, to be changed."""
    return copy_of(original, tmp_path / original.name)


def copy_of(job: Path, to: Path) -> Path:
    return Path(shutil.copytree(job, to, ignore=shutil.ignore_patterns(".lock")))


def found(job: Path) -> list[Finding]:
    """What an audit finds that is more than to be known."""
    return [finding for finding in audit(job).findings if finding.severity != "note"]


def checks(report: Report) -> set[str]:
    return {finding.check for finding in report.findings if finding.severity == "error"}


Entries = list[dict[str, Any]]


def forge(job: Path, change: Callable[[Entries], object]) -> Path:
    """Change the lines as ``change`` does and write the whole chain anew, check words and all: what somebody could
    do who holds the disk and knows the format."""
    entries = [dict(line.entry) for line in read_log(job).lines]
    entries = change(entries) or entries  # type: ignore[assignment]
    (job / RECORD).write_bytes(b"".join(line.encode() for line in chained(entries)))
    return job


def chained(entries: Sequence[Mapping[str, Any]]) -> list[Line]:
    lines: list[Line] = []
    prev, words = GENESIS, []
    for entry in entries:
        body = {key: value for key, value in entry.items() if key not in ("seq", "prev", "hash")}
        if body.get("type") == "sealed" and body["kind"] == "event":
            words = list(check_words(prev))
            body |= {"head": prev, "words": words}
            head = prev
        elif body["kind"] == "seal" and words:
            body |= {"head": head, "words": words}
        elif body.get("type") == "spoken" and words:
            body["text"] = f"Check words: {', '.join(words)}."
        lines.append(build(body, len(lines), prev, body["at"], body["mono_ms"]))
        prev = lines[-1].hash
    return lines
