"""Each reader under a coverage-guided fuzzer, briefly; ``run.py`` runs one as long as you like."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from .targets import TARGETS

_SECONDS = 4


@pytest.mark.slow
@pytest.mark.parametrize("name", TARGETS)
def test_nothing_is_found_in_seconds(name: str, tmp_path: Path) -> None:
    pytest.importorskip("atheris", reason="atheris is not installed (Linux: pip install -e '.[fuzz]')")
    command = [sys.executable, str(Path(__file__).with_name("run.py")), name]
    done = subprocess.run(
        [*command, "--seconds", str(_SECONDS), "--findings", str(tmp_path)],
        capture_output=True,
        text=True,
        errors="replace",
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    assert list(tmp_path.iterdir()) == []
    executions = re.search(r"stat::number_of_executed_units:\s*(\d+)", done.stderr)
    covered = re.search(r"DONE\s+cov: (\d+)", done.stderr)
    assert executions is not None
    assert covered is not None
    assert int(executions[1]) > 10, "the fuzzer hardly ran"
    print(f"{name}: {executions[1]} executions, coverage {covered[1]}")
