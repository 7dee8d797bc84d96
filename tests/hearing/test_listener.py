"""From frames to hypotheses: one way for sessions, the bench and tests; the packaged recordings in noise."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from handsfree import _wiring as wiring
from handsfree.audio import room_noise, surround
from handsfree.bench._hearing import Score, score
from handsfree.bench._noise import available, mix, pink
from handsfree.bench._script import Recording, denial, recorded_lines
from handsfree.hearing import (
    DROWNED,
    Engine,
    Hypothesis,
    Listener,
    calibration,
    probability_of,
    same_meaning,
)

if TYPE_CHECKING:
    from conftest import Figures


@pytest.fixture(scope="module")
def lines() -> list[Recording]:
    return [line for line in recorded_lines() if line.known]


@pytest.fixture
def engine() -> Engine:
    return wiring.build_engine(wiring.Setup())


def heard_at(level: float | None, lines: list[Recording], figures: Figures, noise: str = "pink") -> Score:
    no = denial(recorded_lines())
    found = score(wiring.build_engine(wiring.Setup()), lines, level, seed=1, noise=noise, no=no)
    figures.add(
        f"packaged voices, {found.noise}, {'' if level is None else f'{level:g} dB'}",
        f"{found.said}: right value {found.value}, asked again {found.again}, wrong {found.wrong}",
    )
    return found


def test_the_technician_is_understood_in_quiet(lines: list[Recording], figures: Figures) -> None:
    """All of them are heard in the demo (test_demo.py)."""
    found = heard_at(None, lines[::12], figures)
    assert found.value == found.said == len(lines[::12])


@pytest.mark.slow
def test_the_technician_is_understood_at_15_decibels(lines: list[Recording], figures: Figures) -> None:
    found = heard_at(15.0, lines[::6], figures)
    assert found.value >= 0.92 * found.said
    assert found.wrong <= 1


@pytest.mark.slow
def test_at_10_decibels_nine_in_ten_are_understood_and_little_wrong(
    lines: list[Recording], figures: Figures
) -> None:
    found = heard_at(10.0, lines[::6], figures)
    assert found.value >= 0.9 * found.said
    assert found.wrong <= 1


@pytest.mark.slow
def test_at_5_decibels_three_quarters_are_understood(lines: list[Recording], figures: Figures) -> None:
    found = heard_at(5.0, lines[::6], figures)
    assert found.value >= 0.75 * found.said
    assert found.undetected == 0


@pytest.mark.slow
def test_a_quiet_microphone_is_understood_as_well(engine: Engine, lines: list[Recording]) -> None:
    """36 dB below: the cepstral mean does what automatic gain would do."""
    listener = Listener(engine)
    for line in lines[::14]:
        sound = room_noise(line.pcm) + line.pcm + room_noise(line.pcm)
        soft = np.rint(np.frombuffer(sound, "<i2") * 10 ** (-36 / 20)).astype("<i2").tobytes()
        listener.arm(line.armed)
        heard = [one.hypothesis for one in listener.hear(soft)]
        assert [same_meaning(line.armed, one.text, line.say) for one in heard if one.accepted] == [True]


@pytest.mark.slow
def test_what_drowns_in_noise_is_not_accepted_and_says_so(engine: Engine, lines: list[Recording]) -> None:
    listener = Listener(engine)
    line = next(line for line in lines if line.say == "affirmative")
    sound = room_noise(line.pcm) * 2 + line.pcm + room_noise(line.pcm)
    listener.arm(line.armed)
    found = listener.hear(mix(sound, pink(len(sound) // 2, 1), -5.0))
    assert found
    assert not any(one.hypothesis.accepted for one in found)
    for one in found:  # what its sound refused too keeps that reason
        likely = dict(one.hypothesis.scores).get("probability", 0.0) >= calibration().confirm
        assert (one.hypothesis.reason == DROWNED) is likely


@pytest.mark.parametrize("since_s", [1.2, 4.0])
def test_a_compressor_that_starts_is_not_said_and_covers_nothing_later(
    engine: Engine, lines: list[Recording], since_s: float
) -> None:
    yes = next(line for line in lines if line.say == "affirmative")
    listener = Listener(engine)
    listener.arm(yes.armed)
    quiet = (room_noise(yes.pcm) * 10)[: 5 * 32_000]
    assert listener.hear(quiet + yes.pcm + quiet)  # how loud the speaker is
    later = surround(yes.pcm, since_s, 3.0)
    heard = listener.hear(quiet + mix(later, pink(len(later) // 2, seed=77), 10.0))
    assert [(one.hypothesis.text, one.hypothesis.accepted) for one in heard] == [("affirmative", True)]


def test_what_was_decoded_ahead_is_taken_at_the_end(
    engine: Engine, lines: list[Recording], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not decoded again in the frame that ends it, when the answer is waited for."""
    yes = next(line for line in lines if line.say == "affirmative")
    listener, calls = Listener(engine), []
    listener.arm(yes.armed)
    for name in ("look_ahead", "go_on", "end"):
        plain = getattr(engine, name)
        monkeypatch.setattr(
            engine, name, lambda *given, plain=plain, name=name: (calls.append(name), plain(*given))[1]
        )
    (heard,) = listener.hear(surround(yes.pcm, 2.0, 2.0))
    assert heard.hypothesis.text == "affirmative"
    assert calls[-2:] == ["look_ahead", "end"]


