"""PocketSphinx behind the protocol. Speech by flite's voices (Debian); without it these tests skip."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from listening import hear, with_room

from handsfree.audio import WavScript, read_wav, room_noise, write_wav
from handsfree.bench._script import recorded_lines
from handsfree.grammar import Library, load_pronunciations
from handsfree.hearing import EngineError, MissingWord, PocketSphinxEngine

FLITE = pytest.mark.skipif(shutil.which("flite") is None, reason="flite is not installed")


class Fake:
    def __init__(self, rule: str, *words: str) -> None:
        self._rule, self._words = rule, frozenset(words)

    def jsgf(self) -> str:
        return f"#JSGF V1.0;\ngrammar armed;\npublic <armed> = {self._rule};\n"

    def words(self) -> frozenset[str]:
        return self._words

    def interpret(self, text: str) -> None:
        return None


@pytest.fixture(scope="module")
def engine() -> PocketSphinxEngine:
    return PocketSphinxEngine(load_pronunciations())


@pytest.fixture(scope="module")
def spoken(tmp_path_factory: pytest.TempPathFactory):  # type: ignore[no-untyped-def]
    folder = tmp_path_factory.mktemp("speech")

    def say(text: str, voice: str = "slt", snr: float = 40) -> bytes:
        path = Path(folder) / "say.wav"
        subprocess.run(["flite", "-voice", voice, "-t", text, "-o", str(path)], check=True)
        return with_room(read_wav(path), snr)

    return say


def reading(rule: str = "readings.length_mm"):  # type: ignore[no-untyped-def]
    return Library.load().arm({"answer": f"<{rule}>", "command": "<commands.command>"})


@FLITE
@pytest.mark.parametrize(
    "text",
    [
        "one four point five",
        "two point two five",
        "three eighths of an inch",
        "what is the limit",
        "say again",
    ],
)
def test_plain_speech_is_heard_with_word_times(engine: PocketSphinxEngine, spoken, text: str) -> None:  # type: ignore[no-untyped-def]
    engine.reset()
    engine.arm(reading())
    pcm = spoken(text)
    (found,) = hear(engine, pcm)
    assert found.text == text
    assert found.accepted, (found.reason, found.scores)
    assert found.engine == "pocketsphinx"
    assert [w.text for w in found.words] == text.split()
    times = [t for word in found.words for t in (word.start_s, word.end_s)]
    assert times == sorted(times)
    assert 0 < times[0] < times[-1] < len(pcm) / 32000
    assert {"grammar", "phone"} <= dict(found.scores).keys()


@FLITE
def test_the_same_history_gives_the_same_hypotheses(engine: PocketSphinxEngine, spoken) -> None:  # type: ignore[no-untyped-def]
    said = [spoken("go back"), spoken("eight millimeters")]
    runs = []
    for _ in range(2):
        engine.reset()
        engine.arm(reading())
        runs.append([found for pcm in said for found in hear(engine, pcm)])
    assert runs[0] == runs[1]
    assert len(runs[0]) == 2


@FLITE
def test_what_is_armed_decides(engine: PocketSphinxEngine, spoken) -> None:  # type: ignore[no-untyped-def]
    pcm = spoken("five")
    engine.reset()
    engine.arm(Fake("five | nine", "five", "nine"))  # type: ignore[arg-type]
    assert [h.text for h in hear(engine, pcm)] == ["five"]
    engine.arm(Fake("left front | right rear", "left", "front", "right", "rear"))  # type: ignore[arg-type]
    assert "five" not in [h.text for h in hear(engine, pcm)]


@FLITE
def test_arming_within_an_utterance_is_for_the_next_one(engine: PocketSphinxEngine, spoken) -> None:  # type: ignore[no-untyped-def]
    pcm = spoken("five")
    engine.reset()
    engine.arm(Fake("five | nine", "five", "nine"))  # type: ignore[arg-type]
    engine.begin()
    engine.feed(pcm[:9600])
    engine.arm(Fake("go back", "go", "back"))  # type: ignore[arg-type]
    engine.feed(pcm[9600:])
    assert engine.partial() == "five"
    assert engine.end().text == "five"


def test_new_words_within_an_utterance_in_noise_wait_for_its_end() -> None:
    """The dictionary of the pair for noise learns words as they are armed; learning within an utterance crashes."""
    engine = PocketSphinxEngine(load_pronunciations())
    rng = np.random.default_rng(5)

    def hiss(seconds: float) -> bytes:
        return rng.normal(0, 900, int(seconds * 16000)).astype("<i2").tobytes()

    for number, word in enumerate(["gauge", "wrench", "washer", "hammer", "pliers", "bucket"]):
        engine.arm(Fake(f"{word} | one", word, "one"))
        engine.begin(snr_db=9.0)
        engine.feed(hiss(0.5))
        engine.arm(Fake(f"{word} | {word} shelf | cabinet", word, "shelf", "cabinet"))
        engine.feed(hiss(0.5))
        if number % 2:
            engine.look_ahead()
            engine.feed(hiss(0.1))
            engine.go_on()
            engine.feed(hiss(0.5))
        if number % 3:  # else it is left open, as when a microphone is lost
            assert set(engine.end().text.split()) <= {word, "one"}


def test_more_grammars_than_are_kept(engine: PocketSphinxEngine) -> None:
    for n in range(70):
        engine.arm(Fake(f"five [{' '.join(['one'] * (n + 1))}]", "five", "one"))  # type: ignore[arg-type]
        engine.begin()
        engine.feed(room_noise(level_dbfs=-60)[:960])
        engine.end()
    assert len(engine._dictionary._compiled) <= 64


def test_words_without_a_pronunciation_are_an_error() -> None:
    engine = PocketSphinxEngine()
    with pytest.raises(MissingWord, match="kilopascals, sidewall") as caught:
        engine.arm(Fake("sidewall | kilopascals | one", "sidewall", "kilopascals", "one"))  # type: ignore[arg-type]
    assert caught.value.words == ("kilopascals", "sidewall")


def test_every_packaged_rule_can_be_armed(engine: PocketSphinxEngine) -> None:
    for rule in Library.load().public_rules():
        engine.arm(reading(rule))


def test_several_ways_to_say_a_word() -> None:
    engine = PocketSphinxEngine({"shim": ("SH IH M", "SH IY M"), "sidewall": "S AY D W AO L"})
    engine.arm(Fake("shim | sidewall", "shim", "sidewall"))  # type: ignore[arg-type]


def test_bad_phones_and_bad_grammars_are_one_line() -> None:
    with pytest.raises(EngineError, match="can't add 'shim'"):
        PocketSphinxEngine({"shim": "SH QQ"})
    with pytest.raises(EngineError, match="can't compile"):
        PocketSphinxEngine().arm(Fake("( one", "one"))  # type: ignore[arg-type]
    with pytest.raises(EngineError, match="nothing is armed"):
        PocketSphinxEngine().begin()


@pytest.mark.parametrize("kind", ["zeros", "room", "loud", "clipped"])
def test_no_speech_is_no_answer(engine: PocketSphinxEngine, kind: str) -> None:
    engine.reset()
    engine.arm(reading())
    sound = {
        "zeros": bytes(64000),
        "room": room_noise(level_dbfs=-50)[:64000],
        "loud": room_noise(level_dbfs=-15)[:64000],
        "clipped": (np.sign(np.sin(np.arange(32000) / 9)) * 32767).astype("<i2").tobytes(),
    }[kind]
    engine.begin()
    engine.feed(sound)
    found = engine.end()
    assert not found.accepted or reading().interpret(found.text) is None


@FLITE
def test_a_lost_utterance_does_not_spoil_the_next(engine: PocketSphinxEngine, spoken) -> None:  # type: ignore[no-untyped-def]
    engine.reset()
    engine.arm(reading())
    engine.begin()
    engine.feed(room_noise(level_dbfs=-60)[:9600])  # the microphone is gone here
    assert [h.text for h in hear(engine, spoken("go back"))] == ["go back"]


@FLITE
def test_leading_digital_silence_does_not_deafen(engine: PocketSphinxEngine, spoken) -> None:  # type: ignore[no-untyped-def]
    """Noise gates of headsets give zeros between the words."""
    engine.reset()
    engine.arm(reading())
    pcm = np.frombuffer(spoken("one four point five"), "<i2").copy()
    pcm[:12000] = 0
    assert [h.text for h in hear(engine, pcm.tobytes())] == ["one four point five"]


@FLITE
def test_a_script_of_files_is_heard_line_by_line(engine: PocketSphinxEngine, spoken, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    lines = ["one four point five", "say again", "three quarters"]
    for n, text in enumerate(lines):
        write_wav(tmp_path / f"{n}.wav", spoken(text))
    script = WavScript([tmp_path / f"{n}.wav" for n in range(len(lines))])
    engine.reset()
    engine.arm(reading())
    heard = []
    for _ in lines:
        script.cue()
        frames = [script.read() for _ in range(40)]
        while script.speaking:
            frames.append(script.read())
        heard += [h.text for h in hear(engine, b"".join(frames))]
    assert heard == lines


def test_what_is_heard_on_with_begins_with_the_mean_it_began_with(engine: PocketSphinxEngine) -> None:
    """Blows in the pauses of a sentence: decoded ahead at each, the mean would move with every one."""
    line = next(line for line in recorded_lines() if line.say == "one eight zero millimeters")
    engine.reset()
    engine.arm(line.armed)
    hear(engine, room_noise(line.pcm)[:9600] + line.pcm)
    before = engine._in_use.grammar.get_cmn(False)
    engine.begin(40.0)
    engine.feed(line.pcm[:19200])
    engine.look_ahead()
    assert engine._in_use.grammar.get_cmn(False) != before
    engine.go_on()
    assert engine._in_use.grammar.get_cmn(False) == before
    assert engine.partial()
    engine.end(40.0)
