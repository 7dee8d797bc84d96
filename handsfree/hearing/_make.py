"""Engines by name."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from handsfree.hearing._agreed import AgreedEngine
from handsfree.hearing._pocketsphinx import PocketSphinxEngine
from handsfree.hearing._typed import TypedEngine
from handsfree.hearing._types import Engine, EngineError
from handsfree.hearing._vosk import VoskEngine

if TYPE_CHECKING:
    from handsfree.grammar import Armed

__all__ = ["ENGINES", "make_engine"]

ENGINES: Final = ("pocketsphinx", "vosk", "typed")


def make_engine(
    name: str = "pocketsphinx",
    model_dir: Path | str | None = None,
    *,
    pronunciations: Mapping[str, str | Sequence[str]] | None = None,
    normalise: Callable[[str, Armed | None], str] | None = None,
    alone: bool = False,
) -> Engine:
    """The engine called ``name``, one of ``ENGINES``. Raises EngineError, one line.

    ``model_dir`` is for vosk, ``pronunciations`` for PocketSphinx, ``normalise`` for the keyboard. PocketSphinx hears
    with vosk and must agree, unless ``alone`` (a language that it does not know).
    """
    if name == "pocketsphinx":
        return PocketSphinxEngine(pronunciations)
    if name == "vosk":
        if model_dir is None:
            raise EngineError("vosk needs a model; give its folder with --model")
        vosk = VoskEngine(model_dir)
        return vosk if alone else AgreedEngine(vosk, PocketSphinxEngine(pronunciations))
    if name == "typed":
        return TypedEngine(normalise) if normalise is not None else TypedEngine()
    raise EngineError(f"no engine '{name}'; there is: {', '.join(ENGINES)}")
