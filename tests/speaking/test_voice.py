"""The voice really speaks, says so when it can't, and never hangs."""

from __future__ import annotations

import array
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soxr
from pocketsphinx import Decoder, get_model_path

from handsfree.speaking import Clip, Pyttsx3Voice, SilentVoice, VoiceError
from handsfree.speaking import _voice as voice_module


@pytest.fixture(scope="module")
def voice() -> Iterator[Pyttsx3Voice]:
    """One synthesizer for the module; where the system has no voice at all, that is the skip's reason."""
    voice = Pyttsx3Voice()
    try:
        voice.clip("ready")
    except VoiceError as error:
        if sys.platform == "linux":  # the wheel brings the voice, so its absence is a failure
            raise
        pytest.skip(str(error))
    yield voice
    voice.close()


def peak(clip: Clip) -> int:
    return max(map(abs, array.array("h", clip.pcm)))


@pytest.mark.parametrize(
    "text",
    [
        "Affirmative.",
        "Say the injury size in millimeters.",
        "Warning. Wear eye protection before you turn the tire.",
    ],
)
def test_a_sentence_lasts_as_long_as_a_person_would_take(voice: Pyttsx3Voice, text: str) -> None:
    clip = voice.clip(text)
    syllables = len(re.findall(r"[aeiouy]+", text.lower()))
    # Conversational speech: 3 to 7 syllables a second (common knowledge of phonetics, from memory), and the
    # synthesizer ends a sentence with a pause.
    assert syllables / 8 < clip.seconds < syllables / 2.5 + 1
    assert peak(clip) > 3000
    assert clip.rate >= 16000


def test_a_higher_rate_is_faster(voice: Pyttsx3Voice) -> None:
    fast = Pyttsx3Voice(rate_wpm=260)
    try:
        text = "Stitch the patch from the center outwards."
        assert fast.clip(text).seconds < 0.8 * voice.clip(text).seconds
    finally:
        fast.close()


PHRASES = ("affirmative", "negative", "correction", "one four point five", "nine zero seven", "say again")


def recognize(clip: Clip) -> str:
    """The best of ``PHRASES`` for the clip, by PocketSphinx and its shipped model."""
    decoder = Decoder(
        lm=None, hmm=get_model_path("en-us/en-us"), dict=get_model_path("en-us/cmudict-en-us.dict")
    )
    rules = " | ".join(PHRASES)
    decoder.add_jsgf_string("phrases", f"#JSGF V1.0;\ngrammar phrases;\npublic <phrase> = {rules};\n")
    decoder.activate_search("phrases")
    samples = np.frombuffer(clip.pcm, "<i2").astype(np.float64)
    sound = soxr.resample(samples, clip.rate, 16000)
    room = np.random.default_rng(1).normal(0, 8, 8000)  # digital silence would spoil the cepstral mean
    sound = np.concatenate([room, sound + np.resize(room, sound.shape), room])
    decoder.start_utt()
    decoder.process_raw(np.clip(sound, -32768, 32767).astype("<i2").tobytes(), full_utt=True)
    decoder.end_utt()
    hypothesis = decoder.hyp()
    return hypothesis.hypstr if hypothesis else ""


def test_what_was_said_is_recognized_again(voice: Pyttsx3Voice) -> None:
    """A second program must hear the words. One of the six may be missed: the recognizer is not perfect."""
    heard = [recognize(voice.clip(phrase)) for phrase in PHRASES]
    assert sum(h == phrase for h, phrase in zip(heard, PHRASES, strict=True)) >= len(PHRASES) - 1, heard


def test_the_same_text_is_the_same_clip_and_spaces_do_not_matter(voice: Pyttsx3Voice) -> None:
    assert voice.clip("say  again\n") is voice.clip("say again")


@pytest.mark.parametrize("text", ["", "  \n", "..."])
def test_nothing_to_say_is_told(voice: Pyttsx3Voice, text: str) -> None:
    with pytest.raises(VoiceError, match=r"nothing to say|made no sound") as told:
        voice.clip(text)
    assert "\n" not in str(told.value)
    assert voice.clip("affirmative").frames


@pytest.mark.parametrize(
    "text", ["<speak>a & b</speak>", "[[hello]]", 'quote " and \\ slash', "naïve café ½", "a" * 500]
)
def test_odd_text_is_only_text(voice: Pyttsx3Voice, text: str) -> None:
    assert voice.clip(text).seconds > 0.1


