"""The one loop: what is heard becomes lines on the disk before anything is said of it."""

from __future__ import annotations

import io
import re
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path

import pytest
from procedure.driving import CLEAR, FOUND, LOOK, START_MS, do, whole

from handsfree.grammar import Armed, typed_to_words
from handsfree.hearing import Hypothesis, Word, make_engine
from handsfree.procedure import Finish, Mode, Resumed
from handsfree.record import Line, RecordError, check_chain, read_log
from handsfree.session import (
    UNFINISHED,
    Closed,
    Heard,
    Lost,
    PlainView,
    Quiet,
    SimulatedClock,
    SystemClock,
    TypedEars,
    packaged_procedure,
    packaged_procedures,
)
from handsfree.speaking import Clip, NullPlayer, Played, Player, SilentVoice, SpeakingError

from .bay import Deaf, Scripted, heard, lines_of, new_job, readings, reopen, session, typed, work
from .conftest import SHORT, SHORT_LINES, SHORT_READINGS, WHOLE, WHOLE_LINES, WHOLE_READINGS


def run(folder: Path, text: str, lines: list[str], **parts: object) -> str:
    clock = SimulatedClock(START_MS)
    return work(new_job(folder, text, clock), lines, clock, **parts)


def test_a_whole_job_from_typed_lines(folder: Path) -> None:
    assert run(folder, WHOLE, WHOLE_LINES) == "returned"
    assert readings(folder) == WHOLE_READINGS
    assert check_chain(folder) == []
    assert [w["outcome"] for w in lines_of(folder, "wait")] == ["started", "over", "used in time"]
    closing = lines_of(folder, "close")
    assert [c["outcome"] for c in closing] == ["returned"]


#: What somebody who knows the work would say to each step, whatever the procedure; else what is armed first.
VALUES = {
    "vehicle": "two zero six one eight", "tire-size": "two one five six five romeo one five",
    "date-code": "one two two nine", "tread-depth": "six", "tread-highest": "seven", "rest-time": "four",
    "tread-width": "one eight zero", "injury-size": "five", "injury-angle": "one zero", "thickness": "one four",
    "injury-clock": "four o'clock", "injury-edge": "six zero", "patch-size": "four zero", "stem-length": "five zero",
    "outline-margin": "eight", "drill-speed": "one zero zero zero", "drilled-size": "five point nine",
    "buffer-speed": "four five zero zero", "air-temperature": "two one", "air-humidity": "five zero",
    "surface-temperature": "two zero", "trim-height": "two", "hose": "nine zero zero", "tire-temperature": "two one",
    "cold-temperature": "two one", "set-pressure": "three five point zero", "leak-end-temperature": "two one",
    "leak-end": "three five point zero", "balance": "five", "nut-count": "five",
    "torque-target": "one one zero newton meters",
    "torque-applied": "one one zero", "recheck": "two five", "distance-driven": "two five",
}  # fmt: skip
OPTIONS = {
    "tubeless": "yes", "run-flat": "no", "sensor-lamp-before": "off", "sensor-lamp-after": "off",
    "lamp-pressure": "unknown", "repairs-there": "none", "sealant": "no", "injury-lean": "outward",
    "injury-grooves": "yes", "another-injury": "none", "texture": "velvet", "tack": "tacky", "all-repaired": "all",
    "torque-found": "none", "nuts-turned-again": "holds",
}  # fmt: skip
TRUCK = {
    "tire-size": "lima tango two four five seven five romeo one six load range echo", "placard-pressure": "six five",
    "pressure-found": "four five", "body-ply": "steel",
    "set-pressure": "six five point zero", "leak-end": "six five point zero",
}  # fmt: skip
JOBS = {
    "passenger-one-piece": ("returned", {}),
    "light-truck-steel": ("returned", TRUCK),
    "lug-nut-recheck": ("checked", {}),
}


def test_every_packaged_procedure_is_gone_through() -> None:
    assert set(JOBS) == set(packaged_procedures())


