"""Where an utterance begins and ends. No I/O, no clock: time is the number of frames fed.

A frame counts as voice when the WebRTC voice activity detector says so and its level stands clear of the
tracked noise floor: the detector alone takes steady hiss for speech now and then, a level alone takes a
dropped wrench for it. Both are better judged where steady noise was taken out before: in pink noise at 5 dB the
detector takes the room itself for speech, while of what a suppressor leaves it finds the ends as in a quiet room.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import Enum, auto
from math import log10
from typing import Final, NamedTuple

from pocketsphinx import Vad

from handsfree.audio._floor import STEADY_S, NoiseFloor
from handsfree.audio._levels import FLOOR_DBFS, clipped_samples, dbfs, noise_floor_dbfs, snr_db

__all__ = [
    "FRAME_BYTES",
    "FRAME_MS",
    "Endpointer",
    "EndpointerSettings",
    "NoiseGrew",
    "Outlook",
    "SpeechContinues",
    "SpeechEnded",
    "SpeechEvent",
    "SpeechStarted",
    "Utterance",
    "frames",
]

FRAME_MS: Final = 30
FRAME_BYTES: Final = 960  # 30 ms at 16 kHz, 16 bit


def frames(pcm: bytes) -> Iterator[bytes]:
    """Its whole frames; what is left over at the end is none."""
    return (pcm[at : at + FRAME_BYTES] for at in range(0, len(pcm) - FRAME_BYTES + 1, FRAME_BYTES))


@dataclass(frozen=True, slots=True)
class Utterance:
    """One endpointed utterance.

    ``pcm`` is mono 16-bit 16 kHz with the quiet before and after it that was really recorded. ``start_ms``
    and ``end_ms`` are where the voice began and ended, ``decided_ms`` when its end was decided, all counted
    from the stream's first sample. Levels are dBFS (AES17): the voiced frames', and the noise floor's.
    ``steady``: it was no speech, a steady noise began, and nothing was said before that.
    """

    pcm: bytes
    start_ms: int
    end_ms: int
    speech_dbfs: float
    noise_dbfs: float
    clipped: int
    decided_ms: int = 0
    steady: bool = False

    @property
    def snr_db(self) -> float:
        return snr_db(self.speech_dbfs, self.noise_dbfs)

    @property
    def least_snr_db(self) -> float:
        """dB over the noise within the utterance too: a compressor that starts has no pauses, speech always has.

        Of the demo's recordings in pink noise the least of 44 at 12 dB was 11.9 dB, of the 12 that were found at all
        at 8 dB 9.7; a steady noise that starts in a quiet room and is taken for speech has -10.
        """
        return snr_db(self.speech_dbfs, max(self.noise_dbfs, noise_floor_dbfs(self.pcm)))

    @property
    def seconds(self) -> float:
        return len(self.pcm) / 32000


@dataclass(frozen=True, slots=True)
class SpeechStarted:
    """Voice has begun; ``preroll`` is the sound just before and up to now, from real frames."""

    preroll: bytes


@dataclass(frozen=True, slots=True)
class SpeechContinues:
    frame: bytes


@dataclass(frozen=True, slots=True)
class SpeechEnded:
    utterance: Utterance


@dataclass(frozen=True, slots=True)
class NoiseGrew:
    """A steady noise has begun: the last second was nothing else."""


SpeechEvent = SpeechStarted | SpeechContinues | SpeechEnded | NoiseGrew


class Outlook(Enum):
    """What may come after what was said."""

    COMPLETE = auto()  # a whole sentence to which nothing can be added
    CONTINUABLE = auto()  # a whole sentence that could go on
    INCOMPLETE = auto()  # no whole sentence yet, or none at all


@dataclass(frozen=True, slots=True)
class EndpointerSettings:
    """Times in seconds, levels in dB.

    ``complete_s`` and ``incomplete_s`` are VoiceXML's completetimeout and incompletetimeout: the silence that ends
    an utterance when what was heard is a whole sentence that can't go on, and when it is none yet. VoiceXML waits
    for the longer one too where a whole sentence could go on; that is every number, and most of what is said here:
    ``continuable_s`` is for these, longer than the pauses within a number. ``start_voiced_s`` of voice within
    ``start_window_s`` begins an utterance (shorter bursts are noise).
    """

    complete_s: float = 0.3
    continuable_s: float = 0.57
    incomplete_s: float = 0.9
    longest_s: float = 12.0
    start_voiced_s: float = 0.12
    start_window_s: float = 0.24
    preroll_s: float = 0.3
    gate_db: float = 6.0
    vad_mode: int = Vad.MEDIUM_STRICT


_LEFT_FRAMES: Final = 10  # the suppressor is still learning the noise: the newest that it left


class _Frame(NamedTuple):
    pcm: bytes
    level: float
    voiced: bool


class Endpointer:
    """Feed it frames; it answers with what began, goes on, or ended.

    ``feed`` takes beside the frame, where there is one, what a suppressor made of it: whether there is voice is
    judged by that then. Levels and sound given out are those of the frame itself.

    Events are always well formed: one ``SpeechStarted``, any number of ``SpeechContinues``, one
    ``SpeechEnded`` whose utterance's ``pcm`` is exactly the bytes given out since the start. ``NoiseGrew`` comes at
    any time; an utterance that is open then ends right after it, since what it ended with was no speech.
    ``outlook`` is asked, when silence has lasted ``complete_s``, whether what was heard so far is whole and whether
    it could be continued.
    """

    def __init__(
        self,
        settings: EndpointerSettings | None = None,
        *,
        outlook: Callable[[], Outlook] | None = None,
    ) -> None:
        self.settings = settings or EndpointerSettings()
        self.outlook = outlook
        self._vad = Vad(self.settings.vad_mode, 16000, FRAME_MS / 1000)
        self._floor = NoiseFloor()
        self._left = NoiseFloor()  # of what the suppressor leaves of the noise
        self._level = FLOOR_DBFS
        self._fed = 0  # frames
        self._window = _frames(self.settings.start_window_s)
        self._recent: deque[_Frame] = deque(maxlen=self._window + _frames(self.settings.preroll_s))
        self._open: _OpenUtterance | None = None

    @property
    def in_speech(self) -> bool:
        return self._open is not None

    @property
    def silence_s(self) -> float:
        """How long nobody has spoken within the utterance that is open; 0 when none is."""
        return self._open.silent_frames * FRAME_MS / 1000 if self._open else 0.0

    @property
    def level_dbfs(self) -> float:
        """The last frame's level."""
        return self._level

    @property
    def noise_dbfs(self) -> float:
        """The tracked noise floor."""
        return self._floor.dbfs

    @property
    def now_ms(self) -> int:
        """Stream time: the end of the last frame fed."""
        return self._fed * FRAME_MS

    def feed(self, frame: bytes, suppressed: bytes | None = None) -> tuple[SpeechEvent, ...]:
        """One frame of ``FRAME_BYTES`` bytes. Raises ValueError for another size."""
        judged = frame if suppressed is None else suppressed
        for one in (frame, judged):
            if len(one) != FRAME_BYTES:
                raise ValueError(f"a frame is {FRAME_BYTES} bytes, got {len(one)}")
        self._fed += 1
        self._level = dbfs(frame)
        left = dbfs(judged)
        # Ask the detector always: it keeps its own statistics of the noise.
        voiced = self._vad.is_speech(judged) and left > self._left.dbfs + self.settings.gate_db
        self._floor.update(self._level, voiced)
        self._left.update(left, voiced)
        judged_frame = _Frame(frame, self._level, voiced)
        if self._floor.grown:
            return (NoiseGrew(), *self._feed_noise(judged_frame))
        return (
            self._feed_quiet(judged_frame)
            if self._open is None
            else self._feed_speech(self._open, judged_frame)
        )

    def _feed_noise(self, frame: _Frame) -> tuple[SpeechEvent, ...]:
        self._floor.settle()
        self._left.settle(_LEFT_FRAMES)
        if self._open is None:
            self._recent.append(frame)
            return ()
        self._open.add(frame)
        # A word said before takes longer than the voice detector does to begin.
        steady = self._open.seconds < STEADY_S + self.settings.start_window_s
        return (SpeechContinues(frame.pcm), *self._end(self._open, steady=steady))

    def flush(self) -> tuple[SpeechEvent, ...]:
        """The source has ended: an utterance still open ends here."""
        return self._end(self._open) if self._open else ()

    def reset(self) -> None:
        """Forget an open utterance and the preroll (the tool spoke meanwhile); keep floor and time."""
        self._open = None
        self._recent.clear()

    def _feed_quiet(self, frame: _Frame) -> tuple[SpeechEvent, ...]:
        self._recent.append(frame)
        window = list(self._recent)[-self._window :]
        if sum(f.voiced for f in window) < _frames(self.settings.start_voiced_s):
            return ()
        first_voiced = len(self._recent) - len(window) + next(i for i, f in enumerate(window) if f.voiced)
        begin = max(0, first_voiced - _frames(self.settings.preroll_s))
        kept = list(self._recent)[begin:]
        self._open = _OpenUtterance(self._fed - len(kept), first_voiced - begin, self._floor.dbfs)
        for one in kept:
            self._open.add(one)
        self._recent.clear()
        return (SpeechStarted(b"".join(f.pcm for f in kept)),)

    def _feed_speech(self, utterance: _OpenUtterance, frame: _Frame) -> tuple[SpeechEvent, ...]:
        utterance.add(frame)
        going_on = (SpeechContinues(frame.pcm),)
        too_long = len(utterance.pcm) >= _frames(self.settings.longest_s)
        if too_long or utterance.silent_frames >= self._patience(utterance):
            return going_on + self._end(utterance)
        return going_on

    def _patience(self, utterance: _OpenUtterance) -> int:
        """Frames of silence that end it. The grammar is asked only once the shorter time has passed."""
        short = _frames(self.settings.complete_s)
        if utterance.silent_frames < short:
            return short
        return _frames(self._silence_s(self.outlook() if self.outlook else Outlook.COMPLETE))

    def _silence_s(self, outlook: Outlook) -> float:
        times = self.settings
        return {
            Outlook.COMPLETE: times.complete_s,
            Outlook.CONTINUABLE: times.continuable_s,
            Outlook.INCOMPLETE: times.incomplete_s,
        }[outlook]

    def _end(self, utterance: _OpenUtterance, *, steady: bool = False) -> tuple[SpeechEvent, ...]:
        self._open = None
        return (SpeechEnded(utterance.close(self._floor.dbfs, steady=steady)),)


