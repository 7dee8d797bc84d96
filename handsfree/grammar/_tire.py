"""The parts of a spoken tire size put together as they stand on the sidewall."""

from __future__ import annotations

from ._types import Interpretation

__all__ = ["tire_designation"]

_PARTS = ("prefix", "width", "/", "aspect", "construction", "rim", "extra", "range", " ", "load", "speed")


def tire_designation(meaning: Interpretation) -> str | None:
    """``readings.tire_size`` to "P215/65R15 95H"; None when the meaning holds no tire size.

    A construction letter not said is written as R (radial): the read-back tells it, so it is confirmed.
    """
    said = {"construction": "R"} | dict(meaning.slots)
    if not {"width", "aspect", "rim"} <= said.keys():
        return None
    return "".join(part if part in "/ " else said.get(part, "") for part in _PARTS).strip()
