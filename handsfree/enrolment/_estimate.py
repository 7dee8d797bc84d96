"""A voice's transform for one state of the room, from what was said with known words."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Final

import numpy as np

from handsfree.hearing import Condition
from handsfree.hearing._frames import Aligner, Features
from handsfree.hearing._mllr import (
    PHONES,
    Array,
    Phones,
    Transform,
    Voice,
    compose,
    read_transform,
    shipped_model,
    write_transform,
)

__all__ = ["Frames", "estimate", "frames_of"]

#: Frames of the model's own beside the voice's 2000: of 200 and 1000 the first was better at 20 dB, the second at
#: 10 dB (flite's awb, sentences of the real procedure).
_PRIOR: Final = 500.0
_LEAST_FRAMES: Final = 500
_SILENCE: Final = PHONES.index("SIL")

#: Each frame's phone and its features; silence left out.
Frames = tuple[Phones, Array]


def frames_of(
    said: Iterable[tuple[str, bytes]], condition: Condition, pronounce: Callable[[str], Iterable[str]]
) -> list[Frames | None]:
    """Of each (words, sound); None where the words can't be found in the sound. Raises EngineError."""
    align, found = Aligner(pronounce, condition.transform), list[Frames | None]()
    with Features() as features:
        for words, pcm in said:
            phones, frames = align(words, pcm), features(pcm)
            n = min(len(phones), len(frames))
            spoken = phones[:n] != _SILENCE
            found.append((phones[:n][spoken], frames[:n][spoken]) if n else None)
    return found


def estimate(frames: Sequence[Frames | None], condition: Condition) -> str | None:
    """The whole transform for this condition, as PocketSphinx reads it: the packaged one first, the voice on top.

    None where too little was said to make one.
    """
    model, first = shipped_model(), _packaged(condition)
    voice = Voice(model if first is None else model.transformed(first))
    for one in frames:
        if one is not None:
            voice.add(*one)
    if voice.frames < _LEAST_FRAMES:
        return None
    own = voice.solve(_PRIOR)
    whole = own if first is None else compose(first, own)
    if not all(np.isfinite(part).all() for one in whole for part in (one.matrix, one.offset)):
        return None
    return write_transform(whole)


def _packaged(condition: Condition) -> Transform | None:
    if condition.transform is None:
        return None
    return read_transform(condition.transform.read_text(encoding="ascii"))
