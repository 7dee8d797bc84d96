"""A sound card of software: two private PulseAudio servers, one the technician's microphone, one the loudspeaker.

Two, because PulseAudio moves a stream whose device vanishes to another one of the same server: a microphone that is
unplugged must leave nothing to listen to.
"""

from __future__ import annotations

import importlib.util
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from handsfree.audio import room_noise, write_wav

PROGRAMS = {"pulseaudio": "pulseaudio", "pactl": "pulseaudio-utils", "parec": "pulseaudio-utils"}
ROOM_DBFS = -60.0
RATE = 22050  # the packaged voice's


def missing() -> str:
    """Why there can be no virtual card here, "" where there can."""
    lacking = sorted({package for program, package in PROGRAMS.items() if shutil.which(program) is None})
    plugin = [*Path("/usr/lib").glob("*/alsa-lib/libasound_module_pcm_pulse.so")]
    lacking += [] if plugin else ["libasound2-plugins"]
    try:
        found = importlib.util.find_spec("sounddevice") is not None
        if found:
            import sounddevice  # noqa: F401
    except OSError:
        found = False
    lacking += [] if found else ["libportaudio2"]
    return f"needs Debian's {', '.join(lacking)}" if lacking else ""


class VirtualCard:
    """``technician`` and ``tool`` are devices by name for a program that is started with ``env``."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._running: list[subprocess.Popen[bytes]] = []
        self._room = folder / "room.wav"
        write_wav(self._room, room_noise(level_dbfs=ROOM_DBFS) * 225, 16000)  # fifteen minutes
        home = folder / "home"
        home.mkdir()
        devices = ""
        for name in ("technician", "tool"):
            (folder / name).mkdir(mode=0o700)
            devices += f'pcm.{name} {{ type pulse server "{self._socket(name)}" }}\n'
        (home / ".asoundrc").write_text(devices)
        self.env = {**os.environ, "HOME": str(home)}
        for name in ("technician", "tool"):
            self._start(
                "pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", "--disable-shm=yes",
                f"--load=module-native-protocol-unix socket={self.folder / name / 'native'}",
                f"--log-target=file:{self.folder / name / 'log'}",
                env={**self.env, "PULSE_RUNTIME_PATH": str(self.folder / name)},
            )  # fmt: skip
        for name in ("technician", "tool"):
            self._plug(name)
        self._noise = self._hum()

    # -- the technician's side ------------------------------------------------------------------------

    def say(self, sound: Path) -> None:
        """Play a sound file to the microphone, and come back when it has been played."""
        self._start("paplay", "-s", self._socket("technician"), "-d", "technician", str(sound)).wait(60)

    def unplug(self) -> None:
        """The microphone is gone, as a USB device that is pulled out."""
        self._end(self._noise)
        subprocess.run(
            ["pactl", "-s", self._socket("technician"), "unload-module", self._module["technician"]],
            check=True, timeout=20,
        )  # fmt: skip

    def plug(self) -> None:
        self._plug("technician")
        self._noise = self._hum()

    @contextmanager
    def echo(self) -> Iterator[None]:
        """The microphone hears the loudspeaker, as loud as it plays and about 30 ms later."""
        flags = "--rate=48000 --channels=2 --format=s16le --latency-msec=15 --raw"
        command = (
            f"parec -s {self._socket('tool')} -d tool.monitor {flags} | "
            f"pacat -s {self._socket('technician')} -d technician {flags}"
        )
        pipe = self._start("sh", "-c", command)
        try:
            yield
        finally:
            self._end(pipe)

    # -- the loudspeaker's side -----------------------------------------------------------------------

    @contextmanager
    def recorded(self, path: Path) -> Iterator[Path]:
        """All that comes out of the loudspeaker, as raw mono 16-bit samples at ``RATE``.

        Asked for at a low latency, which makes the null sink work at that: else it holds up every end for two
        seconds.
        """
        with path.open("wb") as file:
            recorder = subprocess.Popen(
                ["parec", "-s", self._socket("tool"), "-d", "tool.monitor", f"--rate={RATE}", "--channels=1",
                 "--format=s16le", "--raw", "--latency-msec=20"],
                stdout=file, start_new_session=True,
            )  # fmt: skip
            self._running.append(recorder)
            try:
                yield path
            finally:
                self._end(recorder)

    def handsfree(self, *words: str, cwd: Path) -> subprocess.Popen[str]:
        """The real command, with its own output to read."""
        root = Path(__file__).parents[2]
        env = {**self.env, "PYTHONPATH": str(root), "PYTHONUNBUFFERED": "1"}
        tool = subprocess.Popen(
            [sys.executable, "-m", "handsfree", *words],
            stdin=subprocess.DEVNULL, stdout=(cwd / "out.txt").open("w"), stderr=(cwd / "err.txt").open("w"),
            text=True, env=env, cwd=cwd, start_new_session=True,
        )  # fmt: skip
        self._running.append(tool)  # type: ignore[arg-type]
        return tool

    # -- ----------------------------------------------------------------------------------------------

    def close(self) -> None:
        for process in reversed(self._running):
            self._end(process)

    def _hum(self) -> subprocess.Popen[bytes]:
        """The room, over and over: a real microphone never gives digital silence."""
        play = f"paplay -s {self._socket('technician')} -d technician {self._room}"
        return self._start("sh", "-c", f"while {play}; do :; done")

    def _socket(self, name: str) -> str:
        return f"unix:{self.folder / name / 'native'}"

    _module: dict[str, str]

    def _plug(self, name: str) -> None:
        words = [
            "pactl",
            "-s",
            self._socket(name),
            "load-module",
            "module-null-sink",
            f"sink_name={name}",
            "rate=48000",
        ]
        for _ in range(100):
            done = subprocess.run(words, capture_output=True, text=True, timeout=20, check=False)
            if done.returncode == 0:
                self.__dict__.setdefault("_module", {})[name] = done.stdout.strip()
                return
            time.sleep(0.1)
        raise AssertionError(f"no PulseAudio server: {done.stderr}")

    def _start(self, *words: str, env: dict[str, str] | None = None) -> subprocess.Popen[bytes]:
        process = subprocess.Popen(
            words, env=env or self.env, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL, start_new_session=True,
        )  # fmt: skip
        self._running.append(process)
        return process

    def _end(self, process: subprocess.Popen[bytes]) -> None:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGTERM)  # a session of its own: the group is what it started
            try:
                process.wait(5)
            except subprocess.TimeoutExpired:
                os.killpg(process.pid, signal.SIGKILL)
                process.wait(5)


def find(recording: np.ndarray, sound: np.ndarray) -> int:
    """The sample of the recording where all of the sound fits best."""
    size = 1 << int(np.ceil(np.log2(recording.size + sound.size)))
    spectrum = np.fft.rfft(recording, size) * np.conj(np.fft.rfft(sound, size))
    return int(np.argmax(np.fft.irfft(spectrum, size)[: max(1, recording.size - sound.size + 1)]))


def least_match(recording: np.ndarray, sound: np.ndarray, *, frame_s: float = 0.1) -> float:
    """How surely the whole of ``sound`` is in ``recording``: the least correlation (0 to 1) of its frames.

    The place is where all of it fits best. A frame that is not there is sought 30 ms to both sides, and so are those
    after it, because a loaded machine holds the virtual card up now and then. Such a place may spoil the frame it
    falls in: one in fifty is left out.
    """
    step, around = int(frame_s * RATE), int(0.03 * RATE)
    loud = np.sqrt(np.mean(sound**2)) / 10
    place, found = find(recording, sound), []
    for at in range(0, sound.size - step + 1, step):
        frame = sound[at : at + step]
        if np.sqrt(np.mean(frame**2)) < loud:
            continue
        there, match = _best(recording, frame, place + at, around)
        if match > 0.8 and _best(recording, frame, place + at, 3)[1] < 0.6:
            place = there - at
        found.append(match)
    return sorted(found)[len(found) // 50]


def _best(recording: np.ndarray, frame: np.ndarray, at: int, around: int) -> tuple[int, float]:
    """Where near ``at`` the frame fits best, and how well."""
    begin = max(0, at - around)
    near = recording[begin : at + frame.size + around]
    if near.size < frame.size:
        return at, 0.0
    windows = np.lib.stride_tricks.sliding_window_view(near, frame.size)
    energy = np.sqrt((windows**2).sum(axis=1) * (frame**2).sum())
    match = (windows @ frame) / np.maximum(energy, 1e-9)
    best = int(np.argmax(match))
    return begin + best, float(match[best])
