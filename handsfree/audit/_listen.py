"""The kept sound once more through the recognizer, with the grammar that was armed then."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from handsfree.audio import AudioError, read_sound
from handsfree.grammar import GrammarError
from handsfree.hearing import Adaptation, AgreedEngine, Engine, EngineError, PocketSphinxEngine
from handsfree.record import Finding, LogRead, counted

from ._heard import armed_for, heard_for
from ._walk import Walk

__all__ = ["Listener", "VoiceOf", "heard_again"]

#: Makes the engine that a job's first line names, with what a record pins of it. Raises EngineError.
Listener = Callable[[str], tuple[Engine, Mapping[str, str]]]

#: The enrolled voice that has this hash, None where it is not here. Raises EngineError for one that was changed.
VoiceOf = Callable[[str], Adaptation | None]


def heard_again(
    read: LogRead, walk: Walk, header: Mapping[str, object], listener: Listener, voice: VoiceOf
) -> Iterator[Finding]:
    """Every kept utterance that is still there, in its order: engines adapt to a voice as they hear more of it.

    By the adaptation to the technician's voice that the record names for it; where that is not here any more (a voice
    may be forgotten) that is told, and the packaged models are used.
    """
    folder = read.folder
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
    changes = [(n, line) for n, line in zip(read.numbers, read.lines, strict=True) if line.kind == "voice"]
    for turn in kept:
        while changes and changes[0][0] < turn.number:
            number, line = changes.pop(0)
            yield from _turn_to(engine, number, str(line.body.get("adaptation", "")), voice)
        recorded = str(turn.line.body.get("hypothesis", ""))
        path = folder / str(turn.line.body["audio"])
        if not path.is_file():
            continue  # dropped or missing: the chain check tells
        try:
            text = _hear(engine, heard_for(turn), read_sound(path))
        except (AudioError, EngineError, GrammarError) as error:
            yield Finding("listen", turn.number, f"can't be heard again: {error}", "warn")
            continue
        heard += 1
        same += text == recorded
        if text != recorded:
            yield Finding("listen", turn.number, f'heard then "{recorded}", heard now "{text}"', "warn")
    engine.close()
    if not heard:
        kept_once = counted(len(kept), "utterance")
        yield Finding(
            "listen", 0, f"nothing to hear again: of {kept_once} the sound is gone or can't be read", "note"
        )
        return
    yield Finding(
        "listen", 0, f"{same} of {counted(heard, 'utterance')} heard again with the same words", "note"
    )


def _turn_to(engine: Engine, number: int, sha256: str, voice: VoiceOf) -> Iterator[Finding]:
    """Hear by that adaptation from here on; "" for none."""
    if not isinstance(engine, PocketSphinxEngine | AgreedEngine):
        return
    try:
        found = voice(sha256) if sha256 else None
        engine.use(found)
    except EngineError as error:
        yield Finding("listen", number, f"{error}; heard again without it", "warn")
        engine.use(None)
        return
    if sha256 and found is None:
        told = f"the enrolled voice {sha256[:16]} is not here: heard again without it"
        yield Finding("listen", number, told, "note")


def _hear(engine: Engine, armed: tuple[tuple[str, str], ...], pcm: bytes) -> str:
    engine.arm(armed_for(armed))
    engine.begin()
    engine.feed(pcm)
    return engine.end().text
