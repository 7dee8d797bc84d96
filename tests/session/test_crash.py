"""Power lost at every line of a job: opened again it goes on, and ends with the same readings."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from pathlib import Path

import pytest
from procedure.driving import START_MS, book_of

from handsfree.audit import audit
from handsfree.limits import LimitsError
from handsfree.procedure import ProcedureError, PromptError, Start, TimerDue
from handsfree.record import JobLog, Line, RecordError, read_log
from handsfree.record._line import build
from handsfree.session import (
    UNFINISHED,
    SimulatedClock,
    create_job,
    job_folder,
    open_job,
    prompts_text,
    replay,
)
from handsfree.session._job import _about

from .bay import ABOUT, Scripted, body, lines_of, new_job, readings, reopen, session, typed, work
from .conftest import SHORT, SHORT_LINES, SHORT_READINGS, WHOLE, WHOLE_LINES, WHOLE_READINGS


def complete(folder: Path, text: str, lines: list[str]) -> list[bytes]:
    """A finished job's record, line by line."""
    clock = SimulatedClock(START_MS)
    assert work(new_job(folder, text, clock), lines, clock) == "returned"
    return (folder / "record.jsonl").read_bytes().splitlines(keepends=True)


def cut_copy(folder: Path, to: Path, keep: bytes) -> Path:
    to.mkdir()
    for name in ("procedure.toml", "prompts.toml", "policy.toml"):
        if (folder / name).exists():
            shutil.copy(folder / name, to / name)
    (to / "record.jsonl").write_bytes(keep)
    return to


def said_so_far(where: Path | Sequence[Line]) -> int:
    kinds = ("answer", "command", "no_match")
    return sum(e["type"] in kinds for e in lines_of(where, "event"))


def go_on(folder: Path, lines: list[str], after_s: float = 0) -> str:
    """Open it again and say the rest."""
    job, clock = reopen(folder, after_s)
    return work(job, lines[said_so_far(folder) :], clock)


JOBS = {"short": (SHORT, SHORT_LINES, SHORT_READINGS), "whole": (WHOLE, WHOLE_LINES, WHOLE_READINGS)}


@pytest.mark.parametrize("name", JOBS)
def test_killed_at_every_line(tmp_path: Path, name: str) -> None:
    text, lines, final = JOBS[name]
    raw = complete(tmp_path / "job", text, lines)
    last_event = max(n for n, line in enumerate(raw) if b'"type":"answer"' in line)
    assert len(raw) > 70
    for kept in range(1, len(raw)):
        folder = cut_copy(tmp_path / "job", tmp_path / f"cut-{kept}", b"".join(raw[:kept]))
        if kept > last_event:  # the job had ended: only what it still owed the record is written
            with pytest.raises(RecordError, match="is finished: return to service"):
                reopen(folder)
        else:
            job, clock = reopen(folder)
            done = said_so_far(job.log.lines)
            held = lines[done - 1 : done + 1] == ["hold work", "resume work"]
            # Opening a held job takes the place of the words that would have resumed it.
            assert work(job, lines[done + held :], clock) == "returned", kept
        read = read_log(folder)
        assert not read.damage, kept
        assert readings(read.lines) == final, kept
        assert [c["outcome"] for c in lines_of(read.lines, "close")] == ["returned"], kept
        assert lines_of(read.lines, "refused") == [], kept


@pytest.mark.parametrize("kept", [1, 7, 20, 45])
@pytest.mark.parametrize("torn", [1, 60, -1])
def test_a_torn_last_line_is_set_aside(tmp_path: Path, kept: int, torn: int) -> None:
    raw = complete(tmp_path / "job", SHORT, SHORT_LINES)
    folder = cut_copy(tmp_path / "job", tmp_path / "cut", b"".join(raw[:kept]) + raw[kept][:torn])
    assert go_on(folder, SHORT_LINES) == "returned"
    assert readings(folder) == SHORT_READINGS
    assert len(lines_of(folder, "recovered")) == 1
    # And it replays once more, with the recovered line in its midst.
    assert replay(book_of(SHORT), read_log(folder).lines).missing == ()


def test_lines_missing_after_the_last_event_are_written_when_it_is_opened(tmp_path: Path) -> None:
    raw = complete(tmp_path / "job", SHORT, SHORT_LINES)
    at = next(n for n, line in enumerate(raw) if b'"kind":"reading"' in line)
    assert b'"kind":"verdict"' in raw[at + 1]
    folder = cut_copy(tmp_path / "job", tmp_path / "cut", b"".join(raw[:at]))
    assert lines_of(folder, "reading") == []
    job, _ = reopen(folder)
    job.log.close()
    assert [r["value"] for r in lines_of(folder, "reading")] == ["5.5"]
    whole_lines = [body(line) for line in read_log(tmp_path / "job").lines]
    assert [body(line) for line in read_log(folder).lines[1:]] == whole_lines[1 : len(read_log(folder).lines)]


