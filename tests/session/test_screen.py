"""The live screen: what is on it at every size, in words and not in color, and that the terminal comes back whole."""

from __future__ import annotations

import io
import math
import os
import re
import signal
import struct
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from procedure.conftest import TO_WAIT
from procedure.driving import PLY, SIZE, START_MS, armed_for, whole
from rich.console import Console

from handsfree.audio import FRAME_MS, Endpointer
from handsfree.grammar import Armed, Library
from handsfree.procedure import COMMANDS, Mode, NoMatch, Record
from handsfree.record import read_log
from handsfree.record._words import WORDS
from handsfree.session import (
    UNFINISHED,
    AudioEars,
    Heard,
    Job,
    Level,
    LiveView,
    Lost,
    PlainView,
    SimulatedClock,
    choose_screen,
    demo_folder,
    packaged_procedure,
    read_scenario,
)
from handsfree.session import _shown as shown
from handsfree.session._keyline import KeyLine, edited
from handsfree.session._layout import Picture
from handsfree.session._letters import ROWS, big, big_width
from handsfree.session._shown import Hearing, Judged, Running, Shown
from handsfree.session._wording import left, outcome_words, over_noise, state_word
from session.bay import Scripted, Timed, heard, lines_of, new_job, readings, session, typed, work
from session.conftest import SHORT, SHORT_LINES, SHORT_READINGS, WHOLE

termios = pytest.importorskip("termios")

OUTSIDE = Judged(
    rule="injury.size.max",
    measured="Injury size: 7.5 mm",
    low="",
    high="6 mm",
    outcome="outside",
    severity="stop",
    source="the chart, 2019",
    limit="at most 6 mm",
)
FULL = Shown(
    title="Passenger tire",
    phase="cement",
    step="drying",
    place=(45, 80),
    mode=Mode.ASKING,
    question="Drilled size?",
    answers=("measure again", "out of limits"),
    or_value=True,
    commands=("say again", "stop work"),
    said="Let it dry.",
    hearing=Hearing("seven point five", "7.5 mm", -21.4, 31.0),
    verdicts=(OUTSIDE,),
    timers=(Running("drying", 236_000, 344_000, False),),
    trail=(("recorded", "injury.size = 7.5 mm"),),
    exceptions=("drill-size: 7.5 mm outside",),
    reasons=("bead damaged",),
    notes=("the loudspeaker is gone",),
)
QUIET = Level(-51.0, -53.0, False)
SIZES = [(200, 60), (120, 40), (119, 60), (80, 24), (80, 10), (40, 24), (40, 10), (20, 4), (3, 3), (1, 1)]


def drawn(
    what: Shown, width: int, height: int, *, now: int = 0, level: Level | None = QUIET, color: bool = False
):
    """The picture's rows as text; in ``color`` the escape sequences are taken out again."""
    out = io.StringIO()
    system = "truecolor" if color else None
    console = Console(file=out, width=width, height=height, force_terminal=color, color_system=system)
    console.print(Picture(what, now, level), height=height, end="")
    return re.sub(r"\x1b\[[0-9;]*m", "", out.getvalue()).rstrip("\n").split("\n")


def text(*args, **more) -> str:
    """All of it as one run of words, so that a wrapped sentence is found too."""
    return " ".join(" ".join(drawn(*args, **more)).split())


text_of = text  # where a procedure's text has that name


@pytest.mark.parametrize(("width", "height"), [(200, 60), (80, 24)])
def test_all_that_a_glance_needs_is_on_it(width: int, height: int) -> None:
    seen = text(replace(FULL, notes=(), exceptions=()), width, height, now=69_000)
    for words in (
        "CEMENT",
        "step 45 of 80: drying",
        "Drilled size?",
        '"seven point five"',
        "understood: 7.5 mm",
        "good: -21 dBFS, 31 dB over noise",
        "now -51 dBFS, noise -53 dBFS",
        "XX OUTSIDE. Injury size: 7.5 mm; limit: at most 6 mm",
        "Source: the chart, 2019",
        "drying: 2:47 left, not over 4:35",
        "measure again",
        "out of limits",
        "the value once more",
        "say again",
        "stop work",
        "NOT RELEASED: bead damaged",
    ):
        assert words in seen, words


def test_value_and_limit_are_both_large_where_there_are_panels() -> None:
    for width, height in ((200, 60), (120, 40)):
        rows = drawn(FULL, width, height)
        seen = "\n".join(rows)
        for words in ("XX OUTSIDE", "at most 6 mm"):
            assert all(row in seen for row in big(words, width)), (words, width)


def test_a_note_and_the_number_of_exceptions_are_on_it() -> None:
    for size in ((200, 60), (80, 24)):
        seen = text(FULL, *size)
        assert "NOTE: the loudspeaker is gone" in seen
        assert "1 exception; last: drill-size: 7.5 mm outside" in seen


@pytest.mark.parametrize(("width", "height"), SIZES)
@pytest.mark.parametrize(
    "what", [FULL, Shown(), replace(FULL, typing="4.5 m"), replace(FULL, verdicts=(), timers=())]
)
def test_it_fills_any_size_and_never_more(what: Shown, width: int, height: int) -> None:
    rows = drawn(what, width, height)
    assert len(rows) <= height
    assert max(map(len, rows)) <= width


