"""Sound in: WAV files, microphone, levels, and where an utterance begins and ends."""

from handsfree.audio._endpoint import (
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
    Utterance,
    frames,
)
from handsfree.audio._errors import AudioError, MicrophoneLost
from handsfree.audio._flac import read_flac, read_sound, sound_files, write_flac
from handsfree.audio._levels import (
    FLOOR_DBFS,
    clipped_samples,
    dbfs,
    frame_levels,
    noise_floor_dbfs,
    samples,
    snr_db,
)
from handsfree.audio._microphone import Device, Microphone, choose_device, list_devices, rescan_devices
from handsfree.audio._mix import active_dbfs, coloured_noise, mix, pink, surround
from handsfree.audio._native import native_messages_hidden
from handsfree.audio._sources import ScriptLine, Source, WavScript, room_noise
from handsfree.audio._suppress import Suppressor, suppressed
from handsfree.audio._wav import MAX_SECONDS, SAMPLE_RATE, read_wav, write_wav

__all__ = [
    "FLOOR_DBFS",
    "FRAME_BYTES",
    "FRAME_MS",
    "MAX_SECONDS",
    "SAMPLE_RATE",
    "AudioError",
    "Device",
    "Endpointer",
    "EndpointerSettings",
    "Microphone",
    "MicrophoneLost",
    "NoiseGrew",
    "Outlook",
    "ScriptLine",
    "Source",
    "SpeechContinues",
    "SpeechEnded",
    "SpeechEvent",
    "SpeechStarted",
    "Suppressor",
    "Utterance",
    "WavScript",
    "active_dbfs",
    "choose_device",
    "clipped_samples",
    "coloured_noise",
    "dbfs",
    "frame_levels",
    "frames",
    "list_devices",
    "mix",
    "native_messages_hidden",
    "noise_floor_dbfs",
    "pink",
    "read_flac",
    "read_sound",
    "read_wav",
    "rescan_devices",
    "room_noise",
    "samples",
    "snr_db",
    "sound_files",
    "suppressed",
    "surround",
    "write_flac",
    "write_wav",
]
