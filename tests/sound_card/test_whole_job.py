"""Whole jobs by the real command through a virtual sound card: what is said goes in, what comes out is heard again."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest

from handsfree.audit import audit
from handsfree.record import check_chain, read_log
from handsfree.speaking import Pyttsx3Voice
from handsfree.speaking._text import speakable
from sound_card.card import VirtualCard, least_match
from sound_card.technician import Technician

pytestmark = [pytest.mark.slow, pytest.mark.sound_card]

LUG_NUTS: Mapping[str, str] = {
    "work-order": "four four one seven",
    "wheel-position": "driver front",
    "distance-driven": "two five miles",
    "look": "nothing found",
    "studs": "nothing found",
    "torque-target": "one one zero newton meters",
    "nut-count": "five",
    "torque-found": "none has turned",
    "torque-applied": "one one zero newton meters",
    "nuts-turned-again": "every nut holds",
    "hand-over": "completed",
}
RUN = ("run", "--procedure", "lug-nut-recheck", "--technician", "Mara Quill", "--device", "technician",
       "--loudspeaker", "tool", "--screen", "lines", "--jobs", "jobs", "--expert")  # fmt: skip


def events(job: Path, kind: str) -> list[Mapping[str, object]]:
    return [line.body for line in read_log(job).lines if line.body.get("type") == kind]


def test_a_whole_job(card: VirtualCard, tmp_path: Path) -> None:
    with card.recorded(tmp_path / "heard.raw") as heard:
        tool = card.handsfree(*RUN, cwd=tmp_path)
        technician = Technician(card, tmp_path, LUG_NUTS)
        technician.work(tool, tmp_path / "jobs", most_s=580)
    out, err = (tmp_path / "out.txt").read_text(), (tmp_path / "err.txt").read_text()
    print(len(technician.said), "answers said", out[-2000:], err)
    assert (tool.returncode, err) == (0, "")
    job = technician.job
    print([f.text for f in audit(job).findings] if hasattr(audit(job), "findings") else audit(job))
    assert check_chain(job) == []
    voice = Pyttsx3Voice()
    recording = np.fromfile(heard, "<i2").astype(float)
    for event in events(job, "spoken"):
        clip = voice.clip(speakable(str(event["text"])))
        print(
            event["say_kind"],
            event["completed"],
            round(least_match(recording, np.frombuffer(clip.pcm, "<i2").astype(float)), 3),
            event["text"],
        )
