"""What the recognizer gets of an utterance, as it was said or in noise: the suppressor's work in a known room."""

from __future__ import annotations

from typing import Final

from handsfree.audio import FRAME_BYTES, SAMPLE_RATE, active_dbfs, mix, pink, suppressed, surround
from handsfree.grammar import Armed
from handsfree.hearing import Evidence, Hypothesis, PocketSphinxEngine

__all__ = ["QUIET_DB", "decode", "heard_in"]

#: Stands for the SNR of an utterance without noise.
QUIET_DB: Final = 30.0
_BEFORE_S: Final = 1.5  # of the room, for the suppressor to learn
_LEAD_S, _TAIL_S = 0.1, 0.2  # of the room that belongs to the utterance, which has its own preroll


def heard_in(pcm: bytes, snr_db: float | None, seed: int) -> bytes:
    """The utterance after the front end, in pink noise so far under it (None: none). Same arguments, same bytes."""
    sound = surround(pcm, _BEFORE_S, 1.0)
    if snr_db is not None:
        sound = mix(sound, pink(len(sound) // 2, seed), snr_db)
    out = suppressed(sound, active_dbfs(pcm))
    begin = int((_BEFORE_S - _LEAD_S) * SAMPLE_RATE)
    return out[2 * begin : 2 * (begin + int((_LEAD_S + _TAIL_S) * SAMPLE_RATE)) + len(pcm)]


def decode(
    engine: PocketSphinxEngine, armed: Armed, pcm: bytes, snr_db: float | None
) -> tuple[Hypothesis, Evidence | None]:
    """What the engine makes of one utterance whose ends are known; the evidence is None where it heard no words."""
    snr = QUIET_DB if snr_db is None else snr_db
    engine.arm(armed)
    engine.begin(snr)
    for at in range(0, len(pcm), FRAME_BYTES):
        engine.feed(pcm[at : at + FRAME_BYTES])
    hypothesis = engine.end(snr)
    return hypothesis, engine.last_evidence if hypothesis.text else None
