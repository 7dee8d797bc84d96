"""The whole one-piece repair by the demo's recordings through a virtual sound card, its waits really waited for."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

from handsfree.procedure import Mode
from handsfree.record import read_log
from handsfree.session import demo_folder, read_scenario
from sound_card.card import VirtualCard, least_match
from sound_card.technician import Technician
from sound_card.test_whole_job import DEVICES, PLAYED, assert_clean, assert_in_full, events, sounds_of

pytestmark = [pytest.mark.exhaustive, pytest.mark.sound_card]

_MOST_S = 3600
_SETTLED_S = 0.5
_TRIES = 4


def test_the_demo_through_a_sound_card(card: VirtualCard, tmp_path: Path) -> None:
    scenario = read_scenario(demo_folder())
    assert scenario is not None
    technician = Technician(card, tmp_path, {})
    again: list[str] = []
    with card.recorded(tmp_path / "heard.raw") as heard:
        tool = card.handsfree(
            "run", "--procedure", "passenger-one-piece", "--technician", "Mara Quill", "--expert", *DEVICES,
            cwd=tmp_path,
        )  # fmt: skip
        end = time.monotonic() + _MOST_S
        for line in scenario.line:
            for _ in range(_TRIES):
                before = listening(technician, tmp_path / "jobs", line.interjects, end, tool)
                if before < 0:
                    break
                card.say(demo_folder() / line.file)
                technician.said.append(line.say)
                kind = came_of_it(technician, tmp_path / "jobs", before)
                note = str((line.model_extra or {}).get("note", ""))
                if kind == "no_match" and not ("chatter" in note or "refused" in note):
                    again.append(line.say)
                    continue
                if kind:
                    break
                again.append(line.say)
        tool.wait(60)
    out, err, job = (tmp_path / "out.txt").read_text(), (tmp_path / "err.txt").read_text(), technician.job
    print(f"{len(technician.said)} lines said, again: {again}")
    assert (tool.returncode, err) == (0, ""), out[-3000:]
    assert "Disposition: repaired, return to service" in out
    assert_clean(job)
    lines = read_log(job).lines
    assert lines[0].body["clock"] == "system"
    waits = [line.body for line in lines if line.kind == "wait" and "waited_s" in line.body]
    print([(w["step"], w["outcome"], w["waited_s"]) for w in waits])
    recording = np.fromfile(heard, "<i2").astype(float)
    sounds = sounds_of(job)
    cautions = [str(e["text"]) for e in events(job, "spoken") if e["say_kind"] == "caution"]
    assert len(set(cautions)) >= 4
    for text in dict.fromkeys(cautions):
        assert least_match(recording, sounds[text]) > PLAYED
        assert_in_full(recording, text, sounds[text])
    minutes = (lines[-1].mono_ms - lines[0].mono_ms) / 60000
    print(f"{minutes:.1f} minutes, {len(set(cautions))} cautions in full")


def listening(technician: Technician, jobs: Path, interjects: bool, end: float, tool) -> int:  # type: ignore[no-untyped-def]
    """How many lines the record has when the tool listens for an answer, or for anything; -1 when it has ended."""
    seen, since = -1, time.monotonic()
    while tool.poll() is None:
        assert time.monotonic() < end, technician.said[-5:]
        time.sleep(0.25)
        found = technician.state(jobs)
        if found is None:
            continue
        state, lines = found
        answerable = any(label != "command" for label, _ in state.armed)
        ready = bool(state.armed) and (answerable or interjects or state.mode is Mode.HELD)
        if not ready or len(lines) != seen:
            seen, since = len(lines), time.monotonic()
        elif time.monotonic() - since > _SETTLED_S:
            return seen
    return -1


def came_of_it(technician: Technician, jobs: Path, before: int) -> str:
    """The type of the event that an utterance became, "" when none came in ten seconds."""
    end = time.monotonic() + 10
    while time.monotonic() < end:
        time.sleep(0.2)
        if not technician.job.parts:
            continue
        try:
            lines = read_log(technician.job).lines[before:]
        except Exception:  # it is being written
            continue
        heard = [str(line.body["type"]) for line in lines if "hypothesis" in line.body]
        if heard:
            return heard[0]
    return ""
