"""Speaking while the tool speaks, with a headset: recordings through the real endpointer and recognizer, on a
simulated clock by which the prompts play too. Once more through a virtual sound card: tests/sound_card."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
import pytest
from procedure.driving import CARE, SIZE, START_MS, do, whole

from handsfree.audio import FRAME_MS, MicrophoneLost, frames, read_sound, room_noise, samples
from handsfree.audit import audit
from handsfree.grammar import Library, load_pronunciations
from handsfree.hearing import make_engine
from handsfree.record import check_chain, read_log, show_text
from handsfree.session import AudioEars, PlainView, SimulatedClock
from handsfree.speaking import Clip, Played

from .bay import lines_of, new_job, session
from .sounding import Bay, Mouth

LONG = "Which material is the body ply of this tire made of, fabric or steel? Say fabric ply, or steel ply."
PLY = f"""[[step]]
id = "ply"
phase = "receive"
kind = "choice"
ask = "{LONG}"
fact = "tire.body_ply"
options = [
  {{ id = "fabric", say = "fabric ply", name = "Fabric ply" }},
  {{ id = "steel", say = "steel ply", name = "Steel ply" }},
]
"""
JOB = whole(
    PLY, CARE, do(ask="Roughen the inner liner all round the injury, and say completed when it is done.")
)
LINES = ["fabric ply", "affirmative", "no flame", "completed", "completed"]


class Headphones:
    """A loudspeaker that plays by the frames that are heard meanwhile, as real ones do by the clock."""

    def __init__(self) -> None:
        self.whole: list[int] = []  # milliseconds of what was played without listening
        self.stopped: list[int] = []

    def play(self, clip: Clip, interruptible: bool = False) -> Played:
        self.whole.append(round(1000 * clip.seconds))
        return Played(clip.frames, clip.frames, clip.rate)

    def play_until(self, clip: Clip, cut: Callable[[], bool]) -> Played:
        step = clip.rate * FRAME_MS // 1000
        for played in range(0, clip.frames, step):
            if cut():
                self.stopped.append(1000 * played // clip.rate)
                return Played(played, clip.frames, clip.rate)
        return Played(clip.frames, clip.frames, clip.rate)

    def stop(self) -> None: ...

    def close(self) -> None: ...


@pytest.fixture(scope="module")
def mouth(tmp_path_factory: pytest.TempPathFactory) -> Mouth:
    return Mouth(tmp_path_factory.mktemp("said"))


def work(folder: Path, source: Bay, *, headset: bool, text: str = JOB) -> tuple[str, Headphones]:
    clock, player = SimulatedClock(START_MS), Headphones()
    engine = make_engine("pocketsphinx", pronunciations=load_pronunciations())
    job = new_job(folder, text, clock)
    running = session(
        job, clock, AudioEars(source, engine, clock, headset=headset), player=player, library=Library.load()
    )
    try:
        return running.run(job.first), player
    finally:
        running.close()


def spoken(folder: Path) -> list[Mapping[str, object]]:
    return [e for e in lines_of(folder, "event") if e["type"] == "spoken"]


def cut_off(folder: Path) -> list[str]:
    return [str(e["text"]) for e in spoken(folder) if e["completed"] == "false"]


def test_who_speaks_during_a_prompt_ends_it_and_is_heard_from_the_first_word(
    folder: Path, mouth: Mouth
) -> None:
    outcome, player = work(folder, Bay(mouth, LINES), headset=True)
    assert outcome == "returned"
    (choice,) = [a for a in lines_of(folder, "answer") if a["measurand"] == "tire.body_ply"]
    assert (choice["outcome"], choice["heard"]) == ("fabric", "fabric ply")
    # The question was not said: 400 ms of pause, 500 ms of the recording's own quiet and 120 to 240 ms of voice.
    assert LONG in cut_off(folder)
    assert all(900 < ms < 1600 for ms in player.stopped), player.stopped
    told = show_text(folder, width=300)
    assert f"cut off  {LONG}" in " ".join(told.split("\n")).replace("  cut off", " cut off").replace(
        "    ", " "
    ) or ("cut off" in told and "NOT PLAYED" not in told)
    said = next(line for line in told.splitlines() if LONG in line and "said" not in line)
    assert "cut off" in said
    # All of what was said was kept: the recording lies in it to its first sample.
    event = next(e for e in lines_of(folder, "event") if e.get("text") == "fabric ply")
    kept = samples(read_sound(folder / str(event["audio"]))).astype(float)
    voice = samples(read_sound(mouth.say("fabric ply")))[8000:-8000].astype(float)
    there = np.correlate(kept, voice, "valid")
    place = int(np.argmax(there))
    part = kept[place : place + voice.size]
    assert there[place] / np.linalg.norm(part) / np.linalg.norm(voice) > 0.99
    assert place > 0.05 * 16000  # and the quiet before it too
    assert check_chain(folder) == []
    assert [f for f in audit(folder).findings if f.severity == "error" and f.check != "clock"] == []


def test_what_must_be_heard_is_played_whole(folder: Path, mouth: Mouth) -> None:
    text = whole(SIZE + 'on = { outside = "scrap" }\n', CARE, do())
    outcome, player = work(
        folder,
        Bay(
            mouth,
            ["seven", "affirmative", "five point five", "affirmative", "no flame", "completed", "completed"],
        ),
        headset=True,
        text=text,
    )
    kinds = {str(e["say_kind"]) for e in spoken(folder) if e["completed"] == "false"}
    assert not kinds & {"caution", "read_back"}
    for event in spoken(folder):
        if event["say_kind"] in ("caution", "read_back") or "Outside" in str(event["text"]):
            assert event["completed"] == "true", event
            assert round(1000 * len(str(event["text"])) / 15) in [
                pytest.approx(ms, abs=2) for ms in player.whole
            ]
    assert {"caution", "read_back"} <= {str(e["say_kind"]) for e in spoken(folder)}
    assert outcome


def test_without_a_headset_nothing_is_cut_off(folder: Path, mouth: Mouth) -> None:
    outcome, player = work(folder, Bay(mouth, LINES), headset=False)
    assert outcome == "returned"
    assert (cut_off(folder), player.stopped) == ([], [])


def test_a_microphone_that_vanishes_during_a_prompt_lets_it_end(folder: Path, mouth: Mouth) -> None:
    class Gone(Bay):
        def read(self) -> bytes:
            raise MicrophoneLost("the cable was pulled")

    outcome, _ = work(folder, Gone(mouth, LINES), headset=True)
    assert outcome == "unfinished"
    first = next(e for e in spoken(folder) if LONG in str(e["text"]))
    assert first["completed"] == "true"
    assert "device_lost" in [line.body.get("type") for line in read_log(folder).lines]


class Queued:
    """A microphone whose frames lie in a queue: of ``behind`` frames it is that much late at each prompt in turn."""

    live, frame_ms = True, FRAME_MS

    def __init__(self, said: list[bytes], room: list[bytes], behind: list[int]) -> None:
        self._said, self._room, self._behind = said, room, behind

    @property
    def waiting(self) -> int:
        return self._behind.pop(0) if self._behind else 0

    def read(self) -> bytes | None:
        if self._said:
            return self._said.pop(0)
        if not self._room:
            return None
        return self._room.pop(0)

    def cue(self, answer: bool = True) -> None: ...

    def close(self) -> None: ...


TWO = whole(
    do(ask="Roughen the liner all round the injury, and say completed when it is done."),
    do("vac", ask="Vacuum the dust out of the tire, hold the nozzle close, and say completed."),
)


def work_through(source: Queued, folder: Path) -> tuple[str, list[str]]:
    """A job of TWO with a headset: its outcome, and the lines that were shown."""
    clock, notes = SimulatedClock(START_MS), list[str]()
    engine = make_engine("pocketsphinx", pronunciations=load_pronunciations())
    job = new_job(folder, TWO, clock)
    ears = AudioEars(source, engine, clock, headset=True)
    view = PlainView(notes.append)
    running = session(job, clock, ears, player=Headphones(), library=Library.load(), view=view)
    try:
        return running.run(job.first), notes
    finally:
        running.close()


@pytest.mark.parametrize("words", ["completed", "stop work"])
def test_what_was_said_before_a_question_answers_it_not_but_a_command_counts(
    folder: Path, mouth: Mouth, words: str
) -> None:
    """The second is in the microphone's queue before the second question plays: the tool was busy meanwhile."""
    said = {text: list(frames(read_sound(mouth.say(text)))) for text in ("completed", words)}
    room = list(frames(room_noise(read_sound(mouth.say("completed")))))
    late = [*said["completed"], *room[:20], *said[words]]
    source = Queued([*room[:100], *late], room * 4, [0, 0, len(said[words]) + 20])
    outcome, notes = work_through(source, folder)
    done = [e["step"] for e in lines_of(folder, "answer")]
    assert len(done) == 1, done
    assert outcome == ("stopped" if words == "stop work" else "unfinished")
    told = [note for note in notes if "said before the question" in note]
    assert len(told) == (words == "completed")
    assert [f for f in audit(folder).findings if f.severity == "error" and f.check != "clock"] == []


def test_the_answer_to_a_question_counts_not_in_the_sentence_that_leads_to_it(
    folder: Path, mouth: Mouth
) -> None:
    """Who speaks during the welcome has not heard the first question yet."""
    room = list(frames(room_noise(read_sound(mouth.say("completed")))))
    welcome = 1000 * len("Small job. Follow the makers.") / 15 / FRAME_MS
    said = list(frames(read_sound(mouth.say("completed"))[16000:]))
    assert len(said) < welcome + 50
    source = Queued([*room[:20], *said], room * 2, [])
    work_through(source, folder)
    assert lines_of(folder, "answer") == []
    assert cut_off(folder) == []
