"""What the recognizer knows of one voice: transforms of its acoustic models, and how strictly it is judged."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

from handsfree.hearing._acceptance import Calibration, calibration

__all__ = ["CONDITIONS", "MOST_LAXER", "MOST_STRICTER", "Adaptation", "Condition", "packaged_sha256"]

#: How far a voice may be judged less or more strictly than others, in the logarithm of the odds.
MOST_LAXER: Final = 0.5
MOST_STRICTER: Final = 1.0


@dataclass(frozen=True, slots=True)
class Condition:
    """One state of the room. ``below_db``: the SNR under which its model is used, None for a quiet room.
    ``transform``: the packaged one for any voice, None for the model as it is. ``pause``: by what every
    three frames of silence are favoured there, a likelihood ratio."""

    name: str
    below_db: float | None
    transform: Path | None
    pause: float = 1.0


def _packaged(name: str) -> Path:
    return Path(__file__).with_name(f"{name}.mllr")


#: The quietest last. Where one ends: with known ends of speech, of 59 sentences of voices that made none of the
#: transforms, right value / another one: at 20 dB 50/7 with the model as it is, 47/8 with one for 10 dB; at 10 dB
#: 37/14, 47/10, and 37/14 with one for 5 dB; at 5 dB 24/13, 34/15, 34/11.
CONDITIONS: Final = (
    Condition("noise-5db", 7.5, _packaged("noise-5db")),
    Condition("noise-10db", 18.0, _packaged("noise-10db")),
    # A room's own hiss is more of an "n" to the model than its silence: of a human voice's seven tens ("thirty") at
    # 40 dB none is heard right with 1, two with 1e6, four with 1e8. In noise 1e8 loses words: 75 of 90 at 10 dB.
    Condition("quiet", None, None, pause=1e8),
)


@dataclass(frozen=True)
class Adaptation:
    """By a condition's name: ``transforms``, the MLLR file that takes the place of the packaged one there, and
    ``biases``, what is added to the acceptance's logarithm of the odds there; what is not named stays as it is.
    ``sha256`` names it in a record. Raises ValueError for a bias over ``MOST_LAXER`` or under -``MOST_STRICTER``."""

    transforms: Mapping[str, Path] = field(default_factory=dict)
    biases: Mapping[str, float] = field(default_factory=dict)
    sha256: str = ""

    def __post_init__(self) -> None:
        for bias in self.biases.values():
            if not -MOST_STRICTER <= bias <= MOST_LAXER:
                raise ValueError(f"a bias of {bias}; it must be {-MOST_STRICTER} to {MOST_LAXER}")

    def judged_by(self, condition: str) -> Calibration:
        packaged = calibration()
        return replace(packaged, bias=packaged.bias + self.biases.get(condition, 0.0))


def packaged_sha256() -> str:
    """Hash of what a voice is measured against: the packaged transforms and the acceptance."""
    whole = hashlib.sha256(Path(__file__).with_name("acceptance.json").read_bytes())
    for condition in CONDITIONS:
        if condition.transform is not None:
            whole.update(condition.transform.read_bytes())
    return whole.hexdigest()