@pytest.mark.parametrize(("width", "height"), SIZES[:7])
def test_the_question_and_the_typed_line_are_there_at_any_usable_size(width: int, height: int) -> None:
    seen = text(replace(FULL, typing="4.5 mil"), width, height)
    assert "Drilled size?" in seen
    assert "4.5 mil_" in seen


_words = st.text(max_size=90)
_verdicts = st.builds(
    Judged,
    rule=st.just("x"),
    measured=_words,
    low=_words,
    high=_words,
    outcome=st.sampled_from(["inside", "outside", "close", "new word"]),
    severity=st.sampled_from(["stop", "warn", "note"]),
    source=_words,
    limit=_words,
)


@settings(max_examples=80, deadline=None)
@given(
    st.builds(
        Shown,
        title=_words,
        phase=_words,
        step=_words,
        mode=st.sampled_from(Mode),
        question=st.text(max_size=400),
        answers=st.lists(_words, max_size=6).map(tuple),
        commands=st.lists(_words, max_size=8).map(tuple),
        said=st.text(max_size=400),
        hearing=st.none()
        | st.builds(Hearing, _words, _words, st.floats(-120, 3), st.floats(-10, 90), st.booleans()),
        verdicts=st.lists(_verdicts, max_size=4).map(tuple),
        timers=st.lists(
            st.builds(
                Running, _words, st.integers(0, 10**7), st.none() | st.integers(0, 10**7), st.booleans()
            ),
            max_size=3,
        ).map(tuple),
        trail=st.lists(st.tuples(_words, _words), max_size=9).map(tuple),
        exceptions=st.lists(_words, max_size=3).map(tuple),
        reasons=st.lists(_words, max_size=5).map(tuple),
        notes=st.lists(_words, max_size=3).map(tuple),
        typing=st.none() | _words,
    ),
    st.integers(1, 220),
    st.integers(1, 70),
)
def test_nothing_that_can_be_shown_breaks_it(what: Shown, width: int, height: int) -> None:
    out = io.StringIO()
    console = Console(file=out, width=width, height=height, force_terminal=True, color_system="truecolor")
    console.print(Picture(what, 5000, QUIET), height=height, end="")


@pytest.mark.parametrize(("width", "height"), [(200, 60), (80, 24), (40, 10)])
@pytest.mark.parametrize("outcome", ["inside", "outside", "close"])
@pytest.mark.parametrize("severity", ["stop", "warn"])
def test_color_says_nothing_that_words_do_not(outcome: str, severity: str, width: int, height: int) -> None:
    judged = replace(OUTSIDE, outcome=outcome, severity=severity)
    what = replace(FULL, verdicts=(judged,))
    assert drawn(what, width, height, color=True) == drawn(what, width, height)


def test_every_outcome_has_its_own_sign_and_word() -> None:
    words = {
        (outcome, severity): outcome_words(replace(OUTSIDE, outcome=outcome, severity=severity))
        for outcome in ("inside", "outside", "close")
        for severity in ("stop", "warn")
    }
    assert words["inside", "stop"] == words["inside", "warn"] == "OK INSIDE"
    assert words["outside", "stop"] == "XX OUTSIDE"
    assert words["close", "stop"] == "?? TOO CLOSE"
    assert words["outside", "warn"] == "!! WARNING: OUTSIDE"
    assert len({word.split()[0] for word in words.values()}) == 4


def test_the_worst_verdict_is_the_one_to_look_at() -> None:
    inside = replace(OUTSIDE, outcome="inside")
    close = replace(OUTSIDE, outcome="close")
    warning = replace(OUTSIDE, severity="warn")
    assert Shown(verdicts=(inside, warning, close, OUTSIDE)).worst == OUTSIDE
    assert Shown(verdicts=(inside, warning, close)).worst == close
    assert Shown(verdicts=(inside, close)).worst == close
    assert Shown(verdicts=(warning, inside)).worst in (warning, inside)
    assert Shown().worst is None


def test_the_state_is_a_word_of_its_own() -> None:
    asking = Shown(mode=Mode.ASKING)
    words = {
        state_word(asking, QUIET),
        state_word(asking, Level(-20, -50, True)),
        state_word(replace(asking, speaking=True), QUIET),
        state_word(replace(asking, typing=""), None),
        *(
            state_word(replace(asking, mode=m), None)
            for m in (Mode.WAITING, Mode.HELD, Mode.STOPPED, Mode.FINISHED)
        ),
    }
    assert words == {
        "LISTENING",
        "HEARING YOU",
        "SPEAKING",
        "TYPE NOW",
        "WAITING",
        "ON HOLD",
        "WORK STOPPED",
        "FINISHED",
    }
    # On hold it stays so, also while it speaks: nothing but a few commands is taken.
    assert state_word(Shown(mode=Mode.HELD, speaking=True), QUIET) == "ON HOLD"


def test_time_left_is_counted_down_to_the_second() -> None:
    assert [left(ms) for ms in (236_000, 60_001, 60_000, 1, 0, -5)] == [
        "3:56",
        "1:01",
        "1:00",
        "0:01",
        "0:00",
        "0:00",
    ]
    rows = [text(FULL, 200, 60, now=now) for now in (0, 1000, 235_500)]
    assert ["3:56 left" in rows[0], "3:55 left" in rows[1], "0:01 left" in rows[2]] == [True] * 3
    over = replace(FULL, timers=(Running("drying", 236_000, 344_000, True),))
    assert "drying: over; go on within 1:48" in text(over, 80, 24, now=236_000)


