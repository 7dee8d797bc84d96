"""Figures of many simulated jobs, in the manner of ITU-T P Suppl. 24 (parameters of spoken dialogue systems)."""

from __future__ import annotations

import multiprocessing
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path

from rich.console import Console
from rich.table import Table

from handsfree.bench._channel import Arming
from handsfree.bench._simulation import Outcome, Work, run_job

__all__ = ["BARS", "Figures", "show", "simulate"]

_PROCESSES = 2
_BLOCK = 50
#: Counts that must be nought, whatever the errors of hearing.
BARS = ("undetected errors", "limits passed", "deadlocks", "rules broken")
#: Counts of errors that the confirmation itself, misheard, let into the record; shown beside the bars.
DOUBLE = (
    "no heard as its opposite",
    "wrong after no",
    "wrong after nothing",
    "known wrong at the end",
    "undetected after a misheard confirmation",
    "limits passed by a wrong value",
)


@dataclass(slots=True)
class Figures:
    """Sums over jobs. ``rates`` gives the figures; ``notes`` name the first jobs in which something was wrong."""

    work: Work
    jobs: int = 0
    on_disk: int = 0
    seconds: float = 0.0
    took: float = 0.0
    good: int = 0
    by_voice: int = 0  # of these, without a line typed
    counts: Counter[str] = field(default_factory=Counter)
    endings: Counter[str] = field(default_factory=Counter)
    notes: list[str] = field(default_factory=list)

    def add(self, outcome: Outcome) -> None:
        self.jobs += 1
        self.seconds += outcome.seconds
        self.counts += outcome.counts
        self.endings[outcome.ending] += 1
        wrong = ("known wrong at the end", "undetected after a misheard confirmation", *BARS)
        # Success: an ending by a disposition, and nothing in the record but what he meant.
        good = outcome.ending not in ("", "unfinished", "stopped") and not any(
            outcome.counts[name] for name in wrong
        )
        self.good += good
        self.by_voice += good and not outcome.counts["typed"]
        if len(self.notes) < 20:
            self.notes += [f"job {outcome.seed}: {note}" for note in outcome.notes]

    @property
    def rates(self) -> dict[str, float]:
        """By job, or as shares from 0 to 1."""
        c, jobs = self.counts, max(1, self.jobs)

        def share(part: str, whole: str) -> float:
            return c[part] / c[whole] if c[whole] else 0.0

        wrong = (
            c["undetected errors"]
            + c["known wrong at the end"]
            + c["undetected after a misheard confirmation"]
        )
        return {
            "task success": self.good / jobs,
            "task success by voice alone": self.by_voice / jobs,
            "job duration, simulated minutes": self.seconds / jobs / 60,
            "user turns a job": c["user turns"] / jobs,
            "system turns a job": c["system turns"] / jobs,
            "substituted utterances": share("substituted", "user turns"),
            "no-match rate": share("no matches", "user turns"),
            "concept error rate as heard": share("concepts wrong", "concepts"),
            "concept error rate in the record": wrong / max(1, c["entries that stand"]),
            "corrections after recording, a job": c["corrections"] / jobs,
            "needless confirmations": share("needless read-backs", "read-backs"),
        }

    @property
    def failed(self) -> list[str]:
        """The bars that are broken."""
        return [name for name in BARS if self.counts[name]]

    def as_json(self) -> dict[str, object]:
        return {
            "procedure": self.work.procedure,
            "work": asdict(self.work),
            "jobs": self.jobs,
            "jobs on disk": self.on_disk,
            "took_s": round(self.took, 1),
            "rates": {name: round(value, 6) for name, value in self.rates.items()},
            "bars": {name: self.counts[name] for name in BARS},
            "misheard confirmations": {name: self.counts[name] for name in DOUBLE},
            "endings": dict(sorted(self.endings.items())),
            "counts": dict(sorted(self.counts.items())),
            "notes": self.notes,
        }


_ARMING: list[Arming] = []
#: Every line is synced to disk; thousands of jobs do that to memory, where the system has a folder there.
_SHARED = Path("/dev/shm")