def test_nothing_is_printed(voice: Pyttsx3Voice, capfd: pytest.CaptureFixture[str]) -> None:
    voice.clip("this sentence is new")
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("rate", [0, 79, 401])
def test_a_rate_nobody_could_follow_is_refused(rate: int) -> None:
    with pytest.raises(VoiceError, match="choose 80 to 400"):
        Pyttsx3Voice(rate_wpm=rate)


def test_an_unknown_voice_is_told() -> None:
    voice = Pyttsx3Voice(voice="no-such-voice")
    try:
        with pytest.raises(VoiceError, match="no voice 'no-such-voice' is installed") as told:
            voice.clip("hello")
        assert "\n" not in str(told.value)
    finally:
        voice.close()


def script(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "worker.py"
    path.write_text("import json, sys, time, os\n" + text, encoding="utf-8")
    return path


READY = 'print(json.dumps({"ok": True, "error": ""}), flush=True)\n'


@pytest.mark.parametrize(
    ("worker", "says"),
    [
        ("time.sleep(60)", "did not answer in time"),
        (READY + "sys.stdin.readline(); time.sleep(60)", "did not answer in time"),
        (READY + "sys.stdin.readline(); os._exit(3)", "ended unexpectedly"),
        ("os._exit(3)", "ended unexpectedly"),
        ('print(json.dumps({"ok": False, "error": "no driver"}), flush=True)', "no driver"),
        (READY + "sys.stdin.readline(); " + READY + "time.sleep(60)", "wrote no sound"),
    ],
)
def test_a_synthesizer_that_hangs_dies_or_lies_is_told(worker: str, says: str, tmp_path: Path) -> None:
    voice = Pyttsx3Voice(worker=script(tmp_path, worker), deadline_s=0.5 if "60" in worker else 20)
    try:
        with pytest.raises(VoiceError, match=says) as told:
            voice.clip("hello")
        assert "\n" not in str(told.value)
    finally:
        voice.close()


def test_after_a_hang_the_next_sentence_gets_a_new_synthesizer(tmp_path: Path) -> None:
    hangs = script(tmp_path, "time.sleep(60)")
    voice = Pyttsx3Voice(worker=hangs, deadline_s=0.2)
    try:
        with pytest.raises(VoiceError, match="did not answer in time"):
            voice.clip("hello")
        voice._worker_file, voice._deadline_s = script(tmp_path, TONE), 60
        assert voice.clip("hello").frames == 1600
    finally:
        voice.close()


TONE = f"""
import array, wave
{READY}
request = json.loads(sys.stdin.readline())
with wave.open(request["path"], "wb") as out:
    out.setnchannels(1); out.setsampwidth(2); out.setframerate(16000)
    out.writeframes(array.array("h", [9000, -9000] * 800).tobytes())
{READY}
sys.stdin.readline()
"""


def test_close_leaves_no_process_and_no_files() -> None:
    voice = Pyttsx3Voice()
    voice.clip("hello")
    process, folder = voice._worker._process, Path(voice._folder.name)  # type: ignore[union-attr]
    voice.close()
    assert process.poll() is not None
    assert not folder.exists()
    voice.close()


def test_the_cache_folder_is_used_and_a_damaged_file_is_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = Pyttsx3Voice(cache_dir=tmp_path / "cache")
    clip = first.clip("say again")
    first.close()
    (kept,) = (tmp_path / "cache").iterdir()

    asked: list[object] = []
    ask = voice_module._Worker.ask
    monkeypatch.setattr(
        voice_module._Worker,
        "ask",
        lambda self, request, deadline: (asked.append(request), ask(self, request, deadline)),
    )
    second = Pyttsx3Voice(cache_dir=tmp_path / "cache")
    assert second.clip("say again") == clip
    assert asked == []
    second.close()

    kept.write_bytes(kept.read_bytes()[:30])
    third = Pyttsx3Voice(cache_dir=tmp_path / "cache")
    assert third.clip("say again") == clip
    assert len(asked) == 1
    third.close()


def test_a_cache_folder_that_can_not_be_made_is_done_without(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    voice = Pyttsx3Voice(cache_dir=tmp_path / "file" / "cache")
    assert voice.clip("hello").frames
    voice.close()


def test_silence_lasts_as_long_as_the_text() -> None:
    voice = SilentVoice()
    assert voice.clip("x" * 150).seconds == 10
    assert set(voice.clip("hello").pcm) == {0}
    with pytest.raises(VoiceError, match="nothing to say"):
        voice.clip(" ")
    voice.close()
