"""Whether this room is quiet enough: noise, five phrases through the real recognizer, and what to expect of it.

What is expected comes from ``hearing/measured.json``, the packaged voices in pink noise, made by
``python -m handsfree.bench hearing --json handsfree/hearing/measured.json``.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib import resources
from itertools import chain, islice
from pathlib import Path
from statistics import median
from typing import Final

import numpy as np

from handsfree.audio import (
    FRAME_BYTES,
    AudioError,
    Source,
    clipped_samples,
    dbfs,
    frame_levels,
    frames,
    read_sound,
    samples,
    snr_db,
    sound_files,
)
from handsfree.grammar import Library
from handsfree.hearing import LEAST_SNR_DB, Engine, Listened, Listener
from handsfree.record import counted

__all__ = ["PHRASES", "Expected", "Room", "expected", "from_files", "from_source", "measure"]

PHRASES: Final = (
    ("affirmative", "<answers.yes_no>"),
    ("four four one seven", "<readings.digits_4>"),
    ("two four p s i", "<readings.pressure>"),
    ("four point five millimeters", "<readings.length_mm>"),
    ("nothing found", "<answers.finding>"),
)
"""What is said, and the rule of the procedure's grammar it is heard with."""

NOISE_S: Final = 10
_LEAST_NOISE_S: Final = 3
_PHRASE_S: Final = 10  # then nobody spoke
_FRAMES_A_SECOND: Final = 32000 / FRAME_BYTES
_AS_RECORDED_DB: Final = 33.0  # the packaged recordings' own level over their noise
_ENOUGH_RIGHT: Final = 0.95  # just under 10 dB; at 5 dB one answer in nine is taken for another
_ENOUGH_PHRASES: Final = 4
# Under the first speech is faint; what stays under the second, phrases too, is dead.
_QUIET_DBFS, _LEAST_DBFS = -45.0, -80.0
# Ten seconds of Gaussian noise at 16 kHz reach a crest factor of 13 dB, and 15 dB once in three hundred times; blows
# of a hammer or an impact wrench 17 and more. Levels of 30 ms frames of steady pink noise lie within 4 dB.
_BLOWS_CREST_DB: Final = 15.0
_STEADY_DB: Final = 6.0  # between the frames' 10th and 95th percentile
_TRIES: Final = 3
_LOST: Final = "some of the sound was lost, the computer was late"

Sound = Callable[[int], Iterator[bytes]]
"""Frames of the noise (0) or from the moment a phrase (1 to 5) is asked for."""


@dataclass(frozen=True, slots=True)
class Expected:
    """Shares of 1 of what is said at one signal-to-noise ratio."""

    right: float
    again: float
    wrong: float


@dataclass(frozen=True, slots=True)
class Room:
    """Levels in dBFS (AES17), ``snr`` and ``swing`` (of the noise's level) in dB.

    ``heard``: what was accepted of each phrase, in order.
    """

    noise_dbfs: float
    crest_db: float
    speech_dbfs: float
    clipped: int
    heard: tuple[str, ...]
    swing_db: float = 0.0

    @property
    def snr(self) -> float:
        return snr_db(self.speech_dbfs, self.noise_dbfs)

    @property
    def right(self) -> int:
        return sum(text == phrase for text, (phrase, _) in zip(self.heard, PHRASES, strict=True))

    @property
    def good(self) -> bool:
        """The phrases count. All of them right outweigh the table; one missed is enough only where it agrees."""
        enough = _ENOUGH_PHRASES if self._table_good else len(PHRASES)
        return self.right >= enough and not self.clipped

    @property
    def _table_good(self) -> bool:
        return expected(self.snr).right >= _ENOUGH_RIGHT

    @property
    def kind(self) -> str:
        """What the noise is like, by how far its peaks and its frames' levels are apart."""
        if self.crest_db > _BLOWS_CREST_DB:
            return "with blows in it"
        return "rising and falling" if self.swing_db > _STEADY_DB else "steady"

    def lines(self) -> Iterator[str]:
        if self.noise_dbfs < _LEAST_DBFS:
            yield f"noise    under {_LEAST_DBFS:.0f} dBFS: a very quiet room, or the microphone's own noise gate"
        else:
            yield (
                f"noise    {self.noise_dbfs:.0f} dBFS, {self.kind} (crest factor {self.crest_db:.0f} dB, "
                f"level within {self.swing_db:.0f} dB)"
            )
        yield f"speech   {self.speech_dbfs:.0f} dBFS, {self.snr:.0f} dB over the noise"
        yield f"phrases  {self.right} of {len(PHRASES)} heard right"
        found = expected(self.snr)
        yield (
            f"table    at that level of 100 {100 * found.right:.0f} right, {100 * found.again:.0f} asked again, "
            f"{100 * found.wrong:.0f} taken for another (recorded voices in steady pink noise)"
        )
        if self._table_good != (self.right >= _ENOUGH_PHRASES) and (
            self._table_good or self.right == len(PHRASES)
        ):
            yield (
                "differ   phrases and table disagree: the phrases count, few as they are, because they are your "
                "voice, microphone and noise; measure again to be surer"
            )
        yield from self._advice()

    def _advice(self) -> Iterator[str]:
        if self.clipped:
            yield f"advice   clipped, {self.clipped} samples at full scale: turn the microphone's gain down"
        if self.speech_dbfs < _QUIET_DBFS:
            yield "advice   too quiet: turn the microphone's gain up or come closer"
        if not self._table_good:
            noisy = "noisy" if self.good else "too noisy"
            yield f"advice   {noisy} for this microphone: use a headset with the microphone at the mouth"
        elif self.right < _ENOUGH_PHRASES:
            yield "advice   loud enough but not understood: speak evenly, or try another microphone"
        yield "room     good enough" if self.good else "room     not good enough"


