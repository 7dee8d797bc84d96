"""What the hearing bench counts, and the latency bench's percentiles."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from handsfree import _wiring as wiring
from handsfree.bench._hearing import score
from handsfree.bench._latency import Waited
from handsfree.bench._onset import onset
from handsfree.bench._script import denial, recorded_lines
from handsfree.grammar import Armed
from handsfree.hearing import Hypothesis


@dataclass
class Agreeable:
    """The worst there is: hears another number, and a yes in every read-back's answer."""

    name: str = "agreeable"
    armed: Armed | None = None

    def arm(self, armed: Armed) -> None:
        self.armed = armed

    def begin(self) -> None: ...
    def feed(self, pcm: bytes) -> None: ...
    def close(self) -> None: ...

    def end(self) -> Hypothesis:
        assert self.armed is not None
        for text in ("affirmative", "two zero six one nine", "four four one eight"):
            if self.armed.interpret(text):
                return Hypothesis(text, (), self.name, (), True)
        return Hypothesis("", (), self.name, (), False)


def test_what_is_undetected_is_counted_also_where_no_line_says_no() -> None:
    lines = [line for line in recorded_lines() if line.known]
    numbers = [line for line in lines if line.say == "two zero six one eight"]
    assert numbers
    no = denial(lines)
    assert no is not None
    assert no.say == "negative"
    engine = Agreeable()
    found = score(engine, numbers, None, seed=1, no=no)
    assert (found.wrong, found.undetected) == (len(numbers), len(numbers))
    assert score(engine, numbers, None, seed=1).undetected is None


def test_the_95th_percentile_is_the_nearest_rank() -> None:
    """The least value with at least 95 of 100 at or under it."""
    for many, rank in ((20, 19), (42, 40), (100, 95), (1, 1)):
        assert Waited.median_p95([float(n) for n in range(1, many + 1)])[1] == rank


def test_a_session_listens_for_more_than_the_step_names() -> None:
    line = next(line for line in recorded_lines() if line.known)
    assert {"bay", "needless"} <= set(line.armed.labels)
    assert line.armed.interpret("start another tire") is not None


def test_all_of_the_demo_but_its_chatter_is_known() -> None:
    lines = recorded_lines()
    assert [line.say for line in lines if not line.known] == ["did the delivery van come back yet"]


@pytest.mark.slow
def test_an_answer_after_a_noise_began_is_counted_as_heard_and_the_noise_as_nothing() -> None:
    lines = [line for line in recorded_lines() if line.say == "affirmative"][:2]
    engine = wiring.build_engine(wiring.Setup())
    found = onset(engine, lines, "pink", 10.0, 2.0)
    assert (found.said, found.right, found.wrong, found.before) == (2, 2, 0, 0)
    assert onset(engine, lines, "pink", -10.0, 2.0).right == 0