class _OpenUtterance:
    def __init__(self, begin: int, first_voiced: int, noise_dbfs: float) -> None:
        self.pcm: list[bytes] = []
        self._begin = begin  # stream index of the first frame kept
        self._first_voiced = first_voiced  # index within pcm
        self._voice_end = first_voiced + 1  # index within pcm, after the last voiced frame
        self._noise_dbfs = noise_dbfs  # as it was before the speech
        self._previous_voiced = False
        self._power = 0.0
        self._voiced = 0
        self._clipped = 0

    def add(self, frame: _Frame) -> None:
        self.pcm.append(frame.pcm)
        self._clipped += clipped_samples(frame.pcm)
        if frame.voiced:
            self._power += 10 ** (frame.level / 10)
            self._voiced += 1
            # One voiced frame alone is a click in the pause: it must not hold the utterance open.
            if self._previous_voiced:
                self._voice_end = len(self.pcm)
        self._previous_voiced = frame.voiced

    @property
    def silent_frames(self) -> int:
        return len(self.pcm) - self._voice_end

    @property
    def seconds(self) -> float:
        """Since the voice began."""
        return (len(self.pcm) - self._first_voiced) * FRAME_MS / 1000

    def close(self, noise_dbfs: float, *, steady: bool = False) -> Utterance:
        return Utterance(
            pcm=b"".join(self.pcm),
            start_ms=(self._begin + self._first_voiced) * FRAME_MS,
            end_ms=(self._begin + self._voice_end) * FRAME_MS,
            speech_dbfs=10 * log10(self._power / self._voiced),
            # The lower one: before the speech the floor may still have been settling.
            noise_dbfs=min(self._noise_dbfs, noise_dbfs),
            clipped=self._clipped,
            decided_ms=(self._begin + len(self.pcm)) * FRAME_MS,
            steady=steady,
        )


def _frames(seconds: float) -> int:
    return max(1, round(seconds * 1000 / FRAME_MS))
