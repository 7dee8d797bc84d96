"""Transforms of the acoustic model: what is known to be in the frames comes out again."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from handsfree.hearing import CONDITIONS
from handsfree.hearing._mllr import (
    PHONES,
    STREAMS,
    WIDTH,
    Array,
    Model,
    Phones,
    Stereo,
    StreamTransform,
    Transform,
    Voice,
    compose,
    read_transform,
    shipped_model,
    write_transform,
)

FRAMES = 4000
PACKAGED = [condition.transform for condition in CONDITIONS if condition.transform is not None]


@pytest.fixture(scope="module")
def model() -> Model:
    return shipped_model()


@pytest.fixture(scope="module")
def odd() -> Transform:
    """Nobody's voice: every feature leans on the next one, is stretched and moved."""
    rng = np.random.default_rng(1)
    return [
        StreamTransform(
            np.eye(WIDTH) * 1.1 + rng.normal(0, 0.02, (WIDTH, WIDTH)),
            rng.normal(0, 0.4, WIDTH) / (1 + 9 * (stream > 0)),
            np.ones(WIDTH),
        )
        for stream in range(STREAMS)
    ]


def speech(model: Model, seed: int) -> tuple[Phones, Array]:
    """Frames drawn from the model, and their phones."""
    rng = np.random.default_rng(seed)
    phones = rng.choice(SPEECH, FRAMES)
    parts = []
    for stream in range(STREAMS):
        weights = np.exp(model.log_weights[phones, stream])
        pick = (weights.cumsum(axis=1) > rng.random((FRAMES, 1)) * weights.sum(axis=1, keepdims=True)).argmax(
            axis=1
        )
        mean = model.means[phones, stream, pick]
        spread = np.sqrt(model.variances[phones, stream, pick])
        parts.append(mean + spread * rng.standard_normal(mean.shape))
    return phones, np.concatenate(parts, axis=1)


SPEECH = [n for n, phone in enumerate(PHONES) if phone != "SIL" and not phone.startswith("+")]


def distance(model: Model, one: Transform, other: Transform) -> float:
    """How far two transforms put the speech sounds' cepstra apart, as a share of their spread."""
    a, b = model.transformed(one).means[SPEECH, 0], model.transformed(other).means[SPEECH, 0]
    return float(np.median(np.abs(a - b) / np.sqrt(np.maximum(model.variances[SPEECH, 0], 1e-4))))


def test_a_voice_that_was_put_in_is_found_again(model: Model, odd: Transform) -> None:
    phones, frames = speech(model.transformed(odd), 7)
    voice = Voice(model)
    voice.add(phones, frames)
    assert voice.frames == pytest.approx(FRAMES)
    same: Transform = [StreamTransform(np.eye(WIDTH), np.zeros(WIDTH), np.ones(WIDTH))] * STREAMS
    before, after = distance(model, same, odd), distance(model, voice.solve(200), odd)
    assert after < before / 2


def test_the_model_s_own_voice_and_a_strong_prior_change_nothing(model: Model, odd: Transform) -> None:
    same: Transform = [StreamTransform(np.eye(WIDTH), np.zeros(WIDTH), np.ones(WIDTH))] * STREAMS
    own, strange = Voice(model), Voice(model)
    phones, frames = speech(model, 8)
    own.add(phones, frames)
    assert distance(model, own.solve(200), same) < 0.1
    phones, frames = speech(model.transformed(odd), 9)
    strange.add(phones, frames)
    assert distance(model, strange.solve(1e9), same) < 1e-3


def test_stereo_finds_a_known_transform_and_the_factor_of_the_variances(model: Model, odd: Transform) -> None:
    phones, clean = speech(model, 10)
    whole = [clean[:, WIDTH * s : WIDTH * (s + 1)] @ odd[s].matrix.T + odd[s].offset for s in range(STREAMS)]
    stereo = Stereo(model)
    stereo.add(phones, clean, np.concatenate(whole, axis=1))
    found = stereo.solve()
    assert distance(model, found, odd) < 0.1
    # Linear in the frames: what the matrix does to the means it does to their spread.
    assert np.all(found[0].factor > 0.8)
    assert np.all(found[0].factor < 2.0)


def test_one_after_the_other_is_the_composed_one(model: Model, odd: Transform) -> None:
    noise = read_transform(PACKAGED[0].read_text())
    one = model.transformed(noise).transformed(odd)
    both = model.transformed(compose(noise, odd))
    assert np.allclose(one.means, both.means)
    assert np.allclose(one.variances, both.variances)


@pytest.mark.parametrize("path", PACKAGED, ids=lambda path: path.stem)
def test_what_is_read_is_written_again(path: Path) -> None:
    text = path.read_text(encoding="ascii")
    assert write_transform(read_transform(text)) == text


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text[:-20],
        lambda text: text + "1",
        lambda text: text.replace("13", "12"),
        lambda text: text.replace("0.", "nan", 1),
        lambda text: "x" + text,
        lambda _: "",
    ],
)
def test_a_file_that_is_no_transform_is_refused(change: object) -> None:
    assert callable(change)
    with pytest.raises(ValueError):  # noqa: PT011 - its caller says which file
        read_transform(change(PACKAGED[0].read_text()))
