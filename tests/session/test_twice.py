"""In noise a short answer is heard right and not surely: the second time in a row it counts, and the audit knows."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from audit.jobs import forge

from handsfree.audit import audit
from handsfree.grammar import Library
from handsfree.procedure import UNSURE
from handsfree.record import Finding
from handsfree.session import Heard, SimulatedClock
from session.bay import Scripted, heard, lines_of, new_job, session
from session.conftest import SHORT
from session.test_session import START_MS

SURE = 0.97


def said(text: str, probability: float = SURE) -> Heard:
    """As a recognizer gives it."""
    found = heard(text)
    scores = (("probability", probability),)
    return replace(found, hypothesis=replace(found.hypothesis, scores=scores, unsure=probability < 0.85))


def after(folder: Path, *spoken: Heard, pause_ms: int = 3000) -> Path:
    """To the read-back of the body ply, then ``spoken``."""
    clock = SimulatedClock(START_MS)
    ears = Scripted(said("fabric ply"), *spoken)
    listen = ears.listen

    def slowly(*args: object, **kwargs: object) -> object:
        clock.advance(pause_ms)
        return listen(*args, **kwargs)  # type: ignore[arg-type]

    ears.listen = slowly  # type: ignore[method-assign, assignment]
    job = new_job(folder, SHORT, clock)
    running = session(job, clock, ears)
    running.run(job.first)
    running.close()
    return folder


def recorded(folder: Path) -> list[object]:
    return [line["outcome"] for line in lines_of(folder, "answer")]


def errors(folder: Path) -> list[Finding]:
    """But for those of a simulated clock and of a job that is not closed."""
    return [one for one in audit(folder).findings if one.check in ("parse", "replay", "course")]


def test_the_second_unsure_yes_in_a_row_counts(folder: Path) -> None:
    assert recorded(after(folder, said("affirmative", 0.6))) == []
    assert recorded(after(folder / "2", said("affirmative", 0.6), said("affirmative", 0.55))) == ["fabric"]
    events = [e for e in lines_of(folder / "2", "event") if e.get("hypothesis") == "affirmative"]
    assert [(e["unsure"], e.get("twice")) for e in events] == [("true", None), ("true", "true")]
    assert errors(folder / "2") == []


@pytest.mark.parametrize(
    "spoken",
    [
        (said("affirmative", 0.6), said("affirmative", 0.45)),  # not likely enough
        (said("affirmative", 0.45), said("affirmative", 0.6)),
        (said("affirmative", 0.6), said("say again"), said("affirmative", 0.6)),  # not in a row
        (said("affirmative", 0.6), heard("", reason="no words heard"), said("affirmative", 0.6)),
        (said("resume work", 0.6), said("affirmative", 0.6)),  # not the same
    ],
)
def test_anything_else_does_not(folder: Path, spoken: tuple[Heard, ...]) -> None:
    assert recorded(after(folder, *spoken)) == []


def test_not_long_after(folder: Path) -> None:
    assert recorded(after(folder, said("affirmative", 0.6), said("affirmative", 0.6), pause_ms=25_000)) == []


def test_it_is_the_meaning_that_must_be_the_same(folder: Path) -> None:
    after(folder, said("hold work"), said("resume work", 0.7), said("resume", 0.7))
    events = [e for e in lines_of(folder, "event") if str(e.get("hypothesis")).startswith("resume")]
    assert [(e["type"], e.get("twice")) for e in events] == [("no_match", None), ("command", "true")]


def test_a_third_is_a_first_again(folder: Path) -> None:
    """What counted once is used up: the third stands for itself."""
    hold, resume = said("hold work"), said("resume work", 0.7)
    after(folder, hold, resume, resume, hold, resume)
    events = [e for e in lines_of(folder, "event") if e.get("hypothesis") == "resume work"]
    assert [e["type"] for e in events] == ["no_match", "command", "no_match"]


def test_a_command_that_must_be_heard_surely_is_obeyed_the_second_time(folder: Path) -> None:
    after(folder, said("hold work"), said("resume work", 0.7), said("resume work", 0.7))
    events = [e for e in lines_of(folder, "event") if e.get("hypothesis") == "resume work"]
    assert [(e["type"], e.get("reason")) for e in events] == [("no_match", UNSURE), ("command", None)]
    assert errors(folder) == []


@pytest.mark.parametrize("forged", ["unsure", "twice", "probability"])
def test_an_audit_finds_what_counted_and_was_not_sure(folder: Path, forged: str) -> None:
    first = said("affirmative", 0.6)
    after(folder, first, said("affirmative", 0.6)) if forged != "unsure" else after(
        folder, said("affirmative")
    )
    assert errors(folder) == []

    def change(entries: list[dict[str, object]]) -> list[dict[str, object]]:
        places = [n for n, e in enumerate(entries) if e.get("hypothesis") == "affirmative"]
        changed = dict(entries[places[-1]])
        if forged == "unsure":
            changed |= {"unsure": "true"}
        elif forged == "twice":
            del changed["twice"]
        else:
            changed |= {"scores": {"probability": "0.410"}}
        return [changed if n == places[-1] else e for n, e in enumerate(entries)]

    forge(folder, change)
    assert {one.check for one in errors(folder)} & {"parse", "replay"}


@pytest.mark.parametrize(
    ("words", "probability", "once", "again"),
    [
        ("hold", 0.7, False, False),  # one syllable is found in any talk, also twice in a row
        ("hold work", 0.7, False, True),
        ("stand by", 0.7, False, True),
        ("stop", 0.7, False, False),
        ("stop work", 0.7, False, True),
        ("stop work", 0.8, True, True),
    ],
)
def test_an_unsure_command(folder: Path, words: str, probability: float, once: bool, again: bool) -> None:
    first = after(folder / "1", said(words, probability))
    second = after(folder / "2", said(words, probability), said(words, probability))
    kinds = ("command", "stop", "hold")
    assert any(lines_of(first, kind) for kind in kinds) is once
    assert any(lines_of(second, kind) for kind in kinds) is again
    assert errors(first) == errors(second) == []


def test_amid_talk_to_stop_needs_more_and_the_rest_most(folder: Path) -> None:
    """What talk makes likelier: two alike that are each rather talk than an answer."""
    asked = after(folder / "0", amid_talk(said("stop work", 0.8)))
    assert lines_of(asked, "stop") == []
    stopped = after(folder / "1", amid_talk(unsurely(said("stop work", 0.95))))
    assert lines_of(stopped, "stop")
    twice = after(folder / "2", *[amid_talk(said("what is the limit", 0.7))] * 2)
    assert lines_of(twice, "command") == []
    surer = after(folder / "3", *[amid_talk(unsurely(said("what is the limit", 0.9)))] * 2)
    assert len(lines_of(surer, "command")) == 1
    assert errors(asked) == errors(stopped) == errors(twice) == errors(surer) == []


def amid_talk(one: Heard) -> Heard:
    return replace(one, hypothesis=replace(one.hypothesis, scores=(*one.hypothesis.scores, ("prior", 0.2))))


def unsurely(one: Heard) -> Heard:
    return replace(one, hypothesis=replace(one.hypothesis, unsure=True))


def test_hold_alone_counts_from_the_keyboard_only(folder: Path) -> None:
    spoken = heard("hold", pcm=b"\0\0" * 8000)
    typed = said("hold")
    asked = after(folder / "1", spoken)
    assert lines_of(asked, "command") == []
    assert [line["reason"] for line in lines_of(asked, "missed")][:1] == [UNSURE]
    told = [str(e["text"]) for e in lines_of(asked, "event") if e["type"] == "spoken"]
    assert told[-1] == "To pause, say: stand by."
    assert errors(asked) == []
    assert [line["name"] for line in lines_of(after(folder / "2", typed), "command")] == ["hold"]


@pytest.fixture
def two_tires(folder: Path) -> Callable[..., list[Finding]]:
    """Say these in a bay where another tire can be begun; what the audits of all its jobs find but for what a
    simulated clock and an open job bring with them."""

    def say(*spoken: Heard) -> list[Finding]:
        clock = SimulatedClock(START_MS)
        job = new_job(folder / "alfa", SHORT, clock)
        another = lambda name: new_job(folder / name, SHORT, clock)  # noqa: E731
        running = session(job, clock, Scripted(*spoken), library=Library.load(), another=another)
        running.run(job.first)
        running.close()
        found = [one for done in sorted(folder.iterdir()) for one in audit(done).findings]
        return [one for one in found if one.check not in ("clock", "end")]

    return say


def turned(folder: Path) -> list[object]:
    return [e.get("twice") for e in lines_of(folder / "alfa", "event") if e["type"] == "set_aside"]


@pytest.mark.parametrize("call", ["start another tire", "begin another tire"])
def test_to_another_tire_it_is_turned_surely_or_at_the_second_unsure_call(
    folder: Path, two_tires: Callable[..., list[Finding]], call: str
) -> None:
    assert two_tires(said(call, 0.7)) == []
    assert turned(folder) == []
    assert [line["reason"] for line in lines_of(folder / "alfa", "missed")] == [UNSURE]


def test_the_second_unsure_call_of_a_tire_counts_and_passes_the_audit(
    folder: Path, two_tires: Callable[..., list[Finding]]
) -> None:
    unsure = said("start another tire", 0.7)
    assert two_tires(unsure, unsure, said("tire alfa", 0.7), said("switch to tire alfa", 0.7)) == []
    assert turned(folder) == ["true"]
    assert [e.get("twice") for e in lines_of(folder / "bravo", "event") if e["type"] == "set_aside"] == [
        "true"
    ]


@pytest.mark.parametrize(
    ("forged", "told"),
    [
        ({"twice": None}, "not heard surely"),
        ({"hypothesis": "say again"}, "no other|does not call|heard twice"),
        ({"scores": {"probability": "0.410"}}, "heard twice"),
    ],
)
def test_an_audit_finds_a_call_that_should_not_have_counted(
    folder: Path, two_tires: Callable[..., list[Finding]], forged: dict[str, object], told: str
) -> None:
    unsure = said("start another tire", 0.7)
    assert two_tires(unsure, unsure) == []

    def change(entries: list[dict[str, object]]) -> list[dict[str, object]]:
        both = [e | forged if e.get("type") == "set_aside" else e for e in entries]
        return [{key: value for key, value in e.items() if value is not None} for e in both]

    forge(folder / "alfa", change)
    assert [one for one in errors(folder / "alfa") if re.search(told, one.message)]


def test_stop_alone_that_is_not_heard_surely_is_answered_by_what_is(folder: Path) -> None:
    asked = after(folder, unsurely(said("stop", 0.88)))
    assert lines_of(asked, "stop") == []
    told = [str(e["text"]) for e in lines_of(asked, "event") if e["type"] == "spoken"]
    assert told[-1] == "To stop, say: stop work."
