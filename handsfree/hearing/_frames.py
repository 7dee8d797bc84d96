"""What the recognizer makes of a sound before it searches: its features, and which phone each frame belongs to."""

from __future__ import annotations

import tempfile
from collections.abc import Iterable
from contextlib import ExitStack
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from handsfree.hearing._mllr import PHONES, WIDTH, Array
from handsfree.hearing._phone_loop import make_decoder, one_word
from handsfree.hearing._searches import Pronunciations

__all__ = ["Aligner", "Features", "phones_of"]


class Features:
    """The recognizer's own: its front end writes them to a file, mean and differences are taken here as it does.

    The files lie in a private folder of their own, and each is gone as soon as it was read.
    """

    def __init__(self) -> None:
        with ExitStack() as stack:
            self._folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
            dictionary = stack.enter_context(one_word())
            self._decoder: Any = make_decoder(lm=None, dict=dictionary, mfclogdir=str(self._folder))
            self._decoder.add_jsgf_string("any", "#JSGF V1.0;\ngrammar any;\npublic <any> = one;\n")
            self._decoder.activate_search("any")
            self._stack = stack.pop_all()

    def __call__(self, pcm: bytes) -> Array:
        """(frame, features of three streams), with the cepstral mean of the whole sound taken away."""
        self._decoder.start_utt()
        self._decoder.process_raw(pcm, True, True)
        self._decoder.end_utt()
        (file,) = self._folder.iterdir()
        found = np.frombuffer(file.read_bytes()[4:], ">f4").reshape(-1, WIDTH).astype(float)
        file.unlink()
        static = found - found.mean(axis=0)
        padded, n = np.pad(static, ((3, 3), (0, 0)), "edge"), len(static)

        def at(offset: int) -> Array:
            return padded[3 + offset : 3 + offset + n]

        return np.concatenate([static, at(2) - at(-2), (at(3) - at(-1)) - (at(1) - at(-3))], axis=1)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stack.close()


def phones_of(entries: Iterable[tuple[str, int, int]], frames: int) -> NDArray[np.int_]:
    """Each frame's phone, as its index in PHONES, of (phone, first frame, frames); silence where there is none."""
    found = np.full(frames, PHONES.index("SIL"))
    for phone, begin, size in entries:
        found[begin : begin + size] = PHONES.index(phone)
    return found


class Aligner:
    """Where in a sound the phones of known words are."""

    def __init__(self, pronunciations: Pronunciations, transform: Path | None = None) -> None:
        model = {} if transform is None else {"mllr": str(transform)}
        with one_word() as dictionary:
            self._decoder: Any = make_decoder(lm=None, dict=dictionary, **model)
        self._pronunciations = pronunciations

    def __call__(self, text: str, pcm: bytes) -> NDArray[np.int_]:
        """Of each frame; none where the words can't be found in the sound."""
        for word in dict.fromkeys(text.split()):
            if self._decoder.lookup_word(word) is None:
                for number, phones in enumerate(self._pronunciations(word), 1):
                    self._decoder.add_word(word if number == 1 else f"{word}({number})", phones, True)
        self._decoder.set_align_text(text)
        try:
            self._hear(pcm)
            self._decoder.set_alignment()
            self._hear(pcm)
        except RuntimeError:  # its way of saying that no path through these words is left
            return np.zeros(0, dtype=int)
        entries = [
            (phone.name, phone.start, phone.duration)
            for word in self._decoder.get_alignment()
            for phone in word
        ]
        return phones_of(entries, self._decoder.n_frames())

    def _hear(self, pcm: bytes) -> None:
        self._decoder.start_utt()
        self._decoder.process_raw(pcm, False, True)
        self._decoder.end_utt()
