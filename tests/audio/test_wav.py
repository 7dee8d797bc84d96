"""WAV files, good and bad. The good ones are made by Python's own ``wave`` or from the format's definition."""

from __future__ import annotations

import struct
import wave
from pathlib import Path

import numpy as np
import pytest

from handsfree.audio import AudioError, dbfs, read_wav, samples, write_wav


def tone(rate: int, seconds: float = 0.5, peak: float = 0.5, hertz: float = 440.0) -> np.ndarray:
    return peak * np.sin(2 * np.pi * hertz * np.arange(int(rate * seconds)) / rate)


def pcm(values: np.ndarray, width: int) -> bytes:
    whole = np.rint(values * (2 ** (8 * width - 1) - 1)).astype("<i4")
    if width == 2:
        return whole.astype("<i2").tobytes()
    return whole.tobytes() if width == 4 else whole.view(np.uint8).reshape(-1, 4)[:, :3].tobytes()


def save(path: Path, data: bytes, *, rate: int = 16000, width: int = 2, channels: int = 1) -> Path:
    with wave.open(str(path), "wb") as file:
        file.setnchannels(channels)
        file.setsampwidth(width)
        file.setframerate(rate)
        file.writeframes(data)
    return path


def riff(fmt: bytes, data: bytes, size: int | None = None, extra: bytes = b"") -> bytes:
    body = b"fmt " + struct.pack("<I", len(fmt)) + fmt + extra
    body += b"data" + struct.pack("<I", len(data) if size is None else size) + data
    return b"RIFF" + struct.pack("<I", len(body) + 4) + b"WAVE" + body


def fmt(tag: int = 1, channels: int = 1, rate: int = 16000, bits: int = 16) -> bytes:
    block = channels * bits // 8
    return struct.pack("<HHIIHH", tag, channels, rate, rate * block, block, bits)


def test_sixteen_bit_sixteen_kilohertz_comes_through_unchanged(tmp_path: Path) -> None:
    data = pcm(tone(16000), 2)
    assert read_wav(save(tmp_path / "a.wav", data)) == data


@pytest.mark.parametrize("width", [2, 3, 4])
@pytest.mark.parametrize("rate", [16000, 22050, 44100, 48000, 96000])
def test_every_width_and_rate_gives_the_same_tone(tmp_path: Path, width: int, rate: int) -> None:
    heard = samples(read_wav(save(tmp_path / "a.wav", pcm(tone(rate, 1.0), width), rate=rate, width=width)))
    assert len(heard) == pytest.approx(16000, abs=2)
    want = tone(16000, 1.0) * 32767
    middle = slice(1000, 15000)  # a resampler needs a run-in
    assert np.abs(heard[middle] - want[middle]).max() < 40


@pytest.mark.parametrize("loud", [0, 1])
def test_of_two_channels_the_louder_is_taken(tmp_path: Path, loud: int) -> None:
    table = np.zeros((8000, 2))
    table[:, loud] = tone(16000)
    table[:, 1 - loud] = -0.5 * tone(16000)  # out of phase: a sum would lose half
    heard = read_wav(save(tmp_path / "a.wav", pcm(table.reshape(-1), 2), channels=2))
    assert heard == pcm(tone(16000), 2)


def test_extensible_format_of_recorders(tmp_path: Path) -> None:
    # 24 bits as the 1999 extensible format writes them, with a LIST chunk of odd length before the sound.
    subformat = bytes.fromhex("0100000000001000800000aa00389b71")
    long = fmt(0xFFFE, bits=24) + struct.pack("<HHI", 22, 24, 4) + subformat
    path = tmp_path / "a.wav"
    path.write_bytes(riff(long, pcm(tone(16000), 3), extra=b"LIST" + struct.pack("<I", 3) + b"abc\0"))
    assert np.abs(samples(read_wav(path)) - tone(16000) * 32767).max() <= 1.5


def test_a_piped_file_without_a_length(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    path.write_bytes(riff(fmt(), pcm(tone(16000), 2), size=0xFFFFFFFF))
    assert read_wav(path) == pcm(tone(16000), 2)


def test_silence_and_clipping_are_sound(tmp_path: Path) -> None:
    assert read_wav(save(tmp_path / "s.wav", bytes(3200))) == bytes(3200)
    clipped = np.clip(tone(48000, 0.5, peak=4.0), -1, 1)
    heard = samples(read_wav(save(tmp_path / "c.wav", pcm(clipped, 2), rate=48000)))
    # Resampling a clipped wave overshoots: it must be limited, not wrap round to the other sign.
    assert np.all(np.abs(np.diff(heard.astype(np.int32))) < 40000)
    assert heard.max() == 32767


BAD = {
    "empty.wav": (b"", "is empty"),
    "text.wav": (b"this is not sound at all", "not a WAV file"),
    "short.wav": (b"RIFF\0", "not a WAV file"),
    "eight.wav": (riff(fmt(rate=8000), bytes(1600)), "8000 Hz"),
    "bits8.wav": (riff(fmt(bits=8), bytes(1600)), "8-bit"),
    "float.wav": (riff(fmt(3, bits=32), bytes(1600)), "floating point"),
    "mulaw.wav": (riff(fmt(7, rate=16000, bits=8), bytes(1600)), "mu-law"),
    "cut.wav": (riff(fmt(), bytes(1600), size=64000), "cut short (0.1 of 2.0 seconds"),
    "none.wav": (riff(fmt(), b""), "no sound in the file"),
    "nodata.wav": (riff(fmt(), b"")[:-8], "damaged"),
    "nofmt.wav": (b"RIFF\0\0\0\0WAVEdata\x04\0\0\0abcd", "damaged"),
    "badfmt.wav": (riff(fmt()[:10], bytes(1600)), "damaged"),
    "channels.wav": (riff(fmt(channels=0), bytes(1600)), "damaged"),
    "long.wav": (riff(fmt(), bytes(10), size=16000 * 2 * 700), "longer than 10 minutes"),
    "fast.wav": (riff(fmt(rate=400_000), bytes(1600)), "192 kHz"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_files_say_in_one_line_what_to_do(tmp_path: Path, name: str) -> None:
    content, says = BAD[name]
    (tmp_path / name).write_bytes(content)
    with pytest.raises(AudioError) as caught:
        read_wav(tmp_path / name)
    message = str(caught.value)
    assert says in message
    assert name in message
    assert "\n" not in message
    assert any(word in message for word in ("record it again", "convert it", "cut it"))


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(AudioError, match="no such sound file"):
        read_wav(tmp_path / "nobody.wav")
    with pytest.raises(AudioError, match="can't be read"):
        read_wav(tmp_path)


def test_every_cut_of_a_good_file_is_an_error_or_whole(tmp_path: Path) -> None:
    whole = riff(fmt(), pcm(tone(16000, 0.05), 2))
    path = tmp_path / "a.wav"
    for length in range(0, len(whole), 7):
        path.write_bytes(whole[:length])
        with pytest.raises(AudioError):
            read_wav(path)


def test_what_is_written_is_read_back(tmp_path: Path) -> None:
    data = pcm(tone(16000), 2)
    write_wav(tmp_path / "a.wav", data)
    assert read_wav(tmp_path / "a.wav") == data
    with wave.open(str(tmp_path / "a.wav")) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, 16000)
    assert dbfs(data) == pytest.approx(-6.0, abs=0.05)


def test_a_folder_that_is_not_there_can_not_be_written(tmp_path: Path) -> None:
    with pytest.raises(AudioError, match="can't be written"):
        write_wav(tmp_path / "no" / "a.wav", bytes(10))
