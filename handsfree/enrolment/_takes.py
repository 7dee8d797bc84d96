"""The reading of the phrases: shown, said, heard through a job's own listener, and checked."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, islice
from pathlib import Path
from typing import Final

from handsfree.audio import (
    FRAME_BYTES,
    AudioError,
    Source,
    Utterance,
    frames,
    read_sound,
    room_noise,
    sound_files,
)
from handsfree.enrolment._front import QUIET_DB, decode
from handsfree.enrolment._phrases import Phrase, alone
from handsfree.hearing import Listened, Listener, PocketSphinxEngine, calibration, same_meaning

__all__ = ["LEAST_TAKES", "Sound", "Takes", "from_file", "from_folder", "from_source", "read_phrases"]

TRIES: Final = 3
LEAST_TAKES: Final = 12
_LEAST_SNR_DB: Final = 18.0  # from there on the model for quiet rooms is used
_ROOM_S: Final = 2
_PHRASE_S: Final = 10  # then nobody spoke
_FRAMES_A_SECOND: Final = 32000 / FRAME_BYTES

#: Frames of the room (0), or from the moment at which the phrase of that number (1 on) is asked for.
Sound = Callable[[int], Iterator[bytes]]


@dataclass(frozen=True, slots=True)
class Takes:
    """``said``: each phrase that was understood to be it, with its sound. ``skipped``: the words of the others."""

    said: tuple[tuple[Phrase, bytes], ...]
    skipped: tuple[str, ...]


def read_phrases(
    phrases: Sequence[Phrase],
    sound: Sound,
    engine: PocketSphinxEngine,
    ask: Callable[[int, Phrase], None],
    tell: Callable[[str], None],
    *,
    tries: int = TRIES,
    lost: Callable[[], int] = lambda: 0,
) -> Takes:
    """Ask for each phrase, up to ``tries`` times. ``ask`` shows and says it, ``tell`` says what came of it.

    ``lost``: how many blocks of sound the source has lost so far; a take in which some are missing is said again.

    Raises AudioError when the sound ends, nobody speaks, or so little was usable that no voice can be made of it.
    """
    listener, said, skipped = Listener(engine), list[tuple[Phrase, bytes]](), list[str]()
    listener.arm(phrases[0].armed)
    for frame in islice(sound(0), int(_ROOM_S * _FRAMES_A_SECOND)):
        listener.feed(frame)
    listener.hear(b"")  # ends what is still open: an engine isn't armed within an utterance
    for number, phrase in enumerate(phrases, 1):
        for attempt in range(1, tries + 1):
            listener.arm(phrase.armed)
            listener.reset()
            ask(number, phrase)
            now, before = sound(number), lost()
            heard = _listen(listener, now)
            if heard is None:
                why = "nothing was heard"
            elif lost() > before:
                why = "some of the sound was lost, the computer was late: close other programs"
            else:
                why = _doubt(engine, listener, phrase, heard)
            if heard is not None and not why:
                said.append((phrase, heard.utterance.pcm))
                tell("taken")
                break
            tell(f"{why}; {'once more' if attempt < tries else 'left out'}")
        else:
            skipped.append(phrase.say)
        if len(skipped) > len(phrases) - LEAST_TAKES:
            raise AudioError(
                f"{len(skipped)} phrases were not usable ({why}), so nothing is stored; read them in a quiet room, "
                "as they are shown, near the microphone"
            )
    return Takes(tuple(said), tuple(skipped))


def _listen(listener: Listener, sound: Iterator[bytes]) -> Listened | None:
    for frame in islice(sound, int(_PHRASE_S * _FRAMES_A_SECOND)):
        heard = listener.feed(frame)
        if heard is not None:
            return heard
    return next(iter(listener.hear(b"")), None)


def _doubt(engine: PocketSphinxEngine, listener: Listener, phrase: Phrase, heard: Listened) -> str:
    """Why this is hardly the phrase that was asked for, "" when it is likely.

    Either it was heard among all that can be said there, or, heard for nothing but these words, it fits them so well
    that a job would take it: an accent that is misheard is what an enrolment is for.
    """
    utterance, text = heard.utterance, heard.hypothesis.text
    flaw = _flaw(utterance)
    if flaw:
        return flaw
    if heard.hypothesis.accepted and same_meaning(phrase.armed, text, phrase.say):
        return ""
    _, evidence = decode(engine, alone(phrase.say), engine.last_heard, QUIET_DB)
    listener.engine.arm(phrase.armed)
    if evidence is not None and calibration().probability(evidence) >= calibration().accept:
        return ""
    return f"heard {text!r}" if text else "not understood"


def _flaw(utterance: Utterance) -> str:
    if utterance.clipped:
        return "too loud for the microphone: turn its gain down"
    if utterance.snr_db < _LEAST_SNR_DB:
        return f"only {utterance.snr_db:.0f} dB over the noise"
    return ""


def from_source(source: Source) -> Sound:
    """A microphone: what it gives from now on, the tool's own voice thrown away."""

    def heard(number: int) -> Iterator[bytes]:
        if number:
            source.cue(True)
        return iter(source.read, None)

    return heard


def from_folder(folder: Path, phrases: Sequence[Phrase]) -> Sound:
    """A WAV or FLAC file a phrase, in order of their names. Raises AudioError."""
    files = sound_files(folder)
    if len(files) != len(phrases):
        raise AudioError(
            f"{folder}: {len(files)} sound files; give {len(phrases)}, one a phrase in their order (handsfree enrol "
            "--phrases lists them)"
        )
    sounds = [read_sound(file) for file in files]
    room = room_noise(sounds[0])
    return lambda number: chain(frames(sounds[number - 1]) if number else (), frames(room), frames(room))


def from_file(path: Path) -> Sound:
    """One recording in which the phrases are read one after the other, with pauses. Raises AudioError."""
    if not path.exists():
        raise AudioError(f"{path}: no such folder or sound file; give a folder of sound files, or one file")
    pcm = read_sound(path)
    room, rest = room_noise(pcm), frames(pcm)
    return lambda number: rest if number else frames(room)
