"""The walk over a machine finds nothing in the packaged procedures, and finds what is planted."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

import pytest

from handsfree.procedure import TABLE, Answer, Book, Kind, Mode
from handsfree.procedure import _answers as answers
from handsfree.procedure import _commands as commands
from handsfree.procedure import _judging as judging
from handsfree.procedure import _people as people
from handsfree.procedure._flow import enter, go
from handsfree.procedure._model import Reading
from handsfree.procedure._state import Pending
from handsfree.procedure._turn import Turn
from handsfree.procedure._walk import Walked, stray, walk
from handsfree.session import packaged_procedure, packaged_procedures

from .conftest import EVERY_KIND
from .driving import BADGE, CARE, ENDINGS, HEAD, SIZE, armed_for, book_of, do, whole


class Known:
    def arm(self, armed):  # type: ignore[no-untyped-def]
        return armed_for(tuple(armed.items()))


def walked(text: str | Book, **more: object) -> Walked:
    return walk(text if isinstance(text, Book) else book_of(text), Known(), **more)  # type: ignore[arg-type]


@pytest.mark.exhaustive  # test_check walks them too, as `handsfree check` does
@pytest.mark.parametrize("name", packaged_procedures())
def test_every_answer_to_every_step_of_a_packaged_procedure(name: str) -> None:
    result = walked(packaged_procedure(name), calm=("resume",), remember=2)
    assert result.findings == []
    assert result.whole


def test_going_back_and_correcting_from_every_state() -> None:
    result = walked(EVERY_KIND, calm=("resume", "go_back", "correction"), remember=2, audit=40)
    assert result.findings == []
    assert result.whole
    assert result.states > 500
    assert result.audited == 40
    # The key leaves the deep past of the way out: a few pairs in a hundred may differ after going back twice.
    assert len(result.differing) <= 4


def test_everything_that_can_happen_to_a_small_job() -> None:
    """With commands, misses, late answers, power cuts, a lost microphone and a voice that is cut off."""
    result = walked(HEAD + CARE + do() + SIZE + do("last", to="returned") + ENDINGS)
    assert result.findings == []
    assert result.whole


def test_everything_that_can_happen_where_a_supervisor_releases() -> None:
    """By a shop's file: badges of somebody else and of nobody, wrong code words, a change of technician meanwhile."""
    result = walked(whole(BADGE), shop=True)
    assert result.findings == []
    assert result.whole
    assert {Mode.PROVING, Mode.SIGNING, Mode.HELD, Mode.STOPPED, Mode.FINISHED} <= result.modes
    without = walked(whole(BADGE))
    assert without.findings == []
    assert Mode.PROVING not in without.modes


def test_long_walks_at_random_with_nothing_left_out() -> None:
    book = book_of(EVERY_KIND)
    assert [line for seed in range(4) for line in stray(book, Known(), seed=seed, events=200)] == []


def test_a_bound_is_told() -> None:
    assert not walked(EVERY_KIND, most_states=50).whole
    assert walked(EVERY_KIND, depth=5).depth <= 6


# -- planted faults: each must be found, with the way that leads to it ------------------------------------


def found(result: Walked, text: str) -> str:
    return next(line for line in result.findings if text in line)


def test_a_reading_recorded_without_its_read_back(monkeypatch: pytest.MonkeyPatch) -> None:
    def at_once(turn: Turn, answer: Answer) -> None:
        step = turn.step
        assert isinstance(step, Reading)
        value = answers._measured(step, answer)
        assert not isinstance(value, str)
        answers._commit_reading(turn, Pending("reading", answer.text, "", value))

    monkeypatch.setitem(answers._TAKE, Kind.READING, at_once)  # type: ignore[arg-type]
    line = found(walked(whole(SIZE), calm=()), "injury.size recorded without an affirmative")
    assert line.count(", ") == 1  # after: start, and one answer


