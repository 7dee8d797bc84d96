"""What a report says, counted once more from ``handsfree export`` of the same jobs: JSON and CSV, nothing of ours."""

from __future__ import annotations

import csv
import io
import json
import re
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import html5lib
import pytest
from audit.jobs import copy_of, forge, whole_job
from sqlalchemy import update

from handsfree.archive import (
    Archive,
    Figures,
    Scope,
    bays_of,
    figures,
    open_archive,
    report_page,
    report_text,
)
from handsfree.archive._figures import Crew, Hearing, Month
from handsfree.archive._push import Sealed, put, read_files, store
from handsfree.archive._tables import job as job_table
from handsfree.cli import main
from handsfree.procedure import read_procedure
from handsfree.record import export, read_log, summary_text
from handsfree.record.signing import Decision, new_key
from handsfree.review._look import HEADINGS, look_at
from handsfree.review._source import read_source

from .conftest import PRACTICE


@pytest.fixture(scope="module")
def pushed(simulated: Path) -> list[dict[str, Any]]:
    """Each of the archived jobs as its export says it."""
    exported = []
    for folder in sorted(simulated.iterdir()):
        whole = json.loads(export(folder, "json"))
        whole["csv"] = list(csv.DictReader(io.StringIO(export(folder, "csv"))))
        exported.append(whole)
    return exported


def closing(whole: dict[str, Any]) -> dict[str, Any]:
    return next(line for line in whole["lines"] if line["kind"] == "close")


def test_the_figures_are_those_of_the_exports(filled: Archive, pushed: list[dict[str, Any]]) -> None:
    found = figures(filled, PRACTICE)
    lines = [line for whole in pushed for line in whole["lines"]]
    assert found.jobs == len(pushed)
    assert found.scrapped == sum(closing(whole)["outcome"] == "scrap" for whole in pushed)
    # The re-check of lug nuts has no tire to scrap.
    assert found.judged == sum("recheck" not in whole["lines"][0]["procedure"] for whole in pushed)
    assert 0 < found.scrapped < found.judged < found.jobs
    assert found.scrap_rate == pytest.approx(found.scrapped / found.judged)
    patches = [
        {row["seq"] for row in whole["csv"] if row["measurand"] == "patch.size" and row["in_force"] == "true"}
        for whole in pushed
        if ": repaired" in closing(whole)["disposition"]
    ]
    assert found.repairs == sum(map(len, patches)) > 0
    events = Counter(line["type"] for line in lines if line["kind"] == "event")
    kinds = Counter(line["kind"] for line in lines)
    assert found.heard == Hearing(
        "",
        utterances=events["answer"] + events["command"] + events["no_match"],
        no_match=events["no_match"],
        no_input=events["no_input"],
        taken_back=kinds["not_confirmed"],
        corrections=kinds["correction"],
        not_understood=kinds["missed"],
        refused=kinds["refused"],
    )
    assert found.heard.no_match > 0
    told = Counter(re.sub(r"^practice, not for a real tire: ", "", closing(w)["disposition"]) for w in pushed)
    assert dict(found.dispositions) == told
    missed = Counter((row["rule"], row["outcome"]) for whole in pushed for row in whole["csv"] if row["rule"])
    for rule, outside, close in found.missed:
        if rule in {row["rule"] for whole in pushed for row in whole["csv"]}:
            assert (missed[rule, "outside"], missed[rule, "close"]) == (outside, close) or rule in _DERIVED


#: Judged of an answer or of several readings: the CSV, which lists readings, may have fewer verdicts of it.
_DERIVED = {"tire.load_range", "tire.sealant", "injury.grooves", "tire.kind", "tire.speed_symbol"}


def began(whole: dict[str, Any]) -> str:
    """The first to sign in, or whoever the job was begun for in a record in which nobody does."""
    signed = [line["now"] for line in whole["lines"] if line["kind"] == "technician"]
    return str([*signed, whole["lines"][0].get("technician", "")][0])


def on_the_page(folder: Path) -> Counter[str]:
    """How many exceptions of each kind a job's page lists."""
    return Counter(HEADINGS[odd.sort] for odd in look_at(read_source(folder)))


def test_the_exceptions_are_those_of_the_pages(filled: Archive, simulated: Path) -> None:
    found = figures(filled, PRACTICE)
    pages = sum((on_the_page(folder) for folder in simulated.iterdir()), Counter[str]())
    assert {name: count for name, count, _ in found.exceptions} == pages
    assert sum(crew.exceptions for crew in found.crews) == pages.total()
    assert pages["Practice"] == found.jobs


