"""Affine transforms of an acoustic model's means (Leggetter and Woodland, Computer Speech and Language 9, 1995).

Statistics of frames, solving, composing and the file that PocketSphinx reads. Pure but for reading the shipped model.
The model is phonetically tied: every phone has a codebook of Gaussians for each of three feature streams, the cepstra
and their first and second differences.

A transform is made in one of two ways. ``Stereo`` knows the same speech twice, as the model was trained and as it
really comes (in noise), and fits means and variances of one to the other by least squares. ``Voice`` knows only how
somebody speaks and which phones he says: the most likely transform, from where the model's own frames pull it towards
no change (as MAPLR does: Siohan, Chesta and Lee, IEEE Trans. SAP 9, 2001).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray
from pocketsphinx import get_model_path

from handsfree.hearing._types import EngineError

__all__ = [
    "PHONES",
    "STREAMS",
    "WIDTH",
    "Model",
    "Stereo",
    "StreamTransform",
    "Transform",
    "Voice",
    "compose",
    "read_transform",
    "shipped_model",
    "write_transform",
]

_PHONES: Final = """AA AE AH AO AW AY B CH D DH EH ER EY F G HH IH IY JH K L M N NG OW OY P R S SH SIL T TH UH UW V
W Y Z ZH +NSN+ +SPN+"""
PHONES: Final = tuple(sorted(_PHONES.split()))
STREAMS: Final = 3
WIDTH: Final = 13  # features a stream
_DENSITIES, _SENONES = 128, 5126
_LEAST_VARIANCE: Final = 1e-4  # as PocketSphinx's own floor
_STEREO_RIDGE: Final = 50.0  # frames that speak for no change

Array = NDArray[np.float64]
Phones = NDArray[np.int_]


@dataclass(frozen=True, slots=True)
class StreamTransform:
    """``matrix`` (feature, feature) and ``offset`` (feature) of the means, ``factor`` (feature) of the variances."""

    matrix: Array
    offset: Array
    factor: Array


#: One of each feature stream.
Transform = Sequence[StreamTransform]


@dataclass(frozen=True, slots=True)
class Model:
    """Gaussians: arrays of (phone, stream, Gaussian, feature); log weights without the last."""

    means: Array
    variances: Array
    log_weights: Array

    def transformed(self, by: Transform) -> Model:
        """The model as PocketSphinx has it after reading that transform."""
        means, variances = self.means.copy(), self.variances.copy()
        for stream, one in enumerate(by):
            means[:, stream] = self.means[:, stream] @ one.matrix.T + one.offset
            variances[:, stream] *= one.factor
        return Model(means, variances, self.log_weights)

    def posteriors(self, frames: Array, phones: Phones, stream: int) -> Array:
        """Which Gaussian of its phone each frame belongs to, (frame, Gaussian)."""
        mean = self.means[phones, stream]
        variance = np.maximum(self.variances[phones, stream], _LEAST_VARIANCE)
        score = -0.5 * ((frames[:, None] - mean) ** 2 / variance + np.log(variance)).sum(axis=2)
        score += self.log_weights[phones, stream]
        likely = np.exp(score - score.max(axis=1, keepdims=True))
        return np.asarray(likely / likely.sum(axis=1, keepdims=True))


@cache
def shipped_model() -> Model:
    """The one that comes with PocketSphinx. Raises EngineError."""
    folder = Path(get_model_path("en-us/en-us"))
    try:
        raw = (folder / "sendump").read_bytes()
        means, variances = _gaussians(folder / "means"), _gaussians(folder / "variances")
        dump = np.frombuffer(raw[-STREAMS * _DENSITIES * _SENONES :], "u1")
        dump = dump.reshape(STREAMS, _DENSITIES, _SENONES)
    except (OSError, ValueError) as error:
        raise EngineError(f"the model can't be read: {error}; install pocketsphinx again") from None
    # Minus the logarithm to the base 1.0001, shifted right by ten bits; the first senones are the phones'
    # own, three states each.
    own = np.exp(-0.1024 * dump[:, :, : 3 * len(PHONES)].astype(float))
    weights = own.reshape(STREAMS, _DENSITIES, len(PHONES), 3).mean(axis=3).transpose(2, 0, 1)
    return Model(means, variances, np.log(weights + 1e-12))


def _gaussians(path: Path) -> Array:
    raw = path.read_bytes()
    at = raw.index(b"endhdr\n") + 7 + 4 + 12 + 4 * STREAMS + 4  # byte order, sizes, widths, total
    count = len(PHONES) * STREAMS * _DENSITIES * WIDTH
    flat = np.frombuffer(raw, "<f4", count=count, offset=at).astype(float)
    return flat.reshape(len(PHONES), STREAMS, _DENSITIES, WIDTH)


def _part(stream: int) -> slice:
    return slice(WIDTH * stream, WIDTH * (stream + 1))


class Stereo:
    """The same speech clean and in noise. Frames are (frame, STREAMS * WIDTH)."""

    def __init__(self, model: Model) -> None:
        self._model = model
        shape = (STREAMS, len(PHONES), _DENSITIES)
        self._count = np.zeros((*shape, 1))
        self._sums = {name: np.zeros((*shape, WIDTH)) for name in ("x", "y", "xx", "yy")}

    def add(self, phones: Phones, x: Array, y: Array) -> None:
        """One sentence: each frame's phone (index in PHONES), its clean and its noisy features."""
        for stream in range(STREAMS):
            part = _part(stream)
            share = self._model.posteriors(x[:, part], phones, stream)
            for phone in np.unique(phones):
                here = phones == phone
                weight, a, b = share[here].T, x[here, part], y[here, part]
                self._count[stream, phone, :, 0] += weight.sum(axis=1)
                for name, value in (("x", a), ("y", b), ("xx", a**2), ("yy", b**2)):
                    self._sums[name][stream, phone] += weight @ value

    def solve(self) -> Transform:
        return [
            _least_squares(self._count[s], {name: total[s] for name, total in self._sums.items()})
            for s in range(STREAMS)
        ]