def test_how_loud_is_said_in_words() -> None:
    # README, "What it reaches": nearly all understood at 20 dB, three in four at 15, one in five at 10.
    assert [over_noise(db) for db in (33, 20, 19.9, 15, 10, 9.9)] == [
        "good",
        "good",
        "fair",
        "fair",
        "poor",
        "too noisy, come closer",
    ]
    assert "TOO LOUD: clipped" in text(replace(FULL, hearing=Hearing("x", "", -1.0, 40.0, True)), 80, 24)


# -- the letters ---------------------------------------------------------------------------------------


def test_big_letters_are_all_different_and_as_wide_as_said() -> None:
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789.,:;?!'\"()/+-%&=*|~_"
    pictures = {letter: tuple(big(letter, 5)) for letter in letters}
    assert len(set(pictures.values())) == len(letters)
    for picture in pictures.values():
        assert len(picture) == ROWS
        assert {len(row) for row in picture} == {5}
    assert len(big("Cutter speed", 80)[0]) == big_width("Cutter speed")


def test_big_letters_wrap_between_words_or_stay_away() -> None:
    assert len(big("one two", big_width("one two"))) == ROWS
    assert len(big("one two", big_width("one tw"))) == 2 * ROWS
    assert big("clip-on chuck", big_width("clip-o")) == []  # not "clip-" and "on"
    assert big("seventeen", big_width("sevente")) == []
    assert big("Überdruck", 200) == []


def test_every_question_of_the_packaged_procedure_can_be_drawn_large() -> None:
    from handsfree.procedure import read_procedure

    for step in read_procedure(packaged_procedure("passenger-one-piece")).step:
        assert big(step.ask, 194), step.ask
        for condition in getattr(step, "conditions", ()):
            assert big(condition.ask, 194), condition.ask


# -- what it knows of a job ------------------------------------------------------------------------------


class Kept(LiveView):
    """Draws nothing, and keeps what would be drawn each time an answer is awaited."""

    def begin(self, now, level) -> None:
        self.kept: list[Shown] = []

    def end(self) -> None: ...

    def listening(self) -> None:
        super().listening()
        self.kept.append(self._shown)


@pytest.fixture(scope="module")
def repair(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[Shown, Armed]]:
    """The demo's whole repair in typed words: what is shown, and what is armed, at each answer."""
    scenario = read_scenario(demo_folder())
    assert scenario is not None
    said = re.findall(r'^say = "(.*)"$', (demo_folder() / "scenario.toml").read_text(), re.MULTILINE)
    clock, view = SimulatedClock(START_MS), Kept(print)
    job = new_job(tmp_path_factory.mktemp("repair") / "job", packaged_procedure("passenger-one-piece"), clock)
    armed: list[Armed] = []
    ears = typed(said, clock)
    listen = ears.listen

    def noted(now_armed: Armed, until: int | None, *, answer: bool):
        armed.append(now_armed)
        return listen(now_armed, until, answer=answer)

    ears.listen = noted  # type: ignore[method-assign]
    running = session(job, clock, ears, view=view)
    running.run(job.first)
    running.close()
    assert len(view.kept) == len(armed) > 100
    return list(zip(view.kept, armed, strict=True))


def test_what_may_be_said_is_what_is_armed(repair: list[tuple[Shown, Armed]]) -> None:
    sayable = 0
    for what, armed in repair:
        for command in what.commands:
            meaning = armed.interpret(command)
            assert meaning is not None, command
            assert meaning.label == "command"
        for answer in what.answers:
            # Some forms describe ("four digits, one by one"); those with a comma are no sentence.
            if "," not in answer:
                assert armed.interpret(answer) is not None, (what.step, answer)
                sayable += 1
        assert bool(what.answers) == (what.mode is not Mode.WAITING)
        assert what.or_value == ("value" in armed.labels)
    assert sayable > 80


@pytest.mark.parametrize("mode", COMMANDS)
def test_every_command_is_shown_as_it_is_said(mode: Mode) -> None:
    names = COMMANDS[mode]
    armed = armed_for((("command", " | ".join(f"<commands.{name}>" for name in names)),))
    for name in names:
        meaning = armed.interpret(shown.SAYABLE.get(name, name.replace("_", " ")))
        assert meaning is not None
        assert meaning.slot("command") == name


def test_what_is_read_back_is_shown_in_figures(repair: list[tuple[Shown, Armed]]) -> None:
    asked = [what.question for what, _ in repair]
    assert "Injury size: 4.5 mm. Affirmative?" in asked
    assert "Work order: 4417. Affirmative?" in asked


def test_a_verdict_stands_beside_its_limit_and_source_until_the_next_value(
    repair: list[tuple[Shown, Armed]],
) -> None:
    judged = [(what.step, what.worst) for what, _ in repair if what.worst is not None]
    first = next(worst for step, worst in judged if step == "drill-speed" and "speed" in worst.measured)
    assert (first.outcome, first.measured) == ("outside", "Carbide cutter speed: 1800 rpm")
    assert first.limit == "at most 1200 rpm"
    after = next(worst for step, worst in judged if step != "drill-speed" and "1000" in worst.measured)
    assert after.outcome == "inside"
    assert "1,200 rpm" in after.source