def test_bays_technicians_and_reasons(filled: Archive, pushed: list[dict[str, Any]]) -> None:
    found = figures(filled, PRACTICE)
    jobs = Counter((whole["lines"][0]["bay"], began(whole)) for whole in pushed)
    assert {(c.bay, c.technician): c.jobs for c in found.crews if c.jobs} == jobs
    reasons = Counter(
        reason.partition(":")[0].rstrip(".")
        for whole in pushed
        for reason in closing(whole)["reasons"]
        if "return to service" not in closing(whole)["disposition"]
    )
    assert {label: count for label, _, count in found.reasons} == reasons
    assert reasons
    months = Counter(whole["lines"][0]["at"][:7] for whole in pushed)
    assert {month.month: month.jobs for month in found.months} == months


def test_a_report_is_narrowed_by_day_bay_and_technician(
    filled: Archive, pushed: list[dict[str, Any]]
) -> None:
    first = [whole["lines"][0] for whole in pushed]
    days = sorted(date.fromisoformat(line["at"][:10]) for line in first)
    some = Scope(since=days[3], until=days[7], practice=True)
    assert figures(filled, some).jobs == sum(days[3] <= day <= days[7] for day in days)
    bay = first[0]["bay"]
    assert figures(filled, replace(PRACTICE, bay=bay)).jobs == sum(line["bay"] == bay for line in first)
    who = began(pushed[0])
    wanted = sum(began(whole) == who for whole in pushed)
    assert figures(filled, replace(PRACTICE, technician=who)).jobs == wanted > 0
    assert figures(filled, replace(PRACTICE, bay="none such")).jobs == 0


def test_one_technician_is_one_row_and_is_found_by_name_and_by_badge(
    archive: Archive, push: Any, tmp_path: Path
) -> None:
    """The same badge with and without a typed name, with and without a shop's file; and somebody else."""
    people = (("", "17", ""), ("Mara L_n", "17", "Mara"), ("", "17", "Mara"), ("", "170", ""))
    for number, (name, badge, typed) in enumerate(people):
        job = whole_job(tmp_path / f"job-{number}", about={"technician": typed, "vehicle": str(number)})
        forge(job, lambda entries, badge=badge, name=name: signing_in(entries, badge, name))
        store(archive, put_unaudited(job))
    everybody = figures(archive, PRACTICE).crews
    assert [(one.technician, one.jobs) for one in everybody] == [("Mara L_n, badge 17", 3), ("badge 170", 1)]
    for told, jobs in (("17", 3), ("badge 17", 3), ("Mara L_n, badge 17", 3), ("Mara L_n", 1), ("170", 1)):
        assert figures(archive, replace(PRACTICE, technician=told)).jobs == jobs, told
    for nobody in ("Mara", "7", "Mara Lxn", "%", ""):
        assert figures(archive, replace(PRACTICE, technician=nobody)).jobs == 0, nobody


def signing_in(entries: list[dict[str, Any]], badge: str, name: str) -> list[dict[str, Any]]:
    now = f"{name}, badge {badge}" if name else f"badge {badge}"
    line = {"step": "technician", "was": "", "now": now, "badge": badge, "name": name}
    at = {key: entries[1][key] for key in ("at", "mono_ms")}
    reading = {"kind": "reading", "measurand": "job.technician", "step": "technician", "value": badge}
    added = [{"kind": "technician", **line, **at}, {**reading, "unit": "1", "record": "0", **at}]
    return [entries[0], *added, *entries[1:]]


def put_unaudited(job: Path) -> Sealed:
    procedure = read_procedure((job / "procedure.toml").read_text())
    return put(job.name, read_log(job), procedure, read_files(job, sound=False))


def test_practice_is_never_counted_as_work(
    filled: Archive, pushed: list[dict[str, Any]], tmp_path: Path
) -> None:
    found = figures(filled, Scope())
    assert (found.jobs, found.left_out) == (0, len(pushed))
    assert f"{len(pushed)} practice jobs" in report_text(found)
    place = tmp_path / "copy.sqlite"
    place.write_bytes(Path(str(filled.engine.url.database)).read_bytes())
    copy = open_archive(str(place))
    with copy.write() as connection:
        name = pushed[0]["job"]
        connection.execute(update(job_table).where(job_table.c.name == name).values(practice=False))
    assert figures(copy, Scope()).jobs == 1