@pytest.mark.parametrize("name", JOBS)
def test_a_packaged_procedure_from_end_to_end(name: str, folder: Path) -> None:
    """Somebody who says what is asked for, whatever its words are."""
    clock = SimulatedClock(START_MS)
    job = new_job(folder, packaged_procedure(name), clock)
    wanted, own = JOBS[name]
    values, pick = {**VALUES, **own}, {**OPTIONS, **own}

    class Willing:
        engine = typed([], clock).engine

        def listen(self, armed: Armed, until: int | None, *, answer: bool) -> Heard | Quiet:
            state = job.machine.state
            if state.mode is Mode.WAITING:
                assert until is not None
                clock.advance(until - clock.now())
                return Quiet()
            clock.advance(1500)
            step = job.machine.book.procedure.at(state.step)
            said: str | None = None
            if state.mode is Mode.ASKING and step.kind == "reading":
                said = values.get(step.id, "three five" if step.unit == "psi" else "one two three four")
            for sentence in armed.sentences():
                meaning = armed.interpret(sentence)
                if said is not None or meaning is None:
                    break
                if meaning.label != "answer" or (
                    state.mode is Mode.READING_BACK and sentence != step.read_back
                ):
                    continue
                slots = dict(meaning.slots)
                if slots.get("answer") in ("no", "found") or slots.get("option", "") not in (
                    "",
                    pick.get(step.id, slots.get("option")),
                ):
                    continue
                if slots.get("pass") not in (None, str(state.index + 1)):
                    continue
                said = sentence
            assert said is not None, state.step
            return Heard(Hypothesis(said, tuple(Word(w, 0, 0) for w in said.split()), "willing"))

        def close(self) -> None: ...

    running = session(job, clock, Willing())
    outcome = running.run(job.first)
    running.close()
    assert outcome == wanted, (job.machine.state.step, job.machine.state.reasons)
    assert job.machine.state.reasons == ()
    assert lines_of(folder, "refused") == []
    assert {c["step"] for c in lines_of(folder, "caution")} == {
        s.id for s in job.machine.book.procedure.step if s.kind == "caution"
    }


def test_every_line_is_on_the_disk_before_a_word_is_spoken_of_it(folder: Path) -> None:
    """The player looks at the file at the moment it is told to play."""
    clock = SimulatedClock(START_MS)
    job = new_job(folder, SHORT, clock)
    spoken: list[str] = []

    class Watching(SilentVoice):
        def clip(self, text: str) -> Clip:
            spoken.append(text)
            return super().clip(text)

    looked = 0

    def play(clip: Clip) -> Played:
        nonlocal looked
        looked += 1
        read = read_log(folder)
        assert not read.damage
        numbered = [line for line in read.lines if "record" in line.body]
        assert len(numbered) == job.machine.state.records
        assert read.lines[-1].hash == job.log.head
        return Played(clip.frames, clip.frames, clip.rate)

    assert work(job, SHORT_LINES, clock, voice=Watching(), player=Deaf(play)) == "returned"
    assert looked > len(spoken) > 20
    said = [e["text"] for e in lines_of(folder, "event") if e["type"] == "spoken"]
    assert len(said) == len(spoken)


def test_it_is_logged_as_spoken_only_afterwards(folder: Path) -> None:
    clock = SimulatedClock(START_MS)
    job = new_job(folder, SHORT, clock)
    spoken = 0

    def play(clip: Clip) -> Played:
        nonlocal spoken
        events = [e for e in lines_of(folder, "event") if e["type"] == "spoken"]
        assert len(events) <= spoken
        spoken += 1
        return Played(clip.frames, clip.frames, clip.rate)

    assert work(job, SHORT_LINES, clock, player=Deaf(play)) == "returned"


def cut(clip: Clip) -> Played:
    return Played(clip.frames - 1, clip.frames, clip.rate)


def broken(clip: Clip) -> Played:
    raise SpeakingError("no sound card: plug one in")


