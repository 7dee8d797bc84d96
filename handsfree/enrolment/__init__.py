"""A technician's own voice: twenty phrases read, transforms of the recognizer's models made, measured and stored."""

from handsfree.enrolment._enrol import Result, make_voice
from handsfree.enrolment._gain import Gain, Tally
from handsfree.enrolment._phrases import Phrase, packaged_phrases
from handsfree.enrolment._store import StoredVoice, VoiceStore, voices_folder
from handsfree.enrolment._takes import Takes, from_file, from_folder, from_source, read_phrases

__all__ = [
    "Gain",
    "Phrase",
    "Result",
    "StoredVoice",
    "Takes",
    "Tally",
    "VoiceStore",
    "from_file",
    "from_folder",
    "from_source",
    "make_voice",
    "packaged_phrases",
    "read_phrases",
    "voices_folder",
]
