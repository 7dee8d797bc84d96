"""WAV files in and out.

The standard library's ``wave`` (3.11) refuses WAVE_FORMAT_EXTENSIBLE, which is what most recorders write for
24 bits, and does not say when a file is cut short; so the few chunks needed are read here (RIFF/WAVE as in
the multimedia programming interface 1.0 and its 1999 extensible format).
"""

from __future__ import annotations

import struct
import wave
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Final

import numpy as np
import soxr
from numpy.typing import NDArray

from handsfree.audio._errors import AudioError

__all__ = ["MAX_SECONDS", "SAMPLE_RATE", "read_wav", "some_pcm", "to_pcm", "write_wav"]

SAMPLE_RATE: Final = 16000
MAX_SECONDS: Final = 600
"""Longest file taken: ten minutes at 16 kHz is 19 MB; a longer file is not one technician's answer."""

_PCM, _EXTENSIBLE = 0x0001, 0xFFFE
_PCM_SUBFORMAT: Final = bytes.fromhex("0100000000001000800000aa00389b71")
_UNKNOWN_SIZE: Final = 0xFFFFFFFF  # written by programs that stream a WAV into a pipe
_OTHER_FORMATS: Final = {0x0003: "floating point", 0x0006: "A-law", 0x0007: "mu-law", 0x0055: "MP3"}
_CONVERT: Final = "convert it to 16-bit PCM at 16 kHz or more"


@dataclass(frozen=True, slots=True)
class _Format:
    channels: int
    rate: int
    width: int  # bytes in a sample

    @property
    def block(self) -> int:
        return self.channels * self.width


def read_wav(path: Path | str) -> bytes:
    """A WAV file as mono, 16-bit little-endian PCM at 16 kHz.

    Takes PCM of 16, 24 or 32 bits, one to eight channels, 16 to 192 kHz, up to ``MAX_SECONDS``. Of several
    channels the louder one is taken: a sum halves the level when one channel is dead and cancels speech when
    a plug is wired out of phase. Raises AudioError, one line, for anything else.
    """
    path = Path(path)
    try:
        with path.open("rb") as file:
            layout, data = _read_chunks(path, file)
    except FileNotFoundError:
        raise AudioError(f"{path}: no such sound file; check the name") from None
    except OSError as error:
        raise AudioError(
            f"{path}: can't be read ({error.strerror or error}); check the name and its rights"
        ) from None
    return some_pcm(path, _decode(data, layout).reshape(-1, layout.channels), layout.rate)


def some_pcm(path: Path | str, table: NDArray[np.float32], rate: int) -> bytes:
    """As ``to_pcm``. Raises AudioError for a sound so short that nothing is left of it at 16 kHz."""
    pcm = to_pcm(table, rate)
    if not pcm:
        raise AudioError(f"{path}: there is no sound in the file; record it again")
    return pcm


def to_pcm(table: NDArray[np.float32], rate: int) -> bytes:
    """Samples (frames x channels, +-1) as mono 16-bit PCM at 16 kHz."""
    return _to_int16(_resample(_louder_channel(table), rate))


def write_wav(path: Path | str, pcm: bytes, rate: int = SAMPLE_RATE) -> None:
    """Write mono 16-bit PCM. Raises AudioError when the file can't be written."""
    try:
        with Path(path).open("wb") as raw, wave.open(raw, "wb") as file:
            file.setnchannels(1)
            file.setsampwidth(2)
            file.setframerate(rate)
            file.writeframes(pcm)
    except OSError as error:
        raise AudioError(f"{path}: can't be written ({error.strerror or error}); check the folder") from None


def _read_chunks(path: Path, file: BinaryIO) -> tuple[_Format, bytes]:
    head = file.read(12)
    if not head:
        raise AudioError(f"{path}: the file is empty; record it again")
    if len(head) < 12 or head[:4] != b"RIFF" or head[8:] != b"WAVE":
        raise AudioError(f"{path}: not a WAV file; {_CONVERT}")
    layout: _Format | None = None
    while len(header := file.read(8)) == 8:
        name, size = header[:4], struct.unpack("<I", header[4:])[0]
        if name == b"fmt ":
            layout = _parse_format(path, file.read(min(size, 64)))
            file.seek(max(size - 64, 0) + (size & 1), 1)
        elif name == b"data":
            if layout is None:
                raise AudioError(f"{path}: damaged WAV file (sound before its format); record it again")
            return layout, _read_data(path, file, layout, size)
        else:
            file.seek(size + (size & 1), 1)
    raise AudioError(f"{path}: damaged WAV file (no sound in it); record it again")