def test_a_job_that_was_rejected_is_not_released(
    archive: Archive, push: Any, simulated: Path, tmp_path: Path, sign: Callable[..., None]
) -> None:
    """The supervisor's decision counts, and the last one of several."""
    repaired = next(
        folder
        for folder in sorted(simulated.iterdir())
        if closing(json.loads(export(folder, "json")))["disposition"].endswith("repaired, return to service")
    )
    job = copy_of(repaired, tmp_path / "jobs" / "one")
    push(job)
    before = figures(archive, PRACTICE)
    assert (before.jobs, before.released, before.reasons) == (1, 1, [])
    assert before.repairs > 0
    assert "Every tire was released." in report_page(before)
    sign(job, Decision("reject", "the plug stands proud", ("trim it",)))
    assert push(job) == "grown"
    found = figures(archive, PRACTICE)
    assert (found.jobs, found.released, found.repairs, found.scrapped) == (1, 0, 0, 0)
    assert found.dispositions == [("rejected when it was reviewed", 1)]
    assert found.signatures == [("reject", 1)]
    # As many as its page and the end of its session say: that it was practice and the rejection are among them.
    assert {name: count for name, count, _ in found.exceptions} == on_the_page(job)
    assert sum(crew.exceptions for crew in found.crews) == sum(on_the_page(job).values())
    assert f"Exceptions: {sum(on_the_page(job).values())}\n" in summary_text(job)
    assert [count for _, _, count in found.reasons] == [1]
    assert sum(crew.repairs for crew in found.crews) == sum(month.repairs for month in found.months) == 0
    page = report_page(found)
    assert "Every tire was released." not in page
    assert "by a supervisor" in page
    assert "released: 0;" in report_text(found)
    sign(job, Decision("concession", "measured again by hand"))
    push(job)
    again = figures(archive, PRACTICE)
    assert (again.released, again.repairs, again.reasons) == (1, before.repairs, [])


def test_no_reason_is_not_yet_a_release() -> None:
    page = report_page(Figures(PRACTICE, jobs=3, released=2))
    assert "Every tire was released." not in page
    assert "1 of 3 jobs did not end in a release" in page


NASTY = '<script>alert("x")</script>'


def test_the_page_holds_every_text_escaped_and_needs_nothing_else() -> None:
    found = Figures(
        Scope(bay=NASTY, technician=NASTY),
        jobs=3,
        judged=3,
        scrapped=1,
        repairs=2,
        dispositions=[(NASTY, 3)],
        crews=[Crew(NASTY, NASTY, 3, 2, 1, 4)],
        reasons=[(NASTY, NASTY, 1)],
        exceptions=[(NASTY, 4, 2)],
        missed=[(NASTY, 1, 1)],
        months=[Month("2026-10", 1, 1, 0, 1, 10, 1, 0), Month("2026-11", 2, 2, 1, 1, 10, 2, 0)],
        heard=Hearing("", 20, 3),
        hearing=[Hearing(NASTY, 20, 3)],
    )
    page = report_page(found)
    tree = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(page)
    assert not list(tree.iter("script"))
    assert not re.search(r'(src|href)="(?!#)', page)
    texts = "".join(tree.itertext())
    assert NASTY in texts
    assert "33.3 %" in texts
    assert len([one for one in tree.iter() if str(one.tag).endswith("svg")]) >= 6
    assert "\x1b" not in report_text(replace(found, crews=[Crew("\x1b[2J", "", 1)]))


