"""From what was read to what is stored: measure in each state of the room, keep what wins, fit the acceptance."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from handsfree.enrolment._gain import LEVELS, Gain, Said, gain_in
from handsfree.enrolment._store import Measured, StoredVoice, pinned, sha256_of
from handsfree.hearing import CONDITIONS, PocketSphinxEngine

__all__ = ["Result", "make_voice"]


@dataclass(frozen=True)
class Result:
    """``gains``: of each state of the room; ``phrases``: how many were used."""

    gains: tuple[Gain, ...]
    phrases: int

    @property
    def transforms(self) -> dict[str, str]:
        return {gain.condition: gain.kept for gain in self.gains if gain.kept is not None}

    @property
    def biases(self) -> dict[str, float]:
        return {gain.condition: gain.bias for gain in self.gains if gain.bias}

    @property
    def helps(self) -> bool:
        """Whether there is anything worth storing."""
        return bool(self.transforms or self.biases)

    def stored(self, name: str, made: str) -> StoredVoice:
        """What is written of it; ``made``: when, RFC 3339, UTC."""
        return StoredVoice.model_validate(
            {
                "name": name,
                "made": made,
                "phrases": self.phrases,
                **pinned(),
                "transforms": {condition: sha256_of(text) for condition, text in self.transforms.items()},
                "biases": self.biases,
                "measured": {gain.condition: _measured(gain) for gain in self.gains},
            }
        )


def make_voice(
    said: Said,
    engine: PocketSphinxEngine,
    pronounce: Callable[[str], Sequence[str]],
    tell: Callable[[str], None] = lambda _: None,
) -> Result:
    """Everything of one voice from its phrases; two minutes of one core. ``tell`` is told how far it is.

    The recognizer's front end writes features to files of a private folder that is gone when this returns. Raises
    EngineError.
    """
    gains = []
    with tempfile.TemporaryDirectory(prefix="handsfree-enrol-") as folder:
        for condition in reversed(CONDITIONS):
            if condition.name in LEVELS:
                tell(f"Measuring: {condition.name}")
                gains.append(gain_in(condition, said, engine, pronounce, Path(folder)))
    return Result(tuple(gains), len(said))


def _measured(gain: Gain) -> Measured:
    a, b = gain.before, gain.after
    return Measured(
        said=a.said,
        right=(a.right, b.right),
        wrong=(a.wrong, b.wrong),
        outside=a.tried,
        taken=(a.outside, b.outside),
        acceptance=(round(a.acceptance, 3), round(b.acceptance, 3)),
    )
