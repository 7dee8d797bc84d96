"""The index, the files and the command."""

from __future__ import annotations

import re
import shutil
import stat
from collections.abc import Callable
from pathlib import Path
from urllib.parse import unquote

import pytest
from typer.testing import CliRunner

from handsfree import cli
from handsfree.record import RecordError, read_log, show_text, value_of
from handsfree.review import job_page, read_source, review_folder, review_job
from handsfree.review._page import facts_of

from .conftest import UTC_CLOCK, XHTML, parse, words
from .jobs import HOSTILE

Jobs = Callable[[str], Path]
RARE = "a 'b' & c #1 <i>%20"


@pytest.fixture
def shop(job: Jobs, tmp_path: Path) -> Path:
    """A folder of jobs: one of each kind, one with an odd name, one damaged, one that is no job."""
    root = tmp_path / "shop"
    for kind in ("eventful", "recheck", "defect", "unfinished"):
        shutil.copytree(job(kind), root / kind)
    shutil.copytree(job("recheck"), root / RARE)
    shutil.copytree(job("recheck"), root / "damaged")
    (root / "damaged" / "record.jsonl").write_bytes(b"\n")
    (root / "notes").mkdir()
    return root


def test_the_index_lists_every_job_and_leads_to_its_page(shop: Path) -> None:
    done = review_folder(shop)
    assert done.page == shop / "review" / "index.html"
    assert done.damaged == ("damaged",)
    text = done.page.read_text(encoding="utf-8")
    root = parse(text)
    links = {words(a): a.get("href") or "" for a in root.iter(f"{XHTML}a") if a.get("class") == "job"}
    assert set(links) == {"eventful", "recheck", "defect", "unfinished", RARE, "damaged"}
    for name, link in links.items():
        page = done.page.parent / unquote(link)
        assert f"Job {name}" in words(parse(page.read_text(encoding="utf-8")))
        assert stat.S_IMODE(page.stat().st_mode) == 0o600
    assert HOSTILE not in words(root), "typed when the job began, which is nobody's voice"
    assert not list(root.iter(f"{XHTML}i")), "of the odd name, which is text"
    assert not list(root.iter(f"{XHTML}script"))


def test_a_technician_is_one_name_in_every_place(job: Jobs, tmp_path: Path) -> None:
    """Without a shop file: the badge that was read back. "Ana Quay" was only typed when the job began."""
    folder = shutil.copytree(job("whole"), tmp_path / "job")
    assert value_of(read_log(folder).lines[0].body, "technician") == "Ana Quay"
    shown = show_text(folder).replace("\u2502", " ").split("\nTime\n")[0]
    assert re.search(r"Technician +badge 1234 *\n", shown)
    page = dict(facts_of(read_source(folder), UTC_CLOCK))
    assert page["Technician"] == "badge 1234"
    assert "technician badge 1234" in (
        listed := words(parse(review_folder(tmp_path).page.read_text("utf-8")))
    )
    assert "Ana Quay" not in shown + listed
    assert "Ana Quay" in words(parse(job_page(read_source(folder), UTC_CLOCK))), "among the lines it stays"


def test_groups_stand_in_the_order_of_urgency(shop: Path) -> None:
    root = parse(review_folder(shop).page.read_text(encoding="utf-8"))
    heads = [words(one) for one in root.iter(f"{XHTML}h2")]
    assert heads == [
        "Damaged records",
        "Not finished",
        "May go back on the road, after you have looked",
        "Not for the road",
        "Practice",
    ]


