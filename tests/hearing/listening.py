"""Sound through the endpointer into an engine, as a session does it."""

from __future__ import annotations

import numpy as np

from handsfree.audio import frame_levels, room_noise, samples
from handsfree.grammar import Armed
from handsfree.hearing import Engine, Hypothesis, Listener

ROOM_DBFS = -60.0


def _pink_noise(seconds: float = 4.0) -> bytes:
    size = int(seconds * 16000)
    bins = np.arange(size // 2 + 1)
    shape = 1 / np.sqrt(np.maximum(bins, size / 16000 * 50))  # flat under 50 Hz
    phases = np.exp(2j * np.pi * np.random.default_rng(3).random(bins.size))
    wave = np.fft.irfft(shape * phases, size)
    return np.rint(wave / np.abs(wave).max() * 8000).astype("<i2").tobytes()


_PINK = _pink_noise()


def speech_dbfs(pcm: bytes) -> float:
    """Level of the speech-active frames: those within 30 dB of the loudest."""
    levels = frame_levels(pcm)
    return float(10 * np.log10(np.mean(10 ** (levels[levels > levels.max() - 30] / 10))))


def with_room(pcm: bytes, snr: float, seed: int = 0, before: float = 0.8, after: float = 1.2) -> bytes:
    """The sound in a room: pink noise before, under and after it, ``snr`` dB below the speech-active frames."""
    noise = samples(room_noise(_PINK, level_dbfs=speech_dbfs(pcm) - snr, seed=seed + 1)).astype(np.int32)
    speech = samples(pcm).astype(np.int32)
    begin = int(before * 16000)
    out = np.resize(np.roll(noise, seed * 7919), begin + speech.size + int(after * 16000))
    out[begin : begin + speech.size] += speech
    return np.clip(out, -32768, 32767).astype("<i2").tobytes()


def trim(pcm: bytes) -> bytes:
    """The recording without its quiet ends, a frame of them kept."""
    speech = np.flatnonzero(frame_levels(pcm) > -50)
    return pcm[max(0, speech[0] - 1) * 960 : (speech[-1] + 2) * 960]


def hear(engine: Engine, pcm: bytes, armed: Armed | None = None) -> list[Hypothesis]:
    """Every utterance of the sound, decoded. ``armed``, where given, is asked whether a pause may be one within
    a sentence; without it what the engine has armed stays."""
    listener = Listener(engine)
    if armed is not None:
        listener.arm(armed)
    return [found.hypothesis for found in listener.hear(pcm)]
