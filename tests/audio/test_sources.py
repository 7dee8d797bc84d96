"""A technician made of files, and a microphone made of nothing."""

from __future__ import annotations

import sys
import threading
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from handsfree.audio import (
    FRAME_BYTES,
    AudioError,
    Microphone,
    MicrophoneLost,
    ScriptLine,
    WavScript,
    dbfs,
    list_devices,
    room_noise,
    samples,
    write_wav,
)


@pytest.fixture
def line(tmp_path: Path) -> Path:
    """0.3 s of room, 0.6 s of tone, 0.6 s of room."""
    room = np.random.default_rng(2).normal(0, 25, 24000)
    room[4800:14400] += 6000 * np.sin(2 * np.pi * 500 * np.arange(9600) / 16000)
    write_wav(tmp_path / "line.wav", room.astype("<i2").tobytes())
    return tmp_path / "line.wav"


def read(script: WavScript, frames: int) -> list[float]:
    return [dbfs(script.read()) for _ in range(frames)]


def loud(levels: list[float]) -> int:
    return sum(level > -30 for level in levels)


def test_nobody_speaks_unasked(line: Path) -> None:
    assert loud(read(WavScript([line]), 200)) == 0


def test_a_cue_brings_the_pause_and_then_the_line(line: Path) -> None:
    script = WavScript([ScriptLine(line, pause_s=0.9)])
    script.cue()
    levels = read(script, 30 + 50)
    assert loud(levels[:38]) == 0  # the pause and the room at the file's head
    assert loud(levels) == 20
    assert script.exhausted


def test_lines_come_one_a_cue(line: Path) -> None:
    script = WavScript([line, line, line])
    for said in range(3):
        assert not script.exhausted
        script.cue()
        assert loud(read(script, 100)) == 20, said
    assert script.exhausted
    script.cue()
    assert loud(read(script, 100)) == 0


def test_a_cue_too_many_while_speaking_changes_nothing(line: Path) -> None:
    script = WavScript([ScriptLine(line, 0.3), line])
    script.cue()
    script.cue()
    read(script, 30)  # in the middle of the tone
    script.cue()
    assert loud(read(script, 200)) <= 20
    assert not script.exhausted


def test_a_cue_in_the_quiet_after_the_words_counts(line: Path) -> None:
    script = WavScript([ScriptLine(line, 0.3), line])
    script.cue()
    read(script, 10 + 35)  # past the tone, within the file
    script.cue()
    assert loud(read(script, 100)) == 20
    assert script.exhausted


def test_what_is_said_of_its_own_accord_needs_no_question(line: Path) -> None:
    script = WavScript([ScriptLine(line, interjects=True), line])
    script.cue(answer=False)
    assert loud(read(script, 100)) == 20
    script.cue(answer=False)
    assert loud(read(script, 100)) == 0


def test_there_is_never_digital_silence(tmp_path: Path) -> None:
    write_wav(tmp_path / "zeros.wav", bytes(16001 * 2))
    script = WavScript([tmp_path / "zeros.wav"])
    for _ in range(60):
        assert any(script.read())
    assert dbfs(script.read()) == pytest.approx(-66, abs=1)


def test_the_room_sounds_like_the_file(line: Path) -> None:
    script = WavScript([line])
    assert np.mean(read(script, 50)) == pytest.approx(20 * np.log10(25 / 23170), abs=1.5)


def test_room_noise_keeps_level_colour_and_seam() -> None:
    assert dbfs(room_noise(level_dbfs=-40)) == pytest.approx(-40, abs=0.1)
    assert room_noise(level_dbfs=-40, seed=1) != room_noise(level_dbfs=-40, seed=2)
    assert room_noise(level_dbfs=-40, seed=3) == room_noise(level_dbfs=-40, seed=3)
    hum = 300 * np.sin(2 * np.pi * 200 * np.arange(16000) / 16000)
    loop = samples(room_noise(hum.astype("<i2").tobytes(), level_dbfs=-40)).astype(float)
    spectrum = np.abs(np.fft.rfft(loop)) ** 2
    assert spectrum[: 400 * 4].sum() / spectrum.sum() > 0.95  # 4 s: four bins a hertz
    assert abs(loop[0] - loop[-1]) <= np.abs(np.diff(loop)).max()


def test_bad_files_are_told_before_the_first_frame(line: Path, tmp_path: Path) -> None:
    with pytest.raises(AudioError, match="no such sound file"):
        WavScript([line, tmp_path / "nobody.wav"])
    with pytest.raises(AudioError, match="no sound files"):
        WavScript([])


