"""Whose voice the recognizer hears by: whoever is signed in, by shop file, by name or by badge, and nobody else."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from procedure.driving import PLY, SIGN_IN, START_MS, do, whole
from session.bay import lines_of, new_job, reopen, session, typed
from test_cli import handsfree

from handsfree._checking import pronounce
from handsfree.audit import audit
from handsfree.enrolment import VoiceStore
from handsfree.grammar import Armed, Library
from handsfree.hearing import Adaptation, Engine, PocketSphinxEngine
from handsfree.procedure import State
from handsfree.record import check_chain, export, read_log, show_text
from handsfree.session import (
    Closed,
    Heard,
    Lost,
    People,
    PlainView,
    Quiet,
    SimulatedClock,
    TypedEars,
    Voices,
)
from handsfree.session._voices import names_of
from handsfree.shop import parse_shop

from .voices import any_transform, files, store_voice

SHOP = parse_shop("""name = "Harbor Row"
[[technician]]
badge = "17"
name = "Mara Lindqvist"
[[technician]]
badge = "18"
name = "Ben Okoro"
""")
JOB = whole(SIGN_IN, PLY, do())
MARA = ["one seven", "affirmative"]
BEN_TAKES_OVER = ["change technician", "one eight", "affirmative"]


class Spy(PocketSphinxEngine):
    """The real engine, and whose voice each utterance is heard by."""

    def __init__(self) -> None:
        super().__init__()
        self.used: list[str] = []

    def use(self, voice: Adaptation | None) -> None:
        super().use(voice)
        self.used.append(voice.sha256 if voice is not None else "")


class Typist:
    """Typed lines, in the ears of a microphone: ``heard_by`` is the voice each was heard by."""

    def __init__(self, inner: TypedEars, spy: Spy) -> None:
        self.inner, self.spy = inner, spy
        self.engine: Engine = spy
        self.heard_by: list[str] = []

    def listen(self, armed: Armed, until: int | None, *, answer: bool) -> Heard | Quiet | Lost | Closed:
        self.heard_by.append(self.spy._voice.sha256)
        return self.inner.listen(armed, until, answer=answer)

    def close(self) -> None: ...


@pytest.fixture(scope="module")
def spy() -> Iterator[Spy]:
    made = Spy()
    yield made
    made.close()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "job"


def work(
    folder: Path, spy: Spy, store: VoiceStore, lines: list[str], *, shop: bool = True, **more: object
) -> list[str]:
    """A job on these lines; whose voice each was heard by."""
    spy.use(None)
    spy.used.clear()
    clock = SimulatedClock(START_MS)
    also = {"shop": SHOP.name} if shop else {}
    job = new_job(folder, JOB, clock, {**also, **more.pop("also", {})})  # type: ignore[dict-item]
    ears = Typist(typed(lines, clock), spy)
    running = session(
        job,
        clock,
        ears,
        people=People(SHOP if shop else None, pronounce),
        voices=Voices(store.find),
        library=Library.load(),
        **more,
    )
    running.run(job.first)
    running.close()
    return ears.heard_by


def sha256(store: VoiceStore, name: str) -> str:
    found = store.find(name)
    assert found is not None
    return found.sha256


def test_it_is_used_from_the_sign_in_on_and_not_for_whoever_takes_over(
    folder: Path, spy: Spy, store: VoiceStore
) -> None:
    store_voice(store, "Mara Lindqvist")
    mara = sha256(store, "Mara Lindqvist")
    heard_by = work(folder, spy, store, [*MARA, *BEN_TAKES_OVER, "fabric ply"])
    # The badge and its confirmation are heard as anybody's; so is Ben from his confirmation on.
    assert heard_by == ["", "", mara, mara, mara, "", ""]
    lines = lines_of(folder, "voice")
    assert [(line["adaptation"], line["why"]) for line in lines] == [
        (mara, "signed in"),
        ("", "none enrolled"),
    ]
    assert not check_chain(folder)


def test_each_is_heard_by_the_own_voice(folder: Path, spy: Spy, store: VoiceStore) -> None:
    store_voice(store, "Mara Lindqvist")
    store_voice(store, "Ben Okoro", any_transform().replace("0.30257", "0.30258"))
    mara, ben = sha256(store, "Mara Lindqvist"), sha256(store, "Ben Okoro")
    assert work(folder, spy, store, [*MARA, *BEN_TAKES_OVER, "fabric ply"])[2:] == [mara] * 3 + [ben] * 2
    assert [line["adaptation"] for line in lines_of(folder, "voice")] == [mara, ben]


def test_where_nobody_is_enrolled_no_line_is_written(folder: Path, spy: Spy, store: VoiceStore) -> None:
    store_voice(store, "Somebody Else")
    assert set(work(folder, spy, store, [*MARA, *BEN_TAKES_OVER])) == {""}
    assert not lines_of(folder, "voice")


def test_a_name_given_at_the_start_is_heard_by_it_at_once(folder: Path, spy: Spy, store: VoiceStore) -> None:
    store_voice(store, "Ana")  # who the job was begun for
    ana = sha256(store, "Ana")
    heard_by = work(folder, spy, store, [*MARA, *BEN_TAKES_OVER, "fabric ply"], shop=False)
    # Without a shop file the badge read at the start is hers; the next one is somebody else's.
    assert heard_by == [ana] * 5 + [""] * 2


def test_without_a_shop_file_a_badge_may_be_enrolled(folder: Path, spy: Spy, store: VoiceStore) -> None:
    store_voice(store, "18")
    heard_by = work(folder, spy, store, [*MARA, *BEN_TAKES_OVER, "fabric ply"], shop=False)
    assert heard_by == [""] * 5 + [sha256(store, "18")] * 2


def test_a_voice_that_was_changed_is_told_once_and_the_work_goes_on(
    folder: Path, spy: Spy, store: VoiceStore
) -> None:
    place = store_voice(store, "Mara Lindqvist")
    (place / "quiet.mllr").write_text("changed")
    shown: list[str] = []
    heard_by = work(folder, spy, store, [*MARA, "fabric ply", "affirmative"], view=PlainView(shown.append))
    assert set(heard_by) == {""}
    assert [(line["adaptation"], line["why"]) for line in lines_of(folder, "voice")] == [("", "refused")]
    assert len([line for line in shown if "was changed since" in line]) == 1


def test_a_job_opened_again_says_who_is_heard_now(folder: Path, spy: Spy, store: VoiceStore) -> None:
    store_voice(store, "Mara Lindqvist")
    mara = sha256(store, "Mara Lindqvist")
    work(folder, spy, store, MARA)
    for forgotten in (False, True):
        if forgotten:
            store.forget("Mara Lindqvist")
        job, clock = reopen(folder)
        spy.use(None)
        ears = Typist(typed(["resume work"], clock), spy)
        running = session(job, clock, ears, people=People(SHOP, pronounce), voices=Voices(store.find))
        running.run(job.first)
        running.close()
        assert set(ears.heard_by) == {"" if forgotten else mara}
    # Nothing new to say at the first time; at the second it is gone.
    assert [line["adaptation"] for line in lines_of(folder, "voice")] == [mara, ""]


def test_what_a_reader_and_an_audit_make_of_it(folder: Path, spy: Spy, store: VoiceStore) -> None:
    store_voice(store, "Mara Lindqvist")
    mara = sha256(store, "Mara Lindqvist")
    practice = {"practice": "simulated clock, waits passed at once"}
    work(folder, spy, store, [*MARA, *BEN_TAKES_OVER, "fabric ply"], also=practice)
    shown = show_text(folder)
    assert f"heard by adaptation {mara[:16]}" in shown
    assert "heard without an adaptation: none enrolled" in shown
    assert not [finding for finding in audit(folder).findings if finding.severity == "error"]
    assert mara in export(folder, "json")
    assert mara not in export(folder, "json", pseudonyms=True), "one hash would tie a person's jobs together"
    assert "Mara Lindqvist" not in "".join(
        str(line.body) for line in read_log(folder).lines if line.kind == "voice"
    )


@pytest.mark.parametrize(
    ("technician", "fact", "names"),
    [
        ("", None, ("Ana",)),
        ("Mara Lindqvist, badge 17", "17", ("Mara Lindqvist", "17")),
        ("A, badge B, badge 17", "17", ("A, badge B", "17")),
        ("badge 17", "17", ("17", "Ana")),
        ("badge 18", "17", ("18",)),
        ("badge 17", None, ("17",)),
    ],
)
def test_what_somebody_may_be_enrolled_under(
    technician: str, fact: str | None, names: tuple[str, ...]
) -> None:
    state = State(job=(("technician", "Ana"),), technician=technician)
    if fact is not None:
        state = replace(state, facts={"job.technician": fact})
    assert names_of(state) == names
    assert names_of(replace(state, job=(), technician="")) == ()


def test_engines_that_know_no_voices_are_left_alone(folder: Path, store: VoiceStore) -> None:
    store_voice(store, "Ana")
    clock = SimulatedClock(START_MS)
    job = new_job(folder, JOB, clock)
    running = session(job, clock, typed(MARA, clock), voices=Voices(store.find))
    running.run(job.first)
    running.close()
    assert running.outcome


def test_the_command_line_s_own_job_hears_by_the_stored_voice(tmp_path: Path, store: VoiceStore) -> None:
    store_voice(store, "Mara Lindqvist")
    voice = sha256(store, "Mara Lindqvist")
    jobs = tmp_path / "jobs"
    options = ("--wav", str(files()[0]), "--fast", "--replies", "text", "--jobs", str(jobs))
    for technician, wanted in (("mara lindqvist", [voice]), ("Ben Okoro", [])):
        handsfree("run", "--technician", technician, *options)
        (folder,) = jobs.iterdir()
        assert [line["adaptation"] for line in lines_of(folder, "voice")] == wanted
        shutil.rmtree(folder)
