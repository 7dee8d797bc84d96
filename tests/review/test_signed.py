"""Signatures on the pages: who, when, with what outcome, and whether that holds."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from handsfree.record import JobLog, minute_of, older_pages, read_log, show_text
from handsfree.record.signing import Decision, load_key, new_key, sign
from handsfree.review import review_folder, review_job
from handsfree.review._look import look_at
from handsfree.review._signed import signatures_of
from handsfree.review._source import beside, read_source
from handsfree.review._status import status_of

from .conftest import UTC_CLOCK, parse, words

PASSPHRASE = "eleven quiet herons"
Copied = Callable[[str], Path]


@pytest.fixture
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A shop of its own for each test: its list of what was signed knows a job by its first line."""
    place = tmp_path_factory.mktemp("shop")
    new_key(place / "ortega.pem", place / "keys", PASSPHRASE)
    return place


def signed(job: Path, shop: Path, *decisions: Decision) -> Path:
    for decision in decisions:
        with JobLog.open(job) as log:
            sign(log, load_key(shop / "ortega.pem", PASSPHRASE), "ortega", decision, shop / "keys")
    return job


def page(job: Path, keys: Path | None = None, *, customer: bool = False) -> str:
    return words(parse(review_job(job, keys=keys, customer=customer).page.read_text(encoding="utf-8")))


def top(text: str) -> str:
    """What stands above the exceptions."""
    return text[: text.index("Look at these first")]


ACCEPT = Decision("accept")
CONCESSION = Decision("concession", "measured again by hand, 5.9 mm")
REJECT = Decision("reject", "the stem was cut too short", ("trim and stitch again", "leak test"))


def test_nobody_has_signed(job: Callable[[str], Path], tmp_path: Path) -> None:
    assert "Nobody has signed this job yet." in top(page(shutil.copytree(job("whole"), tmp_path / "job")))


def test_an_accepted_job_says_who_and_when_and_that_it_was_verified(copied: Copied, shop: Path) -> None:
    folder = signed(copied("whole"), shop, ACCEPT)
    day = read_log(folder).lines[-1].at[:10]
    text = top(page(folder, shop / "keys"))
    assert f"Accepted by ortega on {day}" in text
    assert "Verified against the shop\u2019s public keys." in text
    assert "rejected" not in text


@pytest.mark.parametrize("kind", ["whole", "eventful"])
def test_the_answer_says_that_somebody_has_looked(kind: str, copied: Copied, shop: Path) -> None:
    """With something out of the ordinary, and with nothing."""
    folder = copied(kind)
    plain, sign = _answer(folder, shop / "keys"), _sign(folder, shop / "keys")
    assert plain.startswith("Yes")
    signed(folder, shop, ACCEPT)
    clock = f"on {minute_of(read_log(folder).lines[-1].at)}, signature checked"
    assert _answer(folder, shop / "keys") == f"Yes: accepted by ortega {clock}"
    assert _sign(folder, shop / "keys") == sign, "it is no less out of the ordinary"
    assert _answer(folder, None) == plain, "whose signature it is was not checked"
    new_key(shop / "other.pem", shop / "others", PASSPHRASE)
    assert _answer(folder, shop / "others") == "No: signed by an unknown key"
    signed(folder, shop, CONCESSION)
    clock = f"on {minute_of(read_log(folder).lines[-1].at)}, signature checked"
    assert _answer(folder, shop / "keys") == f"Yes: accepted by concession of ortega {clock}"
    assert _sign(folder, shop / "keys") == "look"
    listed = words(parse(review_folder(folder.parent, keys=shop / "keys").page.read_text(encoding="utf-8")))
    assert "May go back on the road, accepted when it was reviewed, signature checked (1)" in listed
    assert "after you have looked" not in listed
    signed(folder, shop, REJECT)
    assert _answer(folder, shop / "keys") == "No: rejected when it was reviewed"


def _answer(folder: Path, keys: Path | None) -> str:
    return status_of(source := read_source(folder, keys=keys), len(look_at(source)), UTC_CLOCK).answer


def _sign(folder: Path, keys: Path | None) -> str:
    return status_of(source := read_source(folder, keys=keys), len(look_at(source)), UTC_CLOCK).tone


