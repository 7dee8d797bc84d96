"""Chimes must be told apart by someone who hears no pitch, and must not click."""

from __future__ import annotations

import itertools

import numpy as np
import numpy.typing as npt
import pytest

from handsfree.speaking import CHIMES, SpeakingError, chime

Floats = npt.NDArray[np.float64]


def samples(name: str) -> Floats:
    return np.frombuffer(chime(name).pcm, "<i2").astype(np.float64) / 32768


def pulses(name: str) -> list[tuple[int, int]]:
    """Start and length in ms of each sounding part, found in the sound itself by 10 ms windows."""
    sound = samples(name)
    window = chime(name).rate // 100
    loud = [bool(np.abs(sound[at : at + window]).max() > 0.1) for at in range(0, len(sound), window)]
    found, at = [], 0
    for on, group in itertools.groupby(loud):
        length = len(list(group))
        if on:
            found.append((10 * at, 10 * length))
        at += length
    return found


def spectrum(name: str) -> tuple[Floats, Floats]:
    sound = samples(name)
    return np.fft.rfftfreq(len(sound), 1 / chime(name).rate), np.abs(np.fft.rfft(sound)) ** 2


def test_there_are_the_four() -> None:
    assert set(CHIMES) == {"armed", "accepted", "refused", "wait_over"}


@pytest.mark.parametrize(("one", "other"), list(itertools.combinations(CHIMES, 2)))
def test_any_two_differ_in_count_or_at_least_threefold_in_length(one: str, other: str) -> None:
    a, b = pulses(one), pulses(other)
    longest = sorted([max(length for _, length in a), max(length for _, length in b)])
    assert len(a) != len(b) or longest[1] >= 3 * longest[0]


@pytest.mark.parametrize(("name", "count"), [("armed", 1), ("accepted", 2), ("refused", 1), ("wait_over", 6)])
def test_the_pulses_can_be_counted_in_the_sound(name: str, count: int) -> None:
    assert len(pulses(name)) == count


def test_pitch_carries_nothing() -> None:
    """The strongest tones are the same in every chime, within what their length resolves."""
    peaks = []
    for name in CHIMES:
        hertz, power = spectrum(name)
        low, high = hertz < 800, hertz >= 800
        peaks.append((hertz[low][power[low].argmax()], hertz[high][power[high].argmax()]))
    spread = np.ptp(np.array(peaks), axis=0)
    assert (spread < 12).all(), peaks


@pytest.mark.parametrize("name", CHIMES)
def test_the_energy_is_where_a_worn_ear_still_hears(name: str) -> None:
    hertz, power = spectrum(name)
    assert power[(hertz >= 500) & (hertz <= 1500)].sum() > 0.95 * power.sum()


@pytest.mark.parametrize("name", CHIMES)
def test_it_is_loud_and_does_not_clip_or_click(name: str) -> None:
    sound = samples(name)
    assert 0.65 < np.abs(sound).max() < 0.75
    assert (sound[0], sound[-1]) == (0, 0)
    # A click is energy far above the tones: a cut of the same tone at full swing has 40 dB more of it.
    hertz, power = spectrum(name)
    assert power[hertz > 4000].sum() < 1e-6 * power.sum()


def test_an_unknown_chime_is_told() -> None:
    with pytest.raises(SpeakingError, match="no chime 'gong': there are armed, accepted"):
        chime("gong")
