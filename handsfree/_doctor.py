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
from handsfree._models import model_folder, models_found, told
from handsfree.audio import (
    FLOOR_DBFS,
    SAMPLE_RATE,
    AudioError,
    Device,
    Microphone,
    dbfs,
    list_devices,
    native_messages_hidden,
    room_noise,
    samples,
)
from handsfree.grammar import Library
from handsfree.hearing import EngineError
from handsfree.record import zone_of
from handsfree.speaking import CardPlayer, Clip, Pyttsx3Voice, SpeakingError

__all__ = ["Finding", "examine"]

_FRAMES = 17  # of 30 ms: half a second
_QUIET_RATE = 48000  # Hz, of the silence a loudspeaker is tried with
_ENOUGH_MB = 200  # about a hundred jobs with their sound


@dataclass(frozen=True, slots=True)
class Finding:
    """``vital``: without it no job can be run at all. ``broken``: it is there and can't be used.

    ``advice``: what to do when it is not good.
    """

    part: str
    good: bool
    detail: str
    advice: str = ""
    vital: bool = False
    broken: bool = False

    @property
    def fails(self) -> bool:
        return not self.good and (self.vital or self.broken)

    def line(self) -> str:
        state = "works " if self.good else "FAILS " if self.fails else "absent"
        return f"{state}  {self.part:<12} {self.detail}" + (f"; {self.advice}" if self.advice else "")


def examine(jobs: Path) -> Iterator[Finding]:
    """Every part in turn. Never raises for a part that is broken: that is a finding."""
    for part in (_python, _recognizer, _hears_itself, _microphone, _loudspeaker, _vosk):
        yield _guarded(part)
    yield _guarded(lambda: _disk(jobs), "disk")
    yield _guarded(_clock)


def _guarded(part: Callable[[], Finding], name: str = "") -> Finding:
    """A library of a part may raise anything when its files or its driver are damaged: here that is what is looked
    for."""
    try:
        return part()
    except Exception as error:
        kind = "" if isinstance(error, (EngineError, AudioError)) else f"{type(error).__name__}: "
        what = " ".join(f"{kind}{error}".split())[:200]
        name = name or {"hears_itself": "voice"}.get(part.__name__.strip("_"), part.__name__.strip("_"))
        return Finding(name, False, what, "install it again, or do without that part", broken=True)


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


def _microphone() -> Finding:
    instead = "meanwhile: --wav PATH or --engine typed"
    names = _names(lambda device: device.inputs, "microphone", instead)
    if isinstance(names, Finding):
        return names
    try:
        # A device that is listed may be in use elsewhere, or give nothing: only its sound tells.
        with native_messages_hidden():
            source = Microphone()
            try:
                level = dbfs(b"".join(source.read() for _ in range(_FRAMES)))
            finally:
                source.close()
    except AudioError as error:
        return Finding(
            "microphone", False, f"{_told(error)} (there is: {', '.join(names)})", instead, broken=True
        )
    heard = f"{level:.0f} dBFS now" if level > FLOOR_DBFS else "not a sound: check its switch"
    return Finding("microphone", True, f"opened '{source.device.name}', {heard} (of {', '.join(names)})")


def _loudspeaker() -> Finding:
    instead = "meanwhile: --replies files or --replies text"
    names = _names(lambda device: device.outputs, "loudspeaker", instead)
    if isinstance(names, Finding):
        return names
    there = f"(there is: {', '.join(names)})"
    try:
        with native_messages_hidden():
            played = CardPlayer().play(Clip(bytes(2 * _QUIET_RATE * 3 // 10), _QUIET_RATE))
    except SpeakingError as error:
        return Finding("loudspeaker", False, f"{error} {there}", instead, broken=True)
    if not played.completed:
        what = f"played {played.played_ms} of {played.total_ms} ms of silence without a gap {there}"
        return Finding("loudspeaker", False, what, f"close what else uses it; {instead}", broken=True)
    return Finding("loudspeaker", True, f"opened, plays to the end (of {', '.join(names)})")


def _names(channels: Callable[[Device], int], part: str, instead: str) -> list[str] | Finding:
    """The devices that can do it; what is missing where there is none."""
    try:
        found = [device for device in list_devices() if channels(device) > 0]
    except AudioError as error:
        return Finding(part, False, _told(error), instead)
    return [device.name for device in found] or Finding(part, False, "no device", instead)


def _told(error: AudioError) -> str:
    """Its own advice ends in what to do without a microphone, whatever the part."""
    return str(error).partition(", or use ")[0]


def _vosk() -> Finding:
    if importlib.util.find_spec("vosk") is None:
        return Finding("vosk", False, "not installed (optional)", "see models_readme/README.md")
    found = models_found()
    if not found:
        return Finding("vosk", True, "installed; it needs a model: handsfree models")
    lines, bad = [], False
    for model in found:
        good, what = told(model)
        bad = bad or not good
        lines.append(f"{model.name}: {what}")
    advice = (
        f"unpack it again in {model_folder()} or remove it; meanwhile: --engine pocketsphinx" if bad else ""
    )
    return Finding("vosk", not bad, "; ".join(lines), advice, broken=bad)


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
