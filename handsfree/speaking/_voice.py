"""Voices: text in, sound out, never played here."""

from __future__ import annotations

import array
import contextlib
import hashlib
import json
import queue
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

from ._cache import ClipCache
from ._sound_file import read_clip
from ._types import Clip, VoiceError

__all__ = ["Pyttsx3Voice", "SilentVoice"]

_WORKER = Path(__file__).with_name("_worker.py")
#: Peak under which a clip says nothing: -46 dB of full scale, far below any synthesized word.
_SILENT_PEAK = 164


class Pyttsx3Voice:
    """The system's voice through pyttsx3: espeak-ng on Linux, the built-in ones on macOS and Windows.

    ``rate_wpm``: words a minute. ``voice``: an id pyttsx3 knows, "" for the first English one. ``cache_dir``:
    keep clips there between runs. ``deadline_s``: longest time one sentence may take; then the synthesizer's
    process is ended, VoiceError is raised, and the next sentence starts a new one. It starts at once,
    so it is ready by the time the recognizer is. Not thread-safe: one owner.
    """

    def __init__(
        self,
        rate_wpm: int = 165,
        cache_dir: Path | None = None,
        *,
        voice: str = "",
        deadline_s: float = 10.0,
        worker: Path = _WORKER,
    ) -> None:
        if not 80 <= rate_wpm <= 400:
            raise VoiceError(f"a speaking rate of {rate_wpm} words a minute: choose 80 to 400")
        self._settings = {"rate": rate_wpm, "voice": voice}
        self._deadline_s = deadline_s
        self._cache = ClipCache(cache_dir)
        self._folder = tempfile.TemporaryDirectory(prefix="handsfree-voice-", ignore_cleanup_errors=True)
        self._worker_file = worker
        self._worker: _Worker | None = _Worker(worker)

    def clip(self, text: str) -> Clip:
        """The spoken text, from the cache when it was spoken before. Raises VoiceError."""
        text = " ".join(text.split())
        if not text:
            raise VoiceError("there is nothing to say")
        key = hashlib.sha256(json.dumps([self._settings, text]).encode()).hexdigest()
        clip = self._cache.get(key)
        if clip is None:
            clip = self._synthesize(text)
            self._cache.put(key, clip)
        return clip

    def close(self) -> None:
        """End the synthesizer's process and remove its files."""
        self._end_worker()
        self._folder.cleanup()

    def _synthesize(self, text: str) -> Clip:
        path = Path(self._folder.name) / "clip.wav"
        path.unlink(missing_ok=True)
        if self._worker is None:
            self._worker = _Worker(self._worker_file)
        try:
            self._worker.ask({"text": text, "path": str(path), **self._settings}, self._deadline_s)
        except VoiceError:
            self._end_worker()
            raise
        clip = read_clip(path)
        if max(map(abs, array.array("h", clip.pcm)), default=0) < _SILENT_PEAK:
            raise VoiceError(f"the voice made no sound of {text[:40]!r}: run doctor")
        return clip

    def _end_worker(self) -> None:
        if self._worker is not None:
            self._worker.end()
            self._worker = None


class _Worker:
    """The synthesizer's process and the one conversation with it."""

    def __init__(self, script: Path) -> None:
        # -P: the script's folder must not become an import path of the process
        self._process = subprocess.Popen(
            [sys.executable, "-P", str(script)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            encoding="utf-8",
        )
        self._answers: queue.Queue[str] = queue.Queue()
        self._ready = False
        threading.Thread(target=self._read, name="voice answers", daemon=True).start()

    def ask(self, request: dict[str, object], deadline_s: float) -> None:
        """Send one request and wait for its answer. Raises VoiceError."""
        until = time.monotonic() + deadline_s
        if not self._ready:
            self._answer(until)
            self._ready = True
        assert self._process.stdin is not None
        try:
            self._process.stdin.write(json.dumps(request) + "\n")
            self._process.stdin.flush()
        except OSError:
            raise VoiceError("the voice ended unexpectedly: run doctor") from None
        self._answer(until)

    def end(self) -> None:
        """End the process, whatever it is doing."""
        self._process.kill()
        self._process.wait()
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe is not None:
                with contextlib.suppress(OSError):
                    pipe.close()

    def _answer(self, until: float) -> None:
        try:
            line = self._answers.get(timeout=max(0.0, until - time.monotonic()))
        except queue.Empty:
            raise VoiceError(
                "the voice did not answer in time and was ended: say it again, or run doctor"
            ) from None
        if not line:
            raise VoiceError("the voice ended unexpectedly: run doctor")
        answer = json.loads(line)
        if not answer["ok"]:
            raise VoiceError(f"the voice can't speak ({answer['error'][:160]}): run doctor")

    def _read(self) -> None:
        assert self._process.stdout is not None
        with contextlib.suppress(ValueError, OSError):  # closed under us by end()
            for line in self._process.stdout:
                self._answers.put(line)
        self._answers.put("")


class SilentVoice:
    """No synthesis: silence as long as the text would take to say. For typed work and tests of the loop."""

    #: 150 words a minute at five letters and a space a word: 15 characters a second.
    CHARACTERS_PER_S = 15

    def __init__(self, rate: int = 16000) -> None:
        self._rate = rate

    def clip(self, text: str) -> Clip:
        """Silence of the estimated length. Raises VoiceError for no text."""
        text = " ".join(text.split())
        if not text:
            raise VoiceError("there is nothing to say")
        return Clip(bytes(2 * (len(text) * self._rate // self.CHARACTERS_PER_S)), self._rate)

    def close(self) -> None:
        """Nothing to give back."""