def test_a_tire_released_without_the_code_word(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(
        answers._COMMIT, "release", lambda turn, pending: people._decide(turn, pending, "code word")
    )
    found(walked(whole(BADGE), shop=True, calm=()), "boss: released without the code word")
    assert walked(whole(BADGE), calm=()).findings == []


def test_a_wrong_code_word_that_releases(monkeypatch: pytest.MonkeyPatch) -> None:
    def lax(turn: Turn, answer: Answer) -> None:
        take(turn, dataclasses.replace(answer, slots=(("code", "right"),)))

    take = people.take_code
    monkeypatch.setitem(TABLE[Mode.PROVING], Answer, lax)  # type: ignore[arg-type]
    found(walked(whole(BADGE), shop=True, calm=()), "boss: a code word taken as right that was not")


def test_any_number_of_wrong_code_words(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(people, "MOST_WRONG_CODES", 9)
    found(walked(whole(BADGE), shop=True, calm=()), "boss: not held after 3 wrong code words")


def test_a_technician_taken_down_unconfirmed(monkeypatch: pytest.MonkeyPatch) -> None:
    def at_once(turn: Turn, answer: Answer) -> bool:
        sign(turn, answer)
        return turn.state.pending is not None

    sign = people.sign
    monkeypatch.setattr(commands, "sign", at_once)
    result = walked(whole(do()), calm=("change_technician",))
    found(result, "another technician taken down without an affirmative")
    assert walked(whole(do()), calm=()).findings == []


def test_a_limit_that_is_passed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(judging, "worst", lambda verdicts, binding: None)
    assert "went on over injury.size.max outside" in " ".join(walked(whole(SIZE), calm=()).findings)


def test_a_caution_taken_in_other_words(monkeypatch: pytest.MonkeyPatch) -> None:
    def anything(turn: Turn, answer: Answer) -> None:
        turn.record("caution", step=turn.step.id, signal="", text="", read_back=answer.text)
        go(turn, "done")

    monkeypatch.setitem(TABLE[Mode.READING_BACK], Answer, anything)  # type: ignore[arg-type]
    found(walked(whole(CARE, do())), "caution care taken as read back in other words")


def test_a_caution_that_is_passed_over(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(TABLE[Mode.READING_BACK], Answer, lambda turn, answer: go(turn, "done"))  # type: ignore[arg-type]
    found(walked(whole(CARE, do()), calm=()), "act entered without caution care")


def test_a_wait_that_is_left_early(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(commands.COMMAND_HANDLERS, "time_left", lambda turn: go(turn, "done"))  # type: ignore[arg-type]
    text = (
        EVERY_KIND[: EVERY_KIND.index('[[step]]\nid = "size"')]
        + EVERY_KIND[EVERY_KIND.index('[[step]]\nid = "temperature"') :]
    )
    found(walked(text, calm=("time_left",)), "wait dry left early")


@pytest.mark.parametrize(
    ("handler", "text"),
    [
        (lambda turn, answer: [][0], "IndexError"),
        (lambda turn, answer: enter(turn, "act"), "no ending can be reached"),
        (lambda turn, answer: None, "nothing goes on"),
    ],
)
def test_a_machine_that_raises_or_never_ends(
    monkeypatch: pytest.MonkeyPatch, handler: Callable[[Turn, Answer], None], text: str
) -> None:
    monkeypatch.setitem(answers._TAKE, Kind.DO, handler)  # type: ignore[arg-type]
    found(walked(whole(do()), calm=()), text)


def test_a_step_at_which_nothing_can_be_judged() -> None:
    """Its limit needs a fact that no step before it reads."""
    edge = SIZE.replace("injury.size.max", "stem.length.min").replace('"injury.size"', '"stem.length"')
    found(walked(whole(edge), calm=()), "nothing that can be said at size can be judged")


def test_a_tire_released_against_a_finding(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Turn, "reason", lambda self, text: None)
    out = SIZE.replace("forms", 'on = { outside = "last" }\nforms')
    text = whole(out).replace(
        'disposition = "return to service"', 'disposition = "return to service"\nreleased = true'
    )
    assert "released as returned against size" in " ".join(walked(text, calm=("resume",)).findings)
