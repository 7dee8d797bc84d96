"""The kept sound once more through the recognizer, with the grammar that was armed then."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from handsfree.audio import AudioError, read_sound
from handsfree.grammar import GrammarError
from handsfree.hearing import Engine, EngineError
from handsfree.record import Finding, counted

from ._heard import armed_for
from ._walk import Walk

__all__ = ["Listener", "heard_again"]

#: Makes the engine that a job's first line names, with what a record pins of it. Raises EngineError.
Listener = Callable[[str], tuple[Engine, Mapping[str, str]]]


def heard_again(
    folder: Path, walk: Walk, header: Mapping[str, object], listener: Listener
) -> Iterator[Finding]:
    """Every kept utterance that is still there, in its order: engines adapt to a voice as they hear more of it."""
    kept = [turn for turn in walk.turns if turn.line.body.get("audio") and turn.before.armed]
    if not kept:
        yield Finding("listen", 0, "no utterance was kept: nothing to hear again", "note")
        return
    try:
        engine, pins = listener(str(header.get("engine", "")))
    except EngineError as error:
        yield Finding("listen", 0, f"the sound can't be heard again: {error}", "warn")
        return
    for key, value in pins.items():
        if header.get(key, value) != value:
            yield Finding("listen", 1, f"{key} was {header[key]}, it is {value} now", "warn")
    same, heard = 0, 0
    for turn in kept:
        recorded = str(turn.line.body.get("hypothesis", ""))
        path = folder / str(turn.line.body["audio"])
        if not path.is_file():
            continue  # dropped or missing: the chain check tells
        try:
            text = _hear(engine, turn.before.armed, read_sound(path))
        except (AudioError, EngineError, GrammarError) as error:
            yield Finding("listen", turn.number, f"can't be heard again: {error}", "warn")
            continue
        heard += 1
        same += text == recorded
        if text != recorded:
            yield Finding("listen", turn.number, f'heard then "{recorded}", heard now "{text}"', "warn")
    engine.close()
    yield Finding(
        "listen", 0, f"{same} of {counted(heard, 'utterance')} heard again with the same words", "note"
    )


def _hear(engine: Engine, armed: tuple[tuple[str, str], ...], pcm: bytes) -> str:
    engine.arm(armed_for(armed))
    engine.begin()
    engine.feed(pcm)
    return engine.end().text
