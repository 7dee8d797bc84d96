"""A bay by the command line: a shop file, several jobs at once, a microphone that comes back."""

from __future__ import annotations

import re
import shlex
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest
from procedure.driving import BADGE, whole
from test_cli import go_on, handsfree, one_line
from test_shop import CODE, TEXT

from handsfree import _wiring as wiring
from handsfree import audio
from handsfree.audio import AudioError, MicrophoneLost
from handsfree.record import check_chain, read_log
from handsfree.session import AudioEars, NoView, SimulatedClock
from handsfree.shop import ShopError

pytestmark = pytest.mark.slow


@pytest.fixture
def place(tmp_path: Path) -> Path:
    (tmp_path / "shop.toml").write_text(TEXT)
    (tmp_path / "small.toml").write_text(whole(BADGE))
    return tmp_path


def run(place: Path, typed: str, *more: str) -> object:
    words = ("run", "--procedure", "small.toml", "--engine", "typed", "--practice")
    return handsfree(*words, *more, typed=typed, cwd=place)


def test_a_shop_file_is_proved_and_its_faults_are_lines(place: Path) -> None:
    done = handsfree("shop", "shop.toml", cwd=place)
    assert (done.returncode, done.stdout) == (0, "shop.toml: proved; technicians: 1, supervisors: 2\n")
    (place / "shop.toml").write_text(TEXT.replace("velvet hammer", "granite windows"))
    done = handsfree("shop", "shop.toml", cwd=place)
    assert done.returncode == 1
    assert "supervisors 409 and 12: their code words sound alike" in done.stdout
    assert "granite" not in done.stdout + done.stderr


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("name = ", "not valid TOML"),
        (TEXT.replace('"409"', '"4"'), "supervisor 1 badge: must be two to six digits"),
        (TEXT.replace(CODE, "xyzzy hammock"), "does not know word 1 of the code word"),
        (b"\xff\xfe", "not UTF-8 text"),
        (None, "No such file"),
    ],
)
def test_no_job_begins_with_a_bad_shop_file(place: Path, text: str | bytes | None, said: str) -> None:
    (place / "shop.toml").unlink()
    if text is not None:
        (place / "shop.toml").write_bytes(text if isinstance(text, bytes) else text.encode())
    setup = wiring.Setup(engine="typed", jobs=place / "jobs", shop=place / "shop.toml")
    with pytest.raises(ShopError) as caught:
        wiring.run_job(setup, NoView(), started=lambda _: None)
    line = str(caught.value)
    assert said in line
    assert "shop.toml" in line
    assert "xyzzy" not in line
    assert "\n" not in line
    assert not (place / "jobs").exists()


def test_a_technician_who_is_not_in_the_shop_file(place: Path) -> None:
    line = one_line(run(place, "", "--shop", "shop.toml", "--technician", "Zoe"))  # type: ignore[arg-type]
    assert "no 'Zoe' in the shop file 'Harbor Row'" in line
    assert "Mara Lindqvist (17)" in line
    assert list((place / "jobs").iterdir()) == []


def test_a_job_goes_on_with_its_shop_file_only(place: Path) -> None:
    ask = "supervisor release 409\naffirmative\n"
    done = run(place, ask, "--shop", "shop.toml", "--technician", "17")
    command = shlex.split(go_on(done).partition("handsfree ")[2])  # type: ignore[arg-type]
    (job,) = (place / "jobs").iterdir()
    first = read_log(job).lines[0].body
    assert (first["technician"], first["shop"]) == ("Mara Lindqvist", "Harbor Row")
    without = [word for word in command if word not in ("--shop", "shop.toml")]
    assert "give it with --shop" in one_line(handsfree(*without, typed="", cwd=place))
    gone = [word if word != "shop.toml" else "gone.toml" for word in command]
    line = one_line(handsfree(*gone, typed="", cwd=place))
    assert "gone.toml: No such file or directory; give that of 'Harbor Row'" in line
    assert "leave" not in line  # it would be refused
    (place / "shop.toml").write_text(TEXT.replace("Mara Lindqvist", "Mara Lund"))
    ended = handsfree(*command, typed=f"{CODE}\ncompleted\n", cwd=place)
    assert ended.returncode == 0, ended.stdout + ended.stderr
    assert "other people" in str([line.body for line in read_log(job).lines if line.kind == "note"])
    assert check_chain(job) == []
    assert "granite" not in ended.stdout + ended.stderr + handsfree("show", str(job)).stdout
    assert not any(b"granite" in path.read_bytes() for path in job.rglob("*") if path.is_file())