def test_a_limit_that_is_itself_refused_is_not_shown_as_allowed(repair: list[tuple[Shown, Armed]]) -> None:
    depths = [w.worst.limit for w, _ in repair if w.worst is not None and w.worst.rule == "tread.depth.min"]
    assert depths
    assert all(limit.startswith("more than ") for limit in depths)  # 2/32 in or less is worn out


def test_a_wait_shows_both_its_times(repair: list[tuple[Shown, Armed]]) -> None:
    drying = next(what for what, _ in repair if what.step == "drying")
    (timer,) = drying.timers
    assert timer.name == "drying"
    assert timer.longest_due is not None
    assert timer.longest_due - timer.shortest_due == 1000 * (344 - 236)  # the demo's wait, README


def test_ages_are_in_years_and_no_finer_than_they_are_said(repair: list[tuple[Shown, Armed]]) -> None:
    ages = [w.worst for w, _ in repair if w.worst is not None and w.worst.rule == "tire.age"]
    assert ages
    for judged in ages:
        assert re.fullmatch(r"Tire age: \d+(\.\d)? years", judged.measured)
        assert re.fullmatch(r"at most (6|10) years", judged.limit)
    told = {sentence for what, _ in repair for _, sentence in what.trail}
    assert not [text for text in told if re.search(r"\d a\b|\d\.\d{4}", text)]


def test_every_sentence_begins_with_a_capital(repair: list[tuple[Shown, Armed]]) -> None:
    for what, _ in repair:
        for text in (what.question, what.said):
            assert not re.search(r"\w\w[.?!] [a-z]", text), text
    lines: list[str] = []
    PlainView(lines.append).said("Going on. three passes. Brush, e.g. a soft one.", "prompt")
    assert lines == ["       said  Going on. Three passes. Brush, e.g. a soft one."]


def test_on_hold_the_way_out_is_what_may_be_said(repair: list[tuple[Shown, Armed]]) -> None:
    held = next(what for what, _ in repair if what.mode is Mode.HELD)
    assert held.answers == ("resume work",)
    assert "resume work" not in held.commands  # once is enough
    assert "ON HOLD" in text(held, 80, 24)


def test_each_tire_has_its_own_verdict_and_record_and_the_head_names_it(tmp_path: Path) -> None:
    clock, view = SimulatedClock(START_MS), Kept(print)
    text = whole(PLY, SIZE)
    jobs = {name: tmp_path / name for name in ("alfa", "bravo")}
    lines = [
        "fabric ply", "affirmative", "nine", "affirmative", "start another tire", "fabric ply", "affirmative",
        "tire alfa", "tire bravo", "three", "affirmative", "tire alfa",
    ]  # fmt: skip

    def another(name: str) -> Job:
        return new_job(jobs[name], text, clock, also={"tire": name})

    job = new_job(jobs["alfa"], text, clock)
    ears = typed(lines, clock)
    running = session(job, clock, ears, view=view, another=another, library=Library.load())
    running.run(job.first)
    running.close()
    pictures = [(what.tire, what.worst.measured if what.worst else "", what.waiting) for what in view.kept]
    alfa, bravo = "Injury size: 9 mm", "Injury size: 3 mm"
    assert pictures == [
        ("alfa", "", ()), ("alfa", "", ()), ("alfa", "", ()), ("alfa", "", ()), ("alfa", alfa, ()),
        ("bravo", "", ("alfa",)), ("bravo", "", ("alfa",)), ("bravo", "", ("alfa",)),
        ("alfa", alfa, ("bravo",)), ("bravo", "", ("alfa",)), ("bravo", "", ("alfa",)),
        ("bravo", bravo, ("alfa",)), ("alfa", alfa, ("bravo",)),
    ]  # fmt: skip
    last, before = view.kept[-1], view.kept[-2]
    for size in ((200, 60), (80, 24)):
        assert "TIRE ALFA, bravo waits" in text_of(last, *size)
        assert "OUTSIDE" in text_of(last, *size)
        assert "OUTSIDE" not in text_of(before, *size)
    assert ("recorded", "injury.size = 9 mm") in last.trail
    assert ("recorded", "injury.size = 9 mm") not in before.trail
    assert before.commands[-2:] == ("tire alfa", "start another tire")


def test_the_last_words_on_a_finished_tire_stand_under_its_own_name_and_its_check_words_stay(
    tmp_path: Path,
) -> None:
    clock, view, lines = SimulatedClock(START_MS), Kept(print), []
    text = whole(PLY)
    folders = {name: tmp_path / name for name in ("alfa", "bravo")}

    class Both(Kept):
        """The same told as plain lines."""

        plain = PlainView(lines.append)

        def said(self, text: str, kind: str) -> None:
            super().said(text, kind)
            self.plain.said(text, kind)

    def another(name: str) -> Job:
        return new_job(folders[name], text, clock, also={"tire": name})

    view = Both(print)
    job = new_job(folders["alfa"], text, clock)
    said = ["start another tire", "fabric ply", "affirmative", "completed", "hold work", "resume work"]
    running = session(job, clock, typed(said, clock), view=view, another=another, library=Library.load())
    running.run(job.first)
    running.close()
    (words,) = [line["words"] for line in lines_of(folders["bravo"], "seal")]
    at = next(n for n, what in enumerate(view.kept) if what.ended)
    assert (view.kept[at].tire, view.kept[at - 1].tire) == ("alfa", "bravo")
    closing = next(line["disposition"] for line in lines_of(folders["bravo"], "close"))
    told = view.kept[at].said
    assert f"Tire bravo: Check words: {', '.join(words)}." in told
    assert told.startswith("Tire bravo: Finished. Disposition:")
    assert "Tire alfa: " not in told
    assert any(line.split("  ")[-1].startswith("Tire bravo: ") and "Disposition:" in line for line in lines)
    for what in view.kept[at:]:  # also after more was said and done
        for size in ((200, 60), (120, 40), (80, 24)):
            seen = text_of(what, *size)
            assert f"bravo: check words {' '.join(words)}; {closing[:2]}" in seen, (seen, size)
            assert closing in seen or size == (80, 24)
    longest = sorted(WORDS, key=len)[-5:]
    what = replace(FULL, ended=(("charlie", f"check words {' '.join(longest)}; {closing}"),))
    assert f"charlie: check words {' '.join(longest[:-1])}" in text_of(what, 80, 24)


