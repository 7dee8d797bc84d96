"""Ears that may be lost: the keyboard in their place, and the microphone again as soon as it is there."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import nullcontext, suppress

from handsfree.grammar import Armed
from handsfree.hearing import Adaptation, AgreedEngine, EngineError, PocketSphinxEngine
from handsfree.procedure import TYPED
from handsfree.session._clock import Clock
from handsfree.session._ears import (
    AudioEars,
    Back,
    Closed,
    Ears,
    Heard,
    Level,
    Lost,
    Nobody,
    Quiet,
    TypedEars,
)

__all__ = ["KeptEars"]

_LOOK_AGAIN_MS = 5000  # how often a lost microphone is looked for


class KeptEars:
    """``spare`` gives the keyboard, ``comeback`` the microphone when it is there again, else None.

    ``comeback`` is asked on the session's own thread while nothing is being played.
    """

    def __init__(
        self,
        ears: Ears,
        clock: Clock,
        spare: Callable[[], Ears] | None = None,
        comeback: Callable[[], Ears | None] | None = None,
    ) -> None:
        self._ears = ears
        self._clock = clock
        self._spare = spare
        self._comeback = comeback
        self._keyboard: Ears | None = None
        self._away = False
        self._lost = 0  # blocks told of these ears
        self._voice: Adaptation | None = None

    @property
    def noise_dbfs(self) -> float | None:
        """The level of the room, where there is a microphone."""
        return self._ears.noise_dbfs if isinstance(self._ears, AudioEars) else None

    @property
    def typed(self) -> bool:
        """Whether it is by keyboard that one is heard now."""
        return self._ears.engine.name == TYPED

    @property
    def level(self) -> Level | None:
        """What the microphone gives at this moment, where there is one."""
        return self._ears.level if isinstance(self._ears, AudioEars) else None

    def take_lost(self) -> int:
        """Blocks of 30 ms lost since this was asked before: the computer was late."""
        lost = self._ears.lost_blocks if isinstance(self._ears, AudioEars) else self._lost
        new, self._lost = lost - self._lost, lost
        return new

    def overhear(self, armed: Armed, answer: bool, *, question: bool) -> Callable[[], bool] | None:
        """What tells whether a prompt is to be cut off while it plays; None where nobody can be heard meanwhile.
        ``question``: it is the question itself."""
        if not isinstance(self._ears, AudioEars):
            return None
        return self._ears.overhear(armed, answer, question=question)

    @property
    def spoken_to(self) -> bool:
        """Somebody began to speak while it was overheard, and has not been listened to yet."""
        return isinstance(self._ears, AudioEars) and self._ears.spoken_to

    def take_passed_over(self) -> int:
        """Utterances since this was asked before that began before the question they would have answered."""
        return self._ears.take_passed_over() if isinstance(self._ears, AudioEars) else 0

    def turn_away(self) -> None:
        """What is said from here to the next ``listen`` is not heard."""
        if isinstance(self._ears, AudioEars):
            self._ears.turn_away()

    def use(self, voice: Adaptation | None) -> None:
        """Whose voice it is from the next utterance on, also for a microphone that comes back. Raises EngineError."""
        self._voice = voice
        self._apply(self._ears)

    def _apply(self, ears: Ears) -> None:
        if isinstance(ears.engine, PocketSphinxEngine | AgreedEngine):  # no other knows voices
            ears.engine.use(self._voice)

    def listen(
        self, armed: Armed, until: int | None, *, answer: bool
    ) -> Heard | Quiet | Lost | Closed | Back:
        """Wait for one utterance. While the microphone is away it is looked for now and then."""
        while self._away and self._comeback is not None:
            look_at = self._clock.now() + _LOOK_AGAIN_MS
            if until is not None and until <= look_at:
                break
            result = self._ears.listen(armed, look_at, answer=answer)
            if not isinstance(result, Quiet):
                return result
            ears = self._comeback()
            if ears is not None:
                if isinstance(ears, AudioEars):
                    ears.hear_room(armed)
                self._take_back(ears)
                return Back()
        beside = self._keyboard if self._ears is not self._keyboard else None
        with beside.hiding(armed) if isinstance(beside, TypedEars) else nullcontext():
            return self._ears.listen(armed, until, answer=answer)

    def lost(self) -> bool:
        """The ears are gone: listen by the keyboard, or wait. False when nobody will ever be heard again."""
        gone, self._away = self._ears, True
        gone.close()
        self._ears = Nobody(gone.engine, self._clock)  # the lost ones can't be closed once more
        if self._keyboard is None and self._spare is not None:
            self._keyboard, self._spare = self._spare(), None
        if self._keyboard is None or gone is self._keyboard:
            return self._wait()
        self._ears = self._keyboard
        if isinstance(self._keyboard, TypedEars):
            self._keyboard.begin()
        return True

    def closed(self) -> bool:
        """No more input from these ears. False when nobody will ever be heard again."""
        if not self._away:
            return False
        self._keyboard = self._spare = None
        return self._wait()

    def close(self) -> None:
        self._ears.close()

    def _wait(self) -> bool:
        if self._comeback is None:
            return False
        self._ears = Nobody(self._ears.engine, self._clock)
        return True

    def _take_back(self, ears: Ears) -> None:
        """Listen by the microphone again; what is typed is still taken."""
        if isinstance(ears, AudioEars) and isinstance(self._keyboard, TypedEars):
            ears.beside = self._keyboard.typed
        if self._voice is not None:
            with suppress(EngineError):  # the session tries it again at once, and says so
                self._apply(ears)
        self._ears, self._away, self._lost = ears, False, 0
