"""PocketSphinx with its own English model: the engine that is always there.

Two searches run over the same frames: the armed grammar, and a free phone loop which says how well any
speech at all could explain the sound. The difference is what acceptance judges by, since a grammar search
alone makes a sentence of whatever it is given.

In noise other pairs do that, whose acoustic models are shifted to what speech sounds like after noise at 10 or 5 dB
was taken out of it (``noise-10db.mllr``, ``noise-5db.mllr``, made by tests/tools/make_noise_transform.py). For a
voice that was enrolled, pairs with transforms of its own take their place.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from handsfree.hearing._acceptance import Calibration, Evidence, Outcome, is_short, judge
from handsfree.hearing._adaptation import CONDITIONS, Adaptation, Condition
from handsfree.hearing._searches import Searches
from handsfree.hearing._talk import EVEN
from handsfree.hearing._types import EngineError, Hypothesis, MissingWord, Word

if TYPE_CHECKING:
    from pathlib import Path

    from handsfree.grammar import Armed, Interpretation

__all__ = ["PocketSphinxEngine"]

_QUIET: Final = CONDITIONS[-1].name
_PAUSES: Final = {condition.name: condition.pause for condition in CONDITIONS}
_STOP: Final = "stop_work"
_COMMANDS: Final = frozenset({"command", "bay"})  # labels of what is armed beside any question


def _condition(snr_db: float | None) -> Condition:
    """Of a room in which speech is expected to stand so far over the noise."""
    noisy = (c for c in CONDITIONS if c.below_db is not None and snr_db is not None and snr_db < c.below_db)
    return next(noisy, CONDITIONS[-1])


class PocketSphinxEngine:
    """See ``Engine``.

    ``pronunciations`` adds what the shipped dictionary lacks: word to its phones ("S AY D W AO L"), or to
    several ways of saying it, beside the ways that are known.

    Given the same armed grammar, sound and history the hypothesis is the same. The history that carries over
    from one utterance to the next is the cepstral mean (the channel and the voice; what was rejected does not
    move it) and the front end's noise estimate; ``reset`` forgets both. The first utterance after a reset has
    no history, so it is decoded again at its end with its own mean; so is every utterance in noise, where the
    mean wanders with the pauses, and what is not likely enough by the first.
    """

    name = "pocketsphinx"

    def __init__(self, pronunciations: Mapping[str, str | Sequence[str]] | None = None) -> None:
        self._dictionary = Searches(pause=CONDITIONS[-1].pause)  # also the packaged pair for a quiet room
        self._packaged = {
            condition.name: self._dictionary
            if condition.transform is None
            else self._shifted(condition.name, condition.transform)
            for condition in CONDITIONS
        }
        self._pairs = self._packaged
        self._voice = Adaptation()
        self._to_use: tuple[Adaptation, dict[str, Searches]] | None = None  # as soon as the utterance is over
        self._in_use, self._condition = self._dictionary, _QUIET
        self._now_armed: tuple[str, list[str]] | None = None
        self._armed: Armed | None = None
        self._answered: Armed | None = None  # what was armed when the utterance began
        self._heard: list[bytes] = []
        self._open = False  # an utterance is under way
        self._to_arm: tuple[str, list[str]] | None = None  # as soon as it is over
        self._ahead: tuple[str, Evidence | None] | None = None  # what it is if it has ended already
        self.last_evidence: Evidence | None = None  # of the last utterance, for calibration
        for word, ways in (pronunciations or {}).items():
            for phones in [ways] if isinstance(ways, str) else ways:
                self._add_way(word, phones)
        self.reset()

    def reset(self) -> None:
        """Forget the voice, the channel and the room."""
        self._settled = False
        for searches in (*self._packaged.values(), *self._pairs.values()):
            searches.reset()

    def use(self, voice: Adaptation | None) -> None:
        """Whose voice it is from the next utterance on, None for anybody's. Raises EngineError, and then goes on
        as before."""
        voice = voice or Adaptation()
        if voice == (self._to_use[0] if self._to_use else self._voice):
            return
        own = {name: self._shifted(name, path) for name, path in voice.transforms.items()}
        self._to_use = voice, own
        if not self._open:  # as with new words: not in the middle of an utterance
            self._use_now()

    def _shifted(self, condition: str, transform: Path) -> Searches:
        """The searches of a condition, by a model shifted by this transform."""
        return Searches(transform, self._ways, pause=_PAUSES[condition])

    def _use_now(self) -> None:
        if self._to_use is None:
            return
        (self._voice, own), self._to_use = self._to_use, None
        self._pairs = {**self._packaged, **own}
        for searches in self._pairs.values():
            if self._now_armed is not None:
                searches.arm(*self._now_armed)
        self._in_use = self._pairs[_QUIET]
        self._settled = False  # another voice has another mean

    def arm(self, armed: Armed) -> None:
        words = sorted(set(armed.words()))
        missing = tuple(word for word in words if self._dictionary.grammar.lookup_word(word) is None)
        if missing:
            raise MissingWord(self.name, missing)
        self._to_arm = armed.jsgf(), words
        self._armed = armed
        if not self._open:  # new words in the middle of an utterance crash PocketSphinx
            self._arm_now()

    def _arm_now(self) -> None:
        if self._to_arm is None:
            return
        self._now_armed, self._to_arm = self._to_arm, None
        for searches in self._pairs.values():
            searches.arm(*self._now_armed)

    def begin(self, snr_db: float | None = None) -> None:
        """``snr_db``: how far the speech is expected to stand over the noise, None when that is not known."""
        if self._armed is None:
            raise EngineError("nothing is armed; arm a grammar before an utterance begins")
        if self._open and self._ahead is None:
            self._in_use.stop()  # the microphone was lost in the middle of an utterance
        self._open = False
        self._ready()
        self._answered = self._armed
        self._condition = _condition(snr_db).name
        self._in_use = self._pairs[self._condition]
        self._heard, self._ahead = [], None
        self._open = True
        self._in_use.keep_mean()
        self._in_use.begin()

    def feed(self, pcm: bytes) -> None:
        self._heard.append(pcm)
        if self._ahead is None:
            self._in_use.feed(pcm)

    def partial(self) -> str:
        return self._in_use.text()

    def look_ahead(self) -> None:
        """The speech may have ended here: make of it now what its end would make. What is fed from now on is taken
        for silence, until ``go_on``: in what is left of the noise a grammar of digits hears one more ("oh")."""
        self._ahead = self._decided()

    def go_on(self) -> None:
        """The speech had not ended."""
        if self._ahead is not None:
            self._ahead = None
            self._mean_back()  # it has been through this once
            self._in_use.begin()
            for (
                pcm
            ) in self._heard:  # not in one piece: a long one in the middle of a stream crashes PocketSphinx
                self._in_use.feed(pcm)

    @property
    def last_heard(self) -> bytes:
        """The last utterance's sound as it was decoded."""
        return b"".join(self._heard)

    def end(self, snr_db: float | None = None, prior: float = EVEN) -> Hypothesis:
        """``snr_db``: of the utterance, as it was measured; None when it was not. ``prior``: see ``judge``."""
        self._open = False
        (text, evidence), self._ahead = self._ahead or self._decided(), None
        quiet = self._in_use is self._pairs[_QUIET]
        judged_by = self._voice.judged_by(self._condition)
        meaning = None if self._answered is None else self._answered.interpret(text)
        if evidence is None:
            self._mean_back()
            self._ready()
            return Hypothesis("", (), self.name, (), False, "no words heard")
        if snr_db is not None:
            evidence = replace(evidence, snr_db=snr_db)
        self.last_evidence = evidence
        found = judge(evidence, judged_by, strict=_strictly(text, meaning), prior=prior)
        if found.outcome is Outcome.REJECT:  # a radio is not the voice that answers
            self._mean_back()
        else:
            self._settled = self._settled or quiet
        self._ready()
        return Hypothesis(
            text,
            tuple(Word(w.text, w.start_s, w.end_s, w.score) for w in evidence.words),
            self.name,
            (
                *evidence.named(),
                ("probability", round(found.probability, 3)),
                *((("prior", round(prior, 3)),) if prior < EVEN else ()),
            ),
            found.outcome is not Outcome.REJECT,
            found.reason if found.outcome is Outcome.REJECT else "",
            found.outcome is Outcome.CONFIRM,
        )

    def _mean_back(self) -> None:
        """To what it was when the utterance began. Not before anybody was understood: until then whatever is heard
        tells how loud the microphone is, and of a very soft one nothing would be heard ever."""
        if self._settled:
            self._in_use.mean_as_kept()

    def _ready(self) -> None:
        """For the next utterance."""
        self._use_now()
        self._arm_now()

    def _decided(self) -> tuple[str, Evidence | None]:
        """What was heard so far, as if it had ended here. The decoders are stopped by that."""
        searches, pcm = self._in_use, b"".join(self._heard)
        searches.stop()
        quiet, by = searches is self._pairs[_QUIET], self._voice.judged_by(self._condition)
        if quiet and self._settled:
            first = self._made_of(pcm)
            if _probability(first, by) >= by.accept:
                return first
            # What was said lately has moved the mean: after a row of "completed", "hold work" fits nothing.
            searches.again(pcm)
            return max(first, self._made_of(pcm), key=lambda found: _probability(found, by))
        before = searches.text()
        searches.again(pcm)
        return self._made_of(pcm, agreed=searches.text() == before or quiet)

    def _made_of(self, pcm: bytes, *, agreed: bool = True) -> tuple[str, Evidence | None]:
        text = self._in_use.text()
        return text, replace(self._in_use.evidence(pcm), agreed=agreed) if text else None

    def close(self) -> None:
        del self._dictionary, self._packaged, self._pairs, self._in_use

    def _add_way(self, word: str, phones: str) -> None:
        """Beside those that are known."""
        known = list(self._ways(word))
        if phones in known:
            return
        name = f"{word}({len(known) + 1})" if known else word
        try:
            self._dictionary.grammar.add_word(name, phones, True)
        except RuntimeError:
            raise EngineError(f"PocketSphinx can't add '{word}' as '{phones}'; use the CMU phones") from None

    def _ways(self, word: str) -> Iterator[str]:
        """The ways a word of the dictionary is said."""
        number, phones = 1, self._dictionary.grammar.lookup_word(word)
        while phones is not None:
            yield phones
            number += 1
            phones = self._dictionary.grammar.lookup_word(f"{word}({number})")


def _probability(found: tuple[str, Evidence | None], by: Calibration) -> float:
    return 0.0 if found[1] is None else judge(found[1], by).probability


def _strictly(text: str, meaning: Interpretation | None) -> bool:
    """Whether talk is taken for this so often that it must be heard more surely. To stop is no harm: that need not,
    but a bare "stop" is one syllable, like the rest of its kind (0.87 and 0.89 in five hours of actors' talk)."""
    if meaning is None or is_short(text):
        return is_short(text)
    stops = meaning.label == "command" and meaning.slot("command") == _STOP
    return not stops and (meaning.label in _COMMANDS or meaning.figures)