def _block(task: tuple[Work, Sequence[int], int]) -> list[Outcome]:
    """Some jobs, the first ``disk`` of them on disk."""
    work, seeds, disk = task
    if not _ARMING:
        _ARMING.append(Arming())
    found = []
    for number, seed in enumerate(seeds):
        if number < disk:
            with tempfile.TemporaryDirectory(dir=_SHARED if _SHARED.is_dir() else None) as folder:
                found.append(run_job(work, seed, _ARMING[0], Path(folder) / "job"))
        else:
            found.append(run_job(work, seed, _ARMING[0]))
    return found


def _tasks(work: Work, jobs: int, seed: int, disk: int) -> Iterator[tuple[Work, Sequence[int], int]]:
    seeds = range(seed * 1_000_000, seed * 1_000_000 + jobs)
    for at in range(0, jobs, _BLOCK):
        yield work, seeds[at : at + _BLOCK], max(0, min(_BLOCK, disk - at))


def simulate(work: Work, *, jobs: int, seed: int, disk: int = 0, processes: int = _PROCESSES) -> Figures:
    """Jobs ``seed`` x 1,000,000 and on, ``disk`` of them with a record on disk.

    The same arguments, the same figures.
    """
    figures, begin = Figures(work), time.perf_counter()
    tasks = list(_tasks(work, jobs, seed, disk))
    if processes > 1 and len(tasks) > 1:
        with multiprocessing.get_context("spawn").Pool(processes) as pool:
            for outcomes in pool.imap(_block, tasks):
                for outcome in outcomes:
                    figures.add(outcome)
    else:
        for task in tasks:
            for outcome in _block(task):
                figures.add(outcome)
    figures.on_disk, figures.took = min(disk, jobs), time.perf_counter() - begin
    return figures


def show(console: Console, figures: Figures) -> None:
    """The figures as tables."""
    table = Table(title=f"{figures.work.procedure}: {figures.jobs} simulated jobs, {figures.took:.0f} s")
    table.add_column("figure")
    table.add_column("value", justify="right")
    for name, value in figures.rates.items():
        counted = name.endswith(("a job", "minutes"))
        table.add_row(name, f"{value:.1f}" if counted else f"{100 * value:.3f} %")
    table.add_section()
    for name in BARS:
        table.add_row(f"{name} (must be 0)", str(figures.counts[name]))
    table.add_section()
    rest = (
        ("confirmations heard as their opposite", "confirmations swapped"),
        ("  a denial heard as a yes", "no heard as its opposite"),
        ("  wrong value or option recorded by it", "wrong after no"),
        ("wrong entries from chatter or talk out of turn", "wrong after nothing"),
        ("wrong entries in all, when recorded", "wrong entries"),
        ("  still wrong at the end, known to him", "known wrong at the end"),
        ("  still wrong at the end, unnoticed", "undetected after a misheard confirmation"),
        ("  that let a limit be passed", "limits passed by a wrong value"),
        ("his own misreads", "misreads"),
        ("  that he never noticed", "misreads never noticed"),
        ("replies cut off", "line cut_off"),
        ("jobs put on hold", "line hold"),
        ("utterances that the ears did not find", "not heard at all"),
        ("noise taken for speech", "noise taken for speech"),
        ("lines typed after much was said in vain", "typed"),
        ("sessions opened again after stop work", "reopened"),
        ("records on disk that replayed", "replayed"),
    )
    for name, key in rest:
        table.add_row(name, str(figures.counts[key]))
    table.add_section()
    for ending, many in figures.endings.most_common():
        table.add_row(f"ended: {ending or 'nowhere'}", str(many))
    console.print(table)
    for note in figures.notes:
        console.print(note, markup=False, highlight=False)


def bars(every: Mapping[str, Figures]) -> list[str]:
    """A line for each bar that any procedure breaks."""
    return [f"{name}: {bar}: {f.counts[bar]}" for name, f in every.items() for bar in f.failed]
