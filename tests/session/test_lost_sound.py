"""A computer that was late: what it lost is in the record, and an utterance with a gap in it is no answer."""

from __future__ import annotations

from pathlib import Path

import pytest
from procedure.driving import PLY, START_MS, whole

from handsfree.audit import audit
from handsfree.grammar import Library
from handsfree.record import check_chain, read_log, show_text
from handsfree.session import SimulatedClock, open_job

from .bay import lines_of, new_job, session
from .sounding import Bay, Mouth, ears


class Late(Bay):
    """Loses three blocks in the middle of the words of each of these lines (the first is 0), or before them."""

    def __init__(
        self, mouth: Mouth, lines: list[str], *, within: set[int], before: int | None = None
    ) -> None:
        super().__init__(mouth, lines)
        self.lost = 0
        self._within, self._before = within, before

    def read(self) -> bytes:
        frame = super().read()
        line = self._next - 1
        if (
            line in self._within and self._at > 0.8 * 32000
        ):  # the recordings begin with half a second of quiet
            self._within.discard(line)
            self.lost += 3
        if line == self._before and self._at == 960:
            self._before = None
            self.lost += 3
        return frame


@pytest.fixture(scope="module")
def mouth(tmp_path_factory: pytest.TempPathFactory) -> Mouth:
    return Mouth(tmp_path_factory.mktemp("said"))


def work(folder: Path, source: Bay, text: str = whole(PLY)) -> str:
    clock = SimulatedClock(START_MS)
    job = new_job(folder, text, clock)
    running = session(job, clock, ears(source, clock), library=Library.load())
    try:
        return running.run(job.first)
    finally:
        running.close()


def test_an_utterance_with_a_gap_is_asked_again(folder: Path, mouth: Mouth) -> None:
    lines = ["fabric ply", "fabric ply", "affirmative", "completed"]
    assert work(folder, Late(mouth, lines, within={0})) == "returned"
    (missed,) = [e for e in lines_of(folder, "event") if e["type"] == "no_match"]
    assert (missed["hypothesis"], missed["accepted"], missed["reason"]) == (
        "fabric ply", "false", "some of the sound was lost",
    )  # fmt: skip
    order = [line.kind for line in read_log(folder).lines]
    (lost,) = lines_of(folder, "sound_lost")
    assert (lost["device"], lost["ms"]) == ("microphone", "90")
    assert order.index("sound_lost") < order.index("missed")
    told = show_text(folder, width=200)
    assert "90 ms from the microphone: computer too slow" in told
    assert "90 ms of sound lost" in told.split("Exceptions")[-1]
    assert check_chain(folder) == []
    assert [f for f in audit(folder).findings if f.severity == "error" and f.check != "clock"] == []


def test_a_gap_before_the_words_does_them_no_harm(folder: Path, mouth: Mouth) -> None:
    lines = ["fabric ply", "affirmative", "completed"]
    assert work(folder, Late(mouth, lines, within=set(), before=0)) == "returned"
    assert [e for e in lines_of(folder, "event") if e["type"] == "no_match"] == []
    assert [line["ms"] for line in lines_of(folder, "sound_lost")] == ["90"]


def test_work_is_stopped_in_spite_of_a_gap(folder: Path, mouth: Mouth) -> None:
    assert work(folder, Late(mouth, ["stop work"], within={0})) == "stopped"
    assert len(lines_of(folder, "sound_lost")) == 1


def test_a_job_with_such_a_line_is_opened_again(folder: Path, mouth: Mouth) -> None:
    assert work(folder, Late(mouth, ["fabric ply"], within={0})) == "unfinished"
    job, _ = open_job(folder, lambda ms: SimulatedClock(max(START_MS, ms)))
    assert job.machine.state.step == "ply"
    job.log.close()
