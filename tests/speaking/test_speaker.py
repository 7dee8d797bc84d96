"""What is handed to the voice, and what comes back."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.quantity import UNITS
from handsfree.speaking import (
    Clip,
    NullPlayer,
    Played,
    SilentVoice,
    Speaker,
    SpeakingError,
    VoiceError,
    chime,
    speakable,
)


@pytest.mark.parametrize(
    ("written", "spoken"),
    [
        ("35 psi", "35 p s i"),
        ("1 psi", "1 p s i"),
        ("Inflate to 40 psi, wait.", "Inflate to 40 p s i, wait."),
        ("5000 rpm", "5000 r p m"),
        ("at most 6.5mm", "at most 6.5 millimeters"),
        ("1 mm", "1 millimeter"),
        ("1.0 mm", "1.0 millimeters"),
        ("110 N.m", "110 newton meters"),
        ("80 lbf.ft", "80 foot pounds"),
        ("3/8 in", "3 eighths inch"),
        ("1/4 in", "1 quarter inch"),
        ("2 3/32 in", "2 and 3 thirty seconds inches"),
        ("6 in.", "6 inches."),
        ("put 3 in the box", "put 3 in the box"),
        ("20%", "20 percent"),
        ("180 s", "180 seconds"),
        ("1 min", "1 minute"),
        ("Say it in mm or psi.", "Say it in millimeters or p s i."),
        ("WARNING: wear goggles", "Warning. wear goggles"),
        ("DANGER! Keep clear", "Danger. Keep clear"),
        ("CAUTION", "Caution."),
        ("a warning sign", "a warning sign"),
        ("TPMS and DOT code", "t p m s and d o t code"),
        ("dots", "dots"),
        ("a\x1b[2Jb\nc", "a [2Jb c"),
        ("one four point five", "one four point five"),
        ("15/03/2026", "15/03/2026"),
    ],
)
def test_text_is_spelled_out_for_the_voice(written: str, spoken: str) -> None:
    assert speakable(written) == spoken


@pytest.mark.parametrize("symbol", sorted(set(UNITS) - {"a", "1", "in", "32nd", "%"}))
def test_every_unit_is_said_by_its_name(symbol: str) -> None:
    assert speakable(f"7 {symbol} now") == f"7 {UNITS[symbol].plural} now"


@given(st.text())
def test_any_text_becomes_one_line_and_stays_so(text: str) -> None:
    once = speakable(text)
    assert once == " ".join(once.split())
    assert once.isprintable() or not any(ord(char) < 32 for char in once)


class Recording(SilentVoice):
    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []

    def clip(self, text: str) -> Clip:
        self.texts.append(text)
        return super().clip(text)


class RecordingPlayer(NullPlayer):
    def __init__(self) -> None:
        self.played: list[tuple[Clip, bool]] = []
        self.calls: list[str] = []

    def play(self, clip: Clip, interruptible: bool = False) -> Played:
        self.played.append((clip, interruptible))
        return Played(clip.frames - 1, clip.frames, clip.rate)

    def stop(self) -> None:
        self.calls.append("stop")

    def close(self) -> None:
        self.calls.append("close")


def test_the_speaker_joins_text_voice_and_player() -> None:
    voice, player = Recording(), RecordingPlayer()
    speaker = Speaker(voice, player)
    played = speaker.say("WARNING: 40 psi")
    assert voice.texts == ["Warning. 40 p s i"]
    assert player.played[0] == (SilentVoice().clip("Warning. 40 p s i"), False)
    assert not played.completed  # the player's word, not the speaker's
    speaker.say("Side?", interruptible=True)
    assert player.played[1][1] is True
    speaker.chime("accepted")
    assert player.played[2] == (chime("accepted"), False)
    speaker.stop()
    speaker.close()
    assert player.calls == ["stop", "close"]


def test_preparing_plays_nothing() -> None:
    player = RecordingPlayer()
    assert Speaker(SilentVoice(), player).prepare("Say the size.").frames
    assert player.played == []


def test_errors_reach_the_session() -> None:
    speaker = Speaker(SilentVoice(), NullPlayer())
    with pytest.raises(VoiceError, match="nothing to say"):
        speaker.say(" ")
    with pytest.raises(SpeakingError, match="no chime"):
        speaker.chime("gong")
