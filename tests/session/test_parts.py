"""The session's parts by themselves: the clock, the ears, a folder of sound files."""

from __future__ import annotations

import io
import os
import threading
import time
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from procedure.driving import START_MS, armed_for

from handsfree.audio import FRAME_MS, AudioError, MicrophoneLost, WavScript
from handsfree.audio import write_wav as save_wav
from handsfree.grammar import Armed, Number, typed_to_words
from handsfree.hearing import Hypothesis, make_engine
from handsfree.procedure import Answer, Command, NoInput, NoMatch, TimerDue
from handsfree.record import RecordError
from handsfree.session import (
    AudioEars,
    Closed,
    Heard,
    Lost,
    NoView,
    Quiet,
    SimulatedClock,
    SystemClock,
    TypedEars,
    create_job,
    demo_folder,
    open_job,
    packaged_procedure,
    packaged_procedures,
    prompts_text,
    read_scenario,
    script_lines,
    stamp,
)
from handsfree.session._echo import unseen
from handsfree.session._view import _understood

# -- the clock -----------------------------------------------------------------------------------------


def test_stamps_are_rfc_3339() -> None:
    assert stamp(0) == "1970-01-01T00:00:00.000Z"
    assert stamp(951_782_399_007) == "2000-02-28T23:59:59.007Z"  # a leap year's day before the 29th


