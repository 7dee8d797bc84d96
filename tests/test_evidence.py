"""The commands about records, as a supervisor meets them: exit codes, one line for an error, nothing lost."""

from __future__ import annotations

import hashlib
import html
import json
import os
import re
import select
import shutil
import stat
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from audit.jobs import LINES, copy_of, whole_job

from handsfree import cli
from handsfree.record import _forget as forgetting
from handsfree.record import check_words, how_to_do_again, read_log, summary_text

PASSPHRASE = "eleven quiet herons"


@pytest.fixture(scope="module")
def finished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return whole_job(tmp_path_factory.mktemp("evidence") / "job")


@pytest.fixture
def shop(finished: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A shop's folder: jobs/job, and the words of a passphrase in the environment."""
    (tmp_path / "jobs").mkdir()
    copy_of(finished, tmp_path / "jobs" / "job")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HANDSFREE_PASSPHRASE", PASSPHRASE)
    return tmp_path


class Done:
    def __init__(self, code: int, out: str, err: str) -> None:
        self.code, self.out, self.err = code, out, err

    def one_line(self, code: int = 1) -> str:
        assert (self.code, self.err.count("\n")) == (code, 1), (self.code, self.out, self.err)
        return self.err.strip()


Run = Callable[..., Done]


@pytest.fixture
def handsfree(capsys: pytest.CaptureFixture[str]) -> Run:
    def run(*words: str) -> Done:
        capsys.readouterr()
        code = 0
        try:
            cli.main(list(words))
        except SystemExit as ended:
            code = int(ended.code or 0)
        out, err = capsys.readouterr()
        return Done(code, out, err)

    return run


def damage(shop: Path) -> None:
    path = shop / "jobs/job/record.jsonl"
    path.write_bytes(path.read_bytes().replace(b'"5.2"', b'"5.1"', 1))


def test_a_good_job_passes(shop: Path, handsfree: Run) -> None:
    for where in ("job", "jobs/job", "jobs"):
        done = handsfree("audit", where)
        assert done.code == 0
        assert "PASSED: " in done.out


def test_a_changed_job_fails_with_its_line(shop: Path, handsfree: Run) -> None:
    damage(shop)
    done = handsfree("audit", "job")
    assert done.code == 1
    assert "FAILED: " in done.out
    found = json.loads(handsfree("audit", "jobs", "--json").out)
    assert found["passed"] is False
    (job,) = found["jobs"]
    errors = [f for f in job["findings"] if f["severity"] == "error"]
    assert {"line", "replay"} <= {f["check"] for f in errors}
    assert set(errors[0]) == {"severity", "check", "line", "message"}
    assert errors[0]["line"] > 1


@pytest.mark.parametrize("name", ["procedure.toml", "prompts.toml", "policy.toml"])
def test_a_changed_or_lost_file_that_the_job_was_worked_by_is_told_by_every_reader(
    name: str, shop: Path, handsfree: Run
) -> None:
    """The chain is whole, and yet nobody can tell by it what was asked and judged."""
    file = shop / "jobs/job" / name
    for why, change in (
        (f"{name} is not the file the job began with", lambda: file.write_text("# quite another one\n")),
        (f"{name} can't be read; without it the job can't be replayed", file.unlink),
    ):
        change()
        assert why in handsfree("audit", "job").out
        shown = handsfree("show", "job")
        assert shown.one_line() == f"handsfree: {why}; listed at its end"
        told = " ".join(shown.out.replace("\u2502", " ").split())
        assert told.index(f"DAMAGED do not rely on this record; see its end: {why}") < told.index(
            "Disposition"
        )
        assert "Chain: unbroken" in told
        assert told.endswith(f"damage: line 1: {why}")
        for form in ("json", "csv", "emma"):
            done = handsfree("export", "job", "--format", form)
            assert done.one_line() == f"handsfree: {why}; do not rely on this export, see handsfree audit"
            assert done.out
        assert "1 record can't be trusted" in handsfree("review", "job").one_line()
        page = (shop / "jobs/job/review.html").read_text(encoding="utf-8")
        assert "No: the record is damaged" in page
        assert html.unescape(page).count(why) == 2, "at the top and under The record"


def test_a_finished_job_is_told_to_be_finished_in_either_kind_of_time(shop: Path, handsfree: Run) -> None:
    """Not first to give --practice, and then that nothing was left to do."""
    for more in ([], ["--practice"]):
        told = handsfree("resume", "job", "--engine", "typed", *more).one_line()
        assert told.startswith(
            "handsfree: job is finished: practice, not for a real tire: return to service; "
        )


def test_every_command_takes_the_record_for_its_job(
    shop: Path, handsfree: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    record = "jobs/job/record.jsonl"
    assert handsfree("show", record).out == handsfree("show", "job").out
    assert handsfree("audit", record).out == handsfree("audit", "job").out
    assert handsfree("audit", "job/record.jsonl").out == handsfree("audit", "job").out
    assert handsfree("export", record).out == handsfree("export", "job").out
    assert handsfree("review", record).out == f"1 job: {Path('jobs/job/review.html')}\n"
    assert "1 new, 0 grown" in handsfree("archive", "push", record, "--to", "a.sqlite").out
    assert handsfree("keys", "new", "ortega.pem").code == 0
    assert handsfree("sign", record, "--key", "ortega.pem", "--accept").out.startswith(
        "Signed: accept by ortega"
    )
    forgotten = handsfree("forget-audio", "--older-than", "0", "--jobs", record)
    assert (forgotten.code, forgotten.out) == (0, "0 utterances of 0 jobs deleted\n")
    monkeypatch.chdir(shop / "jobs" / "job")
    assert handsfree("show", "record.jsonl").code == 0
    assert "no job there" in handsfree("show", "procedure.toml").one_line()


def test_show_says_who_signed_and_whether_that_was_verified(shop: Path, handsfree: Run) -> None:
    def row() -> str:
        """The row of the table at the top, which may take several lines."""
        told = " ".join(handsfree("show", "job").out.partition("\nTime\n")[0].replace("\u2502", " ").split())
        found = re.search(r"Signed .*?(?= \u2570)", told)
        return found[0] if found else ""

    assert row() == ""
    handsfree("keys", "new", "ortega.pem")
    handsfree("sign", "job", "--key", "ortega.pem", "--concession", "measured by hand")
    assert row().startswith("Signed concession by ortega on ")
    assert row().endswith(": measured by hand; verified against the shop's public keys")
    (shop / "keys").rename(shop / "elsewhere")
    assert "not verified" in row()
    audited = handsfree("audit", "job")
    assert audited.code == 0, audited.out
    assert "whose signature it is was not checked: give the shop's public keys (--keys)" in " ".join(
        audited.out.split()
    )
    assert "0 warnings" in handsfree("audit", "job", "--keys", "elsewhere").out
    assert "verified against" in " ".join(handsfree("show", "job", "--keys", "elsewhere").out.split())
    assert "no folder of public keys" in handsfree("show", "job", "--keys", "nowhere").one_line()
    handsfree("keys", "new", "other.pem")  # into a new folder of keys, which does not hold ortega's
    assert "DO NOT RELY ON IT: signed with a key that is not in the shop's folder" in row()
    shown = handsfree("show", "job")
    assert (
        "the record is whole; its signatures: by a key that is not in the shop's folder" in shown.one_line()
    )
    assert "Chain: unbroken" in shown.out
    signatures = "Signatures: by a key that is not in the shop's folder of keys; the record itself is whole"
    assert signatures in " ".join(shown.out.split())
    audited = handsfree("audit", "job")
    assert audited.code == 1
    for wrong in ("BROKEN", "damage", "changed", "CHANGED"):
        assert wrong not in shown.out + shown.err + audited.out
    damage(shop)
    both = handsfree("show", "job")
    assert "the record is damaged" in both.one_line()
    assert "Chain: BROKEN" in both.out


def test_signing_with_the_wrong_folder_of_keys_blames_the_folder(shop: Path, handsfree: Run) -> None:
    for name, keys in (("ortega.pem", "keys"), ("other.pem", "others")):
        handsfree("keys", "new", name, "--keys", keys)
    sign = ("sign", "job", "--key", "ortega.pem", "--accept")
    before = (shop / "jobs/job/record.jsonl").read_bytes()
    assert "kyes: no such folder; give the shop's folder" in handsfree(*sign, "--keys", "kyes").one_line()
    assert "jobs: no public key in it; give the shop's" in handsfree(*sign, "--keys", "jobs").one_line()
    assert "its public key is not in others" in handsfree(*sign, "--keys", "others").one_line()
    assert (shop / "jobs/job/record.jsonl").read_bytes() == before
    assert handsfree(*sign).code == 0
    again = handsfree("sign", "job", "--key", "other.pem", "--accept", "--keys", "others").one_line()
    assert "others does not hold the key that signed job before" in again
    assert "the record itself is whole, and nothing was signed" in again
    assert "jobs: no public key in it" in handsfree("audit", "job", "--keys", "jobs").one_line()


@pytest.mark.parametrize("empty", ["", "  "])
def test_a_decision_without_its_reason_in_words_is_refused(empty: str, shop: Path, handsfree: Run) -> None:
    handsfree("keys", "new", "ortega.pem")
    before = (shop / "jobs/job/record.jsonl").read_bytes()
    for option, more in (("reject", ["--redo", "cement"]), ("concession", [])):
        told = handsfree("sign", "job", "--key", "ortega.pem", f"--{option}", empty, *more).one_line()
        assert f"a decision '{option}' needs a reason in words: --{option}" in told
    told = handsfree("sign", "job", "--key", "ortega.pem", "--reject", "wet", "--redo", empty).one_line()
    assert "a rejection must say what to do again; give it with --redo" in told
    assert (shop / "jobs/job/record.jsonl").read_bytes() == before


def test_the_same_decision_twice_is_not_signed_again(shop: Path, handsfree: Run) -> None:
    handsfree("keys", "new", "ortega.pem")
    handsfree("keys", "new", "holt.pem")
    sign = ("sign", "job", "--key", "ortega.pem", "--accept")
    assert handsfree(*sign).code == 0
    record = shop / "jobs/job/record.jsonl"
    once = record.read_bytes()
    told = handsfree(*sign).one_line()
    assert re.search(
        r"job has that already: accept by ortega on \S+, line \d+, its last; nothing was signed", told
    )
    assert record.read_bytes() == once
    listed = shop / "keys/signed.jsonl"
    whole = listed.read_bytes()
    listed.write_bytes(b"")
    audited = handsfree("audit", "job")
    assert (audited.code, "warn " in audited.out) == (0, True)
    assert "give its sign command again, which puts it in" in audited.out
    assert (
        handsfree(*sign)
        .out.replace("\\", "/")
        .startswith("Signed before, noted in keys/signed.jsonl now: accept by")
    )
    assert (record.read_bytes(), listed.read_bytes()) == (once, whole)
    assert "warn " not in handsfree("audit", "job").out
    assert handsfree("sign", "job", "--key", "holt.pem", "--accept").code == 0, "another person's"
    assert handsfree(*sign).code == 0, "and his once more, after that"


def test_an_older_copy_lists_what_it_lacks_once(shop: Path, handsfree: Run) -> None:
    copy_of(shop / "jobs/job", shop / "older")
    handsfree("keys", "new", "ortega.pem")
    handsfree("sign", "job", "--key", "ortega.pem", "--accept")
    handsfree("sign", "job", "--key", "ortega.pem", "--reject", "wet cement", "--redo", "cement")
    done = handsfree("show", "older")
    assert "not all are here that the shop's list knows" in done.one_line()
    assert "Signatures: not all are here that the shop's list knows\n" in done.out
    assert "whole" not in done.out + done.err
    head = " ".join(done.out.replace("\u2502", " ").split())
    assert head.index(
        "INCOMPLETE do not rely on this copy: a signature that the shop's list knows is not in it"
    ) < (head.index("Disposition"))
    end = " ".join(done.out.partition("Chain: unbroken")[2].split())
    assert end.count("error: it was signed on") == 1
    assert end.count("an older copy, or its end was cut off") == 1


def test_a_copy_from_before_a_signature_is_called_an_older_copy(shop: Path, handsfree: Run) -> None:
    """The chain can't tell an older copy from one whose end was cut off, and says so."""
    copy_of(shop / "jobs/job", shop / "older")
    handsfree("keys", "new", "ortega.pem")
    handsfree("sign", "job", "--key", "ortega.pem", "--accept")
    for command in ("audit", "show"):
        done = handsfree(command, "older")
        assert done.code == 1
        assert "an older copy, or its end was cut off" in " ".join(done.out.split())


def test_one_is_not_many(shop: Path, handsfree: Run) -> None:
    record = shop / "jobs/job/record.jsonl"
    record.write_bytes(record.read_bytes().splitlines(keepends=True)[0])
    told = handsfree("audit", "job").out
    assert re.search(r"[A-Z]+: 1 line, 0 errors, 1 warning, \d+ notes?\n", told)
    assert "1 line, head of the last line " in handsfree("show", "job").out


def test_a_folder_of_jobs_is_summed_up(shop: Path, handsfree: Run) -> None:
    copy_of(shop / "jobs/job", shop / "jobs/other")
    damage(shop)
    done = handsfree("audit", "jobs")
    assert done.code == 1
    assert done.out.endswith("2 jobs, 1 failed\n")


def test_a_job_whose_record_was_deleted_is_not_passed_over(shop: Path, handsfree: Run) -> None:
    copy_of(shop / "jobs/job", shop / "jobs/other")
    (shop / "jobs/job/record.jsonl").unlink()
    done = handsfree("audit", "jobs")
    assert done.code == 1
    assert "Job: job\n" in done.out
    assert "its record.jsonl is gone: put it back from a copy" in done.out
    assert done.out.endswith("2 jobs, 1 failed\n")
    told = json.loads(handsfree("audit", "jobs", "--json").out)
    assert told["passed"] is False
    (gone,) = [job for job in told["jobs"] if job["job"].endswith("job")]
    assert [(f["severity"], f["check"]) for f in gone["findings"]] == [("error", "gone")]
    pages = handsfree("review", "jobs")
    assert "1 record can't be trusted, the page says why: job" in pages.one_line()
    assert "its record.jsonl is gone" in (shop / "jobs/review/index.html").read_text(encoding="utf-8")
    pushed = handsfree("archive", "push", "jobs", "--to", "a.sqlite")
    assert "job: its record.jsonl is gone" in pushed.one_line()
    assert "1 new, 0 grown, 0 unchanged, 1 left out" in pushed.out
    kept = handsfree("forget-audio", "--older-than", "0").one_line()
    assert "its record.jsonl is gone" in kept
    assert kept.endswith("its sound is kept")
    shutil.rmtree(shop / "jobs/other")  # none is left with a record
    assert handsfree("audit", "jobs").code == 1
    for command in ("audit", "show", "export", "review", "resume"):
        for named in ("job", "jobs/job"):
            assert "is a job's folder, and its record.jsonl is gone" in handsfree(command, named).one_line()
    for words in (("forget-audio", "--older-than", "0", "--jobs"), ("archive", "push", "--to", "b.sqlite")):
        assert "jobs/job" in handsfree(*words, "jobs/job").one_line().replace("\\", "/")


def test_a_job_that_was_cut_off_before_its_first_line_is_a_warning(shop: Path, handsfree: Run) -> None:
    """It leaves a folder with a lock and a draft, and nothing was recorded; a folder of other things is no job."""
    begun = shop / "jobs/begun"
    (begun / "audio").mkdir(parents=True)
    (begun / ".lock").touch()
    (shop / "jobs/sundry").mkdir()
    (shop / "jobs/sundry/policy.txt").touch()
    done = handsfree("audit", "jobs")
    assert done.code == 0
    assert "Job: begun\n" in done.out
    assert "warn" in done.out.partition("Job: begun")[2]
    assert "sundry" not in done.out
    for command in ("show", "review", "audit", "export", "resume"):
        for named in ("begun", "jobs/begun"):
            told = handsfree(command, named).one_line()
            assert (
                "begun: no record.jsonl: a job was cut off before its first line, or its record was" in told
            )
            assert told.endswith("put the record back from a copy, or start a new job")


def test_a_signed_job_that_is_gone_is_missed(shop: Path, handsfree: Run) -> None:
    handsfree("keys", "new", "ortega.pem")
    whole_job(shop / "jobs/third", LINES, about={"technician": "Ben"})
    copy_of(shop / "jobs/job", shop / "unsigned")
    handsfree("sign", "job", "--key", "ortega.pem", "--reject", "wet cement", "--redo", "cement")
    handsfree("sign", "third", "--key", "ortega.pem", "--accept")
    all_there = handsfree("audit", "jobs")
    assert (all_there.code, "2 jobs in the list of signatures, 2 of them here" in all_there.out) == (0, True)
    (shop / "bay-2").mkdir()
    (shop / "jobs/job").rename(shop / "bay-2/job")
    done = handsfree("audit", "jobs")
    assert done.code == 1
    missed = next(line for line in done.out.splitlines() if line.startswith("  error"))
    assert re.search(r"job: reject by ortega on \d{4}-\d\d-\d\d, and the job is not in jobs \(", missed)
    assert missed.replace("\\", "/").endswith("(keys/signed.jsonl, line 1)")
    assert "\nFAILED: 1 signed job missed\n" in done.out
    told = json.loads(handsfree("audit", "jobs", "--json").out)
    assert (told["passed"], told["folder"]["passed"], told["folder"]["listed"]) == (False, False, 2)
    (found,) = told["folder"]["findings"]
    assert (found["severity"], found["check"]) == ("error", "missing")
    assert handsfree("audit", "jobs", "--also", "bay-2").code == 0
    elsewhere = handsfree("audit", "jobs", "--elsewhere")
    assert (elsewhere.code, "  warn " in elsewhere.out) == (0, True)
    assert handsfree("audit", "jobs/third").code == 0, "of one job no other is missed"
    assert handsfree("audit", "jobs/third", "--elsewhere").code == 2
    assert "no job there" in handsfree("audit", "jobs", "--also", "bay-3").one_line()
    (shop / "keys").rename(shop / "away")
    unknown = handsfree("audit", "jobs")
    assert unknown.code == 0
    assert "can't be told without the shop's folder of keys (--keys)" in unknown.out
    # The list without names, as earlier programs wrote it: it is known by its first line.
    listed = shop / "away/signed.jsonl"
    listed.write_bytes(listed.read_bytes().replace(b',"name":"job"', b""))
    first = read_log(shop / "bay-2/job").lines[0].hash[:16]
    assert f"its first line {first}" in handsfree("audit", "jobs", "--keys", "away").out


def test_check_words_from_a_work_order(shop: Path, handsfree: Run) -> None:
    told = next(x for x in handsfree("audit", "job").out.splitlines() if x.startswith("Check words"))
    words = told.partition(": ")[2]
    same = handsfree("audit", "job", "--words", words.upper())
    assert (same.code, f"told at the end, the same as those given with --words: {words}" in same.out) == (
        0,
        True,
    )
    assert "the same as" not in handsfree("audit", "job", "--words", "apron apron apron apron apron").out
    assert handsfree("audit", "job", "--words", ", ".join(words.split()).capitalize() + ".").code == 0
    assert handsfree("audit", "job", "--words", "apron apron apron apron apron").code == 1
    assert "0 check words" in handsfree("audit", "job", "--words", "").one_line()
    assert "4 check words" in handsfree("audit", "job", "--words", words.rpartition(" ")[0]).one_line()
    assert "no check word" in handsfree("audit", "job", "--words", "foo bar").one_line()


def test_both_heads_and_both_sets_of_words_say_which_they_are(shop: Path, handsfree: Run) -> None:
    lines = read_log(shop / "jobs/job").lines
    seal = next(line for line in lines if line.kind == "seal")
    told, head = " ".join(seal.body["words"]), str(seal.body["head"])[:16]  # type: ignore[arg-type]
    last = lines[-1].hash[:16]
    assert head != last, "lines come after the words"
    closing = f"Check words: {told} (chain head when they were told: {head})"
    assert closing in summary_text(shop / "jobs/job")
    shown = handsfree("show", "job").out
    assert f"head of the last line {last}\n{closing}\n" in shown
    audited = handsfree("audit", "job").out
    assert f"Check words told at the end (compare with the work order's): {told}\n" in audited
    own = " ".join(check_words(lines[-1].hash))
    assert f"Head of the last line: {last} (its own words, told to nobody: {own})\n" in audited
    (job,) = json.loads(handsfree("audit", "job", "--json").out)["jobs"]
    exported = json.loads(handsfree("export", "job").out)
    for told_to_a_program in (job, exported):
        assert told_to_a_program["check_words"] == told.split()
        assert told_to_a_program["check_words_told"] is True
        assert told_to_a_program["head"] == lines[-1].hash
        assert told_to_a_program["head_words"] == own.split()


def test_the_audit_of_a_rejected_job_says_why(shop: Path, handsfree: Run) -> None:
    handsfree("keys", "new", "ortega.pem")
    handsfree(
        "sign", "job", "--key", "ortega.pem", "--reject", "wet cement", "--redo", "cement", "--redo", "fill"
    )
    audited = handsfree("audit", "job")
    assert "\nRejected because: wet cement; do again: cement; fill\nSigned: reject by ortega" in audited.out
    told = json.loads(handsfree("audit", "job", "--json").out)["jobs"][0]
    assert told["rejection"] == "wet cement; do again: cement; fill"
    handsfree("sign", "job", "--key", "ortega.pem", "--accept", "--reason", "another job was meant")
    assert "Rejected because" not in handsfree("audit", "job").out


def test_listening_where_no_sound_is_left_says_so_in_words(shop: Path, handsfree: Run) -> None:
    heard = handsfree("audit", "job", "--listen").out
    assert " of 3 utterances heard again with the same words" in heard
    for sound in (shop / "jobs/job/audio").iterdir():
        sound.unlink()
    silent = handsfree("audit", "job", "--listen").out
    assert "nothing to hear again: of 3 utterances the sound is gone or can't be read" in silent
    assert "0 of 0" not in silent


def test_a_job_that_can_t_be_read_is_not_passed_over(
    shop: Path, handsfree: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    shut = copy_of(shop / "jobs/job", shop / "jobs/shut")
    exists = Path.exists

    def forbidden(path: Path) -> bool:  # root may read everything, so no file mode shows it
        if path.parent.name == "shut":
            raise PermissionError(13, "Permission denied")
        return exists(path)

    monkeypatch.setattr(Path, "exists", forbidden)
    for command in (("audit", "jobs"), ("review", "jobs")):
        assert "shut: Permission denied" in handsfree(*command).one_line(), shut


def test_a_folder_of_jobs_in_the_place_of_one_is_told_with_what_to_do(
    shop: Path, handsfree: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    for command in ("show", "export", "resume"):
        told = handsfree(command, "jobs").one_line().replace("\\", "/")
        assert told == (
            "handsfree: jobs is a folder of jobs: name one of them, the last is jobs/job; or see them all: "
            "handsfree review jobs"
        )
    copy_of(shop / "jobs/job", shop / "jobs/later")
    monkeypatch.chdir(shop / "jobs")
    assert ". is a folder of 2 jobs: name one of them, the last is later" in handsfree("show", ".").one_line()


def test_where_there_is_no_job_it_says_so(shop: Path, handsfree: Run) -> None:
    assert "no job there" in handsfree("audit", "nothing").one_line()
    (shop / "empty").mkdir()
    assert "no job there" in handsfree("audit", "empty").one_line()


def test_a_key_is_made_and_a_job_is_signed(shop: Path, handsfree: Run) -> None:
    made = handsfree("keys", "new", "ortega.pem")
    assert made.code == 0
    assert "keys/ortega.pub" in made.out.replace("\\", "/")
    done = handsfree("sign", "job", "--key", "ortega.pem", "--concession", "measured again by hand")
    assert done.code == 0
    assert done.out.startswith("Signed: concession by ortega, line ")
    assert "Signed: concession by ortega on " in handsfree("audit", "job").out
    shown = handsfree("show", "job").out
    assert "concession by ortega, measured again by hand" in " ".join(shown.split())
    path = shop / "jobs/job/record.jsonl"
    path.write_bytes(path.read_bytes().replace(b"by hand", b"by Hand"))
    assert handsfree("audit", "job").code == 1


def test_a_rejection_is_overturned_only_with_a_reason_and_both_are_shown(shop: Path, handsfree: Run) -> None:
    handsfree("keys", "new", "ortega.pem")
    handsfree("keys", "new", "holt.pem")
    by_holt = ("sign", "job", "--key", "holt.pem")
    assert (
        handsfree("sign", "job", "--key", "ortega.pem", "--reject", "wet cement", "--redo", "cement").code
        == 0
    )
    record = (shop / "jobs/job/record.jsonl").read_bytes()
    for silent in ((), ("--reason", " ")):
        told = handsfree(*by_holt, "--accept", *silent).one_line()
        assert re.search(r"ortega rejected this job on \d{4}-\d\d-\d\d; .*say why, with --reason$", told)
    assert handsfree(*by_holt, "--concession", "x", "--reason", "y").code == 2
    assert (shop / "jobs/job/record.jsonl").read_bytes() == record, "nothing may be signed"
    assert handsfree(*by_holt, "--accept", "--reason", "it was the lamp, not the cement").code == 0
    both = r"accept by holt on [^;]*?; .*?before: reject by ortega on "
    audited = handsfree("audit", "job")
    assert (audited.code, bool(re.search(rf"Signed: {both.replace('; .*?', '; ')}", audited.out))) == (
        0,
        True,
    )
    shown = " ".join(handsfree("show", "job").out.replace("\u2502", " ").split())
    assert re.search(both, shown)
    assert "it was the lamp, not the cement" in shown
    assert "wet cement" in shown
    assert handsfree(*by_holt, "--accept").code == 0, "the last decision is no rejection any more"
    assert handsfree("audit", "job").code == 0


def test_a_rejected_job_says_how_the_work_goes_on(shop: Path, handsfree: Run) -> None:
    how = "do the work again as a new job, by the same work order: handsfree run --practice --procedure "
    handsfree("keys", "new", "ortega.pem")
    sign = ("sign", "job", "--key", "ortega.pem")
    signed = handsfree(*sign, "--reject", "wet cement", "--redo", "cement").out
    assert "\nGo on: a rejected job stays closed; " + how in signed
    record = (shop / "jobs/job/record.jsonl").read_bytes()
    for options in ((), ("--practice",), ("--practice", "--engine", "typed")):
        told = handsfree("resume", "job", *options).one_line()
        assert told.startswith("handsfree: job is finished: rejected when it was reviewed; ")
        assert how in told
        assert "resume it with" not in told, "it can't be, by any option"
    assert (shop / "jobs/job/record.jsonl").read_bytes() == record, "nothing may follow a signature"
    shown = " ".join(handsfree("show", "job").out.replace("\u2502", " ").split())
    assert "Go on a rejected job stays closed; " + how in shown
    handsfree(*sign, "--accept", "--reason", "it was the lamp")
    assert "Go on" not in handsfree("show", "job").out
    assert handsfree("resume", "job").one_line().endswith("return to service; see it with handsfree show")


def test_a_real_job_is_not_done_again_as_practice() -> None:
    opened = {"kind": "open", "procedure": "lug-nut-recheck"}
    told = how_to_do_again([opened, {"kind": "signed", "decision": "reject"}])
    assert told.endswith("by the same work order: handsfree run --procedure lug-nut-recheck")


def test_the_command_to_do_it_again_names_the_files_that_the_job_was_begun_with() -> None:
    """As far as the record knows them: the shop's name, and that there was a policy."""
    empty, some = hashlib.sha256(b"").hexdigest(), hashlib.sha256(b"x").hexdigest()
    reject = {"kind": "signed", "decision": "reject"}
    by_shop = {"kind": "open", "shop": "Harbor Row", "shop_sha256": some, "policy_sha256": empty}
    told = how_to_do_again([by_shop, reject])
    assert told.endswith(": handsfree run --shop SHOP.toml (SHOP.toml: the shop file of Harbor Row)")
    typed = how_to_do_again([{**by_shop, "engine": "typed"}, reject])
    assert ": handsfree run --engine typed --shop SHOP.toml (" in typed
    assert "--engine" not in how_to_do_again([{**by_shop, "engine": "pocketsphinx"}, reject])
    both = how_to_do_again([{**by_shop, "policy_sha256": some}, reject])
    assert (
        "handsfree run --shop SHOP.toml --policy POLICY.toml (SHOP.toml: the shop file of Harbor Row, "
        in both
    )
    assert both.endswith("POLICY.toml: the policy, a copy of which is the job's policy.toml)")


def test_a_rejection_comes_before_what_the_work_had_ended_with(shop: Path, handsfree: Run) -> None:
    """Whoever reads the first word only must not take a rejected tire for a released one."""
    handsfree("keys", "new", "ortega.pem")
    sign = ("sign", "job", "--key", "ortega.pem")
    assert "return to service" in handsfree("show", "job").out, "else this test shows nothing"
    handsfree(*sign, "--reject", "wet cement", "--redo", "cement again")
    audited = handsfree("audit", "job").out.splitlines()[1]
    assert audited.startswith("Disposition: rejected when it was reviewed; the work had ended with: ")
    (job,) = json.loads(handsfree("audit", "job", "--json").out)["jobs"]
    assert f"Disposition: {job['disposition']}" == audited
    assert "Disposition: rejected when it was reviewed; the work " in summary_text(shop / "jobs/job")
    shown = " ".join(handsfree("show", "job").out.lower().replace("\u2502", " ").split())
    assert shown.index("disposition rejected when it was reviewed") < shown.index("return to service")
    assert re.search(r"reviewed by ortega on [^;]*: wet cement do again: cement again the work had", shown)
    handsfree(*sign, "--accept", "--reason", "it was the lamp")
    assert handsfree("audit", "job").out.splitlines()[1].endswith("return to service")
    assert "DISPOSITION  REJECTED" not in handsfree("show", "job").out.upper()


def test_what_can_not_be_signed_is_not(shop: Path, handsfree: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    handsfree("keys", "new", "ortega.pem")
    sign = ("sign", "job", "--key", "ortega.pem")
    whole_job(shop / "jobs/half", LINES[:6])
    assert (
        "is not finished, so it can't be signed"
        in handsfree("sign", "half", *sign[2:], "--accept").one_line()
    )
    assert "what to do again" in handsfree(*sign, "--reject", "wet cement").one_line()
    assert handsfree(*sign).code == 2
    assert handsfree(*sign, "--accept", "--reject", "x").code == 2
    monkeypatch.setenv("HANDSFREE_PASSPHRASE", "three loud herons")
    assert "wrong passphrase" in handsfree(*sign, "--accept").one_line()
    monkeypatch.setenv("HANDSFREE_PASSPHRASE", PASSPHRASE)
    assert "other: no such folder" in handsfree(*sign, "--accept", "--keys", "other").one_line()
    before = (shop / "jobs/job/record.jsonl").read_bytes()
    damage(shop)
    assert "its audit finds" in handsfree(*sign, "--accept").one_line()
    (shop / "jobs/job/record.jsonl").write_bytes(before)
    assert handsfree(*sign, "--accept").code == 0


def test_where_a_passphrase_comes_from(shop: Path, handsfree: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("HANDSFREE_PASSPHRASE")
    (shop / "words.txt").write_text(f"{PASSPHRASE}\nmore\n", encoding="utf-8")
    assert handsfree("keys", "new", "a.pem", "--passphrase-file", "words.txt").code == 0
    assert "can't be read" in handsfree("keys", "new", "b.pem", "--passphrase-file", "none").one_line()
    assert "no passphrase; type it, or give" in handsfree("keys", "new", "b.pem").one_line()
    assert not (shop / "b.pem").exists()
    done = handsfree("sign", "job", "--key", "a.pem", "--accept", "--passphrase-file", "words.txt")
    assert done.code == 0


def _read_until(terminal: int, wanted: bytes) -> bytes:
    shown = b""
    while wanted not in shown:
        assert select.select([terminal], [], [], 60)[0], shown
        shown += os.read(terminal, 1000)
    return shown


@pytest.mark.skipif(os.name == "nt", reason="a terminal of POSIX")
def test_a_passphrase_typed_at_a_terminal_is_not_shown(shop: Path) -> None:
    import pty

    master, slave = pty.openpty()
    environment = {k: v for k, v in os.environ.items() if k != "HANDSFREE_PASSPHRASE"}
    command = [sys.executable, "-m", "handsfree", "keys", "new", "a.pem"]
    with subprocess.Popen(
        command, stdin=slave, stdout=slave, stderr=slave, env=environment, start_new_session=True
    ) as running:
        os.close(slave)
        shown = b""
        for prompt in (b"New passphrase for a.pem: ", b"confirmation: "):
            shown += _read_until(master, prompt)
            os.write(master, f"{PASSPHRASE}\n".encode())
        shown += _read_until(master, b"may sign)")
        running.wait(60)
    os.close(master)
    assert running.returncode == 0, shown
    assert PASSPHRASE.encode() not in shown
    assert (shop / "a.pem").exists()


def test_a_job_is_exported_to_a_private_file_that_is_never_overwritten(shop: Path, handsfree: Run) -> None:
    assert json.loads(handsfree("export", "job").out)["job"] == "job"
    assert handsfree("export", "job", "--format", "csv", "--to", "x.csv").code == 0
    if os.name != "nt":
        assert stat.S_IMODE((shop / "x.csv").stat().st_mode) == 0o600
    assert "exists" in handsfree("export", "job", "--to", "x.csv").one_line()
    assert handsfree("export", "job", "--format", "docx").code == 2
    assert "Ana" not in handsfree("export", "job", "--pseudonyms").out


def test_no_export_is_poured_on_a_screen(shop: Path, handsfree: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    done = handsfree("export", "job")
    assert done.one_line().startswith("handsfree: json is for a program, not for a screen: give --to FILE")
    assert done.out == ""
    assert handsfree("export", "job", "--to", "x.json").code == 0
    monkeypatch.setattr("sys.stdout.isatty", lambda: False)
    assert handsfree("export", "job").out == (shop / "x.json").read_text(encoding="utf-8")


def test_the_export_of_a_damaged_record_says_so(shop: Path, handsfree: Run) -> None:
    whole = handsfree("export", "job", "--format", "csv")
    assert (whole.code, whole.err) == (0, "")
    record = shop / "jobs/job/record.jsonl"
    lines = record.read_bytes().splitlines(keepends=True)
    lines[5] = lines[5].replace(b'"mono_ms":', b'"mono_ms": ')
    record.write_bytes(b"".join(lines))
    damaged = handsfree("export", "job", "--format", "csv")
    assert "the record is damaged" in damaged.one_line()
    assert damaged.out.startswith("job,")


def refuse(monkeypatch: pytest.MonkeyPatch, ending: str) -> None:
    """Opening such files is not permitted. Root may do everything, so no file mode shows it."""
    opened, read = os.open, Path.read_bytes

    def no_open(path: object, flags: int, *rest: int, **more: int) -> int:
        if str(path).endswith(ending):
            raise PermissionError(13, "Permission denied", str(path))
        return opened(path, flags, *rest, **more)  # type: ignore[arg-type]

    def no_read(path: Path) -> bytes:
        if str(path).endswith(ending):
            raise PermissionError(13, "Permission denied", str(path))
        return read(path)

    monkeypatch.setattr(os, "open", no_open)
    monkeypatch.setattr(Path, "read_bytes", no_read)


def test_a_file_that_can_not_be_written_is_named_with_what_to_do(shop: Path, handsfree: Run) -> None:
    missing = "there is no folder nowhere; make it, or give a file in another one"
    for command in (
        ("export", "job", "--to", "nowhere/x.json"),
        ("review", "job", "--out", "nowhere/x.html"),
        ("archive", "push", "jobs", "--to", "nowhere/a.sqlite"),
    ):
        assert handsfree(*command).one_line().endswith(missing)
    assert (
        handsfree("export", "job", "--to", "jobs")
        .one_line()
        .endswith("is a folder; give the name of a file in it")
    )
    (shop / "jobs/job/review.html").mkdir()
    assert "review.html: is a folder; give the name of a file in it" in handsfree("review", "job").one_line()
    handsfree("archive", "push", "jobs", "--to", "a.sqlite")
    report = ("archive", "report", "--from", "a.sqlite", "--practice", "--html", "nowhere/r.html")
    assert handsfree(*report).one_line().endswith(missing)
    assert not list(shop.rglob("*.new"))


def test_a_page_that_may_not_be_written_names_itself_not_its_draft(
    shop: Path, handsfree: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    refuse(monkeypatch, ".new")
    told = handsfree("review", "job").one_line()
    assert told.endswith("review.html: no permission: choose a folder you may write to")
    assert ".new" not in told


def test_a_record_that_may_not_be_read_is_not_to_be_written_elsewhere(
    shop: Path, handsfree: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    refuse(monkeypatch, "record.jsonl")
    told = handsfree("show", "job").one_line()
    assert "can't read" in told
    assert told.endswith("no permission: get the right to it from whoever owns it")


def test_a_file_that_is_no_archive_says_so(shop: Path, handsfree: Run) -> None:
    (shop / "notes.txt").write_text("nothing of the kind, and long enough to be looked at\n" * 20)
    for command in (("archive", "report", "--from"), ("archive", "push", "jobs", "--to")):
        assert "no SQLite file, so no archive; give the one that handsfree archive push made" in (
            handsfree(*command, "notes.txt").one_line()
        )
    assert "give a file, not a folder" in handsfree("archive", "report", "--from", "jobs").one_line()


def test_a_public_key_does_not_sign(shop: Path, handsfree: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    handsfree("keys", "new", "ortega.pem")
    monkeypatch.delenv("HANDSFREE_PASSPHRASE")  # it is not even asked for
    told = handsfree("sign", "job", "--key", "keys/ortega.pub", "--accept").one_line()
    assert "ortega.pub: that is the public key, which can't sign; give the private one" in told
    assert "(as ortega.pem)" in told
    assert "can't read the key none.pem: no such file" in (
        handsfree("sign", "job", "--key", "none.pem", "--accept").one_line()
    )


def test_an_empty_record_is_called_empty(shop: Path, handsfree: Run) -> None:
    (shop / "jobs/job/record.jsonl").write_bytes(b"")
    audited = handsfree("audit", "job")
    assert audited.code == 1
    assert "the file is empty" in audited.out
    assert "line format" not in audited.out
    assert "it is empty or damaged; put it back from a copy" in handsfree("export", "job").one_line()
    assert "no whole line, so there is nothing to go on with" in handsfree("resume", "job").one_line()
    assert handsfree("show", "job").code == 1


def test_old_sound_is_forgotten(shop: Path, handsfree: Run) -> None:
    """The simulated job began in 2030, so its days are not over yet; a job of today's clock is."""
    assert handsfree("forget-audio", "--older-than", "0").out == "0 utterances of 0 jobs deleted\n"
    assert handsfree("forget-audio", "--older-than", "-1").code == 2
    missing = handsfree("forget-audio", "--older-than", "0", "--jobs", "jbos")
    assert "nothing was deleted" in missing.one_line()
    assert len(list((shop / "jobs/job/audio").iterdir())) == 3


def test_a_job_on_the_real_clock_is_found_good_and_private(shop: Path) -> None:
    """Through the real command, with a umask that would let everybody read."""
    typed = "eye protection and gloves are on\n1122\naffirmative\n4417\naffirmative\n"
    old = os.umask(0)
    try:
        subprocess.run(
            [
                sys.executable,
                "-m",
                "handsfree",
                *["run", "--engine", "typed", "--technician", "Mara", "--jobs", "real"],
            ],
            input=typed,
            text=True,
            capture_output=True,
            timeout=120,
            check=False,
        )
    finally:
        os.umask(old)
    (job,) = (shop / "real").iterdir()
    from handsfree.audit import audit

    report = audit(job)
    assert report.passed
    assert [f.message for f in report.findings if f.severity != "note"] == [
        f"the job is not finished: {read_log(job).lines[-1].body and _step(job)}"
    ]
    assert {"limits_sha256", "grammar_sha256", "procedure_sha256"} <= read_log(job).lines[0].body.keys()
    if os.name != "nt":
        modes = {p.name: stat.S_IMODE(p.stat().st_mode) for p in [job, *job.rglob("*")]}
        kinds = {p.name: p.is_dir() for p in [job, *job.rglob("*")]}
        assert all(mode == (0o700 if kinds[name] else 0o600) for name, mode in modes.items()), modes


def _step(job: Path) -> str:
    entered = [line.body["step"] for line in read_log(job).lines if line.kind == "step"]
    return f"{entered[-1]}, asking"


# -- a record whose end is gone ------------------------------------------------------------------


def cut(shop: Path, lines: int) -> Path:
    record = shop / "jobs/job/record.jsonl"
    record.write_bytes(b"".join(record.read_bytes().splitlines(keepends=True)[:-lines]))
    return record


@pytest.mark.parametrize("lines", [1, 2, 3, 4, 5])
def test_every_reader_tells_that_the_end_is_missing(lines: int, shop: Path, handsfree: Run) -> None:
    """The chain of what is left is unbroken: only a replay knows that more was to be written."""
    cut(shop, lines)
    (finding,) = (
        f
        for f in json.loads(handsfree("audit", "job", "--json").out)["jobs"][0]["findings"]
        if f["severity"] == "error"
    )
    told = finding["message"]
    assert told.startswith("the end is missing: ")
    shown = handsfree("show", "job")
    assert shown.one_line() == f"handsfree: {told}; listed at its end"
    flat = " ".join(shown.out.replace("\u2502", " ").split())
    assert flat.index("DAMAGED do not rely on this record") < flat.index("Disposition")
    assert "THE END IS MISSING" in flat
    assert "1 record can't be trusted" in handsfree("review", "job").one_line()
    page = html.unescape((shop / "jobs/job/review.html").read_text(encoding="utf-8"))
    assert f"INCOMPLETE RECORD: {told}" in page
    assert "No: the record is damaged" in page
    exported = handsfree("export", "job")
    assert told in exported.one_line()
    assert json.loads(exported.out)["damage"] == [f"line {finding['line']}: {told}"]
    emma = handsfree("export", "job", "--format", "emma").out
    assert f'<job:damage line="{finding["line"]}">the end is missing: ' in emma
    assert handsfree("export", "job", "--format", "csv").code == 1


def test_what_is_whole_has_no_damage_in_its_export(shop: Path, handsfree: Run) -> None:
    assert "damage" not in json.loads(handsfree("export", "job").out)
    assert "damage" not in handsfree("export", "job", "--format", "emma").out


@pytest.mark.parametrize("options", [[], ["--practice"]])
@pytest.mark.parametrize("lines", [1, 2, 3, 5])
def test_a_completed_end_is_told_by_resume_and_by_every_reader_after_it(
    lines: int, options: list[str], shop: Path, handsfree: Run
) -> None:
    cut(shop, lines)
    done = handsfree("resume", "job", "--engine", "typed", *options)
    assert (done.code, done.err, done.out.count("\n")) == (0, "", 1)
    assert "the end of its record was missing and was completed; " in done.out
    assert "compare with the work order's" in done.out
    audited = handsfree("audit", "job")
    assert audited.code == 0
    assert "told at the end (" not in audited.out
    (told,) = json.loads(handsfree("audit", "job", "--json").out)["jobs"]
    assert told["check_words_told"] is False
    assert json.loads(handsfree("export", "job").out)["check_words_told"] is False
    words = next(line.body["words"] for line in read_log(shop / "jobs/job").lines if line.kind == "seal")
    assert f"Check words, NOT PLAYED TO THEIR END (compare with the work order's): {' '.join(words)}" in (  # type: ignore[arg-type]
        audited.out
    )
    assert re.search("warn +line [0-9]+ +the end of the record was missing, and was completed", audited.out)
    for text in (summary_text(shop / "jobs/job"), handsfree("show", "job").out):
        assert f"Check words, NOT PLAYED TO THEIR END: {' '.join(words)}" in text  # type: ignore[arg-type]
        assert "opened again: the job had ended, but not its record" in text
    assert "job is finished" in handsfree("resume", "job", "--engine", "typed").one_line()


def test_the_end_of_a_signed_job_is_not_written_anew(shop: Path, handsfree: Run) -> None:
    """The shop's list knows that there was another one."""
    handsfree("keys", "new", "ortega.pem")
    handsfree("sign", "job", "--key", "ortega.pem", "--reject", "wet", "--redo", "cement")
    record = cut(shop, 4)
    before = record.read_bytes()
    told = handsfree("resume", "job", "--engine", "typed", "--practice").one_line()
    assert re.search(
        r"job is known as signed \(reject on .*put it back from a copy; nothing was written", told
    )
    assert record.read_bytes() == before
    for command in ("audit", "show"):
        out = " ".join(handsfree(command, "job").out.replace("\u2502", " ").split())
        assert "handsfree resume completes it" not in out
        assert "put it back from a copy" in out
        assert "whole" not in out


# -- another job's record ------------------------------------------------------------------------


def swap(shop: Path, one: str, other: str) -> None:
    a, b = (shop / "jobs" / name / "record.jsonl" for name in (one, other))
    kept = a.read_bytes()
    a.write_bytes(b.read_bytes())
    b.write_bytes(kept)


@pytest.fixture
def two(shop: Path, handsfree: Run) -> Path:
    """Two signed jobs of the same procedure and sound: job and third."""
    whole_job(shop / "jobs/third", LINES, about={"technician": "Ben"})
    handsfree("keys", "new", "ortega.pem")
    for name in ("job", "third"):
        assert handsfree("sign", name, "--key", "ortega.pem", "--accept").code == 0
    return shop


def test_swapped_records_are_told_by_every_reader_that_has_the_keys(two: Path, handsfree: Run) -> None:
    assert handsfree("audit", "jobs").code == 0
    swap(two, "job", "third")
    told = "this folder is named job, the record in it was signed as job third"
    done = handsfree("audit", "job")
    assert done.code == 1
    assert re.search(f"error +{told}", done.out)
    assert [line for line in done.out.splitlines() if line.startswith("  error")] == [
        f"  error             {told}; job was another job by the list"
    ]
    shown = handsfree("show", "job")
    assert "of a job with another name than this folder" in shown.one_line()
    flat = " ".join(shown.out.replace("\u2502", " ").split())
    assert flat.index(f"WRONG FOLDER do not rely on this copy: {told}") < flat.index("Disposition")
    assert "1 record can't be trusted" in handsfree("review", "job").one_line()
    page = html.unescape((two / "jobs/job/review.html").read_text(encoding="utf-8"))
    assert f"WRONG FOLDER: {told}" in page
    assert "No: the record of another job" in page
    assert "CHANGED since" not in page
    pushed = handsfree("archive", "push", "jobs/job", "--to", "a.sqlite")
    assert (pushed.code, told in pushed.out + pushed.err) == (1, True)


def test_a_renamed_folder_is_only_a_warning(two: Path, handsfree: Run) -> None:
    (two / "jobs/job").rename(two / "jobs/order-4711")
    done = handsfree("audit", "order-4711")
    assert done.code == 0
    assert re.search(
        "warn +this folder is named order-4711, the record in it was signed as job job", done.out
    )
    # A folder that says another time than its record is none that a shop gave its own name.
    (two / "jobs/order-4711").rename(two / "jobs/2026-11-25-142530-job")
    assert handsfree("audit", "2026-11-25-142530-job").code == 1


def test_a_folder_named_for_another_time_is_told_without_keys(shop: Path, handsfree: Run) -> None:
    begun = read_log(shop / "jobs/job").lines[0].at
    (shop / "jobs/job").rename(shop / "jobs/2026-11-25-142530-job")
    done = handsfree("audit", "2026-11-25-142530-job")
    assert done.code == 0
    assert "the job began 2026-11-25 14:25:30 UTC, its record begins 2030-" in done.out
    assert "2026-11-25 14:25:30 UTC" in " ".join(handsfree("show", "2026-11-25-142530-job").out.split())
    right = f"{begun[:10]}-{begun[11:19].replace(':', '')}-job"
    (shop / "jobs/2026-11-25-142530-job").rename(shop / "jobs" / right)
    assert "the folder's name" not in handsfree("audit", right).out


def test_one_record_in_two_folders_is_told(shop: Path, handsfree: Run) -> None:
    copy_of(shop / "jobs/job", shop / "jobs/other")
    told = "job and other hold the same job's record"
    done = handsfree("audit", "jobs")
    assert (done.code, bool(re.search(f"warn +{told}", done.out))) == (0, True)
    handsfree("keys", "new", "ortega.pem")
    assert re.search(f"warn +{told}", handsfree("audit", "jobs").out)
    found = json.loads(handsfree("audit", "jobs", "--json").out)["folder"]["findings"]
    assert [one["check"] for one in found] == ["doubled"]


def test_an_untouched_original_is_not_accused_of_a_change(shop: Path, handsfree: Run) -> None:
    """Another one signed a copy of it elsewhere: then it is an older copy, as it was signed."""
    for name in ("holt.pem", "ortega.pem"):
        handsfree("keys", "new", name)
    (shop / "bay-2").mkdir()
    copy_of(shop / "jobs/job", shop / "bay-2/job")
    handsfree("sign", "job", "--key", "holt.pem", "--accept")
    copied = shop / "bay-2/job/record.jsonl"
    copied.write_bytes((shop / "jobs/job/record.jsonl").read_bytes())
    handsfree("sign", "bay-2/job", "--key", "ortega.pem", "--accept")
    assert handsfree("review", "job").code == 1
    page = html.unescape((shop / "jobs/job/review.html").read_text(encoding="utf-8"))
    for wrong in ("CHANGED", "false.", "not what was signed", "the record is damaged"):
        assert wrong not in page, wrong
    assert "No: an older copy, or its end was cut off" in page
    assert "SIGNED AGAIN in another copy" in page
    assert "another copy of the job was signed after it" in page


def late() -> tuple[str, int]:
    """After the job's end by its simulated clock."""
    return "2031-01-01T00:00:00.000Z", 0


# -- what to do ----------------------------------------------------------------------------------


def test_the_audit_says_what_to_do(shop: Path, handsfree: Run) -> None:
    assert "to do" not in handsfree("audit", "job").out
    kept = copy_of(shop / "jobs/job", shop / "kept")
    damage(shop)
    assert "to do  put the record back from a copy" in handsfree("audit", "job").out
    shutil.copy(kept / "record.jsonl", shop / "jobs/job/record.jsonl")
    (shop / "jobs/job/policy.toml").write_text("# another\n")
    assert "to do  put the file back from a copy" in handsfree("audit", "job").out
    shutil.copy(kept / "policy.toml", shop / "jobs/job/policy.toml")
    shutil.rmtree(shop / "jobs/job/audio")
    out = handsfree("audit", "job").out
    assert "to do  put the sound back from a copy" in out
    assert out.count("  error") == 1
    assert "the sound folder is gone (3 files)" in out


def test_an_emptied_record_does_not_accuse_the_files_beside_it(shop: Path, handsfree: Run) -> None:
    (shop / "jobs/job/record.jsonl").write_bytes(b"")
    done = handsfree("audit", "job")
    assert done.code == 1
    assert "the file is empty" in done.out
    for name in ("procedure.toml", "prompts.toml", "policy.toml"):
        assert name not in done.out
    assert "to do  put the record back from a copy" in done.out


def test_the_page_names_the_line_that_the_audit_names(shop: Path, handsfree: Run) -> None:
    record = shop / "jobs/job/record.jsonl"
    lines = record.read_bytes().splitlines(keepends=True)
    record.write_bytes(b"".join(lines[:60] + lines[71:]))
    told = "11 lines are missing after line 60 (61 to 71)"
    assert re.search(rf"error +line 61 +{re.escape(told)}", handsfree("audit", "job").out)
    assert f"damage: line 61: {told}" in " ".join(handsfree("show", "job").out.split())
    handsfree("review", "job")
    page = html.unescape((shop / "jobs/job/review.html").read_text(encoding="utf-8"))
    assert f"DAMAGED RECORD, line 61: {told}" in page
    assert f"its line 61 is damaged: {told}" in page
    assert "start a new job" not in page


@pytest.mark.parametrize("how", ["file", "end", "signature"])
def test_a_job_that_is_damaged_in_any_way_keeps_its_sound(
    how: str, shop: Path, handsfree: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """PRIVACY.md promises it."""
    handsfree("keys", "new", "ortega.pem")
    record = shop / "jobs/job/record.jsonl"
    if how == "file":
        (shop / "jobs/job/policy.toml").write_text("# another\n")
    elif how == "end":
        cut(shop, 3)
    else:
        handsfree("sign", "job", "--key", "ortega.pem", "--accept")
        cut(shop, 1)
    before = record.read_bytes()
    monkeypatch.setattr(forgetting.forget_audio, "__defaults__", (late,))
    forged = handsfree("forget-audio", "--older-than", "0")
    assert forged.code == 1
    assert "its sound is kept" in forged.err
    assert len(list((shop / "jobs/job/audio").iterdir())) == 3
    assert record.read_bytes() == before


def test_a_whole_job_does_not_keep_it(shop: Path, handsfree: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(forgetting.forget_audio, "__defaults__", (late,))
    handsfree("keys", "new", "ortega.pem")
    handsfree("sign", "job", "--key", "ortega.pem", "--accept")
    assert "3 utterances of 1 job deleted" in handsfree("forget-audio", "--older-than", "0").out
