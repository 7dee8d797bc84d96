"""The one way from frames to hypotheses: endpointer events into an engine."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from handsfree.audio import (
    FRAME_BYTES,
    FRAME_MS,
    Endpointer,
    EndpointerSettings,
    NoiseGrew,
    Outlook,
    SpeechContinues,
    SpeechEnded,
    SpeechStarted,
    Suppressor,
    Utterance,
    frames,
)
from handsfree.hearing._agreed import AgreedEngine
from handsfree.hearing._pocketsphinx import PocketSphinxEngine
from handsfree.hearing._talk import Talk
from handsfree.hearing._types import Engine, Hypothesis

if TYPE_CHECKING:
    from handsfree.grammar import Armed

__all__ = ["DROWNED", "LEAST_SNR_DB", "Listened", "Listener"]

LEAST_SNR_DB: Final = 4.0
"""Under this measured SNR nothing PocketSphinx makes of an utterance is accepted, the reason is "noise". It was
chosen between 5 dB, where about half of the tuning voices' answers are still heard, and 0 dB, where few are.
"""

DROWNED: Final = "noise"
"""The reason of a hypothesis that was not accepted for that alone."""

_TRAINED_IN_QUIET: Final = (PocketSphinxEngine, AgreedEngine)
_KEPT_FRAMES: Final = 40  # more than any preroll
_LOOK_AHEAD_S: Final = 0.24  # longer than the gaps within words, before the shortest end of an utterance
_LEVEL_SHARE: Final = 0.3  # of the newest utterance in what is known of the speaker's level


@dataclass(frozen=True, slots=True)
class Listened:
    """One utterance: what the engine made of it, and its sound."""

    hypothesis: Hypothesis
    utterance: Utterance


class Listener:
    """An endpointer, a noise suppressor and an engine. Decodes while the speech comes in.

    PocketSphinx, whose model was trained on quiet rooms, gets the sound with the steady noise taken out; the
    endpointer judges by that too, the utterance given back is as it came. ``suppress=False`` leaves that out,
    to compare.

    ``arm`` says what is listened for from the next utterance on; it also decides how long a pause may be: see
    ``Outlook`` and the endpointer's settings.
    """

    def __init__(
        self, engine: Engine, settings: EndpointerSettings | None = None, *, suppress: bool = True
    ) -> None:
        self.engine = engine
        self._endpointer = Endpointer(settings, outlook=self._outlook)
        self._armed: Armed | None = None
        self._suppressor = Suppressor() if suppress and isinstance(engine, _TRAINED_IN_QUIET) else None
        self._speaker_known = False
        self._talk = Talk()
        self._ahead = False  # the engine has looked ahead of the end of this utterance
        self._recent: deque[bytes] = deque(maxlen=_KEPT_FRAMES)  # as the engine gets them

    @property
    def level_dbfs(self) -> float:
        """The level of the last frame."""
        return self._endpointer.level_dbfs

    @property
    def noise_dbfs(self) -> float:
        """The tracked noise floor."""
        return self._endpointer.noise_dbfs

    @property
    def in_speech(self) -> bool:
        return self._endpointer.in_speech

    def arm(self, armed: Armed) -> None:
        """Raises MissingWord, as the engine does."""
        if armed is not self._armed:
            self.engine.arm(armed)
            self._armed = armed

    def reset(self) -> None:
        """Forget an open utterance (the tool spoke meanwhile); the noise floor is kept."""
        self._endpointer.reset()
        self._ahead = False
        if self._suppressor:
            self._suppressor.speaking = False

    def feed(self, frame: bytes) -> Listened | None:
        """One frame of the source; an utterance when it ended with this frame."""
        self._talk.passed(FRAME_MS / 1000)
        suppressed = self._suppressor.feed(frame) if self._suppressor else frame
        self._recent.append(suppressed)
        for event in self._endpointer.feed(frame, suppressed):
            match event:
                case NoiseGrew():
                    if self._suppressor:
                        self._suppressor.settle()
                case SpeechStarted(preroll):
                    self._begin()
                    self._feed(preroll, b"".join(list(self._recent)[-len(preroll) // FRAME_BYTES :]))
                case SpeechContinues(raw):
                    self._feed(raw, self._recent[-1])
                    self._look_ahead()
                case SpeechEnded(utterance):
                    listened = self._ended(utterance)
                    return None if utterance.steady else listened
        return None

    def hear(self, pcm: bytes) -> list[Listened]:
        """Every utterance in a stretch of sound; one still open at its end is ended there."""
        found = [listened for frame in frames(pcm) if (listened := self.feed(frame))]
        for event in self._endpointer.flush():
            if isinstance(event, SpeechEnded):
                found.append(self._ended(event.utterance))
        return found

    def _feed(self, raw: bytes, clean: bytes) -> None:
        if isinstance(self.engine, AgreedEngine):
            self.engine.feed(raw, clean)  # vosk's models were trained in noise and want it as it came
        else:
            self.engine.feed(clean)

    def _begin(self) -> None:
        if isinstance(self.engine, _TRAINED_IN_QUIET) and self._suppressor:
            self._suppressor.speaking = True
            self.engine.begin(self._suppressor.snr_db)
        else:
            self.engine.begin()

    def _look_ahead(self) -> None:
        """While it is waited whether the speech goes on there is time to decode it to its end."""
        if not isinstance(self.engine, PocketSphinxEngine) or not self._endpointer.in_speech:
            return  # where it is over, its end comes next and takes what was made of it ahead
        silence = self._endpointer.silence_s
        if silence >= _LOOK_AHEAD_S and not self._ahead:
            self.engine.look_ahead()
            self._ahead = True
        elif silence < _LOOK_AHEAD_S and self._ahead:
            self.engine.go_on()
            self._ahead = False

    def _ended(self, utterance: Utterance) -> Listened:
        hypothesis = self._decoded(utterance)
        self._ahead = False
        if self._suppressor is None:
            return Listened(hypothesis, utterance)
        self._suppressor.speaking = False
        if hypothesis.accepted and utterance.least_snr_db < LEAST_SNR_DB:
            hypothesis = replace(hypothesis, accepted=False, reason=DROWNED)
        if hypothesis.accepted:
            share = _LEVEL_SHARE if self._speaker_known else 1.0
            self._suppressor.speech_dbfs += share * (utterance.speech_dbfs - self._suppressor.speech_dbfs)
            self._speaker_known = True
        return Listened(hypothesis, utterance)

    def _decoded(self, utterance: Utterance) -> Hypothesis:
        match self.engine:
            case AgreedEngine():  # two recognizers that agree are no chance: nothing is made stricter by talk
                return self.engine.end(utterance.snr_db)
            case PocketSphinxEngine():
                hypothesis = self.engine.end(utterance.snr_db, self._talk.prior)
                alone = dict(hypothesis.scores).get("probability")
                if alone is not None and utterance.least_snr_db >= LEAST_SNR_DB:  # else it is noise, not talk
                    self._talk.heard(alone)
                return hypothesis
            case _:
                return self.engine.end()

    def _outlook(self) -> Outlook:
        partial: Callable[[], str] | None = getattr(self.engine, "partial", None)
        if partial is None or self._armed is None:
            return Outlook.COMPLETE
        text = partial()
        if self._armed.interpret(text) is None:
            return Outlook.INCOMPLETE
        # "five" may become "five point two".
        return Outlook.CONTINUABLE if self._armed.can_continue(text) else Outlook.COMPLETE