def test_a_finished_job_gets_the_lines_it_is_owed(tmp_path: Path) -> None:
    raw = complete(tmp_path / "job", SHORT, SHORT_LINES)
    at = next(n for n, line in enumerate(raw) if b'"kind":"close"' in line)
    folder = cut_copy(tmp_path / "job", tmp_path / "cut", b"".join(raw[:at]))
    with pytest.raises(RecordError, match="finished"):
        reopen(folder)
    assert [c["outcome"] for c in lines_of(folder, "close")] == ["returned"]


@pytest.mark.parametrize(("hours", "step"), [(0.01, "dry"), (0.06, "tack"), (5, "cement")])
def test_a_wait_counts_by_wall_clock_while_the_job_is_closed(tmp_path: Path, hours: float, step: str) -> None:
    folder = tmp_path / "job"
    clock = SimulatedClock(START_MS)
    job = new_job(folder, WHOLE, clock)
    ears = typed(WHOLE_LINES[:-3], clock)
    running = session(job, clock, ears)
    running.feed(job.first)
    while job.machine.state.step != "dry":
        running._turn()
    running.close()
    started = job.machine.state.at
    again, clock = reopen(folder, hours * 3600)
    assert again.first.at >= started + int(hours * 3_600_000)
    running = session(again, clock, Scripted())
    running.feed(again.first)
    while (due := again.machine.state.next_due) is not None and due <= clock.now():
        running.feed(TimerDue(clock.now()))
    assert again.machine.state.step == step
    running.close()


def test_a_job_that_never_began_begins(tmp_path: Path) -> None:
    """Killed between its first line and its first event: the day it is done on is not lost."""
    job = new_job(tmp_path / "job", SHORT)
    job.log.close()
    again, clock = reopen(tmp_path / "job")
    assert isinstance(again.first, Start)
    assert dict(again.first.job) == ABOUT
    assert work(again, SHORT_LINES, clock) == "returned"
    assert again.machine.state.facts["today"] == ABOUT["today"]


@pytest.mark.parametrize(
    "header", [{}, {"about": "today"}, {"about": ["today", "gone"], "today": "2030-01-01"}]
)
def test_an_odd_first_line_gives_what_it_has(header: dict[str, object]) -> None:
    expected = {"today": "2030-01-01", "gone": ""} if isinstance(header.get("about"), list) else {}
    assert dict(_about(header)) == expected


def test_a_finished_job_is_not_opened(tmp_path: Path) -> None:
    complete(tmp_path / "job", SHORT, SHORT_LINES)
    before = (tmp_path / "job" / "record.jsonl").read_bytes()
    with pytest.raises(RecordError, match="job is finished: return to service; see it with handsfree show"):
        reopen(tmp_path / "job")
    assert (tmp_path / "job" / "record.jsonl").read_bytes() == before
    with pytest.raises(RecordError, match="finished"):  # the lock was given back
        reopen(tmp_path / "job")


@pytest.mark.parametrize("name", ["procedure.toml", "prompts.toml", "policy.toml"])
@pytest.mark.parametrize("how", ["changed", "gone", "no text"])
def test_the_files_it_began_with_are_pinned(tmp_path: Path, name: str, how: str) -> None:
    folder = tmp_path / "job"
    clock = SimulatedClock(START_MS)
    assert work(new_job(folder, SHORT, clock), SHORT_LINES[:2], clock) == UNFINISHED
    match how:
        case "changed":
            (folder / name).write_text((folder / name).read_text() + "# later\n")
        case "gone":
            (folder / name).unlink()
        case _:
            (folder / name).write_bytes(b"\xff\xfe")
    with pytest.raises(RecordError, match=r"changed since|can't be read") as caught:
        reopen(folder)
    assert name in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_job_in_use_is_not_opened_twice(tmp_path: Path) -> None:
    job = new_job(tmp_path / "job", SHORT)
    with pytest.raises(RecordError):
        reopen(tmp_path / "job")
    job.log.close()


