"""Who speaks too loud or too soft is told, once until the level has changed; and the record replays it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from handsfree.audio import Utterance, clipped_samples, dbfs, room_noise
from handsfree.audit import audit
from handsfree.procedure import TOO_LOUD, TOO_SOFT
from handsfree.session import Heard, PlainView, SimulatedClock
from handsfree.session._loudness import Loudness, loudness_of

from .bay import Scripted, heard, lines_of, new_job, reopen, session
from .conftest import SHORT
from .test_session import START_MS

LOUD = "Too loud, the sound is clipped. Step back from the microphone, or speak softer."
SOFT = "Hard to hear over the noise. Come closer to the microphone, or speak up."


def voice(peak: float, noise_dbfs: float = -60.0) -> Utterance:
    """A second of a tone in words of 200 ms, at ``peak`` times the full scale, over a room's noise."""
    room = np.frombuffer(room_noise(level_dbfs=noise_dbfs)[:32000], "<i2").astype(float)
    at = np.arange(16000) / 16000
    tone = 32768 * peak * np.sin(2 * np.pi * 220 * at) * (np.floor(at / 0.2) % 2 == 0)
    pcm = np.clip(np.rint(room + tone), -32768, 32767).astype("<i2")
    loud = pcm[np.abs(tone) > 0].tobytes()
    return Utterance(pcm.tobytes(), 0, 1000, dbfs(loud), noise_dbfs, clipped_samples(pcm.tobytes()))


def saying(text: str, utterance: Utterance) -> Heard:
    return replace(heard(text), utterance=utterance)


@pytest.mark.parametrize(
    ("utterance", "what"),
    [
        (voice(0.3), ""),
        (voice(0.99), ""),
        (voice(1.5), TOO_LOUD),
        (voice(0.01, -45.0), TOO_SOFT),
        (voice(0.03, -45.0), ""),
    ],
)
def test_what_is_too_loud_and_what_too_soft(utterance: Utterance, what: str) -> None:
    assert loudness_of(utterance) == what


def test_a_few_clipped_samples_are_no_reason() -> None:
    assert loudness_of(replace(voice(0.9), clipped=16)) == ""
    assert loudness_of(replace(voice(0.9), clipped=17)) == TOO_LOUD


def test_it_is_said_again_when_the_level_has_changed() -> None:
    told = Loudness()
    loud = voice(1.5)
    assert [told(loud), told(loud), told(voice(0.3)), told(loud)] == [TOO_LOUD, "", "", ""]
    assert told(replace(loud, speech_dbfs=loud.speech_dbfs + 6)) == TOO_LOUD
    assert told(voice(0.01, -45.0)) == TOO_SOFT


def spoken(folder: Path) -> list[str]:
    return [str(e["text"]) for e in lines_of(folder, "event") if e["type"] == "spoken"]


def test_it_is_told_before_the_reply_once_and_replays(folder: Path) -> None:
    clock, shown = SimulatedClock(START_MS), list[str]()
    job = new_job(folder, SHORT, clock)
    loud, soft = voice(1.5), voice(0.01, -45.0)
    ears = Scripted(
        saying("rhubarb", loud),
        saying("fabric ply", loud),
        saying("hold work", loud),  # a command is obeyed, and nothing said beside it
        saying("resume work", loud),
        saying("affirmative", soft),
    )
    running = session(job, clock, ears, view=PlainView(shown.append))
    running.run(job.first)
    running.close()
    said = spoken(folder)
    assert (said.count(LOUD), said.count(SOFT)) == (1, 1)
    assert said[said.index(LOUD) + 1] == "Say again?"
    assert [e.get("loudness") for e in lines_of(folder, "event") if e.get("hypothesis")] == [
        TOO_LOUD, None, None, None, TOO_SOFT,
    ]  # fmt: skip
    assert sum("TOO LOUD" in line for line in shown) == 4
    assert sum("TOO SOFT" in line for line in shown) == 1
    assert [f for f in audit(folder).findings if f.check not in ("clock", "end")] == []
    again, _ = reopen(folder)
    again.log.close()


def test_a_job_begun_before_has_no_words_for_it(folder: Path) -> None:
    clock = SimulatedClock(START_MS)
    job = new_job(folder, SHORT, clock)
    job.machine.book.prompts._templates.pop("too_loud")
    running = session(job, clock, Scripted(saying("fabric ply", voice(1.5))))
    running.run(job.first)
    running.close()
    assert LOUD not in spoken(folder)
    assert lines_of(folder, "answer") == []
