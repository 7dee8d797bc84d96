"""``python -m handsfree.bench``: what this machine reaches, as tables. No thresholds: machines are noisy."""

from __future__ import annotations

import argparse
import os
import platform
import subprocess
import sys
import tempfile
import time
from importlib.metadata import version
from pathlib import Path

from rich.console import Console
from rich.table import Table

from handsfree import _wiring as wiring
from handsfree.audio import AudioError
from handsfree.bench._hearing import LEVELS, chatter, score
from handsfree.bench._latency import Waited, measure
from handsfree.bench._noise import available
from handsfree.bench._own_lines import own_lines
from handsfree.bench._report import as_table, plot, write_json
from handsfree.bench._script import denial, recorded_lines
from handsfree.grammar import GrammarError, load_pronunciations
from handsfree.hearing import Engine, EngineError, make_engine

_READY = """
from handsfree import _wiring as w
from handsfree.grammar import Library
from handsfree.procedure import read_procedure
from handsfree.session import packaged_procedure
read_procedure(packaged_procedure("passenger-one-piece"))
e = w.build_engine(w.Setup())
e.arm(Library.load().arm({"answer": "<answers.yes_no>"}))
"""


# The peak is read in the process itself: a parent's account of its child counts the parent's own pages too.
_DEMO = """
import resource, sys
from pathlib import Path
from handsfree.cli import main
try:
    main(["demo", "--jobs", sys.argv[1]])
except SystemExit:
    pass
status = Path("/proc/self/status")
if status.exists():
    peak = next(int(l.split()[1]) * 1024 for l in status.read_text().splitlines() if l.startswith("VmHWM"))
else:
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024)
sys.stderr.write(f"peak {peak}\\n")
"""


def _engine(args: argparse.Namespace) -> Engine:
    if args.alone:
        return make_engine(args.engine, args.model, pronunciations=load_pronunciations(), alone=True)
    return wiring.build_engine(wiring.Setup(engine=args.engine, model=args.model))