def test_what_was_rejected_moves_neither_the_level_nor_the_mean(
    engine: Engine, lines: list[Recording]
) -> None:
    """A radio far away is not the voice that answers."""
    yes = next(line for line in lines if line.say == "affirmative")
    others = [line for line in lines if line.say in ("fabric body", "driver front", "tubeless tire")]

    def second(between: list[Recording]) -> float:
        engine.reset()
        listener = Listener(engine)
        listener.arm(yes.armed)
        listener.hear(surround(yes.pcm, 2.0, 2.0))
        for line in between:
            soft = np.rint(np.frombuffer(surround(line.pcm, 2.0, 2.0), "<i2") * 0.06).astype("<i2").tobytes()
            assert not any(one.hypothesis.accepted for one in listener.hear(soft))
        (heard,) = listener.hear(surround(yes.pcm, 2.0, 2.0))
        return dict(heard.hypothesis.scores)["probability"]

    assert second(others) == pytest.approx(second([]), abs=0.01)


def test_the_utterance_given_back_is_the_sound_as_it_came(engine: Engine, lines: list[Recording]) -> None:
    listener = Listener(engine)
    line = lines[0]
    sound = room_noise(line.pcm) + line.pcm + room_noise(line.pcm)
    noisy = mix(sound, pink(len(sound) // 2, 1), 10.0)
    listener.arm(line.armed)
    heard = listener.hear(noisy)
    assert heard
    assert all(one.utterance.pcm in noisy for one in heard)


@pytest.mark.parametrize("name", available())
def test_noise_is_made_by_seed(name: str) -> None:
    from handsfree.bench._noise import NOISES

    one, same, other = (NOISES[name](32000, seed) for seed in (1, 1, 2))
    assert (one == same).all()
    assert (one != other).any()
    assert (one**2).mean() == pytest.approx(1.0, abs=0.01)


def test_amid_talk_an_answer_is_asked_about(engine: Engine, lines: list[Recording]) -> None:
    """Sentences that answer nothing, one after the other; then the same "affirmative" that counted before them."""
    yes = next(line for line in lines if line.say == "affirmative")
    talk = [
        line
        for line in lines
        if line.say in ("driver front", "fabric body", "eye protection and gloves are on")
    ]
    listener = Listener(engine)
    listener.arm(yes.armed)

    def hear(line: Recording) -> Hypothesis:
        room = room_noise(line.pcm)[:32_000]
        sound = room + line.pcm + room
        return listener.hear(mix(sound, pink(len(sound) // 2, seed=5), 20.0))[-1].hypothesis

    before = [hear(yes) for _ in range(3)][-1]
    assert (before.accepted, before.unsure, dict(before.scores).get("prior")) == (True, False, None)
    for line in 2 * talk[:3]:
        hear(line)
    amid = hear(yes)
    scores = dict(amid.scores)
    assert scores["probability"] > calibration().accept, "it was said as well as before"
    assert probability_of(scores) < calibration().accept
    assert (amid.accepted, amid.unsure) == (True, True)
    # A minute without a word, and all is as before.
    listener.hear(room_noise(yes.pcm) * 15)
    after = hear(yes)
    assert (after.accepted, after.unsure) == (True, False)
