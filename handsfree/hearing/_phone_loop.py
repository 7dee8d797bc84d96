"""The free phone loop: how well any speech at all explains the sound, and where there was speech."""

from __future__ import annotations

import itertools
import math
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from pocketsphinx import Decoder, get_model_path

from handsfree.hearing._acceptance import WordEvidence
from handsfree.hearing._types import EngineError

__all__ = [
    "FRAME_S",
    "SCORE_SCALE",
    "Phones",
    "log_score",
    "make_decoder",
    "make_phone_loop",
    "one_word",
    "unexplained_s",
]

FRAME_S: Final = 0.01
SCORE_SCALE: Final = 1024.0  # senone scores are stored shifted right by ten bits
_FRAME_SAMPLES: Final = 160
_LOWEST: Final = -745.0  # natural log of the smallest double: a score that underflowed


class Phones:
    """What the loop made of one utterance. ``total``: its score over all frames. ``sums``: running sum of
    the acoustic score, entry n over the first n frames. ``speech``: frame by frame, whether it is a speech
    sound (not silence, breath or noise)."""

    def __init__(self, decoder: Any, frames: int) -> None:
        found = decoder.hyp()
        self.total = log_score(found.best_score) * SCORE_SCALE if found is not None else 0.0
        each = [0.0] * frames
        self.speech = np.zeros(frames, dtype=bool)
        for segment in decoder.seg() or ():
            begin, end = segment.start_frame, min(segment.end_frame + 1, frames)
            share = log_score(segment.ascore) * SCORE_SCALE / (segment.end_frame + 1 - begin)
            each[begin:end] = [share] * max(end - begin, 0)
            self.speech[begin:end] = segment.word != "SIL" and not segment.word.startswith("+")
        self.sums = list(itertools.accumulate(each, initial=0.0))


def unexplained_s(phones: Phones, words: Iterable[WordEvidence], pcm: bytes) -> float:
    """Seconds of speech sounds that lie in no word: the grammar search took them for silence.

    Only frames clearly over the utterance's own noise count, because the loop hears phones in noise too.
    """
    left = phones.speech & _loud(pcm, phones.speech.size)
    for word in words:
        left[round(word.start_s / FRAME_S) : round(word.end_s / FRAME_S)] = False
    return float(np.count_nonzero(left)) * FRAME_S


def _loud(pcm: bytes, frames: int) -> NDArray[np.bool_]:
    """Frames nearer to the speech's level than to the noise's (in dB), and at least 6 dB over the noise."""
    data = np.frombuffer(pcm, "<i2").astype(np.float64)
    size = min(frames, data.size // _FRAME_SAMPLES)
    loud = np.zeros(frames, dtype=bool)
    if size:
        power = (data[: size * _FRAME_SAMPLES].reshape(size, -1) ** 2).mean(axis=1)
        level = 10 * np.log10(power + 1.0)
        quiet, speech = np.percentile(level, (10, 95))
        loud[:size] = level > quiet + max(6.0, (speech - quiet) / 2)
    return loud


def log_score(score: float) -> float:
    """Natural log of a score as PocketSphinx gives it out."""
    return math.log(score) if score > 0 else _LOWEST


def make_decoder(**settings: Any) -> Any:
    """A decoder without log output. Raises EngineError."""
    try:
        return Decoder(loglevel="FATAL", **settings)
    except (ValueError, RuntimeError):
        raise EngineError(
            "PocketSphinx can't load its model; run pip install --force-reinstall pocketsphinx"
        ) from None


@contextmanager
def one_word() -> Iterator[str]:
    """A dictionary of one word, for a decoder that needs none: the shipped one is 30 MB in memory."""
    with tempfile.TemporaryDirectory() as folder:
        dictionary = Path(folder) / "one.dict"
        dictionary.write_text("one W AH N\n", encoding="ascii")
        yield str(dictionary)


def make_phone_loop(**model: str) -> Any:
    """A decoder that hears phones, with the phone language model the package ships."""
    with one_word() as dictionary:
        return make_decoder(
            lm=None,
            dict=dictionary,
            allphone=get_model_path("en-us/en-us-phone.lm.bin"),
            lw=2.0,
            pip=0.3,
            beam=1e-20,
            pbeam=1e-20,
            **model,
        )