def rechained(folder: Path, change: dict[str, object], where: int, *, drop: bool = False) -> None:
    """Rewrite the record with one line changed and every hash made right again: only a replay can tell."""
    lines = list(read_log(folder).lines)
    fresh = []
    prev = "0" * 64
    entries = [(line.kind, dict(line.body), line.at, line.mono_ms) for line in lines]
    if drop:
        entries.pop(where)
    else:
        entries[where][1].update(change)
    for seq, (kind, content, at, mono) in enumerate(entries):
        line = build({**content, "kind": kind}, seq, prev, at, mono)
        fresh.append(line.encode())
        prev = line.hash
    (folder / "record.jsonl").write_bytes(b"".join(fresh))
    assert not read_log(folder).damage


def unfinished(tmp_path: Path) -> Path:
    clock = SimulatedClock(START_MS)
    assert work(new_job(tmp_path / "job", SHORT, clock), SHORT_LINES[:9], clock) == UNFINISHED
    return tmp_path / "job"


@pytest.mark.parametrize(
    ("kind", "change", "why"),
    [
        ("reading", {"value": "4.5"}, "would not have written this"),
        ("verdict", {"outcome": "outside"}, "would not have written this"),
        ("caution", {"read_back": "flame"}, "would not have written this"),
        ("event", {"type": "sneeze"}, "unknown event type"),
        ("event", {"at_ms": "soon"}, "can't be read"),
    ],
)
def test_a_changed_line_does_not_replay(
    tmp_path: Path, kind: str, change: dict[str, object], why: str
) -> None:
    folder = unfinished(tmp_path)
    where = next(n for n, line in enumerate(read_log(folder).lines) if line.kind == kind)
    rechained(folder, change, where)
    with pytest.raises(RecordError, match=f"record line {where + 1} does not replay: .*{why}"):
        reopen(folder)


def test_a_changed_answer_does_not_replay(tmp_path: Path) -> None:
    folder = unfinished(tmp_path)
    lines = read_log(folder).lines
    where = next(
        n for n, x in enumerate(lines) if x.kind == "event" and x.body.get("text") == "five point five"
    )
    number = {"value": "4.5", "resolution": "0.1", "spelled": "4.5"}
    rechained(folder, {"number": number}, where)
    with pytest.raises(RecordError, match="does not replay"):
        reopen(folder)


@pytest.mark.parametrize("kind", ["reading", "verdict", "caution", "told", "command"])
def test_a_line_taken_out_does_not_replay(tmp_path: Path, kind: str) -> None:
    folder = unfinished(tmp_path)
    lines = read_log(folder).lines
    where = next((n for n, line in enumerate(lines) if line.kind == kind), None)
    if where is None:
        pytest.skip(f"no {kind} in this job")
    rechained(folder, {}, where, drop=True)
    with pytest.raises(RecordError, match="does not replay"):
        reopen(folder)


def test_a_record_line_put_in_does_not_replay(tmp_path: Path) -> None:
    folder = unfinished(tmp_path)
    with JobLog.open(folder) as log:
        log.append([{"kind": "reading", "measurand": "injury.size", "value": "1", "unit": "mm"}])
    with pytest.raises(RecordError, match="would not have written this"):
        reopen(folder)


def test_the_sessions_own_lines_are_no_part_of_the_replay(tmp_path: Path) -> None:
    folder = unfinished(tmp_path)
    with JobLog.open(folder) as log:
        log.append([{"kind": "note", "text": "the bay door was open"}])
    assert go_on(folder, SHORT_LINES) == "returned"


def test_time_goes_on_after_it_is_opened_again(tmp_path: Path) -> None:
    folder = unfinished(tmp_path)
    assert go_on(folder, SHORT_LINES, after_s=60) == "returned"
    stamps = [line.mono_ms for line in read_log(folder).lines if line.kind == "event"]
    assert len(set(stamps[-10:])) > 3  # the clock that goes on, not the one that opened the file
    ats = [int(str(e["at_ms"])) for e in lines_of(folder, "event")]
    assert ats == sorted(ats)


# -- a new job -----------------------------------------------------------------------------------------


def test_job_folders_never_meet(tmp_path: Path) -> None:
    stamp = "2030-03-17T08:09:10.123Z"
    first = job_folder(tmp_path, "Left rear / 4711!", stamp)
    assert first.name == "2030-03-17-080910-left-rear-4711"
    first.mkdir()
    second = job_folder(tmp_path, "left rear 4711", stamp)
    assert second.name == "2030-03-17-080910-left-rear-4711-2"
    second.mkdir()
    assert job_folder(tmp_path, "left rear 4711", stamp).name.endswith("-3")
    assert job_folder(tmp_path, "///", stamp).name == "2030-03-17-080910-job"


