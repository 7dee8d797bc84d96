"""Fuzz one reader, guided by coverage (needs Linux and ``pip install -e '.[fuzz]'``).

    python tests/fuzz/run.py grammar --seconds 120 --findings /tmp/findings

The corpus begins with the repository's own files. Each input may take ``_TIMEOUT_S`` seconds (an alarm) and the
process ``_MEMORY`` bytes of address space. Exit code 0: nothing found; else the input is in the folder of findings.
"""

from __future__ import annotations

import argparse
import resource
import sys
import tempfile
from pathlib import Path

import atheris

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parents[1]))
with atheris.instrument_imports(include=["handsfree", "tomllib", "json"]):
    from fuzz.targets import TARGETS

_TIMEOUT_S = 10
_MEMORY = 3 << 30


def main() -> None:
    """Runs until the time or the runs are over, or something is found; never returns."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("target", choices=sorted(TARGETS))
    parser.add_argument("--seconds", type=int, default=15)
    parser.add_argument("--runs", type=int, default=-1)
    parser.add_argument("--findings", type=Path, default=Path(tempfile.gettempdir()))
    parser.add_argument("--seed", type=int, default=4711)
    asked = parser.parse_args()
    target = TARGETS[asked.target]
    with tempfile.TemporaryDirectory() as place:
        corpus = Path(place) / "corpus"
        corpus.mkdir()
        for number, seed in enumerate(target.seeds()):
            (corpus / f"seed-{number}").write_bytes(seed)
        words = Path(place) / "words"
        quoted = ("".join(f"\\x{byte:02x}" for byte in word) for word in target.words)
        words.write_text("".join(f'"{word}"\n' for word in quoted))
        resource.setrlimit(resource.RLIMIT_AS, (_MEMORY, _MEMORY))
        options = [
            f"-max_total_time={asked.seconds}",
            f"-runs={asked.runs}",
            f"-timeout={_TIMEOUT_S}",
            f"-artifact_prefix={asked.findings}/{asked.target}-",
            f"-dict={words}",
            f"-seed={asked.seed}",
            "-rss_limit_mb=0",  # RLIMIT_AS does it
            "-max_len=65536",
            "-print_final_stats=1",
        ]
        atheris.Setup([sys.argv[0], *options, str(corpus)], target.feed)
        atheris.Fuzz()


if __name__ == "__main__":
    main()