def test_two_tires_are_gone_on_with_by_one_command(place: Path) -> None:
    done = run(place, "start another tire\nsupervisor release 12\n")
    assert done.returncode == 3  # type: ignore[attr-defined]
    line = go_on(done)  # type: ignore[arg-type]
    assert line.startswith("2 jobs are not finished.")
    command = shlex.split(line.partition("handsfree ")[2])
    assert len([word for word in command if word.startswith("jobs/")]) == 2
    rest = "supervisor release 12\naffirmative\ncompleted\naffirmative\ncompleted\n"
    ended = handsfree(*command, typed=rest, cwd=place)
    assert ended.returncode == 0, ended.stdout + ended.stderr
    assert ended.stdout.count("Disposition: practice, not for a real tire: return to service") == 2
    assert "Tire bravo is on hold." in ended.stdout
    blocks = re.findall(r"^TIRE (\w+)\nPRACTICE.*\nDisposition: .*return to service$", ended.stdout, re.M)
    assert sorted(blocks) == ["ALFA", "BRAVO"]
    for job in (place / "jobs").iterdir():
        assert check_chain(job) == []


def test_jobs_that_can_not_be_opened_so_stay_closed(place: Path) -> None:
    run(place, "")
    (job,) = (place / "jobs").iterdir()
    words = ("resume", str(job), "--engine", "typed", "--practice")
    assert "nowhere: no job there" in one_line(handsfree(*words, "nowhere", cwd=place))
    # Begun without a shop file: it has none later.
    assert "leave --shop out" in one_line(handsfree(*words, "--shop", "shop.toml", cwd=place))
    assert handsfree(*words, cwd=place).returncode == 3  # its lock was given back


# -- a microphone that was lost -------------------------------------------------------------------------


class Device:
    """What is plugged in now."""

    def __init__(self, *, fails: AudioError | None = None, silent: bool = False) -> None:
        self.fails, self.silent, self.closed = fails, silent, False

    def __call__(self, name: str | None, *, headset: bool = False) -> Device:
        if self.fails is not None:
            raise self.fails
        return self

    def read(self) -> bytes:
        if self.silent:
            raise MicrophoneLost("no sound")
        return bytes(960)

    def close(self) -> None:
        self.closed = True


@pytest.mark.parametrize(
    ("device", "back"),
    [
        (Device(fails=AudioError("no microphone")), False),
        (Device(silent=True), False),
        (Device(), True),
    ],
)
def test_a_microphone_is_back_when_it_gives_sound(
    monkeypatch: pytest.MonkeyPatch, device: Device, back: bool
) -> None:
    monkeypatch.setattr(wiring, "rescan_devices", lambda: None)
    monkeypatch.setattr(wiring, "Microphone", device)
    ears = wiring._microphone_again(wiring.Setup(), SimulatedClock(0))
    assert (ears is not None) is back
    assert device.closed is (device.silent and not back)
    if ears is not None:
        assert isinstance(ears, AudioEars)
        ears.close()


def test_devices_are_looked_for_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    calls: list[str] = []
    fake = SimpleNamespace(_terminate=lambda: calls.append("end"), _initialize=lambda: calls.append("start"))
    monkeypatch.setitem(sys.modules, "sounddevice", fake)
    audio.rescan_devices()
    assert calls == ["end", "start"]

    def refuses() -> None:
        raise OSError("busy")

    monkeypatch.setitem(sys.modules, "sounddevice", SimpleNamespace(_terminate=refuses))
    with pytest.raises(AudioError, match=r"can't be listed \(busy\)"):
        audio.rescan_devices()


def test_each_jobs_recorded_replies_lie_beside_its_record(place: Path) -> None:
    """Two tires at once: what is said of the second one is not in the first one's folder."""
    done = run(place, "start another tire\nsupervisor release 12\naffirmative\n", "--replies", "files")
    first, second = sorted((place / "jobs").iterdir())
    for job in (first, second):
        spoken = sum(
            line.body.get("type") == "spoken" and line.body.get("completed") == "true"
            for line in read_log(job).lines
        )
        kept = sorted(path.name for path in (job / "spoken").glob("*.wav"))
        assert spoken > 0
        # Chimes are kept too: as many files as sentences at least, numbered from one in each folder.
        assert len(kept) >= spoken, done
        assert kept[0] == "0001.wav"
