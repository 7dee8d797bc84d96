"""One acoustic condition's pair of searches: the armed grammar, and the free phone loop beside it."""

from __future__ import annotations

import hashlib
import math
import warnings
from collections import OrderedDict
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, Final

from handsfree.hearing._acceptance import Evidence, WordEvidence
from handsfree.hearing._phone_loop import (
    FRAME_S,
    SCORE_SCALE,
    Phones,
    log_score,
    make_decoder,
    make_phone_loop,
    one_word,
    unexplained_s,
)
from handsfree.hearing._types import EngineError

__all__ = ["Searches"]

_MOST_CACHED: Final = 6  # armed grammars kept compiled, about 2 MB each; compiling one takes 3 ms

# The defaults are for dictation. A loop of digits then grows digits that were never said: every word has to pay
# (wip), silence must not pay with it (silprob takes it back, and gives more in a quiet room), or a breath after
# "eighty" becomes the n of "eighteen". The grammar's own branch probabilities are only a by-product of how it is
# written: lw 1 keeps them from being multiplied. Chosen between what synthetic voices like best (wip 1e-4 to 1e-10)
# and what the recorded human numbers need (1e-10 to 1e-18). Wider beams are slow and gain little.
#
# The search's own best path counts. PocketSphinx would by default make a lattice of the words it met and look for a
# best path again in that: it takes longer than the search and does not heed these penalties. Of 90 sentences by
# three voices that nothing was tuned on it hears 71 right at 10 dB and 45 at 5 dB, the search alone 83 and 67.
_SEARCH: Final = {"lw": 1.0, "wip": 1e-12, "bestpath": False}
_WORD_PENALTY: Final = -math.log(_SEARCH["wip"])  # to be given back before scores are compared

# Where the cepstral mean starts: by eye, between where three synthetic voices and a human one ended up. It only
# has to do for the partial results of the first utterance, which is decoded again with its own mean.
_FIRST_MEAN: Final = "47,0,2,3,-3,-1,0,0,0,0,0,0,0"

#: Silence, noises, and the grammar's transitions without a word, which cost no penalty either.
_NO_WORD: Final = ("<", "+", "[", "(")

Pronunciations = Callable[[str], Iterable[str]]
"""A word's ways of being said, each as its phones; none for an unknown word."""


class Searches:
    """``transform`` is an MLLR file for the acoustic model, None for the model as it is. ``pause``: by what every
    three frames of silence are favoured, a likelihood ratio. With ``pronunciations`` the dictionary starts empty and
    takes from there what is armed: the shipped one is 30 MB in memory, once is enough."""

    def __init__(
        self,
        transform: Path | None = None,
        pronunciations: Pronunciations | None = None,
        *,
        pause: float = 1.0,
    ) -> None:
        model = {} if transform is None else {"mllr": str(transform)}
        search = {**_SEARCH, "silprob": pause / _SEARCH["wip"]}
        if pronunciations is None:
            self.grammar = make_decoder(lm=None, **search, **model)
        else:
            with one_word() as dictionary:
                self.grammar = make_decoder(lm=None, dict=dictionary, **search, **model)
        self._phones = make_phone_loop(**model)
        self._pronunciations = pronunciations
        self._compiled: OrderedDict[str, None] = OrderedDict()
        self._armed: str | None = None
        self._active: str | None = None
        self.reset()

    def reset(self) -> None:
        """Forget the voice, the channel and the room."""
        for decoder in (self.grammar, self._phones):
            decoder.set_cmn(_FIRST_MEAN)
            with warnings.catch_warnings():
                # Called unnecessary by the engine, yet without it the noise estimate stays.
                warnings.simplefilter("ignore", DeprecationWarning)
                decoder.start_stream()
        self.keep_mean()

    def arm(self, jsgf: str, words: Iterable[str]) -> None:
        """Raises EngineError when the grammar can't be compiled."""
        name = hashlib.sha256(jsgf.encode()).hexdigest()[:16]
        if name not in self._compiled:
            self._learn(words)
            try:
                self.grammar.add_jsgf_string(name, jsgf)
            except (ValueError, RuntimeError):
                raise EngineError(
                    "PocketSphinx can't compile the armed grammar; run handsfree check"
                ) from None
            self._forget_oldest()
        self._compiled[name] = None
        self._compiled.move_to_end(name)
        self._armed = name

    def keep_mean(self) -> None:
        """The cepstral means as they are now can be had back."""
        self._kept = tuple(decoder.get_cmn(False) for decoder in (self.grammar, self._phones))

    def mean_as_kept(self) -> None:
        for decoder, mean in zip((self.grammar, self._phones), self._kept, strict=True):
            decoder.set_cmn(mean)

    def begin(self) -> None:
        if self._active != self._armed:
            self.grammar.activate_search(self._armed)
            self._active = self._armed
        self.grammar.start_utt()
        self._phones.start_utt()

    def feed(self, pcm: bytes) -> None:
        self.grammar.process_raw(pcm, False, False)
        self._phones.process_raw(pcm, False, False)

    def stop(self) -> None:
        self.grammar.end_utt()
        self._phones.end_utt()

    def again(self, pcm: bytes) -> None:
        """Decode the whole utterance with its own cepstral mean."""
        for decoder in (self.grammar, self._phones):
            decoder.start_utt()
            decoder.process_raw(pcm, False, True)
            decoder.end_utt()

    def text(self) -> str:
        found = self.grammar.hyp()
        # A word's second pronunciation comes out as "zero(2)".
        words = found.hypstr.lower().split() if found is not None else ()
        return " ".join(word.split("(")[0] for word in words)

    def evidence(self, pcm: bytes) -> Evidence:
        """What is known of the utterance last decoded; ``pcm`` is its sound. There must be a ``text``."""
        frames = max(self.grammar.n_frames(), 1)
        phones = Phones(self._phones, frames)
        words = tuple(
            _word_evidence(segment, phones.sums)
            for segment in self.grammar.seg() or ()
            if not segment.word.startswith(_NO_WORD)
        )
        paid = len(words) * _WORD_PENALTY
        return Evidence(
            grammar=(log_score(self.grammar.hyp().best_score) * SCORE_SCALE + paid) / frames,
            phone=phones.total / frames,
            seconds=len(pcm) / 32000,
            unexplained_s=unexplained_s(phones, words, pcm),
            words=words,
        )

    def _learn(self, words: Iterable[str]) -> None:
        if self._pronunciations is None:
            return
        for word in words:
            if self.grammar.lookup_word(word) is None:
                for number, phones in enumerate(self._pronunciations(word), 1):
                    self.grammar.add_word(word if number == 1 else f"{word}({number})", phones, True)

    def _forget_oldest(self) -> None:
        while len(self._compiled) >= _MOST_CACHED:
            oldest = next(name for name in self._compiled if name not in (self._active, self._armed))
            self.grammar.remove_search(oldest)
            del self._compiled[oldest]


def _word_evidence(segment: Any, phone_sums: list[float]) -> WordEvidence:
    begin, end = segment.start_frame, min(segment.end_frame + 1, len(phone_sums) - 1)
    length = max(end - begin, 1)
    return WordEvidence(
        text=segment.word.split("(")[0].lower(),
        start_s=begin * FRAME_S,
        end_s=end * FRAME_S,
        score=(log_score(segment.ascore) * SCORE_SCALE + _WORD_PENALTY) / length,
        phone=(phone_sums[end] - phone_sums[begin]) / length,
    )
