"""``python -m handsfree.bench technician`` and ``walk``: what is asked on the command line, and what is shown."""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from rich.console import Console
from rich.table import Table

from handsfree.bench._channel import Arming
from handsfree.bench._figures import Figures, bars, show, simulate
from handsfree.bench._simulation import Work
from handsfree.bench._technician import IN_SOUND
from handsfree.limits import DEFAULT
from handsfree.procedure import Book, Prompts, read_procedure
from handsfree.procedure._walk import stray, walk
from handsfree.session import packaged_procedure, packaged_procedures, prompts_text

__all__ = ["technician_main", "walk_main"]


def _procedures(parser: argparse.ArgumentParser, wanted: str) -> Sequence[str]:
    known = packaged_procedures()
    if wanted == "all":
        return known
    if wanted not in known:
        parser.error(f"no procedure {wanted!r}; give one of {', '.join(known)}, or all")
    return (wanted,)


def _share(text: str) -> float:
    value = float(text)
    if not 0 <= value <= 1:
        raise argparse.ArgumentTypeError("give a share from 0 to 1")
    return value


def _many(text: str) -> int:
    value = int(text)
    if value < 0:
        raise argparse.ArgumentTypeError("give 0 or more")
    return value


def technician_main(arguments: Sequence[str]) -> int:
    """Simulated jobs; exit code 1 when a bar is broken."""
    parser = argparse.ArgumentParser(
        prog="python -m handsfree.bench technician",
        description="Jobs of a simulated technician; one word in an utterance is misheard at the given rate.",
    )
    parser.add_argument("--jobs", type=_many, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--procedure", default="all", help="a packaged procedure's name, or all (jobs shared out)"
    )
    parser.add_argument("--substitutions", type=_share, default=0.1, help="share of utterances misheard")
    parser.add_argument(
        "--disk", type=_many, default=200, help="how many of the jobs keep a record, and replay it"
    )
    parser.add_argument("--json", type=Path, help="write the figures to this file too")
    parser.add_argument(
        "--sound", type=_many, metavar="N", help="so many jobs in sound, through the recognizer, instead"
    )
    parser.add_argument("--snr", type=float, default=20.0, metavar="DB", help="speech over pink noise")
    args = parser.parse_args(arguments)
    names = _procedures(parser, args.procedure)
    if args.sound is not None:
        args.jobs, args.disk = args.sound, 0
    console, every = Console(width=110), dict[str, Figures]()
    for place, name in enumerate(names):
        jobs, disk = (n // len(names) + (place < n % len(names)) for n in (args.jobs, args.disk))
        work = Work(name, substitution=args.substitutions)
        if args.sound is not None:
            work = replace(work, habits=IN_SOUND, snr_db=args.snr, substitution=0, rejection=0, chatter=0)
        every[name] = simulate(work, jobs=jobs, seed=args.seed, disk=disk)
        show(console, every[name])
        if args.json:
            args.json.write_text(json.dumps({n: f.as_json() for n, f in every.items()}, indent=1) + "\n")
    broken = bars(every)
    console.print("\n".join(f"BROKEN  {line}" for line in broken) or "every bar is kept")
    return bool(broken)


def walk_main(arguments: Sequence[str]) -> int:
    """The exhaustive walk; exit code 1 when anything is found."""
    parser = argparse.ArgumentParser(
        prog="python -m handsfree.bench walk",
        description="Walks each procedure through every abstract answer; see procedure/_walk.py.",
    )
    parser.add_argument("--procedure", default="all")
    parser.add_argument("--depth", type=_many, default=10_000, help="most events on a way")
    parser.add_argument("--states", type=_many, default=1_000_000, help="most states")
    parser.add_argument("--injuries", type=_many, default=2, help="most injuries in one tire")
    parser.add_argument(
        "--calm", action="store_true", help="only answers, going back, corrections and timers"
    )
    parser.add_argument("--shop", action="store_true", help="by a shop's file: supervisors say a code word")
    parser.add_argument("--audit", type=_many, default=500, help="pairs of states with one key to compare")
    parser.add_argument("--strays", type=_many, default=200, help="long walks at random, of 600 events each")
    args = parser.parse_args(arguments)
    console, arming, found = Console(width=110), Arming(), False
    table = Table(title="Every abstract answer to every state")
    headings = (
        "procedure",
        "states",
        "transitions",
        "depth",
        "whole",
        "pairs unlike",
        "strays",
        "found",
        "seconds",
    )
    for heading in headings:
        table.add_column(heading, justify="left" if heading == "procedure" else "right")
    for name in _procedures(parser, args.procedure):
        begin = time.perf_counter()
        book = Book(read_procedure(packaged_procedure(name)), Prompts(prompts_text()), DEFAULT)
        calm = ("go_back", "correction", "resume") if args.calm else None
        walked = walk(
            book,
            arming,
            depth=args.depth,
            most_states=args.states,
            injuries=args.injuries,
            calm=calm,
            audit=args.audit,
            shop=args.shop,
        )
        strays = [
            line
            for seed in range(args.strays)
            for line in stray(book, arming, seed=seed, events=600, shop=args.shop)
        ]
        lines = [*walked.findings, *strays]
        found = found or bool(lines)
        for line in lines:
            console.print(f"{name}: {line}", markup=False, highlight=False)
        table.add_row(
            name,
            str(walked.states),
            str(walked.transitions),
            str(walked.depth),
            "yes" if walked.whole else "no",
            f"{len(walked.differing)} of {walked.audited}",
            str(args.strays),
            str(len(lines)),
            f"{time.perf_counter() - begin:.0f}",
        )
    console.print(table)
    return found
