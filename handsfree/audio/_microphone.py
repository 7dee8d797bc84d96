"""The microphone, through sounddevice (PortAudio).

Half-duplex: while the tool speaks nobody reads, and ``cue`` throws away what came in meanwhile and what is still on
its way: the last of the tool's own voice is in PortAudio's input buffer, and in the room, when its playing ends.
"""

from __future__ import annotations

import contextlib
import queue
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np
import soxr

from handsfree.audio._endpoint import FRAME_BYTES, FRAME_MS
from handsfree.audio._errors import AudioError, MicrophoneLost
from handsfree.audio._levels import samples
from handsfree.audio._wav import SAMPLE_RATE

__all__ = ["Device", "Microphone", "choose_device", "list_devices", "rescan_devices"]

_INSTEAD: Final = "or use --wav FILE or --engine typed"
_QUEUE_BLOCKS: Final = 128  # of 30 ms: nearly four seconds, more than any pause the loop makes
# Through a virtual card with the loudspeaker looped back into the microphone, 30 to 90 ms of a reply came in after it
# had been played; 60 ms of these are PortAudio's own latency. The rest is for the room. People take turns after
# 200 ms on average (Stivers et al., PNAS 106, 2009), and the endpointer wants 120 ms of voice.
_ECHO_S: Final = 0.12
# The channel is left for the other one only when that is clearly louder for a while: a jump between two capsules in
# the middle of a word would be a click.
_LOUDER: Final = 4.0  # of power: 6 dB
_SMOOTH: Final = 0.03  # of one block: a time constant of one second


@dataclass(frozen=True, slots=True)
class Device:
    """A sound device: its index changes when things are plugged, its name does not."""

    index: int
    name: str
    inputs: int
    outputs: int
    rate: int  # native, Hz
    default_input: bool = False
    default_output: bool = False


def list_devices() -> tuple[Device, ...]:
    """All sound devices of this machine. Raises AudioError when PortAudio is missing or fails."""
    sounddevice = _import_sounddevice()
    try:
        found = list(sounddevice.query_devices())
        default_in, default_out = sounddevice.default.device
    except Exception as error:  # PortAudioError is no subclass of anything narrower
        raise AudioError(
            f"sound devices can't be listed ({error}); check the sound card, {_INSTEAD}"
        ) from None
    return tuple(_device(index, entry, default_in, default_out) for index, entry in enumerate(found))


def rescan_devices() -> None:
    """Let PortAudio look again for what was plugged in since it started. No stream may be open. Raises AudioError."""
    sounddevice = _import_sounddevice()
    try:
        # PortAudio lists devices only when it starts; sounddevice has no public call for that.
        sounddevice._terminate()
        sounddevice._initialize()
    except Exception as error:
        raise AudioError(
            f"sound devices can't be listed ({error}); check the sound card, {_INSTEAD}"
        ) from None