@pytest.mark.parametrize("play", [cut, broken, lambda clip: Played(0, 0)])
def test_a_voice_that_does_not_come_out_holds_the_job(folder: Path, play: Callable[[Clip], Played]) -> None:
    notes: list[str] = []
    player: Player = Deaf(play)
    outcome = run(folder, SHORT, ["fabric ply", "affirmative"], player=player, view=PlainView(notes.append))
    assert outcome == UNFINISHED
    events = lines_of(folder, "event")
    assert {e["completed"] for e in events if e["type"] == "spoken"} == {"false"}
    assert lines_of(folder, "answer") == []
    assert [h["mode"] for h in lines_of(folder, "hold")] == ["confirming"]
    if play is broken:
        assert any("no sound card" in note for note in notes)


def test_a_caution_that_does_not_come_out_is_never_read_back(folder: Path) -> None:
    run(folder, SHORT, SHORT_LINES[:2], player=None)
    job, clock = reopen(folder)
    work(job, ["five", "affirmative", "no flame", "no flame"], clock, player=Deaf(cut))
    assert lines_of(folder, "told") == []
    assert lines_of(folder, "caution") == []


def test_the_gates_before_the_machine(folder: Path) -> None:
    clock = SimulatedClock(START_MS)
    job = new_job(folder, SHORT, clock)
    ears = Scripted(
        heard(""),
        heard("", reason="too quiet"),
        heard("fabric ply", accepted=False),
        heard("fabric ply", accepted=False, reason="sounds like no sentence"),
        heard("resume work"),
        heard("resume work"),
        heard("completed"),
        heard("fabric ply"),
    )
    running = session(job, clock, ears)
    assert running.run(job.first) == UNFINISHED
    running.close()
    events = [e for e in lines_of(folder, "event") if e["type"] in ("no_match", "answer", "command")]
    assert [(e["type"], e.get("reason", "")) for e in events] == [
        ("no_match", "nothing understood"),
        ("no_match", "too quiet"),
        ("no_match", "not accepted"),
        ("no_match", "sounds like no sentence"),  # the fourth miss puts it on hold
        ("command", ""),
        ("no_match", "work is not on hold"),
        ("no_match", "not an answer to what was asked"),
        ("answer", ""),
    ]
    assert lines_of(folder, "answer") == []


def test_what_was_heard_is_kept_with_its_scores_and_its_sound(folder: Path) -> None:
    clock = SimulatedClock(START_MS)
    job = new_job(folder, SHORT, clock)
    running = session(job, clock, Scripted(heard("fabric ply", pcm=b"\x01\x00" * 1600)))
    running.run(job.first)
    running.close()
    event = next(e for e in lines_of(folder, "event") if e["type"] == "answer")
    assert event["hypothesis"] == "fabric ply"
    assert event["scores"] == {"grammar": "-12.346"}
    assert event["words"] == [
        {"text": "fabric", "start_s": "0.10", "end_s": "0.25"},
        {"text": "ply", "start_s": "0.10", "end_s": "0.25"},
    ]
    assert event["level"]["speech_dbfs"] == "-20.0"  # type: ignore[index, call-overload]
    assert (folder / str(event["audio"])).read_bytes()[:4] == b"fLaC"


def test_silence_comes_by_the_steps_own_time(folder: Path) -> None:
    clock = SimulatedClock(START_MS)
    job = new_job(folder, SHORT, clock)
    ears = Scripted(Quiet(), Quiet(), Quiet(), Quiet())
    running = session(job, clock, ears)
    running.run(job.first)
    running.close()
    assert [e["type"] for e in lines_of(folder, "event")].count("no_input") == 4
    assert job.machine.state.mode is Mode.HELD
    assert ears.until[0] is not None
    assert ears.until[-1] is None  # held: nobody is waited for


