"""Whose voice it is: who is signed in, by the machine's state, and the adaptation enrolled for that voice."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from handsfree.hearing import Adaptation, EngineError
from handsfree.procedure import State
from handsfree.record import Line

__all__ = ["Voices", "Whose", "names_of", "voice_in"]


@dataclass(frozen=True, slots=True)
class Whose:
    """``adaptation``: None for the packaged models, and ``why``. ``trouble``: what to tell of a voice that can't be
    used, "" otherwise."""

    adaptation: Adaptation | None = None
    why: str = "none enrolled"
    trouble: str = ""

    @property
    def sha256(self) -> str:
        return self.adaptation.sha256 if self.adaptation is not None else ""


class Voices:
    """``find`` gives the adaptation enrolled under a name; it raises EngineError for one that must not be used."""

    def __init__(self, find: Callable[[str], Adaptation | None] = lambda _: None) -> None:
        self._find = find
        self._known: dict[tuple[str, ...], Whose] = {}
        self._told: set[str] = set()

    def whose(self, state: State) -> Whose:
        """Of whoever is signed in; looked up once a session and person."""
        names = names_of(state)
        if names not in self._known:
            self._known[names] = self._look_up(names)
        return self._known[names]

    def unusable(self, state: State, trouble: str) -> Whose:
        """The recognizer can't load it: packaged models from here on."""
        self._known[names_of(state)] = Whose(None, "refused", trouble)
        return self._known[names_of(state)]

    def tell(self, whose: Whose) -> bool:
        """Whether its trouble has not been told yet."""
        fresh = whose.trouble not in self._told
        self._told.add(whose.trouble)
        return fresh

    def _look_up(self, names: tuple[str, ...]) -> Whose:
        try:
            for name in names:
                found = self._find(name)
                if found is not None:
                    return Whose(found, "signed in")
        except EngineError as error:
            return Whose(None, "refused", str(error))
        return Whose()


def names_of(state: State) -> tuple[str, ...]:
    """What whoever works now may be enrolled under: the name, then the badge number.

    Without a shop file a badge has no name. The one that was read when the job began is then the badge of whoever the
    job was begun for, as in the record; one that came later is somebody else's.
    """
    named = dict(state.job).get("technician", "")
    if not state.technician:
        return (named,) if named else ()
    holder, _, badge = state.technician.rpartition("badge ")
    holder = holder.removesuffix(", ")
    if holder:
        return (holder, badge)
    began = state.facts.get("job.technician") == badge
    return (badge, named) if began and named else (badge,)


def voice_in(lines: tuple[Line, ...] | list[Line]) -> str:
    """The hash of the adaptation that was last in use by a record, "" for none."""
    found = next((line.body.get("adaptation") for line in reversed(lines) if line.kind == "voice"), "")
    return str(found)
