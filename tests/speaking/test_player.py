"""Players, above all the sound card's account: completed only when everything came out."""

from __future__ import annotations

import builtins
import threading
from collections.abc import Callable
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any, ClassVar

import numpy as np
import pytest

from handsfree.speaking import (
    CardPlayer,
    Clip,
    FilePlayer,
    NullPlayer,
    Played,
    SpeakingError,
    load_sounddevice,
)
from handsfree.speaking import _card as card
from handsfree.speaking._sound_file import read_clip

RATE = 16000
CLIP = Clip((np.arange(RATE // 2) % 1000 + 1).astype("<i2").tobytes(), RATE)  # half a second, no zero sample


def test_played_counts() -> None:
    assert Played(100, 100, 1000).completed
    assert not Played(99, 100, 1000).completed
    assert not Played(0, 0, 1000).completed
    assert (Played(99, 100, 1000).played_ms, Played(99, 100, 1000).total_ms) == (99, 100)
    assert Played(1, 1).total_ms == 0


def test_nothing_is_played_whole() -> None:
    player = NullPlayer()
    assert player.play(CLIP) == Played(CLIP.frames, CLIP.frames, RATE)
    player.stop()
    player.close()


def test_files_are_numbered_and_go_on(tmp_path: Path) -> None:
    player = FilePlayer(tmp_path / "spoken")
    assert player.last is None
    assert player.play(CLIP).completed
    player.play(CLIP, interruptible=True)
    player.stop()
    player.close()
    again = FilePlayer(tmp_path / "spoken")
    again.play(CLIP)
    assert again.last == tmp_path / "spoken" / "0003.wav"
    assert [read_clip(path) for path in sorted((tmp_path / "spoken").iterdir())] == [CLIP] * 3


def test_a_folder_for_replies_that_can_not_be_used_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(SpeakingError, match="can't write replies to"):
        FilePlayer(tmp_path / "file")
    player = FilePlayer(tmp_path / "spoken")
    (tmp_path / "spoken").rmdir()
    with pytest.raises(SpeakingError, match="can't write the reply"):
        player.play(CLIP)


@pytest.mark.parametrize(
    ("error", "says"),
    [
        (OSError("PortAudio library not found"), "libportaudio2"),
        (ImportError("No module named 'sounddevice'"), "pip install sounddevice"),
    ],
)
def test_missing_portaudio_names_the_package(
    error: Exception, says: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = builtins.__import__

    def without(name: str, *rest: Any, **more: Any) -> ModuleType:
        if name == "sounddevice":
            raise error
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", without)
    for use in (load_sounddevice, CardPlayer):
        with pytest.raises(SpeakingError, match=says) as told:
            use()
        assert "\n" not in str(told.value)


class FakeCard:
    """A sounddevice module with one device and its clock: it plays in real time, unless told to misbehave."""

    class PortAudioError(Exception):
        pass

    class CallbackStop(Exception):
        pass

    class CallbackAbort(Exception):
        pass

    def __init__(self, **behaviour: Any) -> None:
        self.speed = behaviour.get("speed", 1.0)  # how much faster than real time it takes sound
        self.dies_after = behaviour.get("dies_after", 1e9)  # buffers, then the stream ends by itself
        self.stalls_after = behaviour.get("stalls_after", 1e9)  # buffers, then nothing happens any more
        self.rates = behaviour.get("rates", (RATE, 22050, 48000))
        self.broken = behaviour.get("broken", "")
        # The buffers by number before which the card had nothing to play, and for how long.
        self.gaps, self.late_s = behaviour.get("gaps", ()), behaviour.get("late_s", 0.0)
        self.on_buffer: Callable[[int], None] = behaviour.get("on_buffer", lambda number: None)
        self.out = bytearray()
        self.now = 0.0
        self.opened: dict[str, Any] = {}

    def check_output_settings(self, *, samplerate: int, **_: Any) -> None:
        if samplerate not in self.rates:
            raise self.PortAudioError("Invalid sample rate [PaErrorCode -9997]")

    def query_devices(self, device: Any, kind: str) -> dict[str, Any]:
        if not self.rates:
            raise self.PortAudioError("Error querying device -1")
        return {"default_samplerate": float(self.rates[-1])}

    def RawOutputStream(self, **settings: Any) -> FakeStream:
        if self.broken:
            raise self.PortAudioError(self.broken)
        self.opened = settings
        return FakeStream(self, **settings)


class FakeStream:
    FRAMES: ClassVar[int] = 800
    latency = 0.05

    def __init__(
        self, card: FakeCard, samplerate: int, callback: Any, finished_callback: Any, **_: Any
    ) -> None:
        self.card, self.rate, self.callback, self.finished = card, samplerate, callback, finished_callback
        self.gone = threading.Event()
        self.thread = threading.Thread(target=self.run, daemon=True)

    def __enter__(self) -> FakeStream:
        self.thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.abort()

    def abort(self) -> None:
        self.gone.set()
        self.thread.join()

    def run(self) -> None:
        """One buffer after another; like PortAudio, it ends by itself only when its buffers ran empty."""
        number = 0
        while not self.gone.is_set():
            if number >= self.card.stalls_after:
                self.gone.wait(30)
                return
            if number >= self.card.dies_after:
                break
            buffer = bytearray(2 * self.FRAMES)
            try:
                late = SimpleNamespace(output_underflow=number in self.card.gaps)
                self.card.now += self.card.late_s if number in self.card.gaps else 0.0
                self.callback(buffer, self.FRAMES, None, late)
            except self.card.CallbackAbort:
                break
            except self.card.CallbackStop:
                self.play(buffer)
                break
            self.play(buffer)
            number += 1
            self.card.on_buffer(number)
        self.finished()

    def play(self, buffer: bytearray) -> None:
        self.card.out += buffer
        self.card.now += self.FRAMES / self.rate / self.card.speed


@pytest.fixture
def fake(monkeypatch: pytest.MonkeyPatch) -> Callable[..., tuple[FakeCard, CardPlayer]]:
    def make(grace_s: float = 3.0, **behaviour: Any) -> tuple[FakeCard, CardPlayer]:
        device = FakeCard(**behaviour)
        monkeypatch.setattr(card, "load_sounddevice", lambda: device)
        return device, CardPlayer(device="speaker", clock=lambda: device.now, grace_s=grace_s)

    return make


Make = Callable[..., tuple[FakeCard, CardPlayer]]


def test_a_clip_played_to_its_end_is_completed_and_every_sample_was_handed_over(fake: Make) -> None:
    device, player = fake()
    assert player.play(CLIP) == Played(CLIP.frames, CLIP.frames, RATE)
    assert bytes(device.out).rstrip(b"\0") == CLIP.pcm.rstrip(b"\0")
    assert {key: device.opened[key] for key in ("samplerate", "channels", "dtype", "device")} == {
        "samplerate": RATE,
        "channels": 1,
        "dtype": "int16",
        "device": "speaker",
    }


def test_a_stream_that_ends_early_is_not_completed(fake: Make) -> None:
    _, player = fake(dies_after=5)
    played = player.play(CLIP)
    assert not played.completed
    # Five buffers were handed over; what the device still held (its latency) is not counted as heard.
    assert played.frames <= 5 * FakeStream.FRAMES - int(FakeStream.latency * RATE)


def test_a_device_that_stalls_is_not_completed_and_does_not_hang(fake: Make) -> None:
    _, player = fake(stalls_after=3, grace_s=0.05)
    played = player.play(CLIP)
    assert not played.completed
    assert played.frames <= 3 * FakeStream.FRAMES


def test_a_device_that_takes_the_sound_but_never_plays_its_last_buffer_is_not_completed(fake: Make) -> None:
    _, player = fake(stalls_after=CLIP.frames // FakeStream.FRAMES - 1, grace_s=0.05)
    assert not player.play(CLIP).completed


def test_a_device_that_never_asks_for_sound_played_nothing(fake: Make) -> None:
    _, player = fake(stalls_after=0, grace_s=0.05)
    assert player.play(CLIP) == Played(0, CLIP.frames, RATE)


def test_a_device_that_swallows_sound_faster_than_it_lasts_is_not_completed(fake: Make) -> None:
    """As a driver without a loudspeaker does, which reports success at once."""
    _, player = fake(speed=50)
    played = player.play(CLIP)
    assert not played.completed
    assert played.frames < CLIP.frames // 2


def test_an_interruptible_clip_stops_and_says_how_far_it_came(fake: Make) -> None:
    device, player = fake()
    device.on_buffer = lambda number: player.stop() if number == 4 else None
    played = player.play(CLIP, interruptible=True)
    assert 0 < played.frames < 5 * FakeStream.FRAMES
    assert not played.completed
    device.on_buffer = lambda number: None
    assert player.play(CLIP, interruptible=True).completed  # a stop ends only the clip it met


def test_a_caution_is_not_interrupted(fake: Make) -> None:
    device, player = fake()
    device.on_buffer = lambda number: player.stop()
    assert player.play(CLIP, interruptible=False).completed


def test_a_device_with_another_rate_gets_the_sound_at_its_own(fake: Make) -> None:
    device, player = fake(rates=(48000,))
    assert player.play(CLIP) == Played(CLIP.frames, CLIP.frames, RATE)
    assert device.opened["samplerate"] == 48000
    assert len(device.out) / 2 / 48000 == pytest.approx(CLIP.seconds, abs=FakeStream.FRAMES / 48000)


def test_an_empty_clip_is_not_completed(fake: Make) -> None:
    _, player = fake()
    assert not player.play(Clip(b"", RATE)).completed


@pytest.mark.parametrize(
    ("behaviour", "says"),
    [
        (
            {"broken": "Error opening RawOutputStream:\nDevice unavailable"},
            "Device unavailable.*choose another",
        ),
        ({"rates": ()}, "no output device"),
    ],
)
def test_a_device_that_can_not_be_opened_is_told(behaviour: dict[str, Any], says: str, fake: Make) -> None:
    _, player = fake(**behaviour)
    with pytest.raises(SpeakingError, match=says) as told:
        player.play(CLIP)
    assert "\n" not in str(told.value)
    player.close()


def test_a_clip_with_a_gap_counts_up_to_the_gap_only(fake: Make) -> None:
    _, player = fake(gaps=(5,), late_s=0.6)
    played = player.play(CLIP)
    assert not played.completed
    assert played.frames <= 5 * FakeStream.FRAMES


def test_a_gap_that_is_told_and_takes_no_time_is_none(fake: Make) -> None:
    """As by a sound server's plugin: the recording of such a sentence is whole."""
    _, player = fake(gaps=(2, 5, 9), late_s=0.0)
    assert player.play(CLIP).completed


def test_a_device_that_tells_of_a_gap_before_the_first_sample_lost_nothing(fake: Make) -> None:
    _, player = fake(gaps=(0,))
    assert player.play(CLIP).completed
