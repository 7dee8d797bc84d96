"""The simulated technician keeps every bar, and breaks them when the machine is made worse."""

from __future__ import annotations

import dataclasses
import json
from collections import Counter
from pathlib import Path

import pytest

from handsfree.bench import _technician_main as command_line
from handsfree.bench._channel import Arming, Channel, meaning_of
from handsfree.bench._figures import BARS, Figures
from handsfree.bench._simulation import Work, run_job
from handsfree.bench._technician import Habits
from handsfree.procedure import Answer, Kind, Record
from handsfree.procedure import _answers as answers
from handsfree.procedure import _commands as commands
from handsfree.procedure import _judging as judging
from handsfree.procedure._model import Reading
from handsfree.procedure._state import Pending
from handsfree.procedure._turn import Turn
from handsfree.session import packaged_procedures

ARMING = Arming()
NAME = "passenger-one-piece"


def figures(work: Work, jobs: int, seed: int = 5) -> Figures:
    found = Figures(work)
    for number in range(jobs):
        found.add(run_job(work, seed * 1000 + number, ARMING))
    return found


def test_no_error_of_hearing_gets_through_where_the_technician_could_tell() -> None:
    found = figures(Work(NAME), 16, seed=6)
    assert {name: found.counts[name] for name in BARS} == dict.fromkeys(BARS, 0), found.notes
    # The errors really happened, and were put right on the way.
    assert 0.07 < found.rates["substituted utterances"] < 0.12
    assert found.rates["concept error rate as heard"] > 0.05
    assert found.counts["line not_confirmed"] > 20
    assert found.good == found.jobs


def test_a_change_of_technician_is_heard_out_and_ends_with_the_badge_that_was_meant() -> None:
    found = figures(Work("lug-nut-recheck", Habits(changes=0.1)), 12)
    assert not found.failed, found.notes
    assert found.good == found.jobs, found.notes
    assert found.counts["changes of technician"] > 10


def test_code_words_right_and_wrong_at_hold_points() -> None:
    """More found, so that supervisors are called; all by a shop's file."""
    found = figures(Work("lug-nut-recheck", Habits(found=0.5, outside=0.2, wrong_code=0.4), shop=1.0), 12)
    assert not found.failed, found.notes
    assert found.counts["wrong code words"] > 2
    assert found.counts["line code"] > found.counts["wrong code words"]


def test_another_badge_than_was_read_back_is_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    def other(turn: Turn, pending: Pending) -> str:
        name = signed(turn, pending)
        turn.effects = [
            dataclasses.replace(e, body=(*(p for p in e.body if p[0] != "badge"), ("badge", "99")))
            if isinstance(e, Record) and e.kind == "technician"
            else e
            for e in turn.effects
        ]
        return name

    signed = commands.signed
    monkeypatch.setattr(commands, "signed", other)
    found = figures(Work("lug-nut-recheck", Habits(changes=0.1)), 4)
    assert {"undetected errors", "rules broken"} <= set(found.failed)


def test_which_one_is_answered_digit_by_digit() -> None:
    """A -teen or -ty number is never taken in one hearing, and he gets it through all the same."""
    quiet = Habits(**{f.name: 0.0 for f in dataclasses.fields(Habits)})
    found = figures(Work(NAME, quiet, substitution=0, rejection=0, sure_voice=1), 4)
    assert found.good == found.jobs
    assert found.counts["line missed"] > 0  # asked which of the two
    assert found.counts["line hold"] == 0


@pytest.mark.parametrize("name", packaged_procedures())
def test_every_packaged_procedure_can_be_worked_by_him(name: str) -> None:
    found = figures(Work(name), 3)
    assert not found.failed, found.notes


def test_without_any_error_nothing_is_misheard() -> None:
    quiet = Habits(**{f.name: 0.0 for f in dataclasses.fields(Habits)})
    found = figures(Work(NAME, quiet, substitution=0, rejection=0, sure_voice=1), 3)
    assert found.good == 3
    assert found.counts["misheard"] == found.counts["no matches"] == found.counts["wrong entries"] == 0


def test_a_job_on_disk_replays_to_the_same_state(tmp_path: Path) -> None:
    """With the chance of stopping work raised, so that the record is opened again on the way."""
    work = Work("passenger-one-piece", Habits(stops=0.02))
    outcome = run_job(work, 77, ARMING, tmp_path / "job")
    assert outcome.counts["replayed"] == 1
    assert outcome.counts["rules broken"] == 0
    assert outcome.counts["reopened"] > 0
    assert outcome.ending == run_job(work, 77, ARMING).ending


