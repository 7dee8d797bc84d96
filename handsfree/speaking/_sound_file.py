"""Reads the file a synthesizer wrote: WAV, or the AIFF that macOS writes whatever the name says."""

from __future__ import annotations

import array
import struct
import sys
import wave
from pathlib import Path

from ._types import Clip, VoiceError

__all__ = ["read_clip"]


def read_clip(path: Path) -> Clip:
    """A mono 16-bit file as a clip. Raises VoiceError, one line."""
    try:
        with path.open("rb") as file:
            magic = file.read(4)
        return _aiff(path.read_bytes()) if magic == b"FORM" else _wav(path)
    except FileNotFoundError:
        raise VoiceError("the voice wrote no sound") from None
    except (OSError, EOFError, wave.Error, struct.error) as error:
        raise VoiceError(f"the voice wrote a file that can't be read ({error})") from None


def _wav(path: Path) -> Clip:
    with wave.open(str(path), "rb") as file:
        _must_be_mono16(file.getnchannels(), file.getsampwidth() * 8)
        return Clip(file.readframes(file.getnframes()), file.getframerate())


def _aiff(data: bytes) -> Clip:
    """AIFF and uncompressed AIFF-C: big-endian samples, or little-endian ones marked ``sowt``."""
    chunks = _chunks(data)
    common, sound = chunks.get(b"COMM", b""), chunks.get(b"SSND", b"")
    channels, frames, bits = struct.unpack_from(">hLh", common)
    _must_be_mono16(channels, bits)
    compression = common[18:22] or b"NONE"
    if compression not in (b"NONE", b"twos", b"sowt"):
        raise VoiceError(f"the voice wrote compressed sound ({compression.decode('ascii', 'replace')})")
    (offset,) = struct.unpack_from(">L", sound)
    pcm = sound[8 + offset : 8 + offset + 2 * frames]
    return Clip(pcm if compression == b"sowt" else _swapped(pcm), _extended(common[8:18]))


def _chunks(data: bytes) -> dict[bytes, bytes]:
    found: dict[bytes, bytes] = {}
    at = 12
    while at + 8 <= len(data):
        name, size = struct.unpack_from(">4sL", data, at)
        found[name] = data[at + 8 : at + 8 + size]
        at += 8 + size + size % 2
    return found


def _extended(ten: bytes) -> int:
    """A sample rate as 80-bit extended float (Audio Interchange File Format 1.3, COMM chunk), whole Hz."""
    exponent, mantissa = struct.unpack(">HQ", ten)
    shift = 16383 + 63 - (exponent & 0x7FFF)
    rate = mantissa >> shift if 0 <= shift < 64 else 0
    if not rate:
        raise VoiceError("the voice wrote a file without a sample rate")
    return rate


def _swapped(pcm: bytes) -> bytes:
    samples = array.array("h", pcm[: len(pcm) // 2 * 2])
    if sys.byteorder == "little":
        samples.byteswap()
    return samples.tobytes()


def _must_be_mono16(channels: int, bits: int) -> None:
    if (channels, bits) != (1, 16):
        raise VoiceError(f"the voice wrote {channels} channels of {bits} bits; mono 16-bit is needed")