def test_the_commands_from_a_folder_to_a_page(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    job = whole_job(tmp_path / "jobs" / "done")
    unfinished = tmp_path / "jobs" / "half"
    unfinished.mkdir()
    lines = (job / "record.jsonl").read_bytes().splitlines(keepends=True)
    (unfinished / "record.jsonl").write_bytes(b"".join(lines[:30]))
    monkeypatch.setenv("HANDSFREE_ARCHIVE", str(tmp_path / "a.sqlite"))
    with pytest.raises(SystemExit) as stopped:
        main(["archive", "push", "jobs"])
    assert stopped.value.code == 1
    out, err = capsys.readouterr()
    assert "1 new, 0 grown, 0 unchanged, 1 left out" in out
    assert "half: not finished" in err
    with pytest.raises(SystemExit) as stopped:
        main(["archive", "push", "jobs/done"])
    assert stopped.value.code == 0
    with pytest.raises(SystemExit):
        main(["archive", "audit", "--json"])
    told = json.loads(capsys.readouterr().out.partition("\n")[2])
    assert told["passed"]
    assert told["jobs"][0]["lines"] == len(lines)
    with pytest.raises(SystemExit):
        main(["archive", "report", "--practice", "--json", "--html", "r.html"])
    assert json.loads(capsys.readouterr().out)["jobs"] == 1
    assert (tmp_path / "r.html").stat().st_mode & 0o077 == 0
    with pytest.raises(SystemExit):
        main(["archive", "fetch", "done", "--to", "back"])
    assert (tmp_path / "back/done/record.jsonl").read_bytes() == b"".join(lines)
    for wrong in (["fetch", "done", "--to", "back"], ["audit", "none"], ["report", "--from", "none.sqlite"]):
        capsys.readouterr()
        with pytest.raises(SystemExit) as stopped:
            main(["archive", *wrong])
        assert stopped.value.code == 1
        assert capsys.readouterr().err.count("\n") == 1
    with pytest.raises(SystemExit) as stopped:
        main(["archive", "report", "--since", "yesterday"])
    assert stopped.value.code == 2


def test_a_bay_that_the_archive_does_not_know_is_told_with_those_it_knows(
    filled: Archive, capsys: pytest.CaptureFixture[str]
) -> None:
    """A misspelled bay must not look like one that was idle; one with nothing in the time asked for was idle."""
    place = str(filled.engine.url.database)
    bays = bays_of(filled)
    assert len(bays) > 1
    with pytest.raises(SystemExit) as stopped:
        main(["archive", "report", "--from", place, "--bay", "none such"])
    told = capsys.readouterr()
    assert (stopped.value.code, told.out, told.err.count("\n")) == (1, "", 1)
    assert told.err.endswith(f"no job of bay 'none such'; it has bays {', '.join(bays)}\n")
    for idle in (["--until", "2000-01-01", "--practice"], []):  # the jobs are practice: told as left out
        with pytest.raises(SystemExit) as stopped:
            main(["archive", "report", "--from", place, "--bay", bays[0], *idle])
        assert stopped.value.code == 0
        text = capsys.readouterr().out
        assert text.startswith("No job was counted: ")
        assert text.count("\n") == 1
        assert f"in bay {bays[0]}" in text
        assert ("(--practice counts them)" in text) == (idle == [])


def test_a_report_of_nothing_says_so_in_one_line_beside_the_page_too(
    filled: Archive, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place, page = str(filled.engine.url.database), tmp_path / "page.html"
    main_ends(["archive", "report", "--from", place, "--since", "2199-01-01", "--html", str(page)])
    written, nothing = capsys.readouterr().out.splitlines()
    assert written == f"Written: {page}"
    assert nothing == "No job was counted: jobs, from 2199-01-01 on, days in UTC"
    assert "No jobs were archived for this." in page.read_text(encoding="utf-8")
    assert "" not in bays_of(filled)
    assert main_ends(["archive", "report", "--from", place, "--bay", ""]) == 1
    told = capsys.readouterr().err
    assert (told.count("\n"), "no job with no bay named; it has bay" in told) == (1, True)
    main_ends(["archive", "report", "--from", place, "--technician", ""])
    assert "with no technician named" in capsys.readouterr().out


def main_ends(words: list[str]) -> int:
    with pytest.raises(SystemExit) as stopped:
        main(words)
    assert isinstance(stopped.value.code, int)
    return stopped.value.code


def test_without_keys_a_signature_is_not_verified_rather_than_unknown(
    job: Path,
    tmp_path: Path,
    sign: Callable[..., None],
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """As ``handsfree audit`` says it, in a push and from the archive; with the shop's keys it is verified, or not."""
    monkeypatch.chdir(tmp_path)
    sign(job)
    (tmp_path / "keys").rename(tmp_path / "shop-keys")

    def run(*words: str) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as stopped:
            main(["archive", *words])
        told = capsys.readouterr()
        return int(str(stopped.value.code)), " ".join(told.out.split()), told.err

    code, out, err = run("push", str(job), "--to", "a.sqlite")
    assert (code, err) == (0, "")
    assert "1 new, 0 grown, 0 unchanged Signatures of 1 job were not verified" in out
    code, out, err = run("audit", "--from", "a.sqlite")
    assert (code, err) == (0, "")
    assert "concession by ortega" in out
    assert "whose signature it is was not checked: give the shop's public keys (--keys)" in out
    code, out, _ = run("audit", "--from", "a.sqlite", "--keys", "shop-keys")
    assert code == 0
    assert "not checked" not in out
    code, out, _ = run("push", str(job), "--to", "a.sqlite", "--keys", "shop-keys")
    assert (code, out) == (0, "0 new, 0 grown, 1 unchanged")
    code, _, err = run("push", str(job), "--to", "a.sqlite", "--keys", "nowhere")
    assert code == 1
    assert "nowhere: no folder of public keys" in err
    new_key(tmp_path / "other.pem", tmp_path / "others", "eleven quiet herons")
    code, _, err = run("push", str(job), "--to", "b.sqlite", "--keys", "others")
    assert code == 1
    assert "not in the shop's folder" in err