def test_a_lost_microphone_is_said_and_the_keyboard_takes_over(folder: Path) -> None:
    clock = SimulatedClock(START_MS)
    job = new_job(folder, SHORT, clock)
    first = Scripted(heard("fabric ply"), Lost("microphone", "the microphone was pulled out"))
    notes: list[str] = []
    running = session(
        job,
        clock,
        first,
        view=PlainView(notes.append),
        spare=lambda: typed(["resume work", *SHORT_LINES[1:]], clock),
    )
    assert running.run(job.first) == "returned"
    running.close()
    assert first.closed
    assert any("pulled out" in n for n in notes)
    assert any("The microphone is lost. On hold. Go on by keyboard." in n for n in notes)
    assert readings(folder) == SHORT_READINGS


@pytest.mark.parametrize("spare", [False, True])
def test_without_another_pair_of_ears_the_job_stays_open(folder: Path, spare: bool) -> None:
    clock = SimulatedClock(START_MS)
    job = new_job(folder, SHORT, clock)
    lost = Lost("microphone", "gone")
    running = session(job, clock, Scripted(lost), spare=(lambda: Scripted(lost)) if spare else None)
    assert running.run(job.first) == UNFINISHED
    running.close()
    again, clock = reopen(folder)
    assert isinstance(again.first, Resumed)
    assert work(again, SHORT_LINES, clock) == "returned"


def test_closed_input_leaves_the_job_open(folder: Path) -> None:
    notes: list[str] = []
    assert run(folder, SHORT, SHORT_LINES[:3], view=PlainView(notes.append)) == UNFINISHED
    assert notes[-1].strip() == "note  no more typed lines; the job stays open at step size"


def test_stop_work_ends_the_session_at_once(folder: Path) -> None:
    assert run(folder, SHORT, ["fabric ply", "stop work", "affirmative"]) == "stopped"
    job, clock = reopen(folder)
    assert work(job, SHORT_LINES[1:], clock) == "returned"


def test_a_found_condition_scraps(folder: Path) -> None:
    text = whole(LOOK + 'on = { found = "scrap" }\n')
    assert run(folder, text, [CLEAR, FOUND, "affirmative", CLEAR]) == "scrap"


def test_a_machine_that_arms_nothing_is_a_fault_of_ours(folder: Path) -> None:
    clock = SimulatedClock(START_MS)
    job = new_job(folder, whole(do()), clock)
    running = session(job, clock, Scripted())
    with pytest.raises(RuntimeError, match="armed nothing"):
        running._turn()
    running._perform(Finish("over"))
    assert running.outcome == "over"
    running.close()


def test_the_view_shows_one_plain_line_for_each_thing(folder: Path) -> None:
    lines: list[str] = []
    styled: list[str] = []

    def style(label: str, line: str) -> str:
        styled.append(label)
        return line

    clock = SimulatedClock(START_MS)
    job = new_job(folder, WHOLE, clock)
    spoken = [heard(line, pcm=b"\x01\x00" * 3200) for line in WHOLE_LINES[:4]]
    ears = Scripted(heard("rhubarb"), Quiet(), *spoken, heard("correction"), heard("six"), heard("negative"))
    running = session(job, clock, ears, view=PlainView(lines.append, style))
    running.run(job.first)
    running.close()
    again, clock = reopen(folder)
    rest = [
        "seven",
        "affirmative",
        "measure again",
        "five point five",
        "affirmative",
        "go back",
        "five",
        "affirmative",
    ]
    rest += ["hold work", "resume work", *WHOLE_LINES[4:]]
    assert work(again, rest, clock, view=PlainView(lines.append)) == "returned"
    text = "\n".join(lines)
    for wanted in (
        r'      heard  "fabric ply"  \(-20 dBFS, 35 dB over noise\)',
        r" understood  option fabric",
        r" understood  no match: not an answer to what was asked",
        r" understood  5.5",
        r" understood  command correction",
        r"   recorded  injury.size = 5.5 mm",
        r"   recorded  injury.size = 5.5 mm \(replaces record \d+\)",
        r"    verdict  INSIDE  Injury size: 5.5 mm; most 6 mm; .+\[injury.size.max; .+\]",
        r"    verdict  OUTSIDE  Injury size: 7 mm; most 6 mm; .+\[",
        r"   recorded  size: to be measured again",
        r"   recorded  beads: clear",
        r"   recorded  pass 1 of 3",
        r"   recorded  caution read back: no flame",
        r" hold point  released by supervisor badge 12",
        r"       wait  started: \d+ min \d\d s, at most \d+ min \d\d s  \[.+\]",
        r"       wait  over after \d+ min \d\d s",
        r"       hold  at look",
        r"       back  to size",
        r"      phase  CEMENT",
    ):
        assert re.search(f"^{wanted}", text, re.MULTILINE), wanted
    assert {"said", "heard", "understood", "recorded", "phase"} <= set(styled)


