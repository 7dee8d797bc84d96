"""The process that owns the speech synthesizer. Started by ``_voice.py``; imports nothing of the package.

pyttsx3 can hang, keeps global state, wants one thread (on macOS the main one) and prints on stdout. In a
process of its own it can be given a deadline and ended. One JSON line in (``text``, ``path``, ``rate``,
``voice``), one JSON line out (``ok``, ``error``). The first line out says that the synthesizer is ready.
"""

from __future__ import annotations

import contextlib
import ctypes
import json
import os
import sys
import threading
import wave
from typing import Any, TextIO

_ESPEAK_RATE = 22050  # of every voice that comes with the library
_ENGLISH = ("en-us", "en_us", "en-gb", "en_gb", "english", "/en")


def main() -> None:
    """Serve requests until standard input ends, which it does when the parent dies."""
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)  # what pyttsx3 or a driver prints must not mix with the answers
    try:
        engine = _start()
    except Exception as error:
        _answer(answers, ok=False, error=f"{type(error).__name__}: {error}")
        return
    _answer(answers, ok=True, error="")
    for line in sys.stdin:
        try:
            _serve(engine, json.loads(line))
        except Exception as error:
            _answer(answers, ok=False, error=f"{type(error).__name__}: {error}")
        else:
            _answer(answers, ok=True, error="")


def _start() -> Any:
    if sys.platform == "linux":
        _load_espeak()
    import pyttsx3

    return pyttsx3.init()


def _load_espeak() -> None:
    """Load the packaged library first: its SONAME then satisfies pyttsx3 without a system package."""
    with contextlib.suppress(ImportError, OSError):  # then the system's own library is tried
        import espeakng_loader

        ctypes.CDLL(espeakng_loader.get_library_path(), mode=ctypes.RTLD_GLOBAL)
        os.environ["ESPEAK_DATA_PATH"] = espeakng_loader.get_data_path()


def _serve(engine: Any, request: dict[str, Any]) -> None:
    voice = _installed(engine, request["voice"]) if request["voice"] else _english(engine)
    driver = sys.modules.get("pyttsx3.drivers._espeak")
    if driver is not None:
        _Espeak(driver, request["rate"], voice).write(request["text"], request["path"])
        return
    engine.setProperty("rate", request["rate"])
    if voice:
        engine.setProperty("voice", voice)
    engine.save_to_file(request["text"], request["path"])
    engine.runAndWait()


class _Espeak:
    """One sentence to a file by the espeak library that pyttsx3 loaded and set up.

    pyttsx3's own loop leaves after 10 ms whether or not the sound is made, and its callback drops samples that
    come together with the last event: on a busy machine one file in fifty was empty. A caution must be whole.
    """

    def __init__(self, driver: Any, rate: int, voice: str) -> None:
        self._driver = driver
        self._sound: list[bytes] = []
        self._ended = threading.Event()
        driver.SetParameter(driver.RATE, rate, 0)
        if voice and driver.SetVoiceByName(voice.encode("utf-8")):
            raise RuntimeError(f"espeak can't use its voice {voice!r}")

    def write(self, text: str, path: str) -> None:
        driver = self._driver
        driver.Synchronize()  # no callback of an earlier sentence is left
        driver.SetSynthCallback(self._take)
        data = text.encode("utf-8")
        flags = driver.CHARS_UTF8 | driver.ENDPAUSE
        if driver.cSynth(data, len(data) + 1, 0, driver.POS_CHARACTER, 0, flags, None, None):
            raise RuntimeError("espeak did not take the text")
        driver.Synchronize()
        self._ended.wait()  # whoever asks has a deadline and ends this process
        with wave.open(path, "wb") as file:
            file.setnchannels(1)
            file.setsampwidth(2)
            file.setframerate(_ESPEAK_RATE)
            file.writeframes(b"".join(self._sound))

    def _take(self, sound: Any, count: int, events: Any) -> int:
        if count > 0:
            self._sound.append(ctypes.string_at(sound, 2 * count))
        number = 0
        while events[number].type != self._driver.EVENT_LIST_TERMINATED:
            if events[number].type == self._driver.EVENT_MSG_TERMINATED:
                self._ended.set()
            number += 1
        return 0


def _installed(engine: Any, name: str) -> str:
    """The voice of that id. pyttsx3 keeps silent about an unknown one and goes on with another."""
    ids = [str(voice.id) for voice in engine.getProperty("voices")]
    if name not in ids:
        raise ValueError(f"no voice {name!r} is installed")
    return name


_chosen: list[str] = []


def _english(engine: Any) -> str:
    """An installed English voice: a machine set up in another language would read English with its rules."""
    if not _chosen:
        ids = [str(voice.id) for voice in engine.getProperty("voices")]
        fits = (name for part in _ENGLISH for name in ids if part in name.lower())
        _chosen.append(next(fits, ""))
    return _chosen[0]


def _answer(out: TextIO, *, ok: bool, error: str) -> None:
    out.write(json.dumps({"ok": ok, "error": error.replace("\n", " ")}) + "\n")
    out.flush()


if __name__ == "__main__":
    main()
