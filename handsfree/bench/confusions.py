"""How often two phrases are confused by how alike they sound, and where the threshold of ``handsfree check`` lies.

    python -m handsfree.bench confusions                       all of it: eleven minutes of one core
    python -m handsfree.bench confusions --quick               few pairs, two voices, under one minute
    python -m handsfree.bench confusions --json all.json --plot curve.png --docs DEVELOPERS.md
    python -m handsfree.bench confusions --read all.json       the tables of an earlier run, nothing measured

Curves and costs are chosen on one half of the planted words and voices and reported on the other; the pairs of
the packaged procedures are in neither. Voices are synthetic. It needs matplotlib only for ``--plot``.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

from rich.console import Console
from rich.table import Table

from handsfree.bench._confusion_tables import (
    bins,
    counts,
    docs_lines,
    headings,
    level_name,
    levels_of,
    paragraphs,
)
from handsfree.bench._confusions import LEVELS, Trial, jobs, measure
from handsfree.bench._curve import binned
from handsfree.bench._pairs import BIN, HALVES, planted, procedure_pairs
from handsfree.bench._voices import voices
from handsfree.hearing import EngineError
from handsfree.procedure._sounds import TOO_ALIKE
from handsfree.speaking import SpeakingError

__all__ = ["main"]

_FULL, _QUICK = (10, 6, 6.0), (2, 1, 3.0)  # pairs a bin, near and far; the farthest pair of the procedures
_QUICK_LEVELS = (20.0, 10.0)
_BEGIN, _END = "<!-- measured confusions: generated, see above -->", "<!-- end of measured confusions -->"


def _write_docs(path: Path, trials: Sequence[Trial]) -> None:
    text = path.read_text(encoding="utf-8")
    before, found, rest = text.partition(_BEGIN)
    _, ended, after = rest.partition(_END)
    if not (found and ended):
        raise SystemExit(
            f"{path}: no lines between {_BEGIN!r} and {_END!r}; put both in, the table goes between"
        )
    inner = "\n".join(docs_lines(trials))
    path.write_text(f"{before}{_BEGIN}\n{inner}\n{_END}{after}", encoding="utf-8")


def _print(console: Console, trials: Sequence[Trial]) -> None:
    table = Table(title="Heard as the other of two phrases armed beside the commands, by distance")
    for heading in headings(levels_of(trials)):
        table.add_column(heading, justify="right")
    for row in bins(trials, levels_of(trials)):
        table.add_row(*row)
    console.print(table)
    for title, lines in paragraphs(trials):
        console.print(f"\n{title}", style="bold")
        for line in lines:
            console.print(f"  {line}", markup=False, highlight=False, soft_wrap=True)


def _plot(path: Path, trials: Sequence[Trial]) -> None:
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt
    import numpy as np

    figure, axes = plt.subplots(figsize=(8, 5))
    x = np.linspace(0, 6, 200)
    for level in levels_of(trials):
        found = counts(trials, "report", level)
        rows = binned(found.distance, found.confused, found.said, BIN)
        (line,) = axes.plot(x, 100 * found.curve().rate(x), label=level_name(level))
        middle = [(row.low + row.high) / 2 for row in rows]
        axes.plot(middle, [100 * row.rate for row in rows], "o", color=line.get_color())
    axes.axvline(TOO_ALIKE, linestyle="--", color="gray", label=f"threshold {TOO_ALIKE:g}")
    axes.set(
        xlabel="distance, phones", ylabel="heard as the other, %", title="Confusions of two armed phrases"
    )
    axes.legend()
    figure.savefig(path, dpi=120)


def _measured(quick: bool, seed: int) -> list[Trial]:
    near, far, most = _QUICK if quick else _FULL
    speakers = {half: voices(half)[-1:] if quick else voices(half) for half in HALVES}
    pairs = planted(near, far, seed) + procedure_pairs(most)
    work = jobs(pairs, speakers, _QUICK_LEVELS if quick else LEVELS)
    return list(measure(work, seed, tell=lambda text: print(text, file=sys.stderr, flush=True)))


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(
        prog="python -m handsfree.bench confusions",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--quick", action="store_true", help="few pairs and two voices")
    parser.add_argument("--seed", type=int, default=1, help="seed of the pairs and the noise")
    parser.add_argument(
        "--json", type=Path, metavar="FILE", help="write every phrase said and what was heard"
    )
    parser.add_argument("--read", type=Path, metavar="FILE", help="a file of --json, instead of measuring")
    parser.add_argument("--plot", type=Path, metavar="FILE", help="draw the curves (needs matplotlib)")
    parser.add_argument("--docs", type=Path, metavar="FILE", help="put the measured lines into DEVELOPERS.md")
    args = parser.parse_args(arguments)
    try:
        trials = _read(args.read) if args.read else _measured(args.quick, args.seed)
        if args.json:
            args.json.write_text(json.dumps([asdict(t) for t in trials], indent=0) + "\n", encoding="utf-8")
        _print(Console(width=118), trials)
        if args.docs:
            _write_docs(args.docs, trials)
        if args.plot:
            _plot(args.plot, trials)
    except (SpeakingError, EngineError, OSError) as error:
        raise SystemExit(str(error)) from None


def _read(path: Path) -> list[Trial]:
    try:
        return [Trial(**row) for row in json.loads(path.read_text(encoding="utf-8"))]
    except (ValueError, TypeError):
        raise SystemExit(f"{path}: not a file written by --json; measure again") from None


if __name__ == "__main__":
    main()
