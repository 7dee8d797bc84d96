"""Utterances kept beside the record as FLAC (RFC 9639, lossless), named by number and content."""

from __future__ import annotations

import hashlib
import io
import re
from collections.abc import Iterable

import numpy as np
import soundfile

from ._errors import RecordError

__all__ = ["AUDIO", "WITHHELD", "audio_name", "flac_bytes", "hash_prefix", "last_number"]

AUDIO = "audio"
#: Stands for the sound of an utterance that must not be kept: a code word.
WITHHELD = "withheld"
#: Half of SHA-256: short enough to read in a listing, still 128 bits against a second file of that name.
_PREFIX = 32
_NAME = re.compile(rf"(\d{{4,}})-([0-9a-f]{{{_PREFIX}}})\.(?:flac|wav)")  # WAV: jobs of schema 1


def flac_bytes(pcm: bytes, rate: int) -> bytes:
    """A FLAC file of mono 16-bit little-endian samples at ``rate`` Hz; RecordError for no or half samples."""
    if not pcm or len(pcm) % 2:
        raise RecordError(f"an utterance of {len(pcm)} bytes is no 16-bit sound")
    buffer = io.BytesIO()
    soundfile.write(buffer, np.frombuffer(pcm, "<i2"), rate, format="FLAC", subtype="PCM_16")
    return buffer.getvalue()


def audio_name(number: int, content: bytes) -> str:
    """``0007-<32 hex digits>.flac``: the number in the job and half the SHA-256 of the whole file."""
    return f"{number:04d}-{hashlib.sha256(content).hexdigest()[:_PREFIX]}.flac"


def hash_prefix(name: str) -> str | None:
    """The hash digits in an audio file's name, None when the name is not one of ours."""
    match = _NAME.fullmatch(name)
    return match[2] if match else None


def last_number(names: Iterable[str]) -> int:
    """The highest number among the names of utterances, 0 when there is none."""
    return max((int(match[1]) for name in names if (match := _NAME.fullmatch(name))), default=0)