class Microphone:
    """Frames from a live microphone.

    ``device`` is any part of a device's name, whatever the case; None takes the system's default. The
    device runs at its own rate, because many USB microphones refuse 16 kHz, and is resampled here. Frames
    wait in a bounded queue; ``lost`` counts the blocks (of 30 ms) that were lost between frames that were read,
    because the computer was late. Of a stereo device the clearly louder channel is heard, never the sum: two capsules
    at unlike distances, or one wired in reverse, would cancel each other. ``headset``: the tool can't hear itself,
    and nothing is thrown away after it spoke. Raises AudioError when there is no such device or it gives less than
    16 kHz, and MicrophoneLost from ``read`` when it stops.
    """

    live = True
    frame_ms = FRAME_MS

    def __init__(self, device: str | None = None, *, timeout_s: float = 2.0, headset: bool = False) -> None:
        sounddevice = _import_sounddevice()
        self.device = choose_device(list_devices(), device)
        if self.device.rate < SAMPLE_RATE:
            raise AudioError(
                f"microphone '{self.device.name}' gives only {self.device.rate} Hz, speech needs {SAMPLE_RATE}; "
                f"choose another one with --device (handsfree doctor lists them), {_INSTEAD}"
            )
        self.lost = 0
        self._timeout_s = timeout_s
        self._headset = headset
        #: A block, and how many were lost before it: so a loss is known where it lies, seconds later.
        self._queue: queue.Queue[tuple[bytes, int]] = queue.Queue(_QUEUE_BLOCKS)
        self._dropped = 0  # since the last block that found room
        self._resampler = soxr.ResampleStream(self.device.rate, SAMPLE_RATE, 1, dtype="int16")
        self._rest = b""
        self._deaf = 0  # frames still to be thrown away
        self._channels, self._channel = 1, 0
        self._power = np.zeros(2)
        self._stream: Any = self._open(sounddevice)

    @property
    def overflows(self) -> int:
        """Blocks lost so far of what was listened to, also those after which nothing was read yet."""
        return self.lost + self._dropped

    @property
    def waiting(self) -> int:
        """Frames that were recorded already and not read yet."""
        return self._queue.qsize()

    def read(self) -> bytes:
        while True:
            while len(self._rest) < FRAME_BYTES:
                self._rest += self._resample(self._fetch())
            frame, self._rest = self._rest[:FRAME_BYTES], self._rest[FRAME_BYTES:]
            if not self._deaf:
                return frame
            self._deaf -= 1

    def cue(self, answer: bool = True) -> None:
        """Half-duplex: what came in while the tool spoke is the tool's own voice."""
        if not self._headset:
            self.drain()
            latency = getattr(self._stream, "latency", 0.0)
            self._deaf = round(1000 * (latency + _ECHO_S) / FRAME_MS)

    def drain(self) -> None:
        """Throw away what is waiting (the tool's own voice)."""
        self._rest = b""
        while not self._queue.empty():
            try:
                self._queue.get_nowait()
            except queue.Empty:
                break
        self._dropped = 0  # what was lost of that is no loss

    def close(self) -> None:
        try:
            self._stream.close()
        except Exception:
            return  # already gone: there is nothing left to free

    def _open(self, sounddevice: Any) -> Any:
        failed = ""
        # Some two-channel devices give only one when asked for it, the left one, and some only both.
        for channels in (2, 1) if self.device.inputs > 1 else (1,):
            self._channels, stream = channels, None
            try:
                stream = sounddevice.RawInputStream(
                    samplerate=self.device.rate,
                    blocksize=self.device.rate * FRAME_MS // 1000,
                    device=self.device.index,
                    channels=channels,
                    dtype="int16",
                    callback=self._on_block,
                )
                stream.start()
            except Exception as error:
                failed = " ".join(str(error).split())
                if stream is not None:
                    with contextlib.suppress(Exception):  # it never ran: there is nothing to lose
                        stream.close()
            else:
                return stream
        raise AudioError(
            f"microphone '{self.device.name}' can't be opened ({failed}); close what else uses it, {_INSTEAD}"
        )

    def _on_block(self, data: Any, _frames: int, _time: Any, status: Any) -> None:
        # On PortAudio's own thread: copy and leave.
        if getattr(status, "input_overflow", False):
            self._dropped += 1
        try:
            self._queue.put_nowait((bytes(data), self._dropped))
        except queue.Full:
            self._dropped += 1
        else:
            self._dropped = 0

    def _fetch(self) -> bytes:
        try:
            block, dropped = self._queue.get(timeout=self._timeout_s)
        except queue.Empty:
            raise MicrophoneLost(
                f"microphone '{self.device.name}' gives no sound any more; plug it in again, {_INSTEAD}"
            ) from None
        if not self._deaf:
            self.lost += dropped
        return block if self._channels == 1 else self._one_channel(block)

    def _one_channel(self, block: bytes) -> bytes:
        both = samples(block).reshape(-1, 2)
        power = both.var(axis=0, dtype=np.float64)  # an offset is no sound
        self._power = power if not self._power.any() else self._power + _SMOOTH * (power - self._power)
        if self._power[1 - self._channel] > _LOUDER * self._power[self._channel]:
            self._channel = 1 - self._channel
        return both[:, self._channel].tobytes()

    def _resample(self, block: bytes) -> bytes:
        if self.device.rate == SAMPLE_RATE:
            return block
        return np.asarray(self._resampler.resample_chunk(samples(block)), dtype="<i2").tobytes()


def _import_sounddevice() -> Any:
    # Late, because the import itself fails where PortAudio is missing, and files must work without it.
    try:
        import sounddevice
    except OSError:
        raise AudioError(
            f"PortAudio is missing; install it (Debian: apt install libportaudio2), {_INSTEAD}"
        ) from None
    except ImportError:
        raise AudioError(f"sounddevice is missing; run pip install sounddevice, {_INSTEAD}") from None
    return sounddevice


def _device(index: int, entry: Mapping[str, Any], default_in: int, default_out: int) -> Device:
    return Device(
        index=index,
        name=str(entry["name"]),
        inputs=int(entry["max_input_channels"]),
        outputs=int(entry["max_output_channels"]),
        rate=int(entry["default_samplerate"]),
        default_input=index == default_in,
        default_output=index == default_out,
    )


def choose_device(
    devices: tuple[Device, ...],
    name: str | None,
    *,
    kind: Literal["microphone", "loudspeaker"] = "microphone",
) -> Device:
    """The device with ``name`` in its name, whatever the case; None: the system's default.

    A whole name wins over a part of one. Raises AudioError for no such device, and where several are meant.
    """
    out = kind == "loudspeaker"
    found = [device for device in devices if (device.outputs if out else device.inputs) > 0]
    instead = "or use --replies files or --replies text" if out else _INSTEAD
    if not found:
        raise AudioError(f"this machine has no {kind}; plug one in, {instead}")
    if name is None:
        default = (device for device in found if (device.default_output if out else device.default_input))
        return next(default, found[0])
    matching = [device for device in found if name.casefold() in device.name.casefold()]
    if not matching:
        known = ", ".join(f"'{device.name}'" for device in found)
        raise AudioError(f"no {kind} with '{name}' in its name; there is: {known}")
    whole = [device for device in matching if name.casefold() == device.name.casefold()]
    # The same name twice is one device under two sound systems: nothing would tell them apart.
    if not whole and len({device.name for device in matching}) > 1:
        several = ", ".join(f"'{device.name}'" for device in matching)
        raise AudioError(f"several {kind}s have '{name}' in their names; give more of the name: {several}")
    return (whole or matching)[0]