def test_when_the_disk_fails_nothing_more_is_said(folder: Path) -> None:
    """What can't be written is not spoken, and the job can be opened again where it stood."""
    clock = SimulatedClock(START_MS)
    job = new_job(folder, SHORT, clock)
    spoken: list[str] = []

    class Full(SilentVoice):
        def clip(self, text: str) -> Clip:
            spoken.append(text)
            return super().clip(text)

    append = job.log.append

    def fills_up(entries: Sequence[Mapping[str, object]]) -> list[Line]:
        if any(entry.get("kind") == "reading" for entry in entries):
            raise RecordError("can't write the record: no space left; free the disk, then resume the job")
        return append(entries)

    job.log.append = fills_up  # type: ignore[method-assign]
    with pytest.raises(RecordError, match="free the disk"):
        work(job, SHORT_LINES, clock, voice=Full())
    assert spoken[-1].startswith("Injury size:")
    assert lines_of(folder, "reading") == []
    again, clock = reopen(folder)
    assert again.machine.state.mode is Mode.CONFIRMING
    assert work(again, SHORT_LINES[6:], clock) == "returned"


def test_plain_lines_mark_from_where_on_it_listens(folder: Path) -> None:
    shown: list[str] = []
    clock = SimulatedClock(START_MS)
    view = PlainView(shown.append, marks=True)
    work(new_job(folder, SHORT, clock), ["fabric ply", "affirmative"], clock, view=view)
    labels = [line.split()[0] for line in shown if line.strip()]
    marks = [at for at, label in enumerate(labels) if label == "listening"]
    assert marks
    assert all(labels[at - 1] == "said" for at in marks)  # right after the last word, and once
    assert not any("listening" in line for line in _plainly(folder / "2"))


def _plainly(folder: Path) -> list[str]:
    shown: list[str] = []
    clock = SimulatedClock(START_MS)
    work(new_job(folder, SHORT, clock), ["fabric ply"], clock, view=PlainView(shown.append))
    return shown


def test_what_is_typed_while_it_says_that_the_microphone_is_lost_counts(folder: Path) -> None:
    """A live screen throws away what was typed before its line was wanted: it is wanted from the loss on."""
    happened: list[str] = []

    class Typist(io.StringIO):
        def __iter__(self) -> Iterator[str]:
            happened.append("the keyboard is read")
            return iter(["resume work\n", "fabric ply\n", "affirmative\n"])

    class Words(NullPlayer):
        def play(self, clip: Clip, interruptible: bool = False) -> Played:
            deadline = time.monotonic() + 5
            while happened and happened[-1] == "lost" and time.monotonic() < deadline:
                time.sleep(0.001)  # the reader is a thread of its own
            happened.append("spoken")
            return super().play(clip, interruptible)

    class Cable(Scripted):
        def listen(self, armed: Armed, until: int | None, *, answer: bool) -> Heard | Quiet | Lost | Closed:
            happened.append("lost")
            return Lost("microphone", "the cable was pulled")

    clock = SystemClock()
    job = new_job(folder, SHORT, clock)
    keyboard = TypedEars(make_engine("typed", normalise=typed_to_words), clock, Typist())
    running = session(job, clock, Cable(), player=Words(), spare=lambda: keyboard)
    running.run(job.first)
    running.close()
    lost = happened.index("lost")
    assert happened[lost : lost + 3] == ["lost", "the keyboard is read", "spoken"]
    assert [a["outcome"] for a in lines_of(folder, "answer")] == ["fabric"]
