"""Where utterances begin and end, on speech-like sound made here and on any sound at all."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.audio import (
    FRAME_BYTES,
    FRAME_MS,
    Endpointer,
    EndpointerSettings,
    NoiseGrew,
    Outlook,
    SpeechContinues,
    SpeechEnded,
    SpeechEvent,
    SpeechStarted,
    Suppressor,
    Utterance,
)

RATE = 16000


def noise(seconds: float, rms: float = 30, seed: int = 0) -> np.ndarray:
    return np.random.default_rng(seed).normal(0, rms, int(seconds * RATE))


def voice(seconds: float, peak: float = 6000) -> np.ndarray:
    """A vowel: a 120 Hz pulse train through two resonances, which the voice detector takes for speech."""
    t = np.arange(int(seconds * RATE)) / RATE
    wave = sum(
        np.sin(2 * np.pi * 120 * k * t) / (1 + ((120 * k - 600) / 250) ** 2 + ((120 * k - 1200) / 900) ** 2)
        for k in range(1, 30)
    )
    return peak * wave / np.abs(wave).max()


def sound(*parts: np.ndarray) -> bytes:
    joined = np.concatenate(parts)
    return (
        np.clip(joined + noise(len(joined) / RATE + 0.001, seed=5)[: len(joined)], -32768, 32767)
        .astype("<i2")
        .tobytes()
    )


def run(pcm: bytes, endpointer: Endpointer | None = None) -> list[SpeechEvent]:
    endpointer = endpointer or Endpointer()
    events: list[SpeechEvent] = []
    for at in range(0, len(pcm) - FRAME_BYTES + 1, FRAME_BYTES):
        events += endpointer.feed(pcm[at : at + FRAME_BYTES])
    return events + list(endpointer.flush())


def utterances(pcm: bytes, outlook: Outlook | None = None, **times: float) -> list[Utterance]:
    endpointer = Endpointer(EndpointerSettings(**times), outlook=(lambda: outlook) if outlook else None)  # type: ignore[arg-type]
    return [event.utterance for event in run(pcm, endpointer) if isinstance(event, SpeechEnded)]


def test_one_word_is_found_where_it_is() -> None:
    (found,) = utterances(sound(noise(1), voice(0.6), noise(1.5)))
    assert found.start_ms == pytest.approx(1000, abs=90)
    assert found.end_ms == pytest.approx(1600, abs=150)  # the detector holds on for a while
    assert found.decided_ms - found.end_ms == pytest.approx(300, abs=FRAME_MS)
    assert found.snr_db > 25
    assert found.clipped == 0


def test_the_sound_before_the_word_is_the_sound_that_was_there() -> None:
    pcm = sound(noise(1), voice(0.6), noise(1.5))
    (found,) = utterances(pcm)
    at = pcm.find(found.pcm)
    assert at % FRAME_BYTES == 0
    assert found.start_ms - at // 32 >= 240  # at least that much preroll
    assert at // 32 + len(found.pcm) // 32 == found.decided_ms


def test_speech_from_the_very_first_frame() -> None:
    (found,) = utterances(sound(voice(0.8), noise(1.5)))
    assert found.start_ms <= 60


@pytest.mark.parametrize(
    ("pause", "outlook"),
    [
        (0.2, Outlook.CONTINUABLE),
        (0.4, Outlook.CONTINUABLE),
        (0.5, Outlook.CONTINUABLE),
        (0.5, Outlook.INCOMPLETE),
        (0.7, Outlook.INCOMPLETE),
    ],
)
def test_pauses_between_digits_do_not_cut_a_number_that_can_go_on(pause: float, outlook: Outlook) -> None:
    parts = [noise(1)] + [voice(0.3), noise(pause)] * 4 + [noise(1.5)]
    assert len(utterances(sound(*parts), outlook)) == 1


def test_a_sentence_that_can_not_go_on_ends_sooner() -> None:
    pcm = sound(noise(1), voice(0.5), noise(2))
    found = [utterances(pcm, outlook) for outlook in Outlook]
    waited = [one.decided_ms - one.end_ms for (one,) in found]
    assert waited == [pytest.approx(ms, abs=FRAME_MS) for ms in (300, 570, 900)]
    assert len({one.end_ms for (one,) in found}) == 1


def test_the_grammar_is_asked_only_after_the_shorter_silence() -> None:
    asked: list[int] = []
    endpointer = Endpointer(outlook=lambda: asked.append(endpointer.now_ms) or Outlook.INCOMPLETE)
    (found,) = [
        e.utterance
        for e in run(sound(noise(1), voice(0.5), noise(2)), endpointer)
        if isinstance(e, SpeechEnded)
    ]
    assert min(asked) - found.end_ms == pytest.approx(300, abs=FRAME_MS)


@pytest.mark.parametrize("length", [0.01, 0.03, 0.06])
def test_bursts_are_no_speech(length: float) -> None:
    """A dropped tool: a loud burst now and then, dying away."""
    burst = noise(length, rms=9000, seed=3)
    parts = [noise(1)] + [part for _ in range(6) for part in (burst, noise(0.7))]
    assert utterances(sound(*parts)) == []


def test_steady_hiss_is_no_speech_once_it_is_known() -> None:
    """Compressed air at -25 dBFS: at most the first moment is taken for somebody."""
    found = utterances(sound(noise(1), noise(8, rms=1300, seed=4)))
    assert all(u.start_ms < 3000 for u in found)


def test_digital_silence_is_nobody() -> None:
    assert run(bytes(FRAME_BYTES * 200)) == []


def test_a_voice_stands_out_of_a_loud_room() -> None:
    (found,) = [
        u
        for u in utterances(sound(noise(5, rms=300, seed=6), voice(0.8), noise(2, rms=300)))
        if u.start_ms > 4000
    ]
    assert found.start_ms == pytest.approx(5000, abs=150)
    assert found.noise_dbfs == pytest.approx(20 * np.log10(300 / 23170), abs=3)


def test_endless_speech_is_cut_at_the_longest() -> None:
    syllables = [part for _ in range(120) for part in (voice(0.19), noise(0.06))]
    found = utterances(sound(noise(1), *syllables, noise(1)))
    assert len(found) >= 2
    assert all(len(u.pcm) <= 12.0 * 32000 for u in found)


def test_a_steady_noise_that_starts_is_the_room_within_a_second() -> None:
    hiss = noise(6, rms=900, seed=8)
    events = run(sound(noise(2), hiss, noise(1)))
    assert [type(e) for e in events if isinstance(e, NoiseGrew)] == [NoiseGrew]
    assert all(e.utterance.steady for e in events if isinstance(e, SpeechEnded))
    endpointer = Endpointer()
    run(sound(noise(2), hiss[: int(1.2 * RATE)]), endpointer)
    assert endpointer.noise_dbfs == pytest.approx(20 * np.log10(900 / 23170), abs=2)


@pytest.mark.parametrize("later", [1.2, 3.0])
def test_a_word_in_a_noise_that_has_just_started_is_found(later: float) -> None:
    quiet, loud = noise(2), noise(later + 3, rms=300, seed=9)
    said = np.concatenate([np.zeros(int(later * RATE)), voice(0.6), np.zeros(int(2.4 * RATE))])
    (found,) = [u for u in utterances(sound(quiet, loud + said[: loud.size])) if not u.steady]
    assert found.start_ms == pytest.approx(2000 + 1000 * later, abs=150)
    assert found.end_ms == pytest.approx(2600 + 1000 * later, abs=200)


def test_a_word_said_before_a_noise_starts_is_no_part_of_the_noise() -> None:
    found = utterances(sound(noise(2), voice(0.4), noise(3, rms=300, seed=8)))
    assert [u.steady for u in found] == [False]
    assert found[0].start_ms == pytest.approx(2000, abs=90)
    assert found[0].decided_ms < 2400 + 1300


def test_a_noise_that_grows_little_is_the_room_within_two_seconds() -> None:
    endpointer = Endpointer()
    run(sound(noise(3, rms=300, seed=2), noise(2.2, rms=550, seed=3)), endpointer)
    assert endpointer.noise_dbfs == pytest.approx(20 * np.log10(550 / 23170), abs=2.5)


def test_speech_in_a_noise_is_not_taken_for_a_louder_noise() -> None:
    syllables = [part for _ in range(12) for part in (voice(0.25, peak=3000), noise(0.03))]
    pcm = sound(noise(3, rms=300, seed=4), np.concatenate(syllables) + noise(3.37, rms=300, seed=7)[:53760])
    assert not [e for e in run(pcm) if isinstance(e, NoiseGrew)]


def test_clipping_is_counted() -> None:
    (found,) = utterances(sound(noise(1), voice(0.6, peak=60000), noise(1.5)))
    assert found.clipped > 100


def test_reset_forgets_an_open_utterance_and_keeps_the_time() -> None:
    endpointer = Endpointer()
    pcm = sound(noise(1), voice(0.6))
    for at in range(0, len(pcm) - FRAME_BYTES + 1, FRAME_BYTES):
        endpointer.feed(pcm[at : at + FRAME_BYTES])
    assert endpointer.in_speech
    endpointer.reset()
    assert not endpointer.in_speech
    assert endpointer.flush() == ()
    assert endpointer.now_ms == len(pcm) // FRAME_BYTES * FRAME_MS


def test_a_frame_of_another_size_is_refused() -> None:
    with pytest.raises(ValueError, match="960"):
        Endpointer().feed(bytes(100))


PIECES = st.lists(
    st.tuples(st.sampled_from(["voice", "noise", "zeros", "loud"]), st.floats(0.03, 1.5)),
    min_size=1,
    max_size=8,
)


@settings(max_examples=40, deadline=None)
@given(PIECES, st.sampled_from(Outlook))
def test_events_are_well_formed_whatever_comes(pieces: list[tuple[str, float]], outlook: Outlook) -> None:
    makers = {
        "voice": voice,
        "noise": noise,
        "zeros": lambda s: np.zeros(int(s * RATE)),
        "loud": lambda s: noise(s, rms=20000),
    }
    pcm = (
        np.clip(np.concatenate([makers[kind](s) for kind, s in pieces]), -32768, 32767)
        .astype("<i2")
        .tobytes()
    )
    endpointer = Endpointer(EndpointerSettings(longest_s=2.0), outlook=lambda: outlook)
    given_out = b""
    speaking = False
    last = 0
    for event in run(pcm, endpointer):
        match event:
            case SpeechStarted(preroll):
                assert not speaking
                speaking, given_out = True, preroll
            case SpeechContinues(frame):
                assert speaking
                given_out += frame
            case SpeechEnded(utterance):
                assert speaking
                speaking = False
                assert utterance.pcm == given_out
                assert given_out in pcm
                assert last <= utterance.start_ms < utterance.end_ms <= utterance.decided_ms
                assert len(given_out) <= 2.0 * 32000 + FRAME_BYTES
                last = utterance.decided_ms
    assert not speaking


def test_a_voice_is_found_in_loud_noise_by_what_is_left_when_that_is_taken_out() -> None:
    """Broad noise at 5 dB: by the frame itself the detector takes the room for somebody who goes on and on."""
    quiet = np.concatenate([np.zeros(8 * RATE), voice(0.8), np.zeros(2 * RATE)])
    pcm = sound(quiet + noise(10.8, rms=900, seed=6))
    endpointer, suppressor = Endpointer(), Suppressor()
    found = []
    for at in range(0, len(pcm) - FRAME_BYTES + 1, FRAME_BYTES):
        frame = pcm[at : at + FRAME_BYTES]
        for event in endpointer.feed(frame, suppressor.feed(frame)):
            if isinstance(event, SpeechStarted | SpeechEnded):
                suppressor.speaking = isinstance(event, SpeechStarted)
            if isinstance(event, SpeechEnded):
                found.append(event.utterance)
    (late,) = [u for u in found if u.end_ms > 7500]
    assert late.start_ms == pytest.approx(8000, abs=150)
    assert late.end_ms == pytest.approx(8800, abs=200)
