"""Real jobs to archive: simulated ones of every packaged procedure, and one that is signed or spoiled at will."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from audit.jobs import copy_of, job, original

from handsfree.archive import Archive, Scope, open_archive, read_closed, store
from handsfree.audit import audit
from handsfree.bench._server import NO_SERVER, postgresql_server, server_programs
from handsfree.record import JobLog
from handsfree.record.signing import Decision, load_key, new_key
from handsfree.record.signing import sign as append_signature

__all__ = ["PRACTICE", "fresh_database", "job", "original"]

PRACTICE = Scope(practice=True)
PASSPHRASE = "eleven quiet herons"
CONCESSION = Decision("concession", "measured again by hand")


@pytest.fixture(scope="session")
def shop_keys(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a supervisor's private key and the shop's folder of public keys."""
    place = tmp_path_factory.mktemp("shop")
    new_key(place / "ortega.pem", place / "keys", PASSPHRASE)
    return place


@pytest.fixture
def sign(shop_keys: Path, tmp_path: Path) -> Callable[..., None]:
    """Append a supervisor's decision to a job, by default a concession."""
    keys = copy_of(shop_keys / "keys", tmp_path / "keys")

    def signed(folder: Path, decision: Decision = CONCESSION) -> None:
        with JobLog.open(folder) as log:
            append_signature(log, load_key(shop_keys / "ortega.pem", PASSPHRASE), "ortega", decision, keys)

    return signed


@pytest.fixture(scope="session")
def simulated(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of eight jobs in several bays, copied from four simulated ones that pass their audit."""
    from handsfree.bench._copies import copied
    from handsfree.bench._copies import simulated as simulate

    place = tmp_path_factory.mktemp("simulated")
    templates = simulate(place / "templates", (0, 1, 2, 3), lambda folder: audit(folder).passed)
    assert len(templates) == 4
    for number in range(8):
        sealed = copied(templates[number % len(templates)], number)
        folder = place / "jobs" / sealed.name
        folder.mkdir(parents=True)
        (folder / "record.jsonl").write_bytes(b"".join(sealed.lines))
        for name, data in sealed.files.items():
            (folder / name).write_bytes(data)
    shutil.rmtree(place / "templates")
    return place / "jobs"


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    """The URL of a PostgreSQL server of our own."""
    if server_programs() is None:
        pytest.skip(NO_SERVER)
    with postgresql_server(("fsync=off",)) as url:
        yield url


@pytest.fixture(
    params=["sqlite", pytest.param("postgresql", marks=[pytest.mark.postgresql, pytest.mark.slow])]
)
def url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Where to make an archive that is not there yet: in both databases."""
    if request.param == "sqlite":
        yield str(tmp_path / "archive.sqlite")
        return
    yield fresh_database(request.getfixturevalue("server"))


def fresh_database(server: str) -> str:
    """A new, empty database on the server."""
    from sqlalchemy import create_engine, text
    from sqlalchemy.engine import make_url

    name = f"archive_{os.urandom(6).hex()}"
    engine = create_engine(make_url(server).set(drivername="postgresql+pg8000"), isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
    engine.dispose()
    return server.rpartition("/")[0] + f"/{name}"


@pytest.fixture
def archive(url: str) -> Iterator[Archive]:
    opened = open_archive(url, create=True)
    yield opened
    opened.close()


@pytest.fixture(scope="session")
def filled(simulated: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Archive]:
    """An SQLite archive of the simulated jobs. Never to be changed."""
    opened = open_archive(str(tmp_path_factory.mktemp("filled") / "archive.sqlite"), create=True)
    for folder in sorted(simulated.iterdir()):
        assert store(opened, read_closed(folder, audit, sound=False)).what == "new"
    yield opened
    opened.close()


@pytest.fixture
def push(archive: Archive) -> Callable[..., str]:
    """Load one job; says "new", "grown" or "unchanged"."""
    return lambda folder, sound=False: store(archive, read_closed(folder, audit, sound=sound)).what