def test_the_system_clock_never_goes_behind_the_last_event(monkeypatch: pytest.MonkeyPatch) -> None:
    """The computer's clock was set back an hour while the job was closed, and again while it runs."""
    wall, mono = 1_900_000_000_000_000_000, 5_000_000_000
    monkeypatch.setattr(time, "time_ns", lambda: wall)
    monkeypatch.setattr(time, "monotonic_ns", lambda: mono)
    before = wall // 1_000_000 + 3_600_000
    clock = SystemClock(before)
    assert clock.now() == before
    wall -= 7_200_000_000_000
    mono += 1_500_000_000
    assert clock.now() == before + 1500
    clock.advance(99)
    assert clock.now() == before + 1500
    assert clock.reading() == (stamp(wall // 1_000_000), mono // 1_000_000)  # the record shows the real wall
    assert SystemClock().now() == wall // 1_000_000


def test_a_simulated_clock_moves_only_with_the_sound() -> None:
    clock = SimulatedClock(START_MS)
    clock.advance(250)
    assert clock.now() == START_MS + 250
    assert clock.reading() == (stamp(START_MS + 250), 250)


def test_at_its_own_pace_it_sleeps_only_what_it_is_ahead(monkeypatch: pytest.MonkeyPatch) -> None:
    slept: list[float] = []
    now = 100.0
    monkeypatch.setattr(time, "monotonic", lambda: now)
    monkeypatch.setattr(time, "sleep", slept.append)
    clock = SimulatedClock(START_MS, realtime=True)
    clock.advance(500)
    assert slept == [pytest.approx(0.5)]
    now = 110.0
    clock.advance(500)
    assert len(slept) == 1


# -- the keyboard --------------------------------------------------------------------------------------


@pytest.fixture
def armed() -> Armed:
    return armed_for((("command", "<commands.hold>"), ("answer", "<readings.length_mm>")))


def keyboard(text: str | io.TextIOBase, clock: SimulatedClock | SystemClock) -> TypedEars:
    stream = io.StringIO(text) if isinstance(text, str) else text
    return TypedEars(make_engine("typed", normalise=typed_to_words), clock, stream)  # type: ignore[arg-type]


def text_of(result: object) -> str:
    assert isinstance(result, Heard)
    return result.hypothesis.text


@pytest.mark.parametrize("real", [True, False])
def test_a_line_is_an_utterance_and_blank_lines_are_none(armed: Armed, real: bool) -> None:
    ears = keyboard("\n   \n5.5 mm\nhold work", SystemClock() if real else SimulatedClock(START_MS))
    assert text_of(ears.listen(armed, None, answer=True)) == "five point five millimeters"
    assert text_of(ears.listen(armed, None, answer=True)) == "hold work"
    assert ears.listen(armed, None, answer=True) == Closed("no more typed lines")
    ears.close()


def test_practice_lets_a_wait_pass_at_once(armed: Armed) -> None:
    clock = SimulatedClock(START_MS)
    ears = keyboard("five\n", clock)
    assert ears.listen(armed, START_MS + 180_000, answer=False) == Quiet()
    assert clock.now() == START_MS + 180_000
    assert ears.listen(armed, START_MS, answer=False) == Quiet()
    assert clock.now() == START_MS + 180_000
    assert text_of(ears.listen(armed, START_MS + 190_000, answer=True)) == "five"


class Slow(io.StringIO):
    """Someone who does not type."""

    def __iter__(self) -> Iterator[str]:  # type: ignore[override]
        threading.Event().wait()
        yield "five\n"


def test_the_time_comes_before_the_line(armed: Armed) -> None:
    clock = SystemClock()
    ears = keyboard(Slow(), clock)
    assert ears.listen(armed, clock.now() + 20, answer=True) == Quiet()
    assert ears.listen(armed, clock.now() - 20, answer=True) == Quiet()


@pytest.mark.parametrize("real", [True, False])
def test_bytes_that_are_no_text_end_the_input_in_one_line(armed: Armed, real: bool) -> None:
    stream = io.TextIOWrapper(io.BytesIO(b"\xff\xfe\xfa\n"), encoding="utf-8")
    result = keyboard(stream, SystemClock() if real else SimulatedClock(START_MS)).listen(
        armed, None, answer=True
    )
    assert isinstance(result, Closed)
    assert "can't be read" in result.reason


@pytest.mark.parametrize("real", [True, False])
def test_a_keyboard_pulled_out_ends_the_input(armed: Armed, real: bool) -> None:
    stream = io.StringIO("five")
    stream.close()
    result = keyboard(stream, SystemClock() if real else SimulatedClock(START_MS)).listen(
        armed, None, answer=True
    )
    assert isinstance(result, Closed)


def test_half_a_character_is_rubbish_and_no_error(armed: Armed) -> None:
    ears = keyboard("\udcff five\n", SimulatedClock(START_MS))
    assert armed.interpret(text_of(ears.listen(armed, None, answer=True))) is None


def test_standard_input_is_the_default(armed: Armed, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("five\n"))
    ears = TypedEars(make_engine("typed", normalise=typed_to_words), SimulatedClock(START_MS))
    assert text_of(ears.listen(armed, None, answer=True)) == "five"


def test_a_terminal_shows_nothing_of_a_code_word(capsys: pytest.CaptureFixture[str]) -> None:
    """A real pseudo-terminal: its echo is off while a code word is asked, and on again afterwards."""
    pty, termios = pytest.importorskip("pty"), pytest.importorskip("termios")
    keys, screen = pty.openpty()
    echoed: list[bool] = []

    class Watched(io.TextIOWrapper):
        def readline(self, size: int = -1, /) -> str:
            echoed.append(bool(termios.tcgetattr(screen)[3] & termios.ECHO))
            os.write(keys, b"five\n")
            return super().readline(size)

    stream = Watched(os.fdopen(screen, "rb"))
    ears = keyboard(stream, SimulatedClock(START_MS))
    asked = armed_for((("code", "granite window {code=right} | five {code=wrong}"),))
    usual = armed_for((("answer", "<readings.length_mm>"),))
    for armed in (usual, asked, usual):
        assert text_of(ears.listen(armed, None, answer=True)) == "five"
    assert echoed == [True, False, True]
    assert b"five" in os.read(keys, 100)  # what was typed before and after is echoed
    stream.close()
    os.close(keys)


@pytest.mark.parametrize("stream", [io.StringIO("five\n"), io.StringIO()])
def test_a_pipe_has_no_echo_to_switch_off(stream: io.StringIO) -> None:
    with unseen(stream, True):
        pass
    stream.close()
    with unseen(stream, True):
        pass


# -- the microphone ------------------------------------------------------------------------------------


class Listening:
    """An engine that remembers what it was given."""

    name = "fake"

    def __init__(self, says: str = "five") -> None:
        self.says = says
        self.armed: list[Armed] = []
        self.pcm = b""
        self.closed = False

    def arm(self, armed: Armed) -> None:
        self.armed.append(armed)

    def begin(self) -> None:
        self.pcm = b""

    def feed(self, pcm: bytes) -> None:
        self.pcm += pcm

    def partial(self) -> str:
        return self.says

    def end(self) -> Hypothesis:
        return Hypothesis(self.says, (), self.name)

    def close(self) -> None:
        self.closed = True


class Frames:
    """Sound from a list; then a lost microphone, or the end."""

    live = True
    frame_ms = FRAME_MS

    def __init__(self, pcm: bytes, *, lost: bool = False) -> None:
        size = 960
        self.frames = [pcm[at : at + size] for at in range(0, len(pcm) - size + 1, size)]
        self.lost = lost
        self.cues: list[bool] = []
        self.closed = False

    def cue(self, answer: bool = True) -> None:
        self.cues.append(answer)

    def read(self) -> bytes | None:
        if self.frames:
            return self.frames.pop(0)
        if self.lost:
            raise MicrophoneLost("the microphone was pulled out")
        return None

    def close(self) -> None:
        self.closed = True


def room(seconds: float, seed: int = 0) -> np.ndarray:
    return np.random.default_rng(seed).normal(0, 30, int(seconds * 16000))


def voice(seconds: float) -> np.ndarray:
    """A buzz with a voice's pitch and slope: enough for a voice detector."""
    at = np.arange(int(seconds * 16000)) / 16000
    tone = sum(np.sin(2 * np.pi * 120 * k * at) / k for k in range(1, 20))
    return 4000 * tone / np.max(np.abs(tone))


def pcm(*parts: np.ndarray) -> bytes:
    return bytes(np.clip(np.concatenate(parts), -32768, 32767).astype("<i2").tobytes())


def test_one_utterance_goes_through_the_engine_while_it_is_spoken(armed: Armed) -> None:
    clock, engine = SimulatedClock(START_MS), Listening("five")
    source = Frames(pcm(room(1), voice(0.8), room(2)))
    ears = AudioEars(source, engine, clock)
    result = ears.listen(armed, None, answer=True)
    assert isinstance(result, Heard)
    assert result.utterance is not None
    assert result.utterance.snr_db > 10
    assert engine.pcm.startswith(result.utterance.pcm[:960]) or result.utterance.pcm[:960] in engine.pcm
    assert clock.now() > START_MS + 1800  # the sound itself moved the clock
    assert source.cues == [True]
    assert ears.noise_dbfs < -40
    ears.listen(armed, None, answer=False)
    assert engine.armed == [armed]  # the same grammar is not armed twice
    ears.close()
    assert source.closed
    assert engine.closed


def test_a_sentence_that_can_go_on_is_waited_for_longer_and_what_is_none_yet_longest(armed: Armed) -> None:
    ends = []
    for partial in ("five point five five five millimeters", "five", "rubbish"):
        ears = AudioEars(
            Frames(pcm(room(1), voice(0.8), room(2))), Listening(partial), SimulatedClock(START_MS)
        )
        result = ears.listen(armed, None, answer=True)
        assert isinstance(result, Heard)
        assert result.utterance is not None
        ends.append(result.utterance.decided_ms)
    assert ends[0] < ends[1] < ends[2]


def test_an_engine_without_a_partial_is_never_waited_for(armed: Armed) -> None:
    class Mute(Listening):
        partial = None  # type: ignore[assignment]

    ears = AudioEars(Frames(pcm(room(1), voice(0.8), room(2))), Mute(), SimulatedClock(START_MS))
    assert isinstance(ears.listen(armed, None, answer=True), Heard)


def test_nobody_speaks_until_the_time_comes(armed: Armed) -> None:
    clock = SimulatedClock(START_MS)
    ears = AudioEars(Frames(pcm(room(3))), Listening(), clock)
    assert ears.listen(armed, START_MS + 1000, answer=True) == Quiet()
    assert START_MS + 1000 <= clock.now() < START_MS + 1000 + FRAME_MS


def test_whoever_is_speaking_when_the_time_comes_is_heard_out(armed: Armed) -> None:
    ears = AudioEars(Frames(pcm(room(1), voice(0.8), room(2))), Listening(), SimulatedClock(START_MS))
    assert isinstance(ears.listen(armed, START_MS + 1500, answer=True), Heard)


def test_a_microphone_pulled_out(armed: Armed) -> None:
    ears = AudioEars(Frames(pcm(room(0.3)), lost=True), Listening(), SimulatedClock(START_MS))
    assert ears.listen(armed, None, answer=True) == Lost("microphone", "the microphone was pulled out")


def test_sound_that_ends(armed: Armed) -> None:
    ears = AudioEars(Frames(pcm(room(0.3))), Listening(), SimulatedClock(START_MS))
    assert ears.listen(armed, None, answer=True) == Closed("the sound is at an end")


@pytest.mark.parametrize("answer", [True, False])
def test_recorded_speakers_who_have_nothing_more_to_say(tmp_path: Path, armed: Armed, answer: bool) -> None:
    save_wav(tmp_path / "1.wav", pcm(room(0.5), voice(0.8), room(0.5)))
    ears = AudioEars(WavScript([tmp_path / "1.wav"]), Listening(), SimulatedClock(START_MS))
    assert isinstance(ears.listen(armed, None, answer=True), Heard)
    assert ears.listen(armed, None, answer=answer) == Closed("nothing more is said in the sound files")


# -- a folder of sound files ---------------------------------------------------------------------------

SCENARIO = (
    '[scenario]\ntitle = "Left rear"\n[[line]]\nfile = "2.wav"\npause_s = 1.5\n[[line]]\nfile = "1.wav"\n'
)


def test_files_come_in_name_order(tmp_path: Path) -> None:
    for name in ("b.wav", "a.wav", "notes.txt"):
        (tmp_path / name).write_bytes(b"")
    assert [line.path.name for line in script_lines(tmp_path)] == ["a.wav", "b.wav"]
    assert [line.path.name for line in script_lines(tmp_path / "a.wav")] == ["a.wav"]


def test_a_scenario_orders_the_files(tmp_path: Path) -> None:
    (tmp_path / "scenario.toml").write_text(SCENARIO + "interjects = true\n")
    lines = script_lines(tmp_path)
    assert [(line.path.name, line.pause_s, line.interjects) for line in lines] == [
        ("2.wav", 1.5, False),
        ("1.wav", 0.4, True),
    ]
    scenario = read_scenario(tmp_path)
    assert scenario is not None
    assert scenario.scenario.title == "Left rear"


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("[[line]", "can't be read"),
        ("a = " + "[" * 5000, "can't be read"),
        ("\udcff", "can't be read"),
        (SCENARIO[SCENARIO.index("[[line]]") :], "scenario: Field required"),
        ("[scenario]\n", "line: Field required"),
        (
            "[scenario]\nline = []\n".replace("[scenario]\nline = []", "line = []\n[scenario]"),
            "line: Tuple should have",
        ),
        (SCENARIO.replace('file = "2.wav"\n', ""), "line.0.file: Field required"),
        (SCENARIO.replace("1.5", "-1"), "line.0.pause_s"),
        (SCENARIO.replace("1.5", "nan"), "line.0.pause_s"),
        (SCENARIO.replace("1.5", "inf"), "line.0.pause_s"),
        (SCENARIO.replace("1.5", '"long"'), "line.0.pause_s"),
    ],
)
def test_a_scenario_with_a_mistake_is_one_line(tmp_path: Path, text: str, line: str) -> None:
    (tmp_path / "scenario.toml").write_bytes(text.encode("utf-8", "surrogateescape"))
    with pytest.raises(AudioError, match=line) as caught:
        script_lines(tmp_path)
    assert "scenario.toml" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_no_such_folder_and_an_empty_one(tmp_path: Path) -> None:
    with pytest.raises(AudioError, match="no such file or folder"):
        script_lines(tmp_path / "gone")
    with pytest.raises(AudioError, match="no WAV or FLAC files in it"):
        script_lines(tmp_path)
    assert read_scenario(tmp_path) is None