@pytest.mark.parametrize(("kept", "tone"), [(b"", "look"), (None, "yes")])
def test_a_signature_that_the_list_lacks_is_no_bad_one(
    kept: bytes | None, tone: str, copied: Copied, shop: Path
) -> None:
    """A list that lacks it asks for a look; keys without a list are what somebody outside the shop is given."""
    folder = signed(copied("whole"), shop, ACCEPT)
    (shop / "keys" / "signed.jsonl").unlink()
    if kept is not None:
        (shop / "keys" / "signed.jsonl").write_bytes(kept)
    (one,) = signatures_of(read_source(folder, keys=shop / "keys"), UTC_CLOCK)
    assert (one.tone, one.proof[:50]) == (tone, "Verified against the shop\u2019s public keys. But the s")
    assert _answer(folder, shop / "keys").endswith("signature checked")


def test_an_acceptance_releases_no_practice_and_no_scrap(copied: Copied, shop: Path) -> None:
    for kind in ("recheck", "defect", "lamp"):
        assert _answer(signed(copied(kind), shop, ACCEPT), shop / "keys").startswith("No: "), kind


def test_without_keys_it_says_that_nothing_was_verified(copied: Copied, shop: Path) -> None:
    text = top(page(signed(copied("whole"), shop, ACCEPT)))
    assert "Accepted by ortega" in text
    assert "public keys were not given: whose signature it is was not verified" in text


def test_a_concession_and_a_rejection_give_their_reasons(copied: Copied, shop: Path) -> None:
    folder = signed(copied("whole"), shop, CONCESSION)
    text = top(page(folder, shop / "keys"))
    assert "Accepted by concession by ortega" in text
    assert "Reason: measured again by hand, 5.9 mm" in text
    assert "Go on:" not in text
    signed(folder, shop, REJECT)
    text = top(page(folder, shop / "keys"))
    assert "No: rejected when it was reviewed" in text
    assert "Go on: a rejected job stays closed; do the work again as a new job" in text
    assert text.index("Rejected by ortega") < text.index("Before: Accepted by concession")
    for said in ("the stem was cut too short", "trim and stitch again", "leak test"):
        assert said in text
    customer = page(folder, shop / "keys", customer=True)
    assert "Not for the road" in customer
    assert "the stem was cut too short" in customer
    assert "ortega" not in customer
    assert "Not for the road Rejected when it was reviewed" in customer
    assert "return to service" not in customer
    assert "Disposition: rejected when it was reviewed; the work had ended with: repaired, return" in text
    first = text.index("rejected by ortega: the stem was cut too short")
    assert first < text.index("To look at:")
    assert "handsfree run" not in customer
    signed(folder, shop, Decision("accept", "another tire was meant"))
    text = top(page(folder, shop / "keys"))
    assert "No: rejected when it was reviewed" not in text
    assert text.index("Accepted by ortega") < text.index("Before: Rejected by ortega")
    assert "Reason: another tire was meant" in text
    assert "the stem was cut too short" in text


@pytest.mark.parametrize("keys", [True, False])
@pytest.mark.parametrize("how", ["line changed", "line added", "sound gone", "signature changed"])
def test_a_signed_job_that_changed_is_red_and_says_so(
    copied: Copied, shop: Path, how: str, keys: bool
) -> None:
    folder = signed(copied("whole"), shop, ACCEPT)
    record = folder / "record.jsonl"
    content = record.read_bytes()
    match how:
        case "line changed":
            record.write_bytes(content.replace(b'"value":"', b'"value":"9', 1))
        case "line added":
            with JobLog.open(folder) as log:
                log.append([{"kind": "note", "text": "later"}])
        case "sound gone":
            next((folder / "audio").iterdir()).unlink()
        case _:
            at = content.index(b'"signature":"') + 13
            record.write_bytes(
                content[:at] + (b"0" if content[at : at + 1] != b"0" else b"1") + content[at + 1 :]
            )
    done = review_job(folder, keys=shop / "keys" if keys else None)
    assert done.damaged
    root = parse(done.page.read_text(encoding="utf-8"))
    text = top(words(root))
    assert "No: the record is damaged" in text
    if how != "signature changed":  # then the line can't be read as a signature at all
        assert "SIGNED by ortega" in text
        assert "CHANGED since" in text
        assert "Do not rely on it" in text


