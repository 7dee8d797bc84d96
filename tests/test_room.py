"""The room's measure, from packaged recordings in noise that is mixed in at a known level."""

from __future__ import annotations

from pathlib import Path

import pytest

from handsfree import _wiring as wiring
from handsfree._room import PHRASES, Room, expected, from_files, measure
from handsfree.audio import AudioError, read_sound, room_noise, samples, write_wav
from handsfree.bench._noise import mix, pink
from handsfree.cli import main
from handsfree.session import demo_folder

_FILES = (
    "004-affirmative",
    "003-four-four-one-seven",
    "023-two-four-p-s-i",
    "054-four-point-five-millimeters",
    "037-nothing-found",
)


def _record(folder: Path, level: float | None, gain: float = 1.0) -> None:
    """One noise under everything: the phrases stand in one stretch of sound that is cut afterwards."""
    phrases = [read_sound(demo_folder() / f"{name}.flac") for name in _FILES]
    quiet = (room_noise(phrases[0]) * 3)[: 10 * 32000]
    sound = quiet + b"".join(phrases)
    if level is not None:
        sound = mix(sound, pink(len(sound) // 2, 5), level)
    loud = (samples(sound).astype(float) * gain).clip(-32768, 32767).astype("<i2").tobytes()
    at = 0
    for number, part in enumerate((quiet, *phrases)):
        write_wav(folder / f"{number}.wav", loud[at : at + len(part)])
        at += len(part)


def _doctor(folder: Path, capsys: pytest.CaptureFixture[str]) -> tuple[int, str]:
    with pytest.raises(SystemExit) as done:
        main(["doctor", "--room", "--wav", str(folder)])
    said = capsys.readouterr()
    return int(done.value.code or 0), said.out + said.err


def test_a_quiet_room_is_good_and_every_phrase_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _record(tmp_path, None)
    code, said = _doctor(tmp_path, capsys)
    assert code == 0, said
    for phrase, _ in PHRASES:
        assert f"Say: {phrase}\n  heard: {phrase}\n" in said
    assert "headset" not in said


@pytest.mark.slow
def test_a_loud_room_wants_a_headset_and_its_level_is_measured(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _record(tmp_path, 6.0)
    code, said = _doctor(tmp_path, capsys)
    assert code == 1
    assert "headset" in said
    over = float(said.partition(" dB over the noise")[0].rpartition(" ")[2])
    assert over == pytest.approx(6.0, abs=3.0)


@pytest.mark.slow  # distorted speech is the dearest to decode
def test_clipping_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _record(tmp_path, None, gain=30.0)
    code, said = _doctor(tmp_path, capsys)
    assert code == 1
    assert "gain down" in said


def test_a_missing_phrase_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _record(tmp_path, None)
    (tmp_path / "5.wav").unlink()
    code, said = _doctor(tmp_path, capsys)
    assert (code, said.count("\n")) == (1, 1)
    assert "5 sound files" in said


def test_expectation_is_the_table_between_its_rows() -> None:
    ten, fifteen = expected(10.0), expected(15.0)
    assert expected(12.5).right == pytest.approx((ten.right + fifteen.right) / 2)
    assert expected(3.9).again == 1.0
    found = expected(99.0)
    assert found.right + found.again + found.wrong == pytest.approx(1.0)


_ALL = tuple(phrase for phrase, _ in PHRASES)


def _room(heard: tuple[str, ...], *, snr: float, crest: float = 13.0, swing: float = 2.0) -> Room:
    return Room(-50.0, crest, -50.0 + snr, 0, heard, swing)


def test_where_phrases_and_table_disagree_the_phrases_count_and_that_is_said() -> None:
    fine = _room(_ALL, snr=6.0)
    assert fine.good
    assert "the phrases count" in "\n".join(fine.lines())
    deaf = _room(("", "", "", *_ALL[3:]), snr=30.0)
    assert not deaf.good
    assert "the phrases count" in "\n".join(deaf.lines())
    agreed = _room(_ALL, snr=30.0)
    assert agreed.good
    assert "disagree" not in "\n".join(agreed.lines())
    one_missed = _room(("", *_ALL[1:]), snr=6.0)  # what a room of that table does too
    assert not one_missed.good
    assert "too noisy" in "\n".join(one_missed.lines())


def test_blows_are_not_called_steady() -> None:
    assert _room(_ALL, snr=30.0, crest=17.0).kind == "with blows in it"
    assert _room(_ALL, snr=30.0, swing=9.0).kind == "rising and falling"
    assert _room(_ALL, snr=30.0).kind == "steady"


def test_a_noise_gate_is_no_dead_microphone_and_a_dead_one_is(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _record(tmp_path, None)
    write_wav(tmp_path / "0.wav", bytes(320000))
    (tmp_path / "6.mp3").write_bytes(b"x")
    _, said = _doctor(tmp_path, capsys)
    assert "gives no sound" not in said
    assert "noise gate" in said
    assert "Passed over, not WAV or FLAC: 6.mp3" in said
    for number in range(1, 6):
        write_wav(tmp_path / f"{number}.wav", bytes(64000))
    code, said = _doctor(tmp_path, capsys)
    assert code == 1
    assert "the microphone gives no sound" in said


def test_sound_that_was_lost_measures_nothing(tmp_path: Path) -> None:
    _record(tmp_path, None)
    engine, told = wiring.build_engine(wiring.Setup()), list[str]()
    lost = iter(range(100))
    with pytest.raises(
        AudioError, match="sound was lost, the computer was late, 3 times: nothing was measured"
    ):
        measure(from_files(tmp_path), engine, told.append, lost=lambda: next(lost))
    engine.close()
    assert told.count("  some of the sound was lost, the computer was late: keep quiet again") == 2