def test_every_filter_hides_exactly_the_rows_that_do_not_fit(shop: Path) -> None:
    """Each option's rule in the style sheet against the rows; that a browser obeys it is tested there."""
    text = review_folder(shop).page.read_text(encoding="utf-8")
    root = parse(text)
    rows = [one for one in root.iter(f"{XHTML}tr") if one.get("data-technician")]
    assert len(rows) == 6
    selects = {one.get("id"): one for one in root.iter(f"{XHTML}select")}
    assert set(selects) == {
        f"filter-{key}" for key in ("technician", "date", "disposition", "exceptions", "signed")
    }
    labels = {one.get("for") for one in root.iter(f"{XHTML}label")}
    assert labels == set(selects)
    for name, select in selects.items():
        key = str(name).removeprefix("filter-")
        options = [one for one in select.iter(f"{XHTML}option") if one.get("value")]
        assert options
        for option in options:
            value = option.get("value")
            assert any(row.get(f"data-{key}") == value for row in rows)
            assert re.fullmatch(r"[a-z]+-\d+", str(value))
            assert (
                f'body:has(#{name} option[value="{value}"]:checked) tr[data-{key}]:not([data-{key}~="{value}"])'
                in text
            )
    technicians = {words(one) for one in selects["filter-technician"].iter(f"{XHTML}option")}
    # One badge is one technician, whichever name somebody typed at the start.
    assert technicians == {"all", "badge 1234", "not named"}


def test_the_files_of_one_job(copied: Jobs, tmp_path: Path) -> None:
    folder = copied("recheck")
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    assert review_job(folder).page == folder / "review.html"
    assert review_job(folder, customer=True).page == folder / "customer.html"
    out = tmp_path / "here.html"
    assert review_job(folder, out).page == out
    assert review_job(folder, tmp_path).page == tmp_path / "recheck.html"
    assert review_job(folder, tmp_path, customer=True).page == tmp_path / "recheck-customer.html"
    assert all(path.read_bytes() == data for path, data in before.items())
    assert stat.S_IMODE(out.stat().st_mode) == 0o600
    review_job(folder, out)  # again, over the old one
    assert not list(tmp_path.glob(".*"))


def test_customers_copies_of_a_folder(shop: Path, tmp_path: Path) -> None:
    done = review_folder(shop, tmp_path / "copies", customer=True)
    assert len(list(done.page.glob("*-customer.html"))) == 6
    assert not (done.page / "index.html").exists()


def test_a_record_too_large_to_be_one_is_listed(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from handsfree.record import _read

    monkeypatch.setattr(_read, "MAX_RECORD_BYTES", 100_000)
    done = review_folder(shop)
    text = words(parse(done.page.read_text(encoding="utf-8")))
    assert "eventful" in done.damaged
    assert "No: the record can\u2019t be read" in text


def test_a_folder_without_jobs(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="no jobs there"):
        review_folder(tmp_path)
    assert list(tmp_path.iterdir()) == []


def run(*words_: str) -> tuple[int, str, str]:
    done = CliRunner().invoke(cli.app, ["review", *words_])
    error = "" if done.exception is None or isinstance(done.exception, SystemExit) else str(done.exception)
    return done.exit_code, done.output, error


def test_the_command(copied: Jobs, tmp_path: Path) -> None:
    folder = copied("recheck")
    code, output, _ = run(str(folder))
    assert (code, output.strip()) == (0, f"1 job: {folder / 'review.html'}")
    code, output, _ = run("recheck", "--jobs", str(tmp_path), "--customer", "--out", str(tmp_path / "c.html"))
    assert (code, output.strip()) == (0, f"1 job: {tmp_path / 'c.html'}")
    code, output, _ = run(str(tmp_path), "--out", str(tmp_path / "pages"))
    assert (code, output.strip()) == (0, f"1 job: {tmp_path / 'pages' / 'index.html'}")
    (folder / "record.jsonl").write_bytes(b"")
    code, output, _ = run(str(folder))
    assert code == 1
    assert "1 record can't be trusted, the page says why: recheck" in output
    assert (folder / "review.html").exists()


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (["nowhere"], "no job there"),
        (["."], "no jobs there"),
        (["recheck", "--out", "no/such/place.html"], "no/such"),
    ],
)
def test_what_can_not_be_done_is_one_line(
    given: list[str],
    said: str,
    copied: Jobs,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    copied("recheck")
    empty = tmp_path / "empty"
    empty.mkdir()
    monkeypatch.chdir(empty if given == ["."] else tmp_path)
    with pytest.raises(SystemExit) as stopped:
        cli.main(["review", *given])
    assert stopped.value.code == 1
    (line,) = capsys.readouterr().err.strip().splitlines()
    assert said in line
