"""The customer's copy: what a customer needs, and nothing of the staff."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from handsfree.record import Told
from handsfree.review import customer_page, job_page, read_source
from handsfree.review._customer import _without_staff
from handsfree.review._page import facts_of

from .conftest import SVG, UTC_CLOCK, XHTML, parse, words
from .jobs import KINDS, make_job
from .test_signed import ACCEPT, shop, signed

__all__ = ["shop"]

Jobs = Callable[[str], Path]


@pytest.mark.parametrize("kind", KINDS)
def test_no_names_and_no_sound(kind: str, job: Jobs) -> None:
    text = customer_page(read_source(job(kind)), UTC_CLOCK)
    root = parse(text)
    shown = words(root)
    for name in ("Ana Quay", "Bay Two", "Overlook", "409", "badge", "alert(1)", "quoted"):
        assert name not in text, name
    assert not list(root.iter(f"{XHTML}audio"))
    assert "data:" not in text.replace("media-src data:", "")
    assert "Local codes" in shown


def test_a_name_among_the_reasons_is_taken_out(job: Jobs) -> None:
    """A technician known by badge number, a supervisor who rejects."""
    text = customer_page(read_source(job("lamp")), UTC_CLOCK)
    assert "7731" in job_page(read_source(job("lamp")), UTC_CLOCK)
    assert "7731" not in text
    assert "rejected by the shop\u2019s supervisor" in words(parse(text))


def test_names_are_taken_out_of_any_sentence(job: Jobs) -> None:
    """Of the technician, the bay, who released the tire, and who loosened a limit; other words stay."""
    eventful, truck = read_source(job("eventful")), read_source(job("truck"))
    said = _without_staff(
        eventful, "R. Overlook and 409 (Bay Two) saw it, R. Overlooked; by supervisor badge 409"
    )
    assert said == "the shop and the shop (the shop) saw it, R. Overlooked; by the shop\u2019s supervisor"
    assert _without_staff(truck, "Ana Quay: bead torn at 409 mm") == "the shop: bead torn at 409 mm"


@pytest.mark.parametrize("name", ["Harbor Row", "<b>Row & Sons</b>", ""])
def test_it_is_headed_by_the_shop_that_the_record_names(name: str, job: Jobs) -> None:
    source = read_source(job("whole"), audio_limit=0)
    opened = Told({**source.rows[0], **({"shop": name} if name else {})})
    source = replace(source, rows=[opened, *source.rows[1:]])
    root = parse(customer_page(source, UTC_CLOCK))
    (head,) = root.iter(f"{XHTML}h1")
    assert words(head) == f"{name} Your tire".strip()
    assert dict(facts_of(source, UTC_CLOCK)).get("Shop", "") == name


def test_it_says_what_was_found_what_was_done_and_what_to_do(job: Jobs) -> None:
    shown = words(parse(customer_page(read_source(job("whole")), UTC_CLOCK)))
    assert "Released to the road" in shown
    assert "Injury 1 at 4 o\u2019clock, 5.9 mm (0.23 in) wide after drilling, 60 mm (2.36 in)" in shown
    assert "Cement drying: 3 min 33 s, at least 3 min 02 s needed" in shown
    assert "repaired from inside: patch 40 mm, stem 50 mm" in shown
    assert "nuts tightened to 110 N·m" in shown
    assert "torque checked after 25 mi (40 km)" in shown
    assert "35 psi (241 kPa), as the vehicle\u2019s placard says" in shown
    assert "inside by 1 mm" in shown
    assert "Inspection inside and outside: 9 points, nothing else found" in shown


def test_a_scrapped_tire_gets_every_reason_and_no_advice_to_drive(job: Jobs) -> None:
    shown = words(parse(customer_page(read_source(job("defect")), UTC_CLOCK)))
    assert "Not for the road" in shown
    assert "damaged bead wire" in shown
    assert "What to do now" not in shown


@pytest.mark.parametrize("kind", ["unfinished", "stopped"])
def test_an_open_job_claims_nothing(kind: str, job: Jobs) -> None:
    shown = words(parse(customer_page(read_source(job(kind)), UTC_CLOCK)))
    assert "Nothing is stated of this tire" in shown
    assert "Limits" not in shown


def test_practice_says_so(job: Jobs) -> None:
    shown = words(parse(customer_page(read_source(job("recheck")), UTC_CLOCK)))
    assert "Practice. This was not a real tire." in shown
    assert "Not for the road Practice, not for a real tire" in shown
    assert "return to service" not in shown


def test_practice_sends_nobody_back_for_what_was_not_done(tmp_path: Path) -> None:
    make_job(tmp_path / "job", KINDS["whole"].get("script"), options=KINDS["whole"]["options"],
             about={"practice": "training"})  # fmt: skip
    shown = words(parse(customer_page(read_source(tmp_path / "job"), UTC_CLOCK)))
    assert "What was practiced, on no real tire" in shown
    for advice in ("What to do now", "Come back", "Check the pressure", "What was done"):
        assert advice not in shown


def test_an_end_pressure_and_the_pressure_lost_stand_beside_limits_of_their_own(
    job: Callable[[str], Path],
) -> None:
    source = read_source(job("whole"), audio_limit=0)
    table = next(one for one in parse(customer_page(source, UTC_CLOCK)).iter(f"{XHTML}table"))
    rows = {}
    for one in table.iter(f"{XHTML}tr"):
        name, *cells = ("".join(cell.itertext()).strip() for cell in one)
        rows[name] = cells
    # 10 kPa may be lost, 1.4504 psi: 35.0 less that is 33.55 psi, and 35.0 psi at one temperature is no loss.
    value, limit, result = rows["End pressure"]
    assert value.startswith("35.0\u202fpsi")
    assert limit.startswith("at least 33.55\u202fpsi (232\u202fkPa)")  # never to the loose side
    assert "inside" in result
    value, limit, result = rows["Pressure lost"]
    assert value.startswith("0\u202fpsi")
    assert limit.startswith("at most 1.45\u202fpsi (10\u202fkPa)")
    assert "inside by 1.45\u202fpsi (10\u202fkPa)" in result


@pytest.mark.parametrize(
    ("end", "lost"),
    [
        ("three five point two", "none: it rose by 0.2\u202fpsi (temperature or gauge)"),
        ("three four point eight", "0.2\u202fpsi"),
    ],
)
def test_a_pressure_that_rose_in_the_leak_test_is_no_loss_below_nothing(
    end: str, lost: str, tmp_path: Path
) -> None:
    make_job(tmp_path / "job", {"leak-end": [end]}, options=KINDS["whole"]["options"])
    root = parse(customer_page(read_source(tmp_path / "job", audio_limit=0), UTC_CLOCK))
    rows = ["".join(row.itertext()).strip() for row in root.iter(f"{XHTML}tr")]
    assert [row for row in rows if row.startswith(f"Pressure lost{lost}at most 1.45\u202fpsi")]


@pytest.mark.parametrize("kind", ["whole", "eventful", "truck"])
def test_no_figure_is_finer_than_an_instrument(kind: str, job: Jobs) -> None:
    """One decimal more than a caliper, a gauge or a torque wrench shows, for a computed limit that must add up;
    "0.00394 in" is no use to a customer."""
    text = words(parse(customer_page(read_source(job(kind)), UTC_CLOCK)))
    figures = re.findall(r"(\d+(?:\.(\d+))?)\s(in|mm|psi|kPa|N·m|lbf·ft|km|mi)\b", text)
    assert len(figures) > 15
    most = {"in": 3, "mm": 2, "psi": 2, "kPa": 1, "N·m": 1, "lbf·ft": 1, "km": 1, "mi": 0}
    assert [figure for figure in figures if len(figure[1]) > most[figure[2]]] == []


def test_readings_are_numbered_as_the_customer_sees_them(job: Jobs) -> None:
    """Those that were measured again are not shown, and leave no gap."""
    text = words(parse(customer_page(read_source(job("eventful")), UTC_CLOCK)))
    assert "Injury size, 1" in text
    assert "Injury size, 2" in text
    assert "Injury size, 3" not in text


def _recheck(folder: Path, *found: str) -> Path:
    """The nuts of a wheel checked 5 miles after it was refitted; ``found``: torques said before the right one."""
    right = {
        "distance-driven": "five",
        "torque-target": "one one zero newton meters",
        "torque-applied": "one one zero",
    }
    make_job(
        folder,
        {"torque-applied": found},
        procedure="lug-nut-recheck",
        options={**right, "nut-count": "five"},
    )
    return folder


def test_a_torque_check_says_what_it_did_and_nothing_of_a_repair(tmp_path: Path) -> None:
    shown = words(parse(customer_page(read_source(_recheck(tmp_path / "job")), UTC_CLOCK)))
    assert "Released to the road torque checked, return to service" in shown
    assert "Come back" not in shown  # the check has just been made
    assert "Wheel fitted" not in shown
    assert "inside and outside" not in shown
    assert "Distance driven: 5 mi (8 km)" in shown
    assert "Inspection: 3 points, nothing found" in shown
    assert "No nut has turned" in shown
    assert "Wheel nuts\u2019 torque checked: 110 N\u00b7m" in shown


def test_a_finding_that_was_corrected_and_released_stands_first(tmp_path: Path) -> None:
    script = {
        "inspect": ["nothing found", "nothing found", "defect found", "correction", "nothing found"],
        "finding-supervisor": ["supervisor release four zero nine"],
    }
    make_job(tmp_path / "job", script, options=KINDS["whole"]["options"])
    root = parse(customer_page(read_source(tmp_path / "job"), UTC_CLOCK))
    section = next(one for one in root.iter(f"{XHTML}section") if one.get("aria-labelledby") == "found")
    first = next(section.iter(f"{XHTML}li"))
    told = "then corrected to nothing found, and released by the shop\u2019s supervisor"
    assert re.fullmatch(f"Noted first: .*sidewall.*; {told}", words(first))
    shown = words(root)
    assert "9 points, nothing else found" in shown
    assert "A supervisor of the shop was asked, or signed, and decided: " in shown
    assert "by a person" not in shown


def test_a_nut_that_moved_is_told_also_when_none_did_the_second_time(tmp_path: Path) -> None:
    right = {
        "distance-driven": "five",
        "torque-target": "one one zero newton meters",
        "torque-applied": "one one zero",
    }
    make_job(tmp_path / "job", {"torque-found": ["a nut moved"], "nuts-turned-again": ["one turned again"],
              "call-supervisor": ["supervisor release four zero nine"]},
             procedure="lug-nut-recheck", options={**right, "nut-count": "five"})  # fmt: skip
    shown = words(parse(customer_page(read_source(tmp_path / "job"), UTC_CLOCK)))
    assert (
        "A nut moved; then, checked again: A nut turned again; then, checked again: No nut has turned"
        in shown
    )


def test_it_is_never_greener_than_the_review_page(tmp_path: Path, shop: Path) -> None:
    folder = _recheck(tmp_path / "job", "one five zero")
    assert "Yes, after you have looked" in words(parse(job_page(read_source(folder), UTC_CLOCK)))
    root = parse(customer_page(read_source(folder), UTC_CLOCK))
    shown = words(root)
    assert "Released to the road only after the shop has looked" in shown
    assert "Nobody of the shop has signed for this yet. Open: Torque applied: 150 N\u00b7m" in shown
    assert "then put right: 110 N\u00b7m" in shown
    assert _tones(root) == ["look"]

    signed(folder, shop, ACCEPT)
    shown = words(parse(customer_page(read_source(folder), UTC_CLOCK)))
    assert "Released to the road only after the shop has looked" in shown
    assert "it was not verified. Open: Torque applied: 150 N\u00b7m" in shown
    root = parse(customer_page(read_source(folder, keys=shop / "keys"), UTC_CLOCK))
    shown = words(root)
    assert "Released to the road, with remarks" in shown
    assert "The shop has looked at this and accepted it: Torque applied: 150 N\u00b7m" in shown
    assert "ortega" not in shown
    assert _tones(root) == ["look"]


def _tones(root: ET.Element) -> list[str]:
    """Of the sign beside the answer."""
    return [one.get("class", "") for one in root.iter(f"{SVG}svg") if one.get("viewBox") == "0 0 48 48"]


@pytest.mark.parametrize("kind", KINDS)
def test_its_sign_is_the_one_of_the_review_page(kind: str, job: Jobs) -> None:
    source = read_source(job(kind), audio_limit=0)
    assert _tones(parse(customer_page(source, UTC_CLOCK))) == _tones(parse(job_page(source, UTC_CLOCK)))[:1]
