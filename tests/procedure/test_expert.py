"""Short prompts for an expert: fewer words, the same values, and cautions word for word."""

from __future__ import annotations

import pytest

from handsfree.procedure import Answer, PromptError, Prompts, Say, Start
from handsfree.procedure._model import ProcedureError, read_procedure
from handsfree.session import packaged_procedure, packaged_procedures, prompts_text

from .driving import CARE, JOB, SIZE, Drive, whole
from .test_derived import TO_INJURY, injury

PASSENGER = packaged_procedure("passenger-one-piece")


def both(text: str, *lines: str) -> tuple[Drive, Drive]:
    """The same lines said to a machine that speaks in full, and to one that speaks briefly."""
    full, short = Drive(text, start=False), Drive(text, start=False)
    full.feed(Start(full.at, JOB))
    short.feed(Start(short.at, (*JOB, ("expert", "short prompts"))))
    for drive in (full, short):
        drive.say(*lines)
    return full, short


def words(drive: Drive, kind: str = "") -> list[str]:
    return [e.text for e in drive.effects if isinstance(e, Say) and kind in ("", e.kind)]


def test_it_says_less_and_records_the_same() -> None:
    full, short = both(PASSENGER, *TO_INJURY, *injury("four"))
    assert short.readings() == full.readings() != []
    assert [e.label for e in short.events if isinstance(e, Answer)] == [
        e.label for e in full.events if isinstance(e, Answer)
    ]
    spoken = [sum(len(text.split()) for text in words(drive)) for drive in (full, short)]
    assert spoken[1] < 0.8 * spoken[0]


def test_cautions_are_word_for_word_the_same() -> None:
    full, short = both(PASSENGER, *TO_INJURY)
    assert words(full, "caution") == words(short, "caution") != []


def test_the_notice_at_the_start_too() -> None:
    full, short = both(PASSENGER)
    assert words(full, "notice") == words(short, "notice") != []


def test_out_of_limits_is_said_in_full() -> None:
    full, short = both(whole(SIZE), "seven millimeters", "affirmative")
    assert full.said() == short.said()
    assert "Outside" in full.said()


@pytest.mark.parametrize("name", packaged_procedures())
def test_every_value_is_still_read_back(name: str) -> None:
    """A brief question still asks, and no brief wording is longer than what it shortens."""
    for step in read_procedure(packaged_procedure(name)).step:
        if step.brief:
            assert len(step.brief) < len(step.ask), step.id
    prompts = Prompts(prompts_text())
    for key, text in prompts.expert.items():
        assert len(text) < len(prompts.templates[key]), key
        if key.startswith("read_back"):
            assert prompts.variables(key) == {v for v in prompts.variables(key) if f"{{{v}}}" in text}


def test_a_caution_can_not_be_shortened() -> None:
    with pytest.raises(ProcedureError, match="a caution is never shortened"):
        read_procedure(whole(CARE.replace('signal = "WARNING"', 'signal = "WARNING"\nbrief = "Careful."')))


@pytest.mark.parametrize(
    ("extra", "line"),
    [
        ('caution = "Careful."', "never shortened"),
        ('outside = "{value}."', "never shortened"),
        ('nothing_like_it = "x"', "no prompt of that name"),
        ('inside = "{value} {weight}"', "nothing fills {weight}"),
        ("inside = 5", "must be a line of text"),
    ],
)
def test_a_shop_that_shortens_too_much_is_told(extra: str, line: str) -> None:
    text = prompts_text().partition("[expert]")[0] + "[expert]\n" + extra
    with pytest.raises(PromptError, match=line):
        Prompts(text).must_cover(Prompts(prompts_text()))
