"""PocketSphinx with its own English model: the engine that is always there.

Two searches run over the same frames: the armed grammar, and a free phone loop which says how well any
speech at all could explain the sound. The difference is what acceptance judges by, since a grammar search
alone makes a sentence of whatever it is given.
"""

from __future__ import annotations

import hashlib
import math
import warnings
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from handsfree.hearing._acceptance import Evidence, WordEvidence, judge
from handsfree.hearing._phone_loop import (
    FRAME_S,
    SCORE_SCALE,
    Phones,
    log_score,
    make_decoder,
    make_phone_loop,
    unexplained_s,
)
from handsfree.hearing._types import EngineError, Hypothesis, MissingWord, Word

if TYPE_CHECKING:
    from handsfree.grammar import Armed

__all__ = ["PocketSphinxEngine"]

_MOST_CACHED: Final = 6  # armed grammars kept compiled, about 2 MB each; compiling one takes 3 ms

# The defaults are for dictation. A loop of digits then grows digits that were never said: every word has to
# pay (wip), silence must not pay with it (silprob takes it back), or a breath after "eighty" becomes the n of
# "eighteen". The grammar's own branch probabilities are only a by-product of how it is written: lw 1 keeps
# them from being multiplied. Chosen between what synthetic voices like best (wip 1e-4 to 1e-10) and what the
# recorded human numbers need (1e-10 to 1e-18). Wider beams cost four times the time for a few words more.
_SEARCH: Final = {"lw": 1.0, "wip": 1e-12, "silprob": 1e12}
_WORD_PENALTY: Final = -math.log(_SEARCH["wip"])  # to be given back before scores are compared

# Where the cepstral mean starts: by eye, between where three synthetic voices and a human one ended up. It only
# has to do for the partial results of the first utterance, which is decoded again with its own mean.
_FIRST_MEAN: Final = "47,0,2,3,-3,-1,0,0,0,0,0,0,0"


