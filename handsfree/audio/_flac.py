"""FLAC files in and out (RFC 9639): lossless, about half the size of a WAV file."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from handsfree.audio._errors import AudioError
from handsfree.audio._wav import MAX_SECONDS, SAMPLE_RATE, read_wav, some_pcm

__all__ = ["read_flac", "read_sound", "sound_files", "write_flac"]

_MAGIC: Final = b"fLaC"
_HIGHEST_RATE: Final = 192_000
#: What libsndfile gives for a total of 0, unknown (RFC 9639, 8.2). It can't read such a file: it seeks by the total.
_UNKNOWN: Final = 2**62


def sound_files(folder: Path) -> list[Path]:
    """The WAV and FLAC files in a folder, in order of their names."""
    return sorted(file for file in folder.iterdir() if file.suffix.lower() in (".wav", ".flac"))


def read_sound(path: Path | str) -> bytes:
    """A WAV or FLAC file, told apart by its first bytes, as mono 16-bit PCM at 16 kHz. Raises AudioError."""
    try:
        with Path(path).open("rb") as file:
            flac = file.read(4) == _MAGIC
    except OSError:
        flac = False  # the WAV reader says what is wrong
    return read_flac(path) if flac else read_wav(path)


def read_flac(path: Path | str) -> bytes:
    """A FLAC file as mono, 16-bit little-endian PCM at 16 kHz; limits as in ``read_wav``.

    Raises AudioError, one line, for anything that is damaged or can't be used.
    """
    import soundfile  # its library is loaded only when a FLAC file is heard

    try:
        with soundfile.SoundFile(str(path)) as file:
            if not SAMPLE_RATE <= file.samplerate <= _HIGHEST_RATE:
                raise AudioError(f"{path}: {file.samplerate} Hz sound; record it again at 16000 Hz")
            if file.frames >= _UNKNOWN:
                raise AudioError(
                    f"{path}: does not tell how long it is, as when an encoder writes into a pipe; save it as WAV"
                )
            if file.frames > MAX_SECONDS * file.samplerate:
                raise AudioError(
                    f"{path}: longer than {MAX_SECONDS // 60} minutes; cut it into single answers"
                )
            table: NDArray[np.float32] = file.read(dtype="float32", always_2d=True)
            promised = file.frames
            rate = int(file.samplerate)
    except soundfile.SoundFileError as error:
        raise AudioError(f"{path}: damaged FLAC file ({_short(error)}); record it again") from None
    if len(table) < promised:
        raise AudioError(
            f"{path}: cut short ({len(table) / rate:.1f} of {promised / rate:.1f} seconds are there); record it again"
        )
    return some_pcm(path, table, rate)


def _short(error: Any) -> str:
    return " ".join(str(getattr(error, "error_string", error)).split()).rstrip(".")[:120]


def write_flac(path: Path | str, pcm: bytes, rate: int = SAMPLE_RATE) -> None:
    """Write mono 16-bit PCM losslessly. Raises AudioError when the file can't be written."""
    import soundfile

    try:
        soundfile.write(str(path), np.frombuffer(pcm, "<i2"), rate, format="FLAC", subtype="PCM_16")
    except (OSError, soundfile.SoundFileError) as error:
        raise AudioError(f"{path}: can't be written ({_short(error)}); check the folder") from None
