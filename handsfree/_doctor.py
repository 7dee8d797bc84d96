"""What works on this machine: each part is really used once, not just looked for."""

from __future__ import annotations

import importlib.util
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
import soxr

from handsfree import _wiring as wiring
from handsfree.audio import SAMPLE_RATE, AudioError, list_devices, room_noise, samples
from handsfree.grammar import Library
from handsfree.hearing import EngineError
from handsfree.record import zone_of
from handsfree.speaking import Pyttsx3Voice, SpeakingError

__all__ = ["Finding", "examine"]

_ENOUGH_MB = 200  # about a hundred jobs with their sound


@dataclass(frozen=True, slots=True)
class Finding:
    """``vital``: without it no job can be run at all. ``advice``: what to do when it is not good."""

    part: str
    good: bool
    detail: str
    advice: str = ""
    vital: bool = False

    def line(self) -> str:
        state = "works " if self.good else "FAILS " if self.vital else "absent"
        return f"{state}  {self.part:<12} {self.detail}" + (f"; {self.advice}" if self.advice else "")


def examine(jobs: Path) -> Iterator[Finding]:
    """Every part in turn. Never raises for a part that is broken: that is a finding."""
    for part in (_python, _recognizer, _hears_itself, _microphone, _loudspeaker, _vosk):
        yield part()
    yield _disk(jobs)
    yield _clock()


def _python() -> Finding:
    return Finding("python", True, f"{sys.version.split()[0]} on {sys.platform}", vital=True)


def _recognizer() -> Finding:
    begin = time.monotonic()
    try:
        engine = wiring.build_engine(wiring.Setup())
        engine.arm(Library.load().arm({"answer": "<answers.yes_no>"}))
        engine.close()
    except EngineError as error:
        return Finding("recognizer", False, str(error), vital=True)
    return Finding("recognizer", True, f"pocketsphinx, ready in {time.monotonic() - begin:.1f} s", vital=True)


def _hears_itself() -> Finding:
    """The tool's own voice, through its own recognizer: voice and hearing in one test."""
    try:
        voice = Pyttsx3Voice()
        clip = voice.clip("affirmative")
        voice.close()
    except SpeakingError as error:
        return Finding("voice", False, str(error), "replies can go to the screen: --replies text")
    speech = soxr.resample(samples(clip.pcm).astype(np.float32), clip.rate, SAMPLE_RATE)
    quiet = samples(room_noise(level_dbfs=-55.0)).astype(np.float32)
    sound = quiet[: speech.size + SAMPLE_RATE].copy()
    sound[SAMPLE_RATE // 2 : SAMPLE_RATE // 2 + speech.size] += speech[: sound.size - SAMPLE_RATE // 2]
    engine = wiring.build_engine(wiring.Setup())
    engine.arm(Library.load().arm({"answer": "<answers.yes_no>"}))
    engine.begin()
    engine.feed(np.clip(sound, -32768, 32767).astype("<i2").tobytes())
    heard = engine.end().text
    engine.close()
    seconds = f"{clip.seconds:.1f} s of speech made"
    if heard == "affirmative":
        return Finding("voice", True, f"{seconds} and recognized again")
    return Finding("voice", False, f"{seconds}, but heard as {heard!r}", "use --replies text")


def _devices(wanted: Callable[[object], bool], part: str, instead: str) -> Finding:
    try:
        found = [device for device in list_devices() if wanted(device)]
    except AudioError as error:
        # Its own advice ends in what to do without a microphone, whatever the part.
        return Finding(part, False, str(error).partition(", or use ")[0], instead)
    if not found:
        return Finding(part, False, "no device", instead)
    return Finding(part, True, ", ".join(str(getattr(device, "name", device)) for device in found))


def _microphone() -> Finding:
    return _devices(
        lambda d: getattr(d, "inputs", 0) > 0, "microphone", "meanwhile: --wav PATH or --engine typed"
    )


def _loudspeaker() -> Finding:
    return _devices(
        lambda d: getattr(d, "outputs", 0) > 0, "loudspeaker", "meanwhile: --replies files or --replies text"
    )


def _vosk() -> Finding:
    if importlib.util.find_spec("vosk") is None:
        return Finding("vosk", False, "not installed (optional)", "pip install 'handsfree[vosk]'")
    return Finding("vosk", True, "installed; it needs a model: handsfree models")


def _disk(jobs: Path) -> Finding:
    folder = jobs
    while not folder.exists():
        folder = folder.parent
    try:
        with tempfile.NamedTemporaryFile(dir=folder) as file:
            begin = time.monotonic()
            file.write(b"x" * 512)
            file.flush()
            os.fsync(file.fileno())
            took = 1000 * (time.monotonic() - begin)
        free = shutil.disk_usage(folder).free // 1_000_000
    except OSError as error:
        return Finding(
            "disk", False, f"{folder}: {error.strerror}", "choose another --jobs folder", vital=True
        )
    detail = f"{folder.resolve()}: a line is safe after {took:.0f} ms, {free} MB free"
    if free < _ENOUGH_MB:
        return Finding("disk", False, detail, f"free at least {_ENOUGH_MB} MB", vital=True)
    return Finding("disk", True, detail, vital=True)


def _clock() -> Finding:
    now = datetime.now().astimezone()
    # The package's own files can't come from the future.
    made = datetime.fromtimestamp(Path(__file__).stat().st_mtime).astimezone()
    good = now >= made
    what = "" if good else "set the computer's clock"
    return Finding("clock", good, f"{now:%Y-%m-%d %H:%M:%S} {zone_of(now)}", what)
