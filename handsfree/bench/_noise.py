"""Noise by seed, mixed at a level measured on the samples where somebody speaks.

Each kind is a function of (samples, seed) and has unit RMS over its whole length:

- ``pink``: power falls with 1/f from 20 Hz; the usual stand-in for a busy hall.
- ``hiss``: air leaving a nozzle: noise that rises to a broad maximum at 4 kHz, swelling slowly by a few dB.
- ``impacts``: an impact wrench: 18 to 24 blows a second in runs of half a second to a second and a half with
  pauses between, each blow a few decaying metallic resonances from 700 Hz to 5 kHz and a click.
- ``hum``: an electric motor: 50 or 60 Hz and thirty harmonics, half of the power in the first three, with slip
  side bands and pink noise 20 dB under it.
- ``babble``: six recorded human prompts at once, over and over in another order; needs the prompts installed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

import numpy as np
from numpy.typing import NDArray

from handsfree.audio import coloured_noise, mix, pink, samples
from handsfree.bench import _prompts

__all__ = ["NOISES", "available", "mix", "pink"]

_RATE: Final = 16000
_TALKERS: Final = 6

Samples = NDArray[np.float64]
Noise = Callable[[int, int], Samples]


def hiss(size: int, seed: int) -> Samples:
    """Air from a nozzle."""
    noise = coloured_noise(size, seed, lambda f: (f / 4000) / (1 + (f / 4000) ** 2))
    swell = np.sin(2 * np.pi * 0.4 * np.arange(size) / _RATE + seed)
    return _unit(noise * 10 ** (2.0 * swell / 20))


def impacts(size: int, seed: int) -> Samples:
    """An impact wrench."""
    rng = np.random.default_rng(seed)
    out = np.zeros(size + _RATE)
    at = 0.0
    while at < size / _RATE:
        rate, until = rng.uniform(18, 24), at + rng.uniform(0.5, 1.5)
        while at < until and at < size / _RATE:
            blow = _blow(rng)
            begin = int(at * _RATE)
            out[begin : begin + blow.size] += blow
            at += rng.normal(1, 0.05) / rate
        at += rng.uniform(0.2, 0.8)
    return _unit(out[:size] + 1e-3 * rng.standard_normal(size))


def _blow(rng: np.random.Generator) -> Samples:
    t = np.arange(int(0.06 * _RATE)) / _RATE
    tones = sum(
        rng.uniform(0.3, 1) * np.sin(2 * np.pi * rng.uniform(700, 5000) * t + rng.uniform(0, 6.28))
        for _ in range(5)
    )
    blow: Samples = (tones + 2 * rng.standard_normal(t.size) * np.exp(-t / 0.002)) * np.exp(-t / 0.015)
    return blow


def hum(size: int, seed: int) -> Samples:
    """An electric motor."""
    rng = np.random.default_rng(seed)
    t = np.arange(size) / _RATE
    mains, slip = rng.choice((50.0, 60.0)), rng.uniform(1, 3)
    out: Samples = np.zeros(size)
    for n in range(1, 31):
        level = 1.0 if n <= 3 else 3.0 / n
        wave = np.sin(2 * np.pi * n * mains * t + rng.uniform(0, 6.28))
        out += level * wave * (1 + 0.3 * np.sin(2 * np.pi * slip * t + n))
    return _unit(_unit(out) + 0.1 * pink(size, seed + 1))


def babble(size: int, seed: int) -> Samples:
    """Several people talking at once."""
    rng = np.random.default_rng(seed)
    found = _prompts.prompts([n for n in _prompts.sentence_prompts() if not _prompts.tuned_on(n)])
    voices = [samples(pcm).astype(np.float64) for pcm in found.values()]
    out: Samples = np.zeros(size)
    for _ in range(_TALKERS):
        order = rng.permutation(len(voices))
        talk = np.concatenate([_unit(voices[i]) for i in order])
        out += np.resize(np.roll(talk, int(rng.integers(talk.size))), size)
    return _unit(out)


NOISES: Final[Mapping[str, Noise]] = {
    "pink": pink,
    "hiss": hiss,
    "impacts": impacts,
    "hum": hum,
    "babble": babble,
}


def available() -> tuple[str, ...]:
    """The kinds that can be made on this machine."""
    return tuple(name for name in NOISES if name != "babble" or not _prompts.missing())


def _unit(noise: Samples) -> Samples:
    scaled: Samples = noise / float(np.sqrt(np.mean(noise**2)))
    return scaled
