"""The sound card, with an account of the samples that really left it.

A caution counts as spoken only when all of it came out, and drivers are known to report success for sound
that nobody could hear. So the account is kept here: samples handed over by our own callback, PortAudio's word
that its buffers ran empty, and the clock, because a device can't play faster than the sound lasts. Where PortAudio
tells of an underflow and the clip took longer than it is, the card played it in pieces: it counts up to there only.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from ._types import Clip, Played, SpeakingError

__all__ = ["CardPlayer", "load_sounddevice"]

#: How long after its end a clip may still be playing before the device counts as stuck.
_GRACE_S = 3.0
#: How often it is looked whether the end has come, while somebody listens beside.
_LOOK_S = 0.005
#: Sound card clocks are within 0.1 % of nominal; 3 % and 100 ms allow for the first buffer's start and for a sound
#: server that fetches ahead (PulseAudio's null sink at a latency of 20 ms: up to 70 ms).
_HURRY, _HURRY_S = 0.97, 0.1
#: Longer than a clip and the device's latency by so much, with an underflow told: gaps that can be heard. Told alone
#: it is no gap: on PulseAudio's null sink it is told in sentences whose recording is whole and that take no longer.
_GAP_S = 0.25


def load_sounddevice() -> Any:
    """The sounddevice module. Raises SpeakingError that names the missing package."""
    try:
        import sounddevice
    except OSError:  # raised at its import when PortAudio is absent
        raise SpeakingError(
            "no PortAudio: install libportaudio2 (apt install libportaudio2), or send replies to files"
        ) from None
    except ImportError:
        raise SpeakingError(
            "no sounddevice package: pip install sounddevice; or send replies to files"
        ) from None
    return sounddevice


class CardPlayer:
    """Plays through ``device`` (name part or number, None: the system's default), one clip at a time.

    ``play`` blocks until the clip's last sample left the buffer; ``stop`` may come from another thread.
    """

    def __init__(
        self,
        device: str | int | None = None,
        *,
        clock: Callable[[], float] = time.monotonic,
        grace_s: float = _GRACE_S,
    ) -> None:
        self._sd = load_sounddevice()
        self._device = device
        self._clock = clock
        self._grace_s = grace_s
        self._stop = threading.Event()

    def play(self, clip: Clip, interruptible: bool = False) -> Played:
        """Play to the end, or until ``stop`` when ``interruptible``. Raises SpeakingError.

        A stream that ends early, stalls, or swallows the sound faster than it lasts is not completed.
        """
        return self._play(clip, self._stop if interruptible else None, None)

    def play_until(self, clip: Clip, cut: Callable[[], bool]) -> Played:
        """Play to the end, or until ``cut``, which is called all the while, says so. Raises SpeakingError."""
        return self._play(clip, self._stop, cut)

    def _play(self, clip: Clip, stop: threading.Event | None, cut: Callable[[], bool] | None) -> Played:
        if not clip.frames:
            return Played(0, 0, clip.rate)
        rate = self._rate_for(clip)
        run = _Run(self._sd, _at_rate(clip, rate), rate, stop, self._clock)
        self._stop.clear()
        try:
            with self._sd.RawOutputStream(
                samplerate=rate,
                channels=1,
                dtype="int16",
                device=self._device,
                callback=run.callback,
                finished_callback=run.finished.set,
            ) as stream:
                if cut is not None:
                    self._wait(run.finished, clip.seconds, cut)
                run.finished.wait(clip.seconds + self._grace_s)
                run.wait_out()
                played = run.account(float(stream.latency))
                stream.abort()
        except (self._sd.PortAudioError, ValueError) as error:
            raise SpeakingError(
                f"can't play sound ({_one_line(error)}): choose another output device"
            ) from None
        return Played(min(clip.frames, int(clip.frames * played)), clip.frames, clip.rate)

    def _wait(self, finished: threading.Event, seconds: float, cut: Callable[[], bool]) -> None:
        """Until it is finished, or ``cut`` says stop, or it is surely overdue."""
        overdue = self._clock() + seconds + self._grace_s
        while not finished.wait(_LOOK_S) and self._clock() < overdue:
            if cut():
                self.stop()
                return

    def stop(self) -> None:
        """End an interruptible clip that is playing."""
        self._stop.set()

    def close(self) -> None:
        """Nothing is held between clips."""

    def _rate_for(self, clip: Clip) -> int:
        """The clip's rate, or the device's own where it refuses that."""
        try:
            self._sd.check_output_settings(
                device=self._device, channels=1, dtype="int16", samplerate=clip.rate
            )
        except (self._sd.PortAudioError, ValueError):
            return self._own_rate()
        return clip.rate

    def _own_rate(self) -> int:
        try:
            return int(self._sd.query_devices(self._device, "output")["default_samplerate"])
        except (self._sd.PortAudioError, ValueError) as error:
            raise SpeakingError(
                f"no output device ({_one_line(error)}): plug one in, choose another or use files"
            ) from None


class _Run:
    """One clip on its way out; ``callback`` runs on PortAudio's thread."""

    def __init__(
        self, sd: Any, pcm: bytes, rate: int, stop: threading.Event | None, clock: Callable[[], float]
    ) -> None:
        self.finished = threading.Event()
        self._sd = sd
        self._pcm = pcm
        self._rate = rate
        self._stop = stop
        self._clock = clock
        self._handed = 0  # bytes
        self._began: float | None = None
        self._cut = False
        self._gap_at: int | None = None  # bytes handed over when the first gap was told

    def callback(self, out: Any, frames: int, _times: object, status: object) -> None:
        """Fill one buffer; the silence that pads the last one is not counted."""
        if self._began is None:
            # Before the first buffer nothing of the clip can be missing, whatever the device says.
            self._began = self._clock()
        elif self._gap_at is None and getattr(status, "output_underflow", False):
            self._gap_at = self._handed
        if self._stop is not None and self._stop.is_set():
            self._cut = True
            raise self._sd.CallbackAbort
        part = self._pcm[self._handed : self._handed + 2 * frames]
        out[: len(part)] = part
        if len(part) < 2 * frames:
            out[len(part) :] = bytes(2 * frames - len(part))
        self._handed += len(part)
        if self._handed >= len(self._pcm):
            raise self._sd.CallbackStop

    def wait_out(self) -> None:
        """Where the device says a little early that it is done: until the sound has lasted as long as it is."""
        if self._began is None or self._cut or self._handed < len(self._pcm) or not self.finished.is_set():
            return
        left = self._began + len(self._pcm) / 2 / self._rate - self._clock()
        if 0 < left <= _HURRY_S:
            time.sleep(left)

    def account(self, latency_s: float) -> float:
        """The share of the clip that came out, 0 to 1; 1 only when nothing speaks against it."""
        if self._began is None:
            return 0.0
        elapsed = self._clock() - self._began
        lasts = len(self._pcm) / 2 / self._rate
        # After a gap that took time it was heard in pieces: only up to there is sure.
        gap = self._gap_at if elapsed > lasts + latency_s + _GAP_S else None
        sure = self._handed if gap is None else gap
        emptied = self.finished.is_set() and not self._cut and self._handed >= len(self._pcm)
        if emptied and gap is None and elapsed >= _HURRY * lasts - _HURRY_S:
            return 1.0
        out = min(sure / 2 / self._rate - latency_s, elapsed)
        return min(max(out / lasts, 0.0), 0.999)  # never 1: something was missing


def _at_rate(clip: Clip, rate: int) -> bytes:
    if rate == clip.rate:
        return clip.pcm
    import soxr

    samples = np.frombuffer(clip.pcm, "<i2")
    return bytes(soxr.resample(samples, clip.rate, rate).astype("<i2").tobytes())


def _one_line(error: BaseException) -> str:
    return " ".join(str(error).split())[:160]