def _least_squares(count: Array, sums: dict[str, Array]) -> StreamTransform:
    some = np.maximum(count, 1e-3)
    mean = {name: total / some for name, total in sums.items()}
    weight = count.reshape(-1, 1)
    ones = np.concatenate([mean["x"].reshape(-1, WIDTH), np.ones((weight.size, 1))], axis=1)
    ridge = np.diag([_STEREO_RIDGE] * WIDTH + [0.0])
    same = np.concatenate([np.eye(WIDTH), np.zeros((1, WIDTH))])
    both = np.linalg.solve(
        (ones * weight).T @ ones + ridge, (ones * weight).T @ mean["y"].reshape(-1, WIDTH) + ridge @ same
    )
    spread = {v: (count * (mean[v + v] - mean[v] ** 2)).sum(axis=(0, 1)) for v in "xy"}
    return StreamTransform(both[:WIDTH].T, both[WIDTH], spread["y"] / spread["x"])


class Voice:
    """One speaker's frames, whose phones are known. The variances stay as they are: a minute says little of them."""

    def __init__(self, model: Model) -> None:
        self._model = model
        self._count = np.zeros((STREAMS, len(PHONES), _DENSITIES))
        self._sum = np.zeros((STREAMS, len(PHONES), _DENSITIES, WIDTH))

    @property
    def frames(self) -> float:
        """How many were added."""
        return float(self._count[0].sum())

    def add(self, phones: Phones, frames: Array) -> None:
        """One sentence: each frame's phone (index in PHONES), its features (frame, STREAMS * WIDTH)."""
        for stream in range(STREAMS):
            share = self._model.posteriors(frames[:, _part(stream)], phones, stream)
            for phone in np.unique(phones):
                here = phones == phone
                self._count[stream, phone] += share[here].sum(axis=0)
                self._sum[stream, phone] += share[here].T @ frames[here, _part(stream)]

    def solve(self, prior: float) -> Transform:
        """``prior``: how many frames of the model's own speak for no change."""
        return [self._stream(stream, prior) for stream in range(STREAMS)]

    def _stream(self, stream: int, prior: float) -> StreamTransform:
        means = self._model.means[:, stream].reshape(-1, WIDTH)
        precision = 1 / np.maximum(self._model.variances[:, stream].reshape(-1, WIDTH), _LEAST_VARIANCE)
        extended = np.concatenate([means, np.ones((len(means), 1))], axis=1)
        count, total = self._count[stream].reshape(-1), self._sum[stream].reshape(-1, WIDTH)
        # The model's own frames: of the phones that were said, each Gaussian as often as its weight says.
        often = self._count[stream].sum(axis=1, keepdims=True) / max(self.frames, 1.0)
        own = prior * (often * np.exp(self._model.log_weights[:, stream])).reshape(-1)
        own /= max(np.exp(self._model.log_weights[:, stream]).sum(axis=1).mean(), 1e-9)
        rows = np.zeros((WIDTH, WIDTH + 1))
        for d in range(WIDTH):
            weight = ((count + own) * precision[:, d])[:, None]
            seen = (total[:, d] + own * means[:, d]) * precision[:, d]
            rows[d] = np.linalg.solve(extended.T @ (weight * extended), extended.T @ seen)
        return StreamTransform(rows[:, :WIDTH], rows[:, WIDTH], np.ones(WIDTH))


def compose(first: Transform, then: Transform) -> Transform:
    """The one transform that does what ``first`` and after it ``then`` do."""
    return [
        StreamTransform(b.matrix @ a.matrix, b.matrix @ a.offset + b.offset, a.factor * b.factor)
        for a, b in zip(first, then, strict=True)
    ]


def write_transform(transform: Transform) -> str:
    """One class, three streams, as SphinxTrain's mllr_solve writes it and PocketSphinx reads it."""
    rows = ["1", str(STREAMS)]
    for one in transform:
        rows += [
            str(WIDTH),
            *(" ".join(f"{v:.5g}" for v in row) for row in (*one.matrix, one.offset, one.factor)),
        ]
    return "\n".join(rows) + "\n"


def read_transform(text: str) -> Transform:
    """What ``write_transform`` wrote. Raises ValueError."""
    values = [float(word) for word in text.split()]
    size = 1 + WIDTH * (WIDTH + 2)
    if len(values) != 2 + STREAMS * size or values[:2] != [1, STREAMS] or not np.isfinite(values).all():
        raise ValueError("no transform of this model")
    found = []
    for stream in range(STREAMS):
        width, *rest = values[2 + stream * size : 2 + (stream + 1) * size]
        if width != WIDTH:
            raise ValueError("no transform of this model")
        rows = np.array(rest).reshape(WIDTH + 2, WIDTH)
        found.append(StreamTransform(rows[:WIDTH], rows[WIDTH], rows[WIDTH + 1]))
    return found
