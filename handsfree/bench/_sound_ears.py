"""The same technician heard by the real ears: endpointer, recognizer and acceptance, frame by frame."""

from __future__ import annotations

import random
from collections.abc import Callable

from handsfree.audio import SAMPLE_RATE
from handsfree.bench._spoken import VOICES, SpokenSource, spoken_samples
from handsfree.bench._technician import Technician
from handsfree.grammar import Armed
from handsfree.hearing import Engine, Hypothesis
from handsfree.procedure import Mode
from handsfree.session import AudioEars, Closed, Heard, Lost, Quiet, SimulatedClock

__all__ = ["SoundEars"]

#: Silence longer than this passes at once after its beginning was listened to.
_LISTENED_MS = 3000
_REACTION_MS = (300, 900)
_AFTER_MS = 2500  # nothing was made of it: he says it again
#: How he says it, at first and after that was in vain: how much slower, and the seconds between words.
_WAYS = ((1.0, 0.0), (1.3, 0.0), (1.0, 0.15))
_BEFORE_TYPING = 15  # turns at one question
_TYPING_MS = 250

#: What he said, whether it was accepted, what was heard.
Count = Callable[[str, str, bool, Armed], None]


class SoundEars(AudioEars):
    """In place of a microphone's ears. ``progress``: called before each turn, a reason to end or ""."""

    def __init__(
        self,
        technician: Technician,
        engine: Engine,
        clock: SimulatedClock,
        snr_db: float,
        progress: Callable[[], str],
        count: Count,
    ) -> None:
        self._source = SpokenSource(snr_db, technician.seed % 1000)
        super().__init__(self._source, engine, clock)
        self._technician, self._now, self._progress, self._count = technician, clock, progress, count
        self._pick = random.Random(technician.seed + 1)
        self._voice = VOICES[technician.seed % len(VOICES)]
        self._last, self._way = "", 0
        self._key: object = None
        self._turns = 0

    def listen(self, armed: Armed, until: int | None, *, answer: bool) -> Heard | Quiet | Lost | Closed:
        stuck = self._progress()
        if stuck:
            return Closed(stuck)
        technician = self._technician
        if until is not None and (self._waits() or technician.silent()):
            return self._silence(armed, until, answer=answer)
        words = technician.speak(armed) or ""
        if self._gives_up_speaking():
            return self._typed(words, armed)
        while True:
            # What was just said in vain is said again slower, then word by word, then in the usual way.
            self._way = (self._way + 1) % len(_WAYS) if words == self._last else 0
            self._last = words
            result = self._said(words, armed, until, answer=answer)
            if isinstance(result, Heard):
                hypothesis = result.hypothesis
                self._count(words, hypothesis.text, hypothesis.accepted, armed)
                return result
            if not isinstance(result, Quiet):
                return result
            self._count(words, "", False, armed)
            technician.counts["not heard at all"] += 1
            stuck = self._progress()
            if stuck:
                return Closed(stuck)
            if until is not None and self._now.now() >= until:
                return result

    def _gives_up_speaking(self) -> bool:
        """Whether so much was said at this question in vain that he goes to the keyboard, as the tool advises."""
        key = self._technician.key(), self._technician.machine.state.index  # each pass counts for itself
        self._turns = self._turns + 1 if key == self._key else 0
        self._key = key
        return self._turns > _BEFORE_TYPING

    def _typed(self, words: str, armed: Armed) -> Heard:
        self._now.advance(_TYPING_MS * len(words))
        self._technician.counts["typed"] += 1
        self._count(words, words, True, armed)
        return Heard(Hypothesis(words, (), "typed"))

    def _waits(self) -> bool:
        waiting = self._technician.machine.state.mode is Mode.WAITING
        return waiting and not self._technician.wrong and self._pick.random() > 0.05

    def _silence(self, armed: Armed, until: int, *, answer: bool) -> Heard | Quiet | Lost | Closed:
        """Nobody speaks; what the ears make of the noise counts all the same."""
        listened = min(until, self._now.now() + _LISTENED_MS)
        result = super().listen(armed, listened, answer=answer)
        if isinstance(result, Heard):
            self._technician.counts["noise taken for speech"] += 1
        elif isinstance(result, Quiet):
            self._now.advance(max(0, until - self._now.now()))
        return result

    def _said(
        self, words: str, armed: Armed, until: int | None, *, answer: bool
    ) -> Heard | Quiet | Lost | Closed:
        stretch, between_s = _WAYS[self._way]
        sound = spoken_samples(words, self._voice, stretch, between_s)
        after = self._pick.randrange(*_REACTION_MS)
        self._source.say(sound, after)
        end = self._now.now() + after + sound.size * 1000 // SAMPLE_RATE + _AFTER_MS
        result = super().listen(armed, end, answer=answer)
        self._source.hush()
        return result