def test_a_signature_cut_off_is_known_from_the_shops_list(copied: Copied, shop: Path) -> None:
    folder = signed(copied("whole"), shop, ACCEPT)
    record = folder / "record.jsonl"
    record.write_bytes(b"".join(record.read_bytes().splitlines(keepends=True)[:-1]))
    text = top(page(folder, shop / "keys"))
    assert "it was signed on" in text
    assert "this record does not hold the line: an older copy, or its end was cut off" in text
    assert "Nobody has signed this job yet" not in text
    assert "The signatures that the shop's list has for this job are not in this record." in text


def test_an_older_copy_beside_the_signed_job_is_called_so(copied: Copied, shop: Path, tmp_path: Path) -> None:
    """Its record is whole, and the signed one goes on where it ends: nothing is damaged."""
    jobs = tmp_path / "jobs"
    shutil.copytree(copied("scrap"), jobs / "older")
    signed(shutil.copytree(jobs / "older", jobs / "newer"), shop, ACCEPT)
    done = review_folder(jobs, keys=shop / "keys")
    assert done.damaged == ()
    index = words(parse(done.page.read_text(encoding="utf-8")))
    assert "Older copies of other jobs here" in index
    text = words(parse((jobs / "review" / "job-older.html").read_text(encoding="utf-8")))
    assert "No: an older copy; see newer" in top(text)
    assert "damaged" not in top(text)
    assert "an older copy of newer, which goes on where this one ends" in text
    assert "Accepted by ortega" in words(
        parse((jobs / "review" / "job-newer.html").read_text(encoding="utf-8"))
    )


def test_a_damaged_copy_that_nobody_signed_has_lost_no_signature(
    copied: Copied, shop: Path, tmp_path: Path
) -> None:
    jobs = tmp_path / "jobs"
    shutil.copytree(copied("scrap"), jobs / "older")
    shutil.copytree(jobs / "older", tmp_path / "alone" / "older")
    signed(shutil.copytree(jobs / "older", jobs / "newer"), shop, ACCEPT)
    for place, state in (
        (jobs, "not signed, as newer is"),
        (tmp_path / "alone", "its signature is not here"),
    ):
        record = place / "older" / "record.jsonl"
        record.write_bytes(record.read_bytes().replace(b'"value":"', b'"value":"9', 1))
        done = review_folder(place, keys=shop / "keys")
        assert done.damaged == ("older",)
        index = words(parse(done.page.read_text(encoding="utf-8")))
        assert f" {state}" in index
        assert "gone" not in index


def test_an_older_copy_releases_nothing_to_a_customer(copied: Copied, shop: Path, tmp_path: Path) -> None:
    jobs = tmp_path / "jobs"
    shutil.copytree(copied("whole"), jobs / "older")
    signed(shutil.copytree(jobs / "older", jobs / "newer"), shop, REJECT)
    review_folder(jobs, customer=True, keys=shop / "keys")
    sheet = words(parse((jobs / "review" / "job-older-customer.html").read_text(encoding="utf-8")))
    assert "Not for the road Nothing is stated of this tire" in sheet
    assert "return to service" not in sheet


def test_an_older_copy_is_known_by_what_was_found_not_by_its_words(copied: Copied, shop: Path) -> None:
    folder = signed(copied("scrap"), shop, ACCEPT)
    older = folder.with_name("older")
    shutil.copytree(folder, older)
    record = older / "record.jsonl"
    record.write_bytes(b"".join(record.read_bytes().splitlines(keepends=True)[:-1]))
    source = read_source(older, keys=shop / "keys")
    said = [replace(one, message="in other words") for one in source.findings]
    assert beside(replace(source, findings=said), older, [older, folder]).newer == folder.name
    plain = [replace(one, sort="") for one in source.findings]
    assert beside(replace(source, findings=plain), older, [older, folder]).newer == ""