def _parse_format(path: Path, chunk: bytes) -> _Format:
    if len(chunk) < 16:
        raise AudioError(f"{path}: damaged WAV file (its format is cut short); record it again")
    tag, channels, rate, _, block, bits = struct.unpack("<HHIIHH", chunk[:16])
    if tag == _EXTENSIBLE and chunk[24:40] == _PCM_SUBFORMAT:
        tag = _PCM
    if tag != _PCM:
        kind = _OTHER_FORMATS.get(tag, f"format {tag:#06x}")
        raise AudioError(f"{path}: the sound is {kind}, not PCM; {_CONVERT}")
    if bits not in (16, 24, 32):
        raise AudioError(f"{path}: {bits}-bit sound; {_CONVERT}")
    if not 1 <= channels <= 8 or block != channels * bits // 8:
        raise AudioError(
            f"{path}: damaged WAV file ({channels} channels, {block} bytes a block); record it again"
        )
    if rate < SAMPLE_RATE:
        raise AudioError(
            f"{path}: {rate} Hz sound; speech needs 16000 Hz or more, record it again at 16000 Hz"
        )
    if rate > 192_000:
        raise AudioError(f"{path}: {rate} Hz sound; {_CONVERT}, 192 kHz at most")
    return _Format(channels, rate, bits // 8)


def _read_data(path: Path, file: BinaryIO, layout: _Format, promised: int) -> bytes:
    most = MAX_SECONDS * layout.rate * layout.block
    if promised != _UNKNOWN_SIZE and promised > most:
        raise AudioError(f"{path}: longer than {MAX_SECONDS // 60} minutes; cut it into single answers")
    data = file.read(min(promised, most + 1))
    if promised == _UNKNOWN_SIZE and len(data) > most:
        raise AudioError(f"{path}: longer than {MAX_SECONDS // 60} minutes; cut it into single answers")
    if promised != _UNKNOWN_SIZE and len(data) < promised:
        have, want = (n / (layout.rate * layout.block) for n in (len(data), promised))
        raise AudioError(f"{path}: cut short ({have:.1f} of {want:.1f} seconds are there); record it again")
    return data[: len(data) // layout.block * layout.block]


def _decode(data: bytes, layout: _Format) -> NDArray[np.float32]:
    """All samples, channels interleaved, scaled to +-1."""
    if layout.width == 3:
        # Put each three-byte sample into the upper bytes of four: the sign comes out right by itself.
        wide = np.zeros((len(data) // 3, 4), dtype=np.uint8)
        wide[:, 1:] = np.frombuffer(data, dtype=np.uint8).reshape(-1, 3)
        return wide.view("<i4").reshape(-1).astype(np.float32) / np.float32(2**31)
    kind = "<i2" if layout.width == 2 else "<i4"
    return np.frombuffer(data, dtype=kind).astype(np.float32) / np.float32(2 ** (8 * layout.width - 1))


def _louder_channel(table: NDArray[np.float32]) -> NDArray[np.float32]:
    if table.shape[1] == 1:
        return table.reshape(-1)
    power = (table.astype(np.float64) ** 2).mean(axis=0)
    return np.ascontiguousarray(table[:, int(np.argmax(power))])


def _resample(mono: NDArray[np.float32], rate: int) -> NDArray[np.float32]:
    if rate == SAMPLE_RATE:
        return mono
    out: NDArray[np.float32] = soxr.resample(mono, rate, SAMPLE_RATE)
    return out


def _to_int16(mono: NDArray[np.float32]) -> bytes:
    # Resampling can overshoot full scale: limit instead of wrapping round.
    limited: NDArray[np.int16] = np.clip(np.rint(mono * 32768.0), -32768, 32767).astype("<i2")
    return limited.tobytes()