def expected(snr: float) -> Expected:
    """The bench's shares in pink noise, interpolated; under ``LEAST_SNR_DB`` nothing is accepted.

    Beyond the measured levels the nearest row holds: nothing is extrapolated.
    """
    if snr < LEAST_SNR_DB:
        return Expected(0.0, 1.0, 0.0)
    text = resources.files("handsfree.hearing").joinpath("measured.json").read_text(encoding="utf-8")
    rows = sorted(
        (
            (_AS_RECORDED_DB if row["level"] is None else row["level"], row)
            for row in json.loads(text)
            if row["front_end"] == "suppressed" and row["noise"] in ("as recorded", "pink")
        ),
        key=lambda found: float(found[0]),
    )
    levels = [level for level, _ in rows]

    def share(key: str) -> float:
        return float(np.interp(snr, levels, [row[key] / row["said"] for _, row in rows]))

    return Expected(share("value"), share("again"), share("wrong"))


def measure(
    sound: Sound, engine: Engine, tell: Callable[[str], None], *, lost: Callable[[], int] = lambda: 0
) -> Room:
    """Listen to the room, then to the phrases. ``lost``: how many blocks of sound the source has lost so far.

    Raises AudioError when there is no sound, nobody speaks, or sound is lost again and again.
    """
    library, listener = Library.load(), Listener(engine)
    armed = [library.arm({"answer": rule, "command": "<commands.command>"}) for _, rule in PHRASES]
    listener.arm(armed[0])
    tell("Keep quiet: the room is heard.")
    for attempt in range(1, _TRIES + 1):
        before = lost()
        noise = list(islice(sound(0), int(NOISE_S * _FRAMES_A_SECOND)))
        if lost() == before:
            break
        _once_more(attempt, tell, "keep quiet again")
    if len(noise) < _LEAST_NOISE_S * _FRAMES_A_SECOND:
        raise AudioError(f"the room's noise is shorter than {_LEAST_NOISE_S} s; record {NOISE_S} s of it")
    for frame in noise:
        listener.feed(frame)
    listener.hear(b"")  # ends what is still open: an engine isn't armed within an utterance
    pcm = b"".join(noise)
    level = dbfs(pcm)
    peak = float(np.abs(samples(pcm).astype(np.float64)).max())
    crest = 20 * np.log10(max(peak, 1.0) / (32768 / 2**0.5)) - level if peak else 0.0
    low, high = np.percentile(frame_levels(pcm), (10, 95))
    loudest = level
    found: list[Listened | None] = []
    clipped = clipped_samples(pcm)
    for number, (phrase, _) in enumerate(PHRASES, 1):
        for attempt in range(1, _TRIES + 1):
            listener.arm(armed[number - 1])
            tell(f"Say: {phrase}")
            now, before, one = sound(number), lost(), None
            for frame in islice(now, int(_PHRASE_S * _FRAMES_A_SECOND)):
                loudest = max(loudest, dbfs(frame))
                one = listener.feed(frame)
                if one is not None:
                    break
            rest = listener.hear(b"")
            one = one or (rest[0] if rest else None)
            if lost() == before:
                break
            _once_more(attempt, tell, "say it again")
        clipped += one.utterance.clipped if one else 0
        if one and one.utterance.clipped:
            tell("  too loud: clipped")
        tell(f"  heard: {_accepted(one) or 'nothing that counts'}")
        found.append(one)
    spoken = [one.utterance.speech_dbfs for one in found if one]
    if (
        not spoken and loudest < _LEAST_DBFS
    ):  # a quiet room, or a noise gate, is silent only until somebody speaks
        raise AudioError("the microphone gives no sound; check its switch, its plug and the input's gain")
    if not spoken:
        raise AudioError("no speech was heard; come closer, turn the gain up, or use a headset")
    heard = tuple(_accepted(one) for one in found)
    return Room(level, float(crest), median(spoken), clipped, heard, float(high - low))


def _once_more(attempt: int, tell: Callable[[str], None], what: str) -> None:
    """Sound with holes measures nothing. Raises AudioError when it was the last attempt."""
    if attempt == _TRIES:
        raise AudioError(
            f"{_LOST}, {_TRIES} times: nothing was measured; close other programs and measure again"
        )
    tell(f"  {_LOST}: {what}")


def _accepted(one: Listened | None) -> str:
    return one.hypothesis.text if one and one.hypothesis.accepted else ""


def from_source(source: Source) -> Sound:
    """A microphone: what it gives from now on."""
    return lambda _: iter(source.read, None)


def from_files(folder: Path, tell: Callable[[str], None] = lambda _: None) -> Sound:
    """Six WAV or FLAC files by name: the room's noise, then the phrases in order. Raises AudioError."""
    if not folder.is_dir():
        raise AudioError(f"{folder}: no such folder; give one with the noise and the phrases")
    files = sound_files(folder)
    passed = sorted(path.name for path in folder.iterdir() if path.is_file() and path not in files)
    if passed:
        tell(f"Passed over, not WAV or FLAC: {', '.join(passed)}")
    if len(files) != 1 + len(PHRASES):
        raise AudioError(
            f"{folder}: {counted(len(files), 'sound file')}; give {1 + len(PHRASES)}: the room's noise, then "
            + ", ".join(phrase for phrase, _ in PHRASES)
        )
    sounds = [read_sound(file) for file in files]
    # After a phrase the room goes on, as it does at a microphone.
    return lambda number: chain(frames(sounds[number]), frames(sounds[0]) if number else ())