def test_what_is_in_the_package() -> None:
    assert "passenger-one-piece" in packaged_procedures()
    with pytest.raises(FileNotFoundError):
        packaged_procedure("truck-tube")
    assert demo_folder().name == "demo_data"


def test_nobody_looks() -> None:
    view = NoView()
    view.said("a", "b")
    view.note("c")
    view.recorded(None)  # type: ignore[arg-type]
    view.heard(None, None)  # type: ignore[arg-type]


def test_what_was_understood_in_words() -> None:
    number = Number(Decimal("5.5"), Decimal("0.1"), "5.5")
    assert _understood(Answer(0, "x", "answer", (("unit", "mm"),), number)) == "5.5 mm"
    assert _understood(Answer(0, "x", "answer", (), number)) == "5.5"
    assert _understood(Answer(0, "x", "answer", (("answer", "yes"),))) == "answer yes"
    assert _understood(Answer(0, "no flame")) == "no flame"
    assert _understood(Command(0, "go_back")) == "command go back"
    assert _understood(NoMatch(0, "", "too quiet")) == "no match: too quiet"
    assert _understood(Answer(0, "out of limits", slots=(("dispose", "accept"),))) == "out of limits"
    assert _understood(NoInput(0)) == "no input"
    assert _understood(TimerDue(0)) == ""


def test_a_real_job_can_not_be_resumed_with_simulated_time_nor_the_other_way(tmp_path: Path) -> None:
    real = create_job(
        tmp_path / "real",
        procedure=packaged_procedure("passenger-one-piece"),
        prompts=prompts_text(),
        about={},
        pins={},
        clock=SystemClock(),
    )
    real.log.close()
    with pytest.raises(RecordError, match="its waits must last"):
        open_job(tmp_path / "real", lambda not_before: SimulatedClock(max(not_before, 1)))
    practice = create_job(
        tmp_path / "practice",
        procedure=packaged_procedure("passenger-one-piece"),
        prompts=prompts_text(),
        about={},
        pins={},
        clock=SimulatedClock(1),
    )
    practice.log.close()
    with pytest.raises(RecordError, match="--practice"):
        open_job(tmp_path / "practice", SystemClock)