def test_a_copy_that_went_another_way_is_no_older_copy(copied: Copied, shop: Path, tmp_path: Path) -> None:
    jobs = tmp_path / "jobs"
    shutil.copytree(copied("scrap"), jobs / "other")
    signed(shutil.copytree(jobs / "other", jobs / "signed"), shop, ACCEPT)
    with JobLog.open(jobs / "other") as log:
        log.append([{"kind": "note", "text": "later"}])
    assert review_folder(jobs, keys=shop / "keys").damaged == ("other",)


def test_another_shops_key_is_no_signature(copied: Copied, shop: Path, tmp_path: Path) -> None:
    folder = signed(copied("whole"), shop, ACCEPT)
    new_key(tmp_path / "other.pem", tmp_path / "keys", PASSPHRASE)
    text = top(page(folder, tmp_path / "keys"))
    assert "No: signed by an unknown key" in text
    assert "signed with a key that is not in the shop\u2019s folder" in text.replace("'", "\u2019")
    assert "Do not rely on it" in text
    for wrong in ("damaged", "DAMAGED", "CHANGED"):
        assert wrong not in text, "nothing is known to be wrong with the record"
    index = review_folder(folder.parent, keys=tmp_path / "keys")
    assert index.damaged == (folder.name,)
    listed = words(parse(index.page.read_text(encoding="utf-8")))
    assert "Signed by an unknown key: is it the shop's folder of keys? (1)" in listed
    assert "Damaged records" not in listed
    signed(folder, shop, REJECT)
    record = folder / "record.jsonl"
    record.write_bytes(record.read_bytes().replace(b'"value":"', b'"value":"9', 1))
    assert "No: the record is damaged" in top(page(folder, tmp_path / "keys"))


def test_the_index_has_a_column_and_a_filter(job: Callable[[str], Path], shop: Path, tmp_path: Path) -> None:
    for name, decisions in (("a", [ACCEPT]), ("b", [REJECT]), ("c", []), ("d", [CONCESSION])):
        signed(shutil.copytree(job("whole"), tmp_path / name), shop, *decisions)
    shutil.rmtree(signed(shutil.copytree(job("whole"), tmp_path / "e"), shop, ACCEPT) / "audio")
    (shop / "keys" / "signed.jsonl").unlink()  # all of them are copies of one job
    root = parse(review_folder(tmp_path, keys=shop / "keys").page.read_text(encoding="utf-8"))
    select = next(one for one in root.iter() if one.get("id") == "filter-signed")
    states = {"accepted", "rejected", "not signed", "concession", "signed, changed since"}
    assert {option.text for option in select} == {"all", *states}
    text = words(root)
    assert "Rejected by ortega" in text
    assert "the stem was cut too short" in text


def test_a_rejected_practice_job_says_both_the_rejection_first(copied: Copied, shop: Path) -> None:
    folder = signed(copied("recheck"), shop, REJECT)
    assert _answer(folder, shop / "keys") == "No: rejected when it was reviewed; practice, not a real tire"
    listed = words(parse(review_folder(folder.parent, keys=shop / "keys").page.read_text(encoding="utf-8")))
    assert "Practice (1)" in listed
    assert "No: rejected when it was reviewed; practice, not a real tire" in listed


def test_a_page_made_before_a_signature_is_told_to_be_an_older_one(copied: Copied, shop: Path) -> None:
    folder = copied("recheck")
    for customer in (False, True):
        review_job(folder, customer=customer)
        review_folder(folder.parent, customer=customer)
    assert older_pages(folder, read_log(folder).lines) == []
    assert "older page" not in show_text(folder).lower()
    signed(folder, shop, ACCEPT)
    line = read_log(folder).lines[-1]
    why = f"made before the signature of line {line.seq + 1} (accept by ortega on {minute_of(line.at)})"
    pages = [folder / "review.html", folder.parent / "review" / "job-recheck.html",
             folder / "customer.html", folder.parent / "review" / "job-recheck-customer.html"]  # fmt: skip
    found = older_pages(folder, read_log(folder).lines)
    assert [(one.page, one.why) for one in found] == [(page, why) for page in pages]
    shown = " ".join(show_text(folder, width=400).replace("\u2502", " ").split())
    assert f"Older page review.html: {why}; make it again: handsfree review {folder} " in shown
    done = review_folder(folder.parent)
    assert [one.page for one in done.older] == [pages[0], *pages[2:]]
    index = words(parse(done.page.read_text(encoding="utf-8")))
    assert f"Older page recheck/review.html: {why}" in index
    assert f"Older page recheck/customer.html: {why}" in index
    for customer in (False, True):
        left = review_job(folder, customer=customer).older
    assert [one.page for one in left] == [pages[3]]
    assert left[0].again == f"handsfree review {folder.parent} --customer"
    assert review_folder(folder.parent, customer=True).older == ()


