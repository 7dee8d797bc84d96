"""FLAC files: the same samples as the WAV they were made of; damage told in one line."""

from __future__ import annotations

import wave
from pathlib import Path

import numpy as np
import pytest
import soundfile

from handsfree.audio import AudioError, read_flac, read_sound, read_wav, write_flac, write_wav


def speech_like(seconds: float = 1.0, seed: int = 3) -> bytes:
    rng = np.random.default_rng(seed)
    noise = np.cumsum(rng.standard_normal(int(16000 * seconds)))
    noise -= np.linspace(noise[0], noise[-1], len(noise))
    return (noise / np.abs(noise).max() * 20000).astype("<i2").tobytes()


def test_it_is_lossless(tmp_path: Path) -> None:
    pcm = speech_like()
    write_flac(tmp_path / "a.flac", pcm)
    assert read_flac(tmp_path / "a.flac") == pcm
    assert (tmp_path / "a.flac").stat().st_size < len(pcm)


def test_the_first_bytes_tell_the_format_not_the_name(tmp_path: Path) -> None:
    pcm = speech_like()
    write_flac(tmp_path / "a.wav", pcm)
    write_wav(tmp_path / "b.flac", pcm)
    assert read_sound(tmp_path / "a.wav") == read_sound(tmp_path / "b.flac") == pcm


@pytest.mark.parametrize("rate", [16000, 44100, 48000])
@pytest.mark.parametrize("channels", [1, 2])
def test_it_gives_what_the_same_wav_gives(tmp_path: Path, rate: int, channels: int) -> None:
    t = np.arange(rate) / rate
    table = np.stack(
        [0.4 * np.sin(2 * np.pi * 440 * t), 0.1 * np.sin(2 * np.pi * 440 * t)][:channels], axis=1
    )
    whole = np.rint(table * 32767).astype("<i2")
    with wave.open(str(tmp_path / "a.wav"), "wb") as file:
        file.setnchannels(channels)
        file.setsampwidth(2)
        file.setframerate(rate)
        file.writeframes(whole.tobytes())
    soundfile.write(str(tmp_path / "a.flac"), whole, rate)
    assert read_sound(tmp_path / "a.flac") == read_wav(tmp_path / "a.wav")


@pytest.mark.parametrize(
    ("spoil", "line"),
    [
        (lambda data: data[: len(data) // 2], "record it again"),
        (lambda data: data[:30], "damaged FLAC file"),
        (lambda data: data[:4] + bytes(len(data) - 4), "damaged FLAC file"),
    ],
)
def test_damage_is_one_line(tmp_path: Path, spoil: object, line: str) -> None:
    path = tmp_path / "a.flac"
    write_flac(path, speech_like(2.0))
    path.write_bytes(spoil(path.read_bytes()))  # type: ignore[operator]
    with pytest.raises(AudioError, match=line) as caught:
        read_sound(path)
    assert "\n" not in str(caught.value)


def test_a_low_rate_and_an_hour_are_refused(tmp_path: Path) -> None:
    soundfile.write(str(tmp_path / "low.flac"), np.zeros(8000, "<i2"), 8000)
    soundfile.write(str(tmp_path / "long.flac"), np.zeros(16000 * 601, "<i2"), 16000)
    with pytest.raises(AudioError, match="8000 Hz"):
        read_sound(tmp_path / "low.flac")
    with pytest.raises(AudioError, match="longer than 10 minutes"):
        read_sound(tmp_path / "long.flac")


def test_a_missing_file_and_an_unwritable_folder(tmp_path: Path) -> None:
    with pytest.raises(AudioError, match="no such sound file"):
        read_sound(tmp_path / "none.flac")
    with pytest.raises(AudioError, match="can't be written"):
        write_flac(tmp_path / "no" / "where.flac", speech_like(0.1))


def test_a_file_that_does_not_tell_its_length_says_so(tmp_path: Path) -> None:
    """RFC 9639, 8.2: the low 36 bits of bytes 21 to 25 are the total of samples, 0 is unknown."""
    path = tmp_path / "piped.flac"
    write_flac(path, bytes(64000))
    body = bytearray(path.read_bytes())
    body[21] &= 0xF0
    body[22:26] = bytes(4)
    path.write_bytes(body)
    with pytest.raises(AudioError, match=r"does not tell how long it is.*save it as WAV"):
        read_sound(path)