class PocketSphinxEngine:
    """See ``Engine``.

    ``pronunciations`` adds words the shipped dictionary lacks: word to its phones ("S AY D W AO L"), or to
    several ways of saying it.

    Given the same armed grammar, sound and history the hypothesis is the same. The history that carries over
    from one utterance to the next is the cepstral mean (the channel and the voice) and the front end's noise
    estimate; ``reset`` forgets both. The first utterance after a reset has no history, so it is decoded again
    at its end with its own mean.
    """

    name = "pocketsphinx"
    wants_suppressed = True  # its model was trained on quiet rooms

    def __init__(self, pronunciations: Mapping[str, str | Sequence[str]] | None = None) -> None:
        self._grammar = make_decoder(lm=None, **_SEARCH)
        self._phones = make_phone_loop()
        self._searches: OrderedDict[str, None] = OrderedDict()
        self._armed: str | None = None
        self._active: str | None = None
        self._heard: list[bytes] = []
        self._open = False  # an utterance is under way
        self.last_evidence: Evidence | None = None  # of the last utterance, for calibration
        for word, ways in (pronunciations or {}).items():
            for number, phones in enumerate([ways] if isinstance(ways, str) else ways, 1):
                self._add_word(word if number == 1 else f"{word}({number})", phones)
        self.reset()

    def reset(self) -> None:
        """Forget the voice, the channel and the room."""
        self._settled = False
        for decoder in (self._grammar, self._phones):
            decoder.set_cmn(_FIRST_MEAN)
            with warnings.catch_warnings():
                # Called unnecessary by the engine, yet without it the noise estimate stays.
                warnings.simplefilter("ignore", DeprecationWarning)
                decoder.start_stream()

    def arm(self, armed: Armed) -> None:
        missing = tuple(sorted(w for w in set(armed.words()) if self._grammar.lookup_word(w) is None))
        if missing:
            raise MissingWord(self.name, missing)
        text = armed.jsgf()
        name = hashlib.sha256(text.encode()).hexdigest()[:16]
        if name not in self._searches:
            try:
                self._grammar.add_jsgf_string(name, text)
            except (ValueError, RuntimeError):
                raise EngineError(
                    "PocketSphinx can't compile the armed grammar; run handsfree check"
                ) from None
            self._forget_oldest()
        self._searches[name] = None
        self._searches.move_to_end(name)
        self._armed = name

    def begin(self) -> None:
        if self._armed is None:
            raise EngineError("nothing is armed; arm a grammar before an utterance begins")
        if self._open:
            self._stop()  # the microphone was lost in the middle of an utterance
        if self._active != self._armed:
            self._grammar.activate_search(self._armed)
            self._active = self._armed
        self._heard = []
        self._open = True
        self._grammar.start_utt()
        self._phones.start_utt()

    def feed(self, pcm: bytes) -> None:
        self._heard.append(pcm)
        self._grammar.process_raw(pcm, False, False)
        self._phones.process_raw(pcm, False, False)

    def partial(self) -> str:
        return _text(self._grammar.hyp())

    def end(self) -> Hypothesis:
        self._stop()
        if not self._settled:
            self._decode_again()
        found = self._grammar.hyp()
        if not _text(found):
            return Hypothesis("", (), self.name, (), False, "no words heard")
        evidence = self.last_evidence = self._evidence(found)
        accepted, reason = judge(evidence)
        return Hypothesis(
            _text(found),
            tuple(Word(w.text, w.start_s, w.end_s, w.score) for w in evidence.words),
            self.name,
            evidence.named(),
            accepted,
            reason,
        )

    def _decode_again(self) -> None:
        pcm = b"".join(self._heard)
        for decoder in (self._grammar, self._phones):
            decoder.start_utt()
            decoder.process_raw(pcm, False, True)
            decoder.end_utt()
        self._settled = bool(_text(self._grammar.hyp()))

    def _stop(self) -> None:
        self._open = False
        self._grammar.end_utt()
        self._phones.end_utt()

    def close(self) -> None:
        del self._grammar, self._phones

    def _add_word(self, word: str, phones: str) -> None:
        if self._grammar.lookup_word(word) == phones:
            return
        try:
            self._grammar.add_word(word, phones, True)
        except RuntimeError:
            raise EngineError(f"PocketSphinx can't add '{word}' as '{phones}'; use the CMU phones") from None

    def _forget_oldest(self) -> None:
        while len(self._searches) >= _MOST_CACHED:
            oldest = next(name for name in self._searches if name not in (self._active, self._armed))
            self._grammar.remove_search(oldest)
            del self._searches[oldest]

    def _evidence(self, found: Any) -> Evidence:
        frames = max(self._grammar.n_frames(), 1)
        phones = Phones(self._phones, frames)
        words = tuple(
            _word_evidence(segment, phones.sums)
            for segment in self._grammar.seg() or ()
            if not segment.word.startswith(("<", "+", "["))
        )
        pcm = b"".join(self._heard)
        paid = len(words) * _WORD_PENALTY
        return Evidence(
            grammar=(log_score(found.best_score) * SCORE_SCALE + paid) / frames,
            phone=phones.total / frames,
            seconds=len(pcm) / 32000,
            unexplained_s=unexplained_s(phones, words, pcm),
            words=words,
        )


def _text(found: Any) -> str:
    if found is None:
        return ""
    # A word's second pronunciation comes out as "zero(2)".
    return " ".join(word.split("(")[0] for word in found.hypstr.lower().split())


def _word_evidence(segment: Any, phone_sums: list[float]) -> WordEvidence:
    begin, end = segment.start_frame, min(segment.end_frame + 1, len(phone_sums) - 1)
    length = max(end - begin, 1)
    return WordEvidence(
        text=segment.word.split("(")[0].lower(),
        start_s=begin * FRAME_S,
        end_s=end * FRAME_S,
        score=(log_score(segment.ascore) + _WORD_PENALTY) / length,
        phone=(phone_sums[end] - phone_sums[begin]) / length,
    )