def test_the_waits_of_a_tire_that_waits_are_on_the_screen(tmp_path: Path) -> None:
    clock, view = SimulatedClock(START_MS), Kept(print)
    folders = {name: tmp_path / name for name in ("alfa", "bravo")}

    def another(name: str) -> Job:
        return new_job(folders[name], WHOLE, clock, also={"tire": name})

    job = new_job(folders["alfa"], WHOLE, clock)
    lines = [*TO_WAIT, "start another tire", "fabric ply", "affirmative", "tire alfa"]
    ears = Timed(clock, *[(2.0, line) for line in lines])
    running = session(job, clock, ears, view=view, another=another, library=Library.load())
    running.run(job.first)
    running.close()
    beside = [what for what in view.kept if what.tire == "bravo"]
    (wait,) = next(what for what in view.kept if what.timers).timers
    assert beside
    for what in beside:
        assert what.timers == ()
        assert what.timers_beside == (("alfa", wait),)
        now = wait.shortest_due - 202_000
        for size in ((200, 60), (120, 40), (80, 24)):
            assert f"alfa: {wait.name} 3:22 left, not over" in text_of(what, *size, now=now), size
    back = view.kept[-1]
    assert (back.tire, back.timers, back.timers_beside) == ("alfa", (wait,), ())


def _lines_of_a_job(*records: tuple[str, dict[str, str]]) -> Shown:
    what = replace(FULL, exceptions=(), notes=(), reasons=(), timers=())
    for kind, body in records:
        what = shown.recorded(what, Record(kind, tuple(body.items())))
    return what


@pytest.mark.parametrize(
    ("kind", "body", "large"),
    [
        ("inspect", {"step": "look", "condition": "studs", "outcome": "clear", "reason": ""}, ""),
        (
            "inspect",
            {"step": "look", "condition": "studs", "outcome": "found", "reason": "damaged stud"},
            "DEFECT FOUND",
        ),
        ("hold_point", {"step": "all", "outcome": "refused", "by": "disposition"}, "NOT RELEASED"),
        ("hold_point", {"step": "all", "outcome": "released", "by": "supervisor"}, ""),
        ("caution", {"step": "look", "read_back": "wheels are down"}, ""),
        ("answer", {"step": "look", "outcome": "done"}, ""),
        ("back", {"step": "look", "to": "size"}, ""),
    ],
)
def test_the_large_verdict_is_that_of_the_step_just_answered(
    kind: str, body: dict[str, str], large: str
) -> None:
    what = _lines_of_a_job((kind, body))
    assert what.worst is None
    for width, height in ((200, 60), (120, 40), (80, 24)):
        seen = "\n".join(drawn(what, width, height))
        for words in ("XX OUTSIDE", "OK INSIDE", "DEFECT FOUND", "NOT RELEASED"):
            assert all(row in seen for row in big(words, width)) == (words == large), (words, width)


def test_what_is_good_goes_as_a_supervisor_is_asked_and_what_is_not_stays() -> None:
    at_supervisor = ("step", {"step": "call", "phase": "check", "step_kind": "hold_point"})
    assert _lines_of_a_job(at_supervisor).verdicts == (OUTSIDE,)
    inside = replace(FULL, verdicts=(replace(OUTSIDE, outcome="inside"),))
    assert shown.recorded(inside, Record(at_supervisor[0], tuple(at_supervisor[1].items()))).worst is None


def test_a_missing_stud_stands_large_and_no_older_verdict(tmp_path: Path) -> None:
    """The torque check by its procedure file: a distance is judged inside, then a stud is missing."""
    clock, view = SimulatedClock(START_MS), Kept(print)
    job = new_job(tmp_path / "job", packaged_procedure("lug-nut-recheck"), clock)
    lines = [
        "brake is on wheels are down", "1122", "yes", "4417", "yes", "driver front", "yes", "20 miles", "yes",
        "nothing found", "nothing found", "defect found", "yes", "completed",
    ]  # fmt: skip
    running = session(job, clock, typed(lines, clock), view=view)
    running.run(job.first)
    running.close()
    driven = next(n for n, what in enumerate(view.kept) if what.worst)
    assert view.kept[driven].worst.outcome == "inside"  # type: ignore[union-attr]
    assert all(what.worst is None for what in view.kept[driven + 1 :])
    aside = "\n".join(drawn(view.kept[-1], 80, 24))
    assert all(row in aside for row in big("DEFECT FOUND", 80))
    assert view._shown.mode is Mode.FINISHED
    seen = "\n".join(drawn(view._shown, 80, 24))
    assert all(row in seen for row in big("NOT RELEASED", 80))
    assert "NOT RELEASED: damaged or missing stud" in text(view._shown, 80, 24)
    assert "REPAIR" not in text(replace(view._shown, title=""), 80, 24)


