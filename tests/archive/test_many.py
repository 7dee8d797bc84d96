"""Many bays at once, and a push that dies: the archive is in the end what one quiet push makes of it."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import time
from datetime import date
from pathlib import Path

import pytest
from sqlalchemy import create_engine

from handsfree.archive import Archive, figures, open_archive, schema_sql
from handsfree.archive._tables import METADATA

from .conftest import PRACTICE, fresh_database
from .test_push import everything

pytestmark = pytest.mark.slow


#: As the command does, but three jobs in a transaction, so that eight jobs take three.
PUSH = """
import sys
from handsfree.archive import _push
from handsfree.cli import main
_push._BATCH_JOBS = 3
main(sys.argv[1:])
"""


def start(jobs: Path, url: str, *folders: Path) -> subprocess.Popen[str]:
    """``handsfree archive push`` as a process of its own, as on a bay's computer."""
    command = [sys.executable, "-c", PUSH, "archive", "push", *map(str, folders or (jobs,))]
    return subprocess.Popen(
        command,
        env={**os.environ, "HANDSFREE_ARCHIVE": url},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=jobs,
    )


def quiet(jobs: Path, place: Path) -> Archive:
    """What one push alone makes of the jobs."""
    done = start(jobs, str(place / "quiet.sqlite"))
    out, err = done.communicate(timeout=120)
    assert done.returncode == 0, err
    assert "8 new, 0 grown, 0 unchanged" in out
    return open_archive(str(place / "quiet.sqlite"))


def test_many_bays_push_at_once(simulated: Path, url: str, tmp_path: Path) -> None:
    """Six processes on an archive that none of them has made yet, all with the same jobs in different orders."""
    jobs = sorted(simulated.iterdir())
    bays = []
    for number in range(6):
        mixed = random.Random(number).sample(jobs, len(jobs))
        bays.append(start(simulated, url, *mixed))
    told = [bay.communicate(timeout=240) for bay in bays]
    assert [bay.returncode for bay in bays] == [0] * 6, told
    new = sum(int(out.splitlines()[-1].split()[0]) for out, _ in told)
    assert new == len(jobs), "each job was new for exactly one of them"
    there = open_archive(url)
    assert everything(there) == everything(quiet(simulated, tmp_path))
    there.close()


def test_a_push_that_is_killed_goes_on_where_it_was(simulated: Path, url: str, tmp_path: Path) -> None:
    """kill -9 at eight moments: what is there is whole batches. Then once to the end: complete and equal."""
    there = open_archive(url, create=True)
    killed, partly = 0, set()
    for number in range(8):
        bay = start(simulated, url)
        time.sleep(1.2 + 0.35 * number)
        if bay.poll() is None:
            os.kill(bay.pid, signal.SIGKILL)
            killed += 1
        bay.communicate()
        jobs = len(everything(there)["job"])
        assert jobs in (0, 3, 6, 8)
        assert jobs >= max(partly, default=0)
        partly.add(jobs)
    there.close()
    assert killed
    done = start(simulated, url)
    _, err = done.communicate(timeout=120)
    assert done.returncode == 0, err
    there = open_archive(url)
    assert everything(there) == everything(quiet(simulated, tmp_path))
    there.close()


@pytest.mark.postgresql
def test_both_databases_report_the_same(simulated: Path, server: str, tmp_path: Path) -> None:
    url = fresh_database(server)
    done = start(simulated, url)
    _, err = done.communicate(timeout=120)
    assert done.returncode == 0, err
    there = open_archive(url)
    assert figures(there, PRACTICE) == figures(quiet(simulated, tmp_path), PRACTICE)
    there.close()


@pytest.mark.postgresql
def test_the_same_tables_partitioned_by_month(simulated: Path, server: str, tmp_path: Path) -> None:
    """What is printed for a large chain takes pushes and answers as the plain tables do; a month is found alone."""
    url = fresh_database(server)
    engine = create_engine(url.replace("postgresql://", "postgresql+pg8000://"))
    first = min(
        json.loads((job / "record.jsonl").read_text().partition("\n")[0])["at"] for job in simulated.iterdir()
    )
    with engine.begin() as connection:
        for statement in schema_sql(date.fromisoformat(first[:10]), 3).split(";\n"):
            if statement.strip():
                connection.exec_driver_sql(statement)
    done = start(simulated, url)
    _, err = done.communicate(timeout=120)
    assert done.returncode == 0, err
    done = start(simulated, url)
    assert "0 new, 0 grown, 8 unchanged" in done.communicate(timeout=120)[0]
    there, alone = open_archive(url), quiet(simulated, tmp_path)
    assert everything(there) == everything(alone)
    assert figures(there, PRACTICE) == figures(alone, PRACTICE)
    with engine.connect() as connection:
        plan = "\n".join(
            row[0]
            for row in connection.exec_driver_sql(f"EXPLAIN SELECT * FROM job WHERE day = '{first[:10]}'")
        )
    engine.dispose()
    there.close()
    month = first[:7].replace("-", "_")
    assert f"job_{month}" in plan
    assert plan.count(" on job_") <= 2, "the other months are not looked at"


def test_sql_for_several_servers_distributes_every_table_by_job() -> None:
    told = schema_sql(date(2026, 11, 1), 2, distributed=True)
    for table in METADATA.tables.values():
        if "day" in table.c:
            assert f"create_distributed_table('{table.name}', 'job_id')" in told
            assert {"job_id", "day"} <= {column.name for column in table.primary_key}
        assert not table.foreign_keys
    assert "job_2026_12 PARTITION OF job FOR VALUES FROM ('2026-12-01') TO ('2027-01-01')" in told
