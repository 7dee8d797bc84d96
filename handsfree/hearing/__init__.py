"""Recognizers: sound (or typing) in, a hypothesis out."""

from handsfree.hearing._acceptance import (
    FEATURES,
    Calibration,
    Evidence,
    Judgement,
    Outcome,
    WordEvidence,
    calibration,
    is_short,
    judge,
)
from handsfree.hearing._adaptation import (
    CONDITIONS,
    MOST_LAXER,
    MOST_STRICTER,
    Adaptation,
    Condition,
    packaged_sha256,
)
from handsfree.hearing._agreed import UNLIKE, AgreedEngine, agreed, same_meaning
from handsfree.hearing._listener import DROWNED, LEAST_SNR_DB, Listened, Listener
from handsfree.hearing._make import ENGINES, make_engine
from handsfree.hearing._pinned import engine_pins
from handsfree.hearing._pocketsphinx import PocketSphinxEngine
from handsfree.hearing._talk import Talk, posterior, probability_of
from handsfree.hearing._typed import TypedEngine
from handsfree.hearing._types import Engine, EngineError, Hypothesis, MissingWord, Word
from handsfree.hearing._vosk import VoskEngine

__all__ = [
    "CONDITIONS",
    "DROWNED",
    "ENGINES",
    "FEATURES",
    "LEAST_SNR_DB",
    "MOST_LAXER",
    "MOST_STRICTER",
    "UNLIKE",
    "Adaptation",
    "AgreedEngine",
    "Calibration",
    "Condition",
    "Engine",
    "EngineError",
    "Evidence",
    "Hypothesis",
    "Judgement",
    "Listened",
    "Listener",
    "MissingWord",
    "Outcome",
    "PocketSphinxEngine",
    "Talk",
    "TypedEngine",
    "VoskEngine",
    "Word",
    "WordEvidence",
    "agreed",
    "calibration",
    "engine_pins",
    "is_short",
    "judge",
    "make_engine",
    "packaged_sha256",
    "posterior",
    "probability_of",
    "same_meaning",
]