def test_what_is_recorded_of_a_tire_that_waits_is_not_in_the_picture() -> None:
    view = LiveView(print)
    view.turned("alfa", (), ())
    view.turned("bravo", ("alfa",), ())
    wait = Record("wait", (("step", "drying"), ("waited_s", "240"), ("outcome", "over")))
    view.recorded_beside("alfa", wait)
    assert view._shown.trail == ()
    view.turned("alfa", ("bravo",), ())
    assert [label for label, _ in view._shown.trail] == ["wait"]
    view.turned("bravo", (), ())  # alfa has ended, and the next tire has its name
    view.turned("alfa", ("bravo",), ())
    assert view._shown.trail == ()


def test_plain_lines_name_the_tire_that_is_turned_to() -> None:
    told: list[str] = []
    view = PlainView(told.append)
    view.turned("alfa", (), ("start another tire",))
    assert told == []
    view.turned("bravo", ("alfa",), ())
    view.turned("bravo", ("alfa",), ())
    wait = Record("wait", (("step", "drying"), ("waited_s", "240"), ("outcome", "over")))
    view.recorded_beside("alfa", wait)
    assert [line.split() for line in told if line] == [
        ["tire", "BRAVO,", "alfa", "waits"],
        ["wait", "tire", "alfa:", "over", "after", "4", "min", "00", "s"],
    ]


@pytest.mark.parametrize(("width", "height"), SIZES[:7])
def test_on_hold_that_is_what_stands_largest(width: int, height: int) -> None:
    """The question is none while work is on hold: it stands small, and so does a verdict."""
    held = replace(
        FULL,
        mode=Mode.HELD,
        held="On hold. Say: resume work.",
        answers=("resume work",),
        timers=(),
        notes=(),
        reasons=(),
        exceptions=(),
        said="On hold. Say: resume work.",
    )
    rows = drawn(held, width, height)
    seen = "\n".join(rows)
    assert "On hold. Say: resume work." in text(held, width, height)
    assert "Drilled size?" in seen
    for words in ("Drilled size?", "XX OUTSIDE"):
        assert not all(row in seen for row in big(words, 200)), words
    if height >= 24 and width >= 80:
        assert all(row in seen for row in big("ON HOLD", width))
    if (width, height) == (80, 24):
        assert rows[2].strip("┃ ") == ""
        assert rows[3].strip("┃ ") == "On hold. Say: resume work."


def test_a_job_on_hold_is_shown_so_and_its_question_again_afterwards(
    repair: list[tuple[Shown, Armed]],
) -> None:
    at = next(n for n, (what, _) in enumerate(repair) if what.mode is Mode.HELD)
    held, after = repair[at][0], repair[at + 1][0]
    assert held.headline == "On hold. Say: resume work."
    assert after.headline == after.question == held.question


def test_nothing_heard_can_steer_the_terminal() -> None:
    what = shown.heard(Shown(), heard("\x1b[2J\x07wipe\nit"), NoMatch(0, "\x1b[2J", "\x9b1m"))
    what = shown.noted(shown.said(what, "\x1b]0;title\x07"), "\x1b[31mgone")
    rows = drawn(what, 80, 24)
    assert not set("".join(rows)) & {"\x1b", "\x07", "\x9b"}
    assert "wipe it" in " ".join(rows)


# -- a live screen ---------------------------------------------------------------------------------------

_ALT_ON, _ALT_OFF, _CURSOR = "\x1b[?1049h", "\x1b[?1049l", "\x1b[?25h"


def _live(notes: list[str]) -> tuple[LiveView, io.StringIO]:
    out = io.StringIO()
    return LiveView(notes.append, Console(file=out, force_terminal=True, width=80, height=24)), out


def test_a_job_on_the_live_screen_is_the_same_job(folder: Path) -> None:
    notes: list[str] = []
    view, out = _live(notes)
    clock = SimulatedClock(START_MS)
    assert work(new_job(folder, SHORT, clock), SHORT_LINES, clock, view=view) == "returned"
    assert readings(folder) == SHORT_READINGS
    written = out.getvalue()
    assert written.startswith(_ALT_ON)
    assert _CURSOR in written
    assert "said  " in written.partition(_ALT_OFF)[2]
    assert "\x1b" not in written.partition(_ALT_OFF)[2]
    assert notes == []


@pytest.mark.parametrize("lines", [["stop work"], SHORT_LINES])
def test_nothing_is_logged_as_spoken_that_was_not_on_the_screen(folder: Path, lines: list[str]) -> None:
    """Without a voice the screen is the voice: also several sentences at once, and the last ones stay to be read."""
    view, out = _live([])
    clock = SimulatedClock(START_MS)
    logged: list[str] = []

    job = new_job(folder, SHORT, clock)
    append = job.log.append

    def noted(bodies: list[dict[str, object]]):
        seen = _run_of_words(out.getvalue().rpartition("\x1b[H")[2])  # the picture that stands now
        for body in bodies:
            if "say_kind" in body:
                logged.append(str(body["text"]))
                for sentence in re.split(r"(?<=[.?]) ", str(body["text"])):  # the question has its frame
                    capital = sentence[:1].upper() + sentence[1:]
                    assert _run_of_words(capital) in seen, body
        return append(bodies)

    job.log.append = noted  # type: ignore[assignment,method-assign]
    work(job, lines, clock, view=view)
    assert len(logged) > 2
    after = out.getvalue().partition(_ALT_OFF)[2]
    assert _run_of_words(logged[-1]) in _run_of_words(after)
    if lines == ["stop work"]:
        assert "Work stopped. Make the work safe. The tire is not to be used." in " ".join(after.split())