# -- the figures can fail ------------------------------------------------------------------------------


def test_a_machine_that_reads_nothing_back_is_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    def at_once(turn: Turn, answer: Answer) -> None:
        step = turn.step
        assert isinstance(step, Reading)
        if not step.unit:
            take(turn, answer)
            return
        value = answers._measured(step, answer)
        if not isinstance(value, str):
            answers._commit_reading(turn, Pending("reading", answer.text, "", value))

    take = answers._take_reading
    monkeypatch.setitem(answers._TAKE, Kind.READING, at_once)  # type: ignore[arg-type]
    found = figures(Work(NAME, substitution=0.3), 4)
    assert found.counts["rules broken"] > 0
    assert found.counts["wrong entries"] > figures(Work(NAME), 4).counts["wrong entries"]


def test_a_read_back_that_says_something_else_is_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """He hears the right value, confirms it, and another is recorded: only the account can tell."""
    commit = answers._commit_reading

    def off_by_one(turn: Turn, pending: Pending) -> None:
        value = pending.value
        if not isinstance(value, str):
            value = dataclasses.replace(value, value=value.value + 1)
        commit(turn, dataclasses.replace(pending, value=value))

    monkeypatch.setitem(answers._COMMIT, "reading", off_by_one)
    found = figures(Work(NAME), 1)
    assert found.counts["wrong after yes"] > 0
    assert "rules broken" in found.failed


def test_a_limit_that_no_longer_stops_is_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(judging, "worst", lambda verdicts, binding: None)
    assert "limits passed" in figures(Work(NAME, Habits(outside=0.3)), 1).failed


# -- the channel -----------------------------------------------------------------------------------------


def test_one_word_becomes_another_that_means_something_else() -> None:
    armed = ARMING.arm({"command": "<commands.command>", "answer": "<readings.length_mm>"})
    channel = Channel(1, substitution=1.0, rejection=0)
    heard = Counter(channel.hear("five point five millimeters", armed).text for _ in range(300))
    assert "five point five millimeters" not in heard
    meant = meaning_of(armed.interpret("five point five millimeters"))
    assert all(meaning_of(armed.interpret(text)) not in (meant, None) for text in heard)
    # Five and nine share a vowel and differ in their consonants; five and hundred share nothing.
    assert heard["nine point five millimeters"] > heard["eleven point five millimeters"]


def test_a_denial_can_be_heard_as_a_yes() -> None:
    armed = ARMING.arm({"answer": "<answers.yes_no>"})
    channel = Channel(1, substitution=1.0, rejection=0)
    assert channel.hear("negative", armed).text == "affirmative"
    assert channel.substituted == 1


def test_chatter_is_taken_for_an_answer_now_and_then() -> None:
    armed = ARMING.arm({"answer": "<answers.finding>"})
    channel = Channel(2, substitution=0, rejection=0, chatter=0.15)
    taken = sum(channel.hear("pass me the pliers", armed).accepted for _ in range(400))
    assert 0.1 < taken / 400 < 0.2


# -- the command -----------------------------------------------------------------------------------------


def test_the_same_seed_gives_the_same_figures() -> None:
    one, other = (figures(Work(NAME), 2, seed=9) for _ in range(2))
    assert one.counts == other.counts
    assert one.counts != figures(Work(NAME), 2, seed=10).counts


def test_tables_and_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "figures.json"
    code = command_line.technician_main(
        ["--jobs", "2", "--disk", "0", "--procedure", NAME, "--json", str(out), "--seed", "4"]
    )
    assert code == 0
    assert "every bar is kept" in capsys.readouterr().out
    data = json.loads(out.read_text())
    assert data[NAME]["jobs"] == 2
    assert data[NAME]["bars"] == dict.fromkeys(BARS, 0)


@pytest.mark.parametrize("arguments", [["--procedure", "nosuch"], ["--jobs", "-1"], ["--substitutions", "2"]])
def test_wrong_arguments_are_one_line(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stopped:
        command_line.technician_main(arguments)
    assert stopped.value.code == 2
    assert "error: " in capsys.readouterr().err.splitlines()[-1]
