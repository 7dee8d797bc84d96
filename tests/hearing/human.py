"""Debian's recorded English voice prompts (asterisk-core-sounds-en-g722, CC-BY-SA): a real human voice, 16 kHz.

The file names say what is spoken.
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from collections.abc import Sequence
from functools import cache
from pathlib import Path

from handsfree.audio import read_wav

FOLDER = Path("/usr/share/asterisk/sounds/en_US_f_Allison")
_BATCH = 40  # files a call: starting ffmpeg takes longer than decoding a prompt

_TO_19 = """zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen
sixteen seventeen eighteen nineteen"""
_TENS = "twenty thirty forty fifty sixty seventy eighty ninety"
NUMBER_NAMES = {
    **dict(enumerate(_TO_19.split())),
    **{10 * n: name for n, name in enumerate(_TENS.split(), 2)},
}
# Not sentences: tones, silence, and folders that hold single digits, letters and their code words.
_NO_SPEECH = (
    "beep",
    "beeperr",
    "ascending-2tone",
    "descending-2tone",
    "tt-monkeys",
    "confbridge-join",
    "confbridge-leave",
)
_NO_SENTENCES = ("digits", "letters", "phonetic", "silence")


def missing() -> str:
    """Why the prompts can't be used; "" when they can."""
    if not FOLDER.is_dir():
        return "Debian's asterisk-core-sounds-en-g722 is not installed"
    if shutil.which("ffmpeg") is None:
        return "ffmpeg is not installed"
    return ""


def sentence_prompts() -> tuple[str, ...]:
    """Names (path without suffix) of the ordinary telephone sentences and words."""
    names = (path.relative_to(FOLDER).with_suffix("").as_posix() for path in sorted(FOLDER.rglob("*.g722")))
    return tuple(n for n in names if n not in _NO_SPEECH and n.split("/")[0] not in _NO_SENTENCES)


def prompts(names: Sequence[str]) -> dict[str, bytes]:
    """Name -> mono 16-bit 16 kHz PCM."""
    found: dict[str, bytes] = {}
    for at in range(0, len(names), _BATCH):
        found.update(_decode(tuple(names[at : at + _BATCH])))
    return found


@cache
def _decode(names: tuple[str, ...]) -> dict[str, bytes]:
    with tempfile.TemporaryDirectory() as folder:
        command = ["ffmpeg", "-nostdin", "-loglevel", "error"]
        for name in names:
            command += ["-f", "g722", "-i", str(FOLDER / f"{name}.g722")]
        for n in range(len(names)):
            command += ["-map", str(n), "-ar", "16000", "-ac", "1", f"{folder}/{n}.wav"]
        subprocess.run(command, check=True)
        return {name: read_wav(f"{folder}/{n}.wav") for n, name in enumerate(names)}
