"""The job line by line, by phase of the work: who said what, what became of it, and the sound of it."""

from __future__ import annotations

from dataclasses import dataclass, field

from handsfree.record import Told, exceptions_of, phrase, value_of

from ._clock import Clock
from ._source import Sound, Source

__all__ = ["Moment", "Phase", "timeline"]

#: How a line is set: the technician's words, the tool's, what counts, what is doubtful.
_VOICES = {"heard": "heard", "said": "said", "recorded": "kept", "inspected": "kept", "verdict": "kept"}


@dataclass(frozen=True, slots=True)
class Moment:
    """One line. ``odd``: it is out of the ordinary. ``level``: loudness in words, "" where none was measured."""

    seq: str
    at: str
    label: str
    text: str
    voice: str
    odd: bool
    level: str
    sound: Sound | None


@dataclass(slots=True)
class Phase:
    """One phase of the work, and the lines in it."""

    name: str
    moments: list[Moment] = field(default_factory=list)


def timeline(source: Source, clock: Clock) -> list[Phase]:
    """Every line that tells something, in order."""
    phases = [Phase("start")]
    for row in source.rows:
        told = phrase(row)
        if row.get("kind") == "step" and value_of(row, "phase") not in ("", phases[-1].name):
            phases.append(Phase(value_of(row, "phase")))
        if told is not None:
            phases[-1].moments.append(
                Moment(
                    seq=value_of(row, "seq"),
                    at=clock.time(row),
                    label=told.label or "step",
                    text=told.text.plain,
                    voice=_VOICES.get(told.label, "step" if not told.label else ""),
                    odd=bool(exceptions_of(row)),
                    level=_level(row),
                    sound=_sound(source, row),
                )
            )
    return [phase for phase in phases if phase.moments]


def _sound(source: Source, row: Told) -> Sound | None:
    path = value_of(row, "audio") if row.get("kind") == "event" else ""
    return source.sounds.get(path) if path else None


def _level(row: Told) -> str:
    level = row.get("level")
    if not isinstance(level, dict):
        return ""
    speech, noise = value_of(level, "speech_dbfs"), value_of(level, "noise_dbfs")
    return f"speech {speech}, noise {noise} dBFS".replace("-", "\u2212") if speech and noise else ""