def _run_of_words(written: str) -> str:
    """What was drawn, as one run of letters: a sentence is wrapped, and a question framed."""
    return re.sub(r"\x1b\[[0-9;?]*[A-Za-z]|[^\w.,:?%]", "", written)


def test_an_error_gives_the_terminal_back_and_no_note_is_lost(folder: Path) -> None:
    notes: list[str] = []
    view, out = _live(notes)
    job, clock = new_job(folder, SHORT), SimulatedClock(START_MS)

    class Broken(Scripted):
        def listen(self, armed: Armed, until: int | None, *, answer: bool):
            view.note("the disk is nearly full")
            raise KeyboardInterrupt

    running = session(job, clock, Broken(), view=view)
    with pytest.raises(KeyboardInterrupt):
        running.run(job.first)
    running.close()
    assert "\x1b" not in out.getvalue().partition(_ALT_OFF)[2]
    assert notes == ["the disk is nearly full"]
    view.end()
    assert notes == ["the disk is nearly full"]  # once


def test_a_lost_microphone_is_noted_on_the_screen_and_afterwards(folder: Path) -> None:
    notes: list[str] = []
    view, _ = _live(notes)
    job, clock = new_job(folder, SHORT), SimulatedClock(START_MS)
    running = session(job, clock, Scripted(Lost("microphone", "the microphone was pulled out")), view=view)
    assert running.run(job.first) == UNFINISHED
    running.close()
    assert notes == ["the microphone was pulled out"]


def test_the_end_from_outside_is_an_interruption_while_it_is_live() -> None:
    before = signal.getsignal(signal.SIGTERM)
    view, _ = _live([])
    view.begin(lambda: 0, lambda: None)
    try:
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGTERM)
    finally:
        view.end()
    assert signal.getsignal(signal.SIGTERM) is before


def test_the_meter_reads_the_microphone(folder: Path) -> None:
    # AES17: a sine of full scale is 0 dBFS; a tenth of it, -20.
    endpointer = Endpointer()
    tone = [round(3276.7 * math.sin(2 * math.pi * k / 16)) for k in range(480)]
    endpointer.feed(struct.pack("<480h", *tone))
    assert endpointer.level_dbfs == pytest.approx(-20, abs=0.05)

    class Tone:
        live, frame_ms = False, FRAME_MS
        left = 3

        def read(self) -> bytes | None:
            self.left -= 1
            return struct.pack("<480h", *tone) if self.left >= 0 else None

        def cue(self, answer: bool = True) -> None: ...
        def close(self) -> None: ...

    ears = AudioEars(Tone(), typed([], SimulatedClock(0)).engine, SimulatedClock(0))
    ears.listen(armed_for((("command", "<commands.hold>"),)), None, answer=False)
    assert ears.level.now_dbfs == pytest.approx(-20, abs=0.05)
    assert ears.level.noise_dbfs < -40


# -- which screen ----------------------------------------------------------------------------------------

_USUAL = {
    "tty": True,
    "keys": True,
    "fast": False,
    "encoding": "utf-8",
    "environ": {"TERM": "xterm-256color"},
}


@pytest.mark.parametrize(
    ("changes", "chosen"),
    [
        ({}, "live"),
        ({"encoding": "UTF8"}, "live"),
        ({"environ": {"TERM": "xterm", "NO_COLOR": ""}}, "live"),  # no-color.org: only when not empty
        ({"environ": {"TERM": "xterm", "NO_COLOR": "1"}}, "lines"),
        ({"environ": {"TERM": "dumb"}}, "lines"),
        ({"environ": {}}, "lines"),
        ({"tty": False}, "lines"),
        ({"keys": False}, "lines"),
        ({"fast": True}, "lines"),
        ({"encoding": "iso-8859-1"}, "lines"),
    ],
)
def test_the_screen_that_fits_is_chosen(changes: dict[str, object], chosen: str) -> None:
    assert choose_screen("", **{**_USUAL, **changes}) == chosen  # type: ignore[arg-type]
    assert choose_screen("lines", **{**_USUAL, **changes}) == "lines"  # type: ignore[arg-type]


def test_what_is_asked_for_counts_where_it_can_be_done() -> None:
    assert choose_screen("live", **{**_USUAL, "fast": True}) == "live"  # type: ignore[arg-type]
    asked = {**_USUAL, "environ": {"TERM": "xterm", "NO_COLOR": "1"}}
    assert choose_screen("live", **asked) == "live"  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="--screen lines"):
        choose_screen("live", **{**_USUAL, "tty": False})  # type: ignore[arg-type]


@pytest.mark.parametrize("asked", ["live", "cinema"])
def test_a_screen_that_is_none_is_one_line_and_no_job(asked: str, tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "handsfree", "run", "--engine", "typed", "--screen", asked, "--jobs", "jobs"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, [str(Path(__file__).parents[2])]))},
        capture_output=True,
        text=True,
        check=False,
        stdin=subprocess.DEVNULL,
        timeout=60,
    )
    assert done.returncode == 2
    assert "--screen" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "jobs").exists()