def _hearing(console: Console, args: argparse.Namespace) -> None:
    """The whole run hears every line in every noise at every level; the quick one a quarter of the lines, pink
    noise, and the other kinds at 10 dB."""
    said = own_lines(args.said) if args.said is not None else recorded_lines()
    lines = [line for line in said if line.known]
    if not lines:
        raise AudioError(f"{args.said}: no line with known = true; there is nothing to hear")
    every = 4 if args.quick else args.every
    no = denial(lines)  # also where the thinned lines have none
    lines, others = lines[::every], chatter(15 if args.quick else 150 // every)
    if args.said is not None:
        others = [line.pcm for line in said if not line.known]
    cells = [("pink", level, True) for level in LEVELS]
    cells += [
        ("pink", level, False) for level in LEVELS if level is not None and level >= 10 and not args.quick
    ]
    for noise in available():
        if noise != "pink":
            cells += [
                (noise, level, True)
                for level in LEVELS
                if level == 10 or (level is not None and not args.quick)
            ]
    scores = []
    for noise, level, suppress in cells:
        engine = _engine(args)
        found = score(engine, lines, level, args.seed, noise=noise, others=others, suppress=suppress, no=no)
        engine.close()
        scores.append(found)
        # The whole run takes its time: say how far it is.
        where = found.noise if level is None else f"{noise} {level:g} dB"
        console.print(
            f"{where}: {found.value} of {found.said} right, {found.wrong} wrong, {found.taken} taken"
        )
    heard = "Packaged voices, grammars of the real procedure" if args.said is None else str(args.said)
    console.print(as_table(f"{heard}: {args.engine}{' alone' if args.alone else ''}", scores))
    console.print(
        "unsure: of the right values, those that are asked about first; again: not accepted, the question is asked "
        "again (of these heard right);\nwrong: accepted with another meaning, whereupon the speaker says no to the "
        "read-back; undetected: that was heard as a sure yes;\ntaken: utterances of the sentences outside that were "
        "accepted as an answer; doubted: that were asked about\n"
    )
    if args.json is not None:
        write_json(args.json, scores)
    if args.plot is not None:
        plot(args.plot, scores)


def _latency(console: Console) -> None:
    waited = measure()
    table = Table(
        title=f"End of speech to first sample of the reply, {len(waited.work)} replies of one session, ms"
    )
    for heading in ("part", "median", "95th percentile"):
        table.add_column(heading, justify="left" if heading == "part" else "right")
    parts = (
        ("silence the endpointer waits for", waited.silence),
        ("decoding the rest", waited.decode),
        ("that, machine, record on disk, voice", waited.work),
        ("together", waited.total),
    )
    for name, values in parts:
        median, p95 = Waited.median_p95(values)
        table.add_row(name, f"{median:.0f}", f"{p95:.0f}")
    console.print(table)


def _process(console: Console) -> None:
    begin = time.perf_counter()
    subprocess.run([sys.executable, "-c", _READY], check=True)
    ready = time.perf_counter() - begin
    with tempfile.TemporaryDirectory() as jobs:
        begin = time.perf_counter()
        done = subprocess.run(
            [sys.executable, "-c", _DEMO, jobs],
            check=True,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        )
        demo = time.perf_counter() - begin
    megabytes = int(done.stderr.rsplit("peak ", 1)[1]) / 1_000_000
    table = Table(title="The process")
    table.add_column("measure")
    table.add_column("value", justify="right")
    table.add_row("start-up to listening", f"{ready:.2f} s")
    table.add_row("whole demo, replies made and written", f"{demo:.1f} s")
    table.add_row("peak memory of the demo", f"{megabytes:.0f} MB")
    console.print(table)


def _count(text: str) -> int:
    if not text.isdigit() or not int(text):
        raise argparse.ArgumentTypeError(f"{text} is no count; give 1 or more")
    return int(text)


def main() -> None:
    if sys.argv[1:2] in (["technician"], ["walk"]):
        from handsfree.bench._technician_main import technician_main, walk_main

        sys.exit((technician_main if sys.argv[1] == "technician" else walk_main)(sys.argv[2:]))
    if sys.argv[1:2] == ["confusions"]:
        from handsfree.bench.confusions import main as confusions_main

        confusions_main(sys.argv[2:])
        return
    if sys.argv[1:2] == ["archive"]:
        from handsfree.bench.archive import main as archive_main

        sys.exit(archive_main(sys.argv[2:]))
    if sys.argv[1:2] == ["chatter"]:
        from handsfree.bench._chatter import main as chatter_main

        sys.exit(chatter_main(sys.argv[2:]))
    if sys.argv[1:2] == ["onset"]:
        from handsfree.bench._onset import main as onset_main

        sys.exit(onset_main(sys.argv[2:]))
    if sys.argv[1:2] == ["enrolment"]:
        from handsfree.bench.enrolment import main as enrolment_main

        sys.exit(enrolment_main(sys.argv[2:]))
    parser = argparse.ArgumentParser(
        prog="python -m handsfree.bench",
        description=__doc__,
        epilog="Each with its own --help: technician, walk, confusions, chatter, onset, archive, enrolment.",
    )
    parser.add_argument("what", nargs="?", default="all", choices=("all", "hearing", "latency", "limits"))
    parser.add_argument("--seed", type=int, default=1, help="seed of the noise")
    parser.add_argument(
        "--quick", action="store_true", help="hearing: a quarter of an hour of one core instead of some hours"
    )
    parser.add_argument(
        "--every", type=_count, default=1, help="hearing: only one line in so many, in every noise"
    )
    parser.add_argument("--json", type=Path, help="hearing: write the scores there")
    parser.add_argument("--plot", type=Path, help="hearing: draw them there (needs matplotlib)")
    parser.add_argument(
        "--engine", default="pocketsphinx", choices=("pocketsphinx", "vosk"), help="hearing: which"
    )
    parser.add_argument("--model", type=Path, help="hearing: vosk's model folder (see models_readme)")
    parser.add_argument(
        "--alone", action="store_true", help="hearing: vosk without PocketSphinx, which must agree otherwise"
    )
    parser.add_argument(
        "--said", type=Path, help="hearing: a folder of recordings of your own (see bench/_own_lines.py)"
    )
    args = parser.parse_args()
    if args.what == "limits":
        from handsfree.bench.limits import main as limits_main

        limits_main()
        return
    console = Console(width=160)
    console.print(
        f"handsfree {version('handsfree')}, Python {platform.python_version()}, {platform.machine()}, "
        f"{os.cpu_count()} cores\n"
    )
    try:
        if args.what != "latency":
            _hearing(console, args)
    except (AudioError, EngineError, GrammarError) as error:
        sys.exit(f"handsfree.bench: {error}")
    if args.what in ("all", "latency"):
        _latency(console)
        _process(console)


if __name__ == "__main__":
    main()
