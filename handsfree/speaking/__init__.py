"""Speaking: text to a clip, a clip to a card or a file, and an account of what really came out."""

from ._card import CardPlayer, load_sounddevice
from ._chimes import CHIMES, chime
from ._player import FilePlayer, NullPlayer
from ._speaker import Speaker
from ._text import speakable
from ._types import Clip, Played, Player, SpeakingError, Voice, VoiceError
from ._voice import Pyttsx3Voice, SilentVoice

__all__ = [
    "CHIMES",
    "CardPlayer",
    "Clip",
    "FilePlayer",
    "NullPlayer",
    "Played",
    "Player",
    "Pyttsx3Voice",
    "SilentVoice",
    "Speaker",
    "SpeakingError",
    "Voice",
    "VoiceError",
    "chime",
    "load_sounddevice",
    "speakable",
]
