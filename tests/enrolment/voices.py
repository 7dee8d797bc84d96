"""A voice to test with: twenty phrases by flite's awb, and sentences that are heard wrong without enrolment."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from handsfree._checking import pronounce
from handsfree.audio import read_sound
from handsfree.enrolment import Phrase, StoredVoice, VoiceStore, packaged_phrases
from handsfree.enrolment._estimate import estimate, frames_of
from handsfree.enrolment._front import decode, heard_in
from handsfree.enrolment._store import Measured, pinned, sha256_of
from handsfree.grammar import Library, load_pronunciations
from handsfree.hearing import CONDITIONS, PocketSphinxEngine, same_meaning

SAID = Path(__file__).parent / "said"
#: Sentences that are no phrases of the enrolment, by the same voice (make_voices.render, seed: the text's CRC-32),
#: and the rule they are heard with: chosen because without enrolment all are taken for another value at 20 dB.
HELD_OUT = {
    "three five five zero": "<readings.speed_rpm>",
    "one decimal niner bar": "<readings.pressure>",
    "six eight two five": "<readings.speed_rpm>",
    "eighty eight": "<readings.tread_depth>",
}
QUIET = CONDITIONS[-1]
NOISY = CONDITIONS[-2]
MADE = "2030-03-17T09:00:00Z"
MEASURED = Measured(said=20, right=(17, 20), wrong=(3, 0), outside=9, taken=(1, 1), acceptance=(0.8, 0.9))


def files() -> list[Path]:
    return sorted(SAID.glob("*.flac"))


@cache
def read() -> tuple[tuple[Phrase, bytes], ...]:
    """Each phrase with its sound."""
    return tuple((phrase, read_sound(file)) for phrase, file in zip(packaged_phrases(), files(), strict=True))


@cache
def transform() -> str:
    """Of this voice for a quiet room."""
    heard = [(phrase.say, heard_in(pcm, None, seed)) for seed, (phrase, pcm) in enumerate(read())]
    found = estimate(frames_of(heard, QUIET, pronounce), QUIET)
    assert found is not None
    return found


def any_transform() -> str:
    """One that costs nothing to make: where only matters which is used."""
    assert NOISY.transform is not None
    return NOISY.transform.read_text(encoding="ascii")


def store_voice(
    store: VoiceStore, name: str, text: str | None = None, made: str = MADE, **more: object
) -> Path:
    """As ``handsfree enrol`` writes it."""
    transforms = {QUIET.name: text or any_transform()}
    about = {
        "name": name,
        "made": made,
        "phrases": 20,
        **pinned(),
        "transforms": {condition: sha256_of(one) for condition, one in transforms.items()},
        "biases": {QUIET.name: 0.2},
        "measured": {QUIET.name: MEASURED, NOISY.name: MEASURED},
        **more,
    }
    return store.write(StoredVoice.model_validate(about), transforms)


def engine() -> PocketSphinxEngine:
    return PocketSphinxEngine(load_pronunciations())


def heard_right(ears: PocketSphinxEngine, say: str) -> bool:
    """Whether a held-out sentence is accepted with its meaning at 20 dB of pink noise, by ears without a history."""
    armed = Library.load().arm({"answer": HELD_OUT[say], "command": "<commands.command>"})
    ears.reset()
    hypothesis, _ = decode(ears, armed, held_out(say), 20.0)
    return hypothesis.accepted and same_meaning(armed, hypothesis.text, say)


def held_out(say: str) -> bytes:
    """As the recognizer gets it."""
    file = Path(__file__).parent / "held_out" / f"{say.replace(' ', '-')}.flac"
    return heard_in(read_sound(file), 20.0, 1)
