"""An audit that hears the sound again does it by the adaptation that was in use, or says that it is not here."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest
from procedure.driving import PLY, SIGN_IN, START_MS, do, whole
from session.bay import Scripted, heard, new_job, session

from handsfree.audit import Report, audit
from handsfree.enrolment import VoiceStore
from handsfree.hearing import Adaptation, Engine, PocketSphinxEngine
from handsfree.session import SimulatedClock

from .voices import held_out, store_voice

JOB = whole(SIGN_IN, PLY, do())


class Witness(PocketSphinxEngine):
    """The real engine; by whose voice it heard each utterance."""

    def __init__(self) -> None:
        super().__init__()
        self.heard_by: list[str] = []

    def end(self, snr_db: float | None = None) -> object:  # type: ignore[override]
        self.heard_by.append(self._voice.sha256)
        return super().end(snr_db)


@pytest.fixture
def store(tmp_path: Path) -> VoiceStore:
    return VoiceStore(tmp_path / "voices")


def job_by(folder: Path, *voices: str) -> Path:
    """Two utterances with sound, and before each a line that says by which voice."""
    clock = SimulatedClock(START_MS)
    job = new_job(folder, JOB, clock)
    pcm = held_out("eighty eight")
    ears = Scripted(heard("one seven", pcm=pcm), heard("affirmative", pcm=pcm))
    running = session(job, clock, ears)
    job.log.append([{"kind": "voice", "adaptation": voices[0], "why": "signed in"}])
    running.feed(job.first)
    running._turn()
    job.log.append([{"kind": "voice", "adaptation": voices[1], "why": "signed in"}])
    running._turn()
    running.close()
    return folder


def listened(folder: Path, store: VoiceStore) -> tuple[Report, list[str]]:
    witness = Witness()

    def listener(_: str) -> tuple[Engine, Mapping[str, str]]:
        return witness, {}

    return audit(folder, listener=listener, voice=store.by_hash), witness.heard_by


def said(report: Report) -> list[str]:
    return [f"{f.severity}: {f.message}" for f in report.findings if f.check == "listen"]


def test_the_voice_of_the_record_is_heard_by_and_no_other(tmp_path: Path, store: VoiceStore) -> None:
    store_voice(store, "Mara Lindqvist")
    store_voice(store, "Ben Okoro")
    mara = store.find("Mara Lindqvist")
    assert isinstance(mara, Adaptation)
    report, heard_by = listened(job_by(tmp_path / "job", mara.sha256, ""), store)
    assert heard_by == [mara.sha256, ""]
    assert not [line for line in said(report) if "not here" in line]


def test_a_voice_that_was_forgotten_is_noted_and_one_that_was_changed_warned_of(
    tmp_path: Path, store: VoiceStore
) -> None:
    place = store_voice(store, "Mara Lindqvist")
    mara = store.find("Mara Lindqvist")
    assert mara is not None
    folder = job_by(tmp_path / "job", mara.sha256, "f" * 64)
    (place / "quiet.mllr").write_text("changed")
    report, heard_by = listened(folder, store)
    assert heard_by == ["", ""]
    assert any(line.startswith("warn") and "was changed since" in line for line in said(report))
    assert f"note: the enrolled voice {'f' * 16} is not here: heard again without it" in said(report)
    store.forget("Mara Lindqvist")
    report, _ = listened(folder, store)
    assert sum("is not here" in line for line in said(report)) == 2
    assert not [f for f in report.findings if f.severity == "error" and f.check == "listen"]