# -- typing on it ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "key", "after"),
    [
        ("4.", "5", "4.5"),
        ("4.5", "\x7f", "4."),
        ("", "\x7f", ""),
        ("five five", "\x17", "five"),
        ("five", "\x17", ""),
        ("five five", "\x15", ""),
        ("five", "\t", "five"),
        ("five", "\x00", "five"),
        ("x" * 200, "y", "x" * 200),
    ],
)
def test_a_key_changes_the_line(line: str, key: str, after: str) -> None:
    assert edited(line, key) == after


@pytest.fixture
def terminal() -> Iterator[tuple[int, io.TextIOWrapper]]:
    """The keyboard's end of a terminal, and the program's."""
    ours, theirs = os.openpty()
    stream = open(theirs, closefd=True)  # noqa: PTH123, SIM115
    yield ours, stream
    stream.close()
    os.close(ours)


def test_keys_become_lines_and_the_terminal_comes_back(terminal: tuple[int, io.TextIOWrapper]) -> None:
    ours, stream = terminal
    before = termios.tcgetattr(stream)
    seen: list[str] = []
    keys = KeyLine(seen.append, stream)
    assert keys.able()
    assert termios.tcgetattr(stream) == before  # asking changes nothing
    keys.open()
    assert not termios.tcgetattr(stream)[3] & termios.ECHO
    keys._begin()  # what was typed before is dropped; from here on nothing is
    os.write(ours, b"4.6\x7f5 mm\r")
    assert keys.readline() == "4.5 mm\n"
    os.write(ours, "\x1b[A\x1bOPé\x1b[3~x\n".encode())
    assert keys.readline() == "éx\n"
    os.write(ours, b"\x04")
    assert keys.readline() == ""
    assert seen[0] == ""
    keys.close()
    assert termios.tcgetattr(stream) == before


def test_what_was_typed_before_a_line_was_wanted_is_no_answer(terminal: tuple[int, io.TextIOWrapper]) -> None:
    ours, stream = terminal
    keys = KeyLine(lambda line: None, stream)
    assert keys.able()
    keys.open()
    os.write(ours, b"affirmative\r")
    time.sleep(0.05)
    keys._begin()
    os.write(ours, b"negative\r")
    assert keys.readline() == "negative\n"
    keys.close()


def test_no_terminal_no_keys(tmp_path: Path) -> None:
    with (tmp_path / "lines").open("w+") as file:
        assert not KeyLine(lambda line: None, file).able()
    assert not KeyLine(lambda line: None, io.StringIO()).able()


def test_a_whole_start_on_a_real_terminal(tmp_path: Path) -> None:
    """Typed on a terminal of 80 by 24, then Ctrl-C: the picture was there, and the terminal is as it was."""
    import fcntl
    import select

    def on_a_terminal() -> None:
        signal.signal(signal.SIGINT, signal.SIG_DFL)  # a shell has its background jobs ignore Ctrl-C
        fcntl.ioctl(0, termios.TIOCSCTTY, 0)

    ours, theirs = os.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    before = termios.tcgetattr(theirs)
    env = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "COLUMNS", "LINES")}
    run = subprocess.Popen(
        [
            sys.executable,
            "-m",
            "handsfree",
            "run",
            "--engine",
            "typed",
            "--technician",
            "Ana",
            "--jobs",
            str(tmp_path / "jobs"),
        ],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        env={**env, "TERM": "xterm-256color", "PYTHONIOENCODING": "utf-8"},
        start_new_session=True,
        preexec_fn=on_a_terminal,
    )
    seen = b""

    def until(words: bytes) -> None:
        nonlocal seen
        end = time.monotonic() + 30
        while words not in seen:
            assert time.monotonic() < end, seen[-3000:]
            if select.select([ours], [], [], 0.2)[0]:
                seen += os.read(ours, 65536)

    try:
        until(b"TYPE NOW")
        os.write(ours, b"eye protection and gloves are on\r")
        until(b"your badge number?")
        os.write(ours, b"44")
        until(b"44_")
        os.write(ours, b"17\r")
        until(b"badge: 4417. Affirmative?")
        os.write(ours, b"\x03")
        until(b"Go on with: handsfree resume")
        assert run.wait(20) == 3
    finally:
        run.kill()
        run.wait()
    assert seen.index(_ALT_ON.encode()) < seen.index(b"TYPE NOW") < seen.index(_ALT_OFF.encode())
    assert seen.index(_ALT_OFF.encode()) < seen.index(b"Go on with")
    assert termios.tcgetattr(theirs) == before
    os.close(ours)
    os.close(theirs)
    (job,) = (tmp_path / "jobs").iterdir()
    assert any(line.kind == "caution" for line in read_log(job).lines)


def test_a_screen_that_has_the_keyboard_gives_the_typed_lines() -> None:
    from handsfree._wiring import _keyboard

    class WithKeys(Kept):
        def keyboard(self):
            return io.StringIO("hold work\n")

    ears = _keyboard(SimulatedClock(0), WithKeys(print))
    result = ears.listen(armed_for((("command", "<commands.hold>"),)), None, answer=True)
    assert isinstance(result, Heard)
    assert result.hypothesis.text == "hold work"