class FakeStream:
    """PortAudio's end: the test pushes blocks into the callback."""

    def __init__(self, **settings: Any) -> None:
        self.settings = settings
        self.closed = False

    def start(self) -> None:
        threading.Thread(target=self._run, daemon=True).start()

    def _run(self) -> None:
        size = self.settings["blocksize"]
        for n in range(FakeSounddevice.blocks):
            t = (np.arange(size) + n * size) / self.settings["samplerate"]
            tone = (8000 * np.sin(2 * np.pi * 440 * t)).astype("<i2")
            block = np.repeat(tone, self.settings.get("channels", 1)).tobytes()
            self.settings["callback"](block, size, None, SimpleNamespace(input_overflow=False))

    def close(self) -> None:
        self.closed = True


class FakeSounddevice:
    blocks = 60
    RawInputStream = FakeStream
    default = SimpleNamespace(device=(1, 2))

    @staticmethod
    def query_devices() -> list[dict[str, Any]]:
        return [
            {
                "name": "HDMI",
                "max_input_channels": 0,
                "max_output_channels": 2,
                "default_samplerate": 48000.0,
            },
            {
                "name": "Built-in",
                "max_input_channels": 2,
                "max_output_channels": 0,
                "default_samplerate": 44100.0,
            },
            {
                "name": "Boom Headset",
                "max_input_channels": 1,
                "max_output_channels": 2,
                "default_samplerate": 48000.0,
            },
        ]


@pytest.fixture
def card(monkeypatch: pytest.MonkeyPatch) -> type[FakeSounddevice]:
    monkeypatch.setitem(sys.modules, "sounddevice", FakeSounddevice)
    monkeypatch.setattr(FakeSounddevice, "blocks", 60)
    return FakeSounddevice