def test_a_page_by_an_earlier_program_is_known_by_the_chain_head_it_gives(copied: Copied, shop: Path) -> None:
    """And one that says nothing of the kind is passed over, as are sounds dropped by policy since."""
    folder = copied("recheck")
    page = review_job(folder).page
    text = page.read_text(encoding="utf-8")
    meta = re.compile('<meta name="record-head" content="[0-9a-f]{64}">')
    assert len(meta.findall(text)) == 1
    page.write_text(meta.sub("", text), encoding="utf-8")
    with JobLog.open(folder) as log:
        log.append([{"kind": "audio_dropped", "days": "0", "files": []}])
    assert older_pages(folder, read_log(folder).lines) == []
    signed(folder, shop, REJECT)
    assert [one.page for one in older_pages(folder, read_log(folder).lines)] == [page]
    page.write_text("<p>another page", encoding="utf-8")
    assert older_pages(folder, read_log(folder).lines) == []


def test_a_signed_job_that_is_gone_is_named_by_the_index(copied: Copied, shop: Path) -> None:
    """The audit misses it; whoever works through the index must not think that these are all."""
    folder = signed(copied("whole"), shop, REJECT, CONCESSION)
    shutil.copytree(folder, folder.parent / "jobs" / "here")
    shutil.copytree(copied("recheck"), folder.parent / "jobs" / "gone")
    jobs = folder.parent / "jobs"
    signed(jobs / "gone", shop, ACCEPT)
    done = review_folder(jobs, keys=shop / "keys")
    assert done.missing == ()
    # Only its record: that is a damaged record, and told once.
    (jobs / "gone" / "record.jsonl").unlink()
    done = review_folder(jobs, keys=shop / "keys")
    assert (done.jobs, done.damaged, done.missing) == (2, ("gone",), ())
    text = words(parse(done.page.read_text(encoding="utf-8")))
    assert "Damaged records (1)" in text
    assert "its record.jsonl is gone put it back from a copy" in text.replace("isgone", "is gone")
    shutil.rmtree(jobs / "gone")
    done = review_folder(jobs, keys=shop / "keys")
    assert (done.jobs, done.damaged, done.missing) == (1, (), ("gone",))
    text = words(parse(done.page.read_text(encoding="utf-8")))
    assert "In the shop\u2019s list of signatures, and not here (1)" in text
    assert "accept by ortega" in text
    assert review_folder(jobs).missing == (), "without the shop's keys nobody knows"


def test_only_a_rejection_that_stands_is_grave(copied: Copied, shop: Path) -> None:
    """An acceptance with a reason is an exception, for the job was rejected before; it is the decision in force."""
    folder = signed(copied("whole"), shop, REJECT)
    assert [odd.grave for odd in look_at(read_source(folder)) if odd.text.startswith("reject ")] == [True]
    signed(folder, shop, Decision("accept", "the leak test was made again"))
    found = {odd.text.split()[0]: odd.grave for odd in look_at(read_source(folder)) if "ortega" in odd.text}
    assert found == {"reject": False, "accept": False}


def test_the_command_that_does_it_again_is_not_broken_within_an_option(copied: Copied, shop: Path) -> None:
    folder = signed(copied("whole"), shop, REJECT)
    text = review_job(folder).page.read_text(encoding="utf-8")
    assert '<span class="one">--procedure</span> <span class="one">passenger-one-piece</span>' in text
    assert "handsfree run --procedure passenger-one-piece" in words(parse(text))


def test_what_the_closing_line_states_is_explained_beside_the_count(copied: Copied) -> None:
    folder = copied("eventful")
    text = page(folder)
    assert f"counts {len(look_at(read_source(folder)))}, line by line over the whole record" in text