@pytest.mark.parametrize(
    ("procedure", "prompts", "error"),
    [
        ("schema = 1", None, ProcedureError),
        (SHORT, "held = 5", PromptError),
        (SHORT, 'held = "On hold."', PromptError),
    ],
)
def test_a_job_with_a_bad_book_leaves_no_folder(
    tmp_path: Path, procedure: str, prompts: str | None, error: type[Exception]
) -> None:
    with pytest.raises(error):
        create_job(
            tmp_path / "job",
            procedure=procedure,
            prompts=prompts or prompts_text(),
            about={},
            pins={},
            clock=SimulatedClock(START_MS),
        )
    assert not (tmp_path / "job").exists()


def test_a_job_with_a_bad_policy_leaves_no_folder(tmp_path: Path) -> None:
    with pytest.raises(LimitsError):
        new_job(tmp_path / "job", SHORT, policy="base = 'mars'")
    assert not (tmp_path / "job").exists()


def test_a_disk_that_fills_up_at_the_start_is_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(path: Path, data: bytes) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("handsfree.session._job.write_private", full)
    with pytest.raises(RecordError, match="No space left on device; free the disk"):
        new_job(tmp_path / "job", SHORT)
    monkeypatch.undo()
    with pytest.raises(RecordError, match="already holds a job"):
        new_job(tmp_path / "job", SHORT)


def test_the_first_line_pins_everything(tmp_path: Path) -> None:
    new_job(tmp_path / "job", SHORT).log.close()
    first = read_log(tmp_path / "job").lines[0].body
    assert {"procedure_sha256", "prompts_sha256", "engine", "clock", "tool"} <= set(first)
    assert (first["technician"], first["engine"]) == ("Ana", "typed")


SHOP = """name = "bay two"
[limits."injury.size.max"]
limit = "8 mm"
allowed_by = "A. Supervisor"
why = "trial"
[limits."stem.trim_height.max"]
severity = "stop"
"""


def test_a_shops_policy_is_pinned_shown_and_worked_by(tmp_path: Path) -> None:
    folder = tmp_path / "job"
    clock = SimulatedClock(START_MS)
    job = new_job(folder, SHORT, clock, policy=SHOP)
    work(job, ["fabric ply", "affirmative", "seven", "affirmative"], clock)
    first = read_log(folder).lines[0].body
    assert first["policy"] == "bay two"
    assert first["policy_moved"] == [
        "injury.size.max 8 mm, loosened, allowed by A. Supervisor: trial",
        "stem.trim_height.max stop",
    ]
    assert [v["high"] for v in lines_of(folder, "verdict")] == ["8 mm"]
    again, clock = reopen(folder)
    assert again.machine.book.policy.loosened == ("injury.size.max",)
    work(again, ["no flame", "correction", "seven point five", "affirmative"], clock)
    assert [v["outcome"] for v in lines_of(folder, "verdict")] == ["inside", "inside"]


def test_text_is_pinned_byte_for_byte(tmp_path: Path) -> None:
    windows = SHORT.replace("\n", "\r\n")
    new_job(tmp_path / "job", windows).log.close()
    job, clock = reopen(tmp_path / "job")
    assert work(job, SHORT_LINES, clock) == "returned"


def test_no_job_in_the_folder(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="no record"):
        open_job(tmp_path, lambda not_before: SimulatedClock(not_before))


def test_only_what_the_last_session_owed_is_noted_as_unspoken(tmp_path: Path) -> None:
    """Cut off within a sentence, opened again, and cut off once more behind its closing line."""
    raw = complete(tmp_path / "job", SHORT, SHORT_LINES)
    question = next(n for n, line in enumerate(raw) if b'"say":"2"' in line)
    folder = cut_copy(tmp_path / "job", tmp_path / "cut", b"".join(raw[:question]))
    assert go_on(folder, SHORT_LINES) == "returned"
    again = (folder / "record.jsonl").read_bytes().splitlines(keepends=True)
    close = next(n for n, line in enumerate(again) if b'"kind":"close"' in line)
    (folder / "record.jsonl").write_bytes(b"".join(again[: close + 1]))
    with pytest.raises(RecordError, match="finished"):
        reopen(folder)
    said = [e["say"] for e in lines_of(folder, "event") if e["type"] == "spoken"]
    assert len(said) == len(set(said))
    unheard = [e for e in lines_of(folder, "event") if e["type"] == "spoken" and e["completed"] == "false"]
    assert [str(e["text"]).split()[0] for e in unheard] == ["Finished.", "Check"]
    assert [f.message for f in audit(folder).findings if f.check == "spoken" and f.severity == "error"] == []
