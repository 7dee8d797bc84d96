"""Recognizers: sound (or typing) in, a hypothesis out."""

from handsfree.hearing._acceptance import THRESHOLDS, Evidence, Thresholds, WordEvidence, judge
from handsfree.hearing._agreed import UNLIKE, AgreedEngine, agreed
from handsfree.hearing._listener import DROWNED, LEAST_SNR_DB, Listened, Listener
from handsfree.hearing._make import ENGINES, make_engine
from handsfree.hearing._pinned import engine_pins
from handsfree.hearing._pocketsphinx import PocketSphinxEngine
from handsfree.hearing._typed import TypedEngine
from handsfree.hearing._types import Engine, EngineError, Hypothesis, MissingWord, Word
from handsfree.hearing._vosk import VoskEngine

__all__ = [
    "DROWNED",
    "ENGINES",
    "LEAST_SNR_DB",
    "THRESHOLDS",
    "UNLIKE",
    "AgreedEngine",
    "Engine",
    "EngineError",
    "Evidence",
    "Hypothesis",
    "Listened",
    "Listener",
    "MissingWord",
    "PocketSphinxEngine",
    "Thresholds",
    "TypedEngine",
    "VoskEngine",
    "Word",
    "WordEvidence",
    "agreed",
    "engine_pins",
    "judge",
    "make_engine",
]
