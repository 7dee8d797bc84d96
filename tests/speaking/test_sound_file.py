"""Files a synthesizer may write, made by other programs where there are some."""

from __future__ import annotations

import array
import shutil
import struct
import subprocess
import warnings
import wave
from pathlib import Path

import pytest

from handsfree.speaking import Clip, VoiceError
from handsfree.speaking._cache import ClipCache, write_wav
from handsfree.speaking._sound_file import read_clip

SAMPLES = array.array("h", [0, 1, -2, 300, -32768, 32767, 7])
CLIP = Clip(SAMPLES.tobytes(), 22050)


def test_wav_round_trip(tmp_path: Path) -> None:
    write_wav(tmp_path / "a.wav", CLIP)
    assert read_clip(tmp_path / "a.wav") == CLIP


@pytest.mark.parametrize("form", [b"NONE", b"sowt"])
def test_aiff_as_the_standard_library_writes_it(form: bytes, tmp_path: Path) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        aifc = pytest.importorskip("aifc", reason="left the standard library in 3.13")
    samples = array.array("h", SAMPLES)
    with aifc.open(str(tmp_path / "a.aiff"), "wb") as out:
        out.aiff() if form == b"NONE" else out.aifc()
        out.setparams((1, 2, 22050, len(samples), b"NONE", b"not compressed"))
        samples.byteswap()
        out.writeframesraw(samples.tobytes())
    data = (tmp_path / "a.aiff").read_bytes()
    if form == b"sowt":  # the module writes no sowt: turn its file into one
        samples.byteswap()
        start = data.index(b"SSND") + 16
        data = data[:start] + samples.tobytes()
        data = data.replace(b"NONE", b"sowt")
    (tmp_path / "a.wav").write_bytes(data)  # the wrong name is what macOS makes of it
    assert read_clip(tmp_path / "a.wav") == CLIP


@pytest.mark.skipif(shutil.which("ffmpeg") is None, reason="needs ffmpeg")
def test_aiff_as_ffmpeg_writes_it(tmp_path: Path) -> None:
    write_wav(tmp_path / "a.wav", CLIP)
    command = ["ffmpeg", "-v", "error", "-i", str(tmp_path / "a.wav"), str(tmp_path / "b.aiff")]
    subprocess.run(command, check=True, capture_output=True)
    assert read_clip(tmp_path / "b.aiff") == CLIP


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [(b"NONE", b"ulaw", "compressed"), (b"\x40\x0d\xac\x44", b"\x00\x0d\xac\x44", "without a sample rate")],
)
def test_aiff_that_is_no_plain_sound_is_told(old: bytes, new: bytes, says: str, tmp_path: Path) -> None:
    rate = struct.pack(">HQ", 0x400D, 0xAC44 << 48)  # 22050 Hz as an 80-bit float
    common = struct.pack(">hLh", 1, 2, 16) + rate + b"NONE"
    sound = struct.pack(">LLhh", 0, 0, 5, -5)
    chunks = ((b"COMM", common), (b"SSND", sound))
    body = b"AIFC" + b"".join(name + struct.pack(">L", len(chunk)) + chunk for name, chunk in chunks)
    data = b"FORM" + struct.pack(">L", len(body)) + body
    (tmp_path / "a.aiff").write_bytes(data)
    assert read_clip(tmp_path / "a.aiff") == Clip(array.array("h", [5, -5]).tobytes(), 22050)
    assert data.count(old) == 1
    (tmp_path / "a.aiff").write_bytes(data.replace(old, new))
    with pytest.raises(VoiceError, match=says):
        read_clip(tmp_path / "a.aiff")


def wav(path: Path, channels: int, width: int) -> Path:
    with wave.open(str(path), "wb") as out:
        out.setnchannels(channels)
        out.setsampwidth(width)
        out.setframerate(16000)
        out.writeframes(b"\0" * 12)
    return path


def test_what_is_no_mono_16_bit_sound_is_told(tmp_path: Path) -> None:
    bad = [
        wav(tmp_path / "stereo.wav", 2, 2),
        wav(tmp_path / "wide.wav", 1, 3),
        tmp_path / "missing.wav",
        tmp_path,
    ]
    write_wav(tmp_path / "good.wav", CLIP)
    good = (tmp_path / "good.wav").read_bytes()
    for number, data in enumerate(
        [b"", b"RIFF", b"FORM", b"FORM\0\0\0\0AIFF", good[:20], good[:43], b"\0" * 100]
    ):
        bad.append(tmp_path / f"bad{number}.wav")
        bad[-1].write_bytes(data)
    for path in bad:
        with pytest.raises(VoiceError) as told:
            read_clip(path)
        assert "\n" not in str(told.value), path


def test_the_cache_forgets_what_was_used_least(tmp_path: Path) -> None:
    cache = ClipCache(None, memory_bytes=40)
    for name in "abc":
        cache.put(name, CLIP)
        cache.get("a")
    assert [name for name in "abc" if cache.get(name)] == ["a", "c"]
    cache.put("c", CLIP)
    assert cache.get("a") == CLIP


def test_one_clip_larger_than_the_cache_is_still_given_back() -> None:
    cache = ClipCache(None, memory_bytes=1)
    cache.put("a", CLIP)
    assert cache.get("a") == CLIP
