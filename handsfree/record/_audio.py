"""Utterances kept beside the record, named by number and content."""

from __future__ import annotations

import hashlib
import io
import re
import wave
from pathlib import Path

from ._errors import RecordError

__all__ = ["AUDIO", "WITHHELD", "audio_name", "hash_prefix", "last_number", "wav_bytes"]

AUDIO = "audio"
#: Stands for the sound of an utterance that must not be kept: a code word.
WITHHELD = "withheld"
#: Half of SHA-256: short enough to read in a listing, still 128 bits against a second file of that name.
_PREFIX = 32
_NAME = re.compile(rf"(\d{{4,}})-([0-9a-f]{{{_PREFIX}}})\.wav")


def wav_bytes(pcm: bytes, rate: int) -> bytes:
    """A WAV file of mono 16-bit little-endian samples at ``rate`` Hz; RecordError for no or half samples."""
    if not pcm or len(pcm) % 2:
        raise RecordError(f"an utterance of {len(pcm)} bytes is no 16-bit sound")
    buffer = io.BytesIO()
    with wave.open(buffer, "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(rate)
        out.writeframes(pcm)
    return buffer.getvalue()


def audio_name(number: int, content: bytes) -> str:
    """``0007-<32 hex digits>.wav``: the number in the job and half the SHA-256 of the whole file."""
    return f"{number:04d}-{hashlib.sha256(content).hexdigest()[:_PREFIX]}.wav"


def hash_prefix(name: str) -> str | None:
    """The hash digits in an audio file's name, None when the name is not one of ours."""
    match = _NAME.fullmatch(name)
    return match[2] if match else None


def last_number(folder: Path) -> int:
    """The highest number used in an audio folder, 0 when there is none."""
    numbers = [int(match[1]) for path in folder.glob("*.wav") if (match := _NAME.fullmatch(path.name))]
    return max(numbers, default=0)
