"""Debian's recorded English voice prompts (asterisk-core-sounds-en-g722, CC-BY-SA): a real human voice, 16 kHz.

The file names say what is spoken. Nothing of it is packaged; where it is not installed the bench goes without.
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
import zlib
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Final

from handsfree.audio import read_wav

__all__ = ["RECORDINGS", "decoded", "missing", "prompts", "sentence_prompts", "tuned_on"]

#: Where Debian puts the prompts of all its voices.
RECORDINGS: Final = Path("/usr/share/asterisk/sounds")
_FOLDER: Final = RECORDINGS / "en_US_f_Allison"
_BATCH: Final = 40  # files a call: starting ffmpeg takes longer than decoding a prompt

# Not sentences: tones, silence, and folders that hold single digits, letters and their code words.
_NO_SPEECH: Final = (
    "beep",
    "beeperr",
    "ascending-2tone",
    "descending-2tone",
    "tt-monkeys",
    "confbridge-join",
    "confbridge-leave",
)
_NO_SENTENCES: Final = ("digits", "letters", "phonetic", "silence")


def missing() -> str:
    """Why the prompts can't be used; "" when they can."""
    if not _FOLDER.is_dir():
        return "Debian's asterisk-core-sounds-en-g722 is not installed"
    if shutil.which("ffmpeg") is None:
        return "ffmpeg is not installed"
    return ""


def sentence_prompts() -> tuple[str, ...]:
    """Names (path without suffix) of the ordinary telephone sentences and words."""
    names = (path.relative_to(_FOLDER).with_suffix("").as_posix() for path in sorted(_FOLDER.rglob("*.g722")))
    return tuple(n for n in names if n not in _NO_SPEECH and n.split("/")[0] not in _NO_SENTENCES)


def tuned_on(name: str) -> bool:
    """Whether thresholds and transforms were made with this prompt; the others are for tests only."""
    return zlib.crc32(name.encode()) % 2 == 0


def prompts(names: Sequence[str]) -> dict[str, bytes]:
    """Name -> mono 16-bit 16 kHz PCM."""
    found: dict[str, bytes] = {}
    for at in range(0, len(names), _BATCH):
        found.update(_decode(tuple(names[at : at + _BATCH])))
    return found


def decoded(path: Path, longest_s: float) -> bytes:
    """The first seconds of any recording that ffmpeg reads, mono 16-bit 16 kHz PCM."""
    form = ["-f", "g722"] if path.suffix == ".g722" else []
    command = ["ffmpeg", "-nostdin", "-loglevel", "error", *form, "-i", str(path), "-t", str(longest_s)]
    done = subprocess.run(
        [*command, "-ar", "16000", "-ac", "1", "-f", "s16le", "-"], capture_output=True, check=True
    )
    return done.stdout


@cache
def _decode(names: tuple[str, ...]) -> dict[str, bytes]:
    with tempfile.TemporaryDirectory() as folder:
        command = ["ffmpeg", "-nostdin", "-loglevel", "error"]
        for name in names:
            command += ["-f", "g722", "-i", str(_FOLDER / f"{name}.g722")]
        for n in range(len(names)):
            command += ["-map", str(n), "-ar", "16000", "-ac", "1", f"{folder}/{n}.wav"]
        subprocess.run(command, check=True)
        return {name: read_wav(f"{folder}/{n}.wav") for n, name in enumerate(names)}