@pytest.mark.parametrize(("name", "rate"), [("headset", 48000), (None, 44100)])
def test_a_microphone_runs_at_its_own_rate_and_gives_ours(card: object, name: str | None, rate: int) -> None:
    microphone = Microphone(name)
    assert microphone.device.rate == rate
    heard = b"".join(microphone.read() for _ in range(40))
    assert len(heard) == 40 * FRAME_BYTES
    spectrum = np.abs(np.fft.rfft(samples(heard)[4000:].astype(float)))
    assert np.argmax(spectrum) * 16000 / (len(heard) // 2 - 4000) == pytest.approx(440, abs=2)
    assert microphone.overflows == 0
    microphone.close()


def test_a_dead_microphone_is_lost(card: object) -> None:
    microphone = Microphone("headset", timeout_s=0.05)
    given = [microphone.read() for _ in range(58)]  # 60 blocks, less what the resampler still holds
    assert len(given) == 58
    with pytest.raises(MicrophoneLost, match="Boom Headset"):
        _ = [microphone.read() for _ in range(3)]


def test_what_is_not_fetched_in_time_is_counted(
    card: type[FakeSounddevice], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(card, "blocks", 200)
    monkeypatch.setattr(threading.Thread, "start", lambda self: self._target())
    microphone = Microphone("headset")
    assert microphone.overflows == 200 - 128
    microphone.drain()


def test_no_such_microphone(card: object) -> None:
    with pytest.raises(AudioError, match=r"no microphone with 'webcam'.*'Built-in', 'Boom Headset'"):
        Microphone("webcam")


def test_devices_are_listed_by_name(card: object) -> None:
    devices = list_devices()
    assert [d.name for d in devices] == ["HDMI", "Built-in", "Boom Headset"]
    assert devices[1].default_input
    assert devices[2].default_output


@pytest.mark.parametrize(
    ("error", "says"),
    [(OSError("PortAudio library not found"), "libportaudio2"), (ImportError("no"), "pip install")],
)
def test_without_portaudio_files_and_keyboard_are_offered(
    monkeypatch: pytest.MonkeyPatch, error: Exception, says: str
) -> None:
    class Refuse:
        def find_spec(self, name: str, *_: object) -> None:
            if name == "sounddevice":
                raise error

    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr(sys, "meta_path", [Refuse(), *sys.meta_path])
    with pytest.raises(AudioError, match=says) as caught:
        list_devices()
    assert "--wav" in str(caught.value)
    assert "--engine typed" in str(caught.value)


def test_a_microphone_in_use_elsewhere(card: type[FakeSounddevice], monkeypatch: pytest.MonkeyPatch) -> None:
    def busy(**_: Any) -> None:
        raise RuntimeError("Device unavailable")

    monkeypatch.setattr(card, "RawInputStream", staticmethod(busy))
    with pytest.raises(AudioError, match="can't be opened"):
        Microphone("headset")


def test_lost_sound_is_known_where_it_lies(
    card: type[FakeSounddevice], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The queue fills while nobody reads: what is read first is whole, the gap is told with the frame after it."""
    monkeypatch.setattr(card, "blocks", 128 + 5)
    monkeypatch.setattr(threading.Thread, "start", lambda self: self._target())
    microphone = Microphone("headset", timeout_s=0.05)
    assert (microphone.lost, microphone.overflows) == (0, 5)
    for _ in range(100):
        microphone.read()
    assert microphone.lost == 0
    size = microphone.device.rate * 30 // 1000
    microphone._on_block(bytes(2 * size), size, None, SimpleNamespace(input_overflow=False))
    for _ in range(28):
        microphone.read()
    assert microphone.lost in (0, 5)  # the resampler holds a little back
    with pytest.raises(MicrophoneLost):
        _ = [microphone.read() for _ in range(3)]
    assert (microphone.lost, microphone.overflows) == (5, 5)


def test_after_the_tool_spoke_its_echo_is_thrown_away(card: object, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(threading.Thread, "start", lambda self: self._target())
    microphone = Microphone("headset", timeout_s=0.05)
    microphone.cue()
    assert microphone._queue.empty()
    size = microphone.device.rate * 30 // 1000
    loud = np.full(size, 9000, "<i2").tobytes()
    for block in [loud] * 4 + [bytes(2 * size)] * 20:
        microphone._on_block(block, size, None, SimpleNamespace(input_overflow=False))
    # 120 ms for the room; this stream tells no latency of its own.
    levels = [dbfs(microphone.read()) for _ in range(10)]
    assert sum(level > -30 for level in levels[1:]) == 0


def test_with_a_headset_nothing_is_thrown_away(card: object, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(threading.Thread, "start", lambda self: self._target())
    microphone = Microphone("headset", timeout_s=0.05, headset=True)
    microphone.cue()
    given = [microphone.read() for _ in range(58)]
    assert loud([dbfs(frame) for frame in given]) >= 57


def test_how_many_frames_wait_to_be_read(card: object, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(threading.Thread, "start", lambda self: self._target())
    microphone = Microphone("headset", timeout_s=0.05, headset=True)
    before = microphone.waiting
    assert before > 20
    for _ in range(20):
        microphone.read()
    assert (
        before - 22 <= microphone.waiting <= before - 20
    )  # the resampler may want a block more for the first frame
    microphone.drain()
    assert microphone.waiting == 0


def _plugged(
    monkeypatch: pytest.MonkeyPatch, card: type[FakeSounddevice], *found: tuple[str, int, int]
) -> None:
    """Other devices: name, channels in, rate."""
    listed = [
        {"name": name, "max_input_channels": channels, "max_output_channels": 0, "default_samplerate": rate}
        for name, channels, rate in found
    ]
    monkeypatch.setattr(card, "query_devices", staticmethod(lambda: listed))


def test_a_telephone_microphone_is_refused(
    card: type[FakeSounddevice], monkeypatch: pytest.MonkeyPatch
) -> None:
    _plugged(monkeypatch, card, ("Earpiece", 1, 8000))
    with pytest.raises(AudioError, match="'Earpiece' gives only 8000 Hz, speech needs 16000; choose another"):
        Microphone("earpiece")


def test_the_louder_channel_is_heard_and_never_the_sum(
    card: type[FakeSounddevice], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Left nearly dead; then one capsule wired in reverse, whose sum would be silence."""
    _plugged(monkeypatch, card, ("Pair", 2, 16000))
    monkeypatch.setattr(card, "blocks", 0)
    for left, right in ((0.01, 1.0), (-1.0, 1.0)):
        microphone = Microphone("pair", timeout_s=0.05)
        tone = 8000 * np.sin(2 * np.pi * 440 * np.arange(480) / 16000)
        block = np.stack([left * tone, right * tone], axis=1).astype("<i2").tobytes()
        for _ in range(20):
            microphone._on_block(block, 480, None, SimpleNamespace(input_overflow=False))
        heard = b"".join(microphone.read() for _ in range(20))
        assert dbfs(heard) == pytest.approx(20 * np.log10(8000 / 32768), abs=0.1)


@pytest.mark.parametrize("which", ["Boom", None])
def test_a_stream_that_does_not_start_is_closed(
    card: type[FakeSounddevice], monkeypatch: pytest.MonkeyPatch, which: str | None
) -> None:
    made: list[FakeStream] = []

    def opened(**settings: Any) -> FakeStream:
        made.append(FakeStream(**settings))
        return made[-1]

    def busy(self: FakeStream) -> None:
        raise RuntimeError("Device unavailable")

    monkeypatch.setattr(card, "RawInputStream", staticmethod(opened))
    monkeypatch.setattr(FakeStream, "start", busy)
    with pytest.raises(AudioError, match="can't be opened"):
        Microphone(which)
    assert made
    assert all(stream.closed for stream in made)


def test_a_name_that_fits_several_is_refused_and_a_whole_name_wins(
    card: type[FakeSounddevice], monkeypatch: pytest.MonkeyPatch
) -> None:
    _plugged(monkeypatch, card, ("Boom Pro", 1, 48000), ("Boom", 1, 48000), ("Tube", 1, 48000))
    assert Microphone("boom").device.name == "Boom"
    assert Microphone("PRO").device.name == "Boom Pro"
    with pytest.raises(AudioError, match=r"several microphones have 'bo' in their names.*'Boom Pro', 'Boom'"):
        Microphone("bo")
