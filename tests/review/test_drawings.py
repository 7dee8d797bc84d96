"""The pictures against the limits engine and against trigonometry: coordinates, not looks."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from handsfree import limits
from handsfree.limits import DEFAULT, Lean
from handsfree.quantity import Quantity
from handsfree.record import read_log
from handsfree.review import customer_page, read_source
from handsfree.review._charts import Level, Pressure, Wait, levels, pressures, wait_bar
from handsfree.review._injury import Injury, injuries_of
from handsfree.review._page import job_injuries
from handsfree.review._section import section
from handsfree.review._series import pressures_of
from handsfree.review._tire_face import face
from handsfree.review._unit_view import channel_view, liner_view

from .conftest import UTC_CLOCK, drawing, page, shapes
from .jobs import make_job

NS = {"": "http://www.w3.org/2000/svg"}


def q(text: str, unit: str, step: str | None = None) -> Quantity:
    return Quantity(Decimal(text), unit, None if step is None else Decimal(step))


def facts(
    clock: str = "4", angle: str = "15", lean: str = "outward", edge: str = "65"
) -> dict[str, Quantity | str]:
    return {
        "injury.size": q("5", "mm", "1"),
        "injury.angle": q(angle, "deg", "1"),
        "injury.lean": lean,
        "injury.clock": q(clock, "1", "1"),
        "injury.edge_distance": q(edge, "mm", "1"),
        "tire.thickness": q("14", "mm", "1"),
        "tire.tread_width": q("180", "mm", "1"),
        "patch.size": q("40", "mm", "1"),
        "stem.length": q("50", "mm", "1"),
        "buff.outline_margin": q("8", "mm", "1"),
        "stem.trim_height": q("2", "mm", "1"),
        "injury.repaired": "yes",
    }


def tree(markup: object) -> ET.Element:
    assert markup is not None
    return ET.fromstring(str(markup))


def at(element: ET.Element, *keys: str) -> list[float]:
    return [float(element.attrib[key]) for key in keys]


def points(polygon: ET.Element) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r"([-\d.]+),([-\d.]+)", polygon.attrib["points"])]


@pytest.mark.parametrize(
    ("clock", "degrees"), [("3", 90), ("6", 180), ("9", 270), ("12", 0), ("4", 120), ("7.5", 225)]
)
def test_a_clock_position_lies_at_its_angle_from_the_valve(clock: str, degrees: float) -> None:
    svg = tree(face(injuries_of(facts(clock), (), DEFAULT)))
    (mark,) = shapes(svg, "mark")
    cx, cy = at(shapes(svg, "tread")[0], "cx", "cy")
    x, y = at(mark, "cx", "cy")
    assert math.degrees(math.atan2(x - cx, cy - y)) % 360 == pytest.approx(degrees, abs=0.01)
    valve = shapes(svg, "valve")[0]
    vx, vy, width, height = at(valve, "x", "y", "width", "height")
    assert vx + width / 2 == cx  # twelve is straight up
    assert vy + height < cy


def test_repaired_and_not_repaired_differ_in_shape() -> None:
    known = facts()
    open_one = {**facts("9"), "injury.repaired": "no"}
    group = {k: v for k, v in open_one.items() if k.startswith("injury.") or k == "tire.thickness"}
    svg = tree(face(injuries_of(known, (("injury", group),), DEFAULT)))
    assert {mark.attrib["data-clock"]: mark.tag for mark in shapes(svg, "mark")} == {
        "4": "circle",
        "9": "polygon",
    }
    desc = svg.findall("desc")[0].text or ""
    assert "at 4 o\u2019clock, repaired" in desc
    assert "at 9 o\u2019clock, not repaired" in desc


@pytest.mark.parametrize("angle", ["0", "10", "25", "40"])
@pytest.mark.parametrize(("lean", "sign"), [("outward", 1), ("inward", -1), ("round", 0)])
def test_the_cross_section_is_the_channel_that_was_judged(angle: str, lean: str, sign: int) -> None:
    """To scale: the ends of the axis in mm from the center line, by the engine and by hand; the crown zone too."""
    known = facts(angle=angle, lean=lean)
    (injury,) = injuries_of(known, (), DEFAULT)
    svg = tree(section(injury, "s"))
    scale = float(svg.attrib["data-scale"])
    (axis,) = shapes(svg, "channel-axis")
    x1, y1, x2, y2 = at(axis, "x1", "y1", "x2", "y2")
    foot, top = (x1 - 180) / scale, (x2 - 180) / scale
    channel = limits.trace(
        q("5", "mm", "1"), q(angle, "deg", "1"), q("14", "mm", "1"), q("25", "mm", "1"), Lean(lean)
    )
    assert foot == pytest.approx(float(channel.liner_across), abs=0.001)
    assert top == pytest.approx(float(channel.tread_across), abs=0.001)
    assert foot == pytest.approx(180 / 2 - 65, abs=0.001)
    assert top == pytest.approx(25 + sign * 14 * math.tan(math.radians(float(angle))), abs=0.001)
    assert (y1 - y2) / scale == pytest.approx(14, abs=0.001)
    (zone,) = shapes(svg, "zone")
    x, width = at(zone, "x", "width")
    assert width / scale / 2 == pytest.approx(180 / 2 - 25.4, abs=0.001)  # one inch in from each edge
    assert (x - 180) / scale == pytest.approx(-(180 / 2 - 25.4), abs=0.001)
    corners = points(shapes(svg, "channel")[0])
    wide = (corners[1][0] - corners[0][0]) / scale
    assert wide == pytest.approx(
        5 if lean == "round" else 5 / math.cos(math.radians(float(angle))), abs=0.001
    )
    (slab,) = shapes(svg, "slab")
    assert float(slab.attrib["width"]) / scale == pytest.approx(180, abs=0.001)


def test_injuries_are_numbered_as_they_were_measured() -> None:
    """Measured at nine, then at four; the first was taken up again last, to be repaired."""
    second = {k: v for k, v in facts("4").items() if k.startswith("injury.") or k == "tire.thickness"}
    found = injuries_of(facts("9"), (("injury", second),), DEFAULT, [Fraction(9), Fraction(4)])
    assert [one.name for one in found] == ["Injury 1 at 9 o\u2019clock", "Injury 2 at 4 o\u2019clock"]


def test_another_policy_draws_another_crown_zone() -> None:
    policy = limits.parse_policy(
        'name = "x"\n[choose]\n"injury.channel.crown" = "inch_and_half"\n"injury.edge.min" = "inch_and_half"\n'
    )
    (injury,) = injuries_of(facts(), (), policy)
    svg = tree(section(injury, "s"))
    width = float(shapes(svg, "zone")[0].attrib["width"]) / float(svg.attrib["data-scale"])
    assert width / 2 == pytest.approx(90 - 38.1, abs=0.001)


@pytest.mark.parametrize("angle", ["0", "15", "25"])
@pytest.mark.parametrize("lean", ["outward", "inward", "round"])
def test_the_unit_stands_in_its_channel_to_scale(angle: str, lean: str) -> None:
    (injury,) = injuries_of(facts(angle=angle, lean=lean), (), DEFAULT)
    svg = tree(channel_view(injury, "c"))
    scale = float(svg.attrib["data-scale"])
    x1, y1, x2, y2 = at(shapes(svg, "channel-axis")[0], "x1", "y1", "x2", "y2")
    assert math.degrees(math.atan2(abs(x2 - x1), y1 - y2)) == pytest.approx(float(angle), abs=0.02)
    assert (x2 < x1) == (lean == "inward" and angle != "0")
    assert injury.channel is not None
    assert math.hypot(x2 - x1, y2 - y1) / scale == pytest.approx(float(injury.channel.length), abs=0.001)
    kept, cut = shapes(svg, "stem")
    assert "trimmed-off" in cut.attrib["class"]
    (a, b, c, d) = points(kept)
    assert math.dist(a, b) / scale == pytest.approx(5, abs=0.002)
    (_, _, tip, other) = points(cut)
    middle = ((tip[0] + other[0]) / 2, (tip[1] + other[1]) / 2)
    assert math.dist((x1, y1), middle) / scale == pytest.approx(50, abs=0.002)
    end = ((c[1] + d[1]) / 2 - y2) / scale  # cut off 2 mm above the tread
    assert end == pytest.approx(-2, abs=0.002)
    patch = shapes(svg, "patch")[0]
    assert float(patch.attrib["width"]) / scale == pytest.approx(40, abs=0.001)
    assert float(shapes(svg, "outline")[0].attrib["width"]) / scale == pytest.approx(56, abs=0.001)


def test_the_liner_shows_ellipse_patch_and_outline_to_scale() -> None:
    (injury,) = injuries_of(facts(angle="25"), (), DEFAULT)
    svg = tree(liner_view(injury, "l"))
    scale = float(svg.attrib["data-scale"])
    minor, major = limits.ellipse(q("5", "mm"), q("25", "deg"))
    rx, ry = at(shapes(svg, "hole")[0], "rx", "ry")
    assert 2 * rx / scale == pytest.approx(float(major.value), abs=0.001)
    assert 2 * ry / scale == pytest.approx(float(minor.value), abs=0.001)
    assert 2 * rx / scale == pytest.approx(5 / math.cos(math.radians(25)), abs=0.001)
    assert 2 * at(shapes(svg, "patch")[0], "r")[0] / scale == pytest.approx(40, abs=0.001)
    assert 2 * at(shapes(svg, "outline-ring")[0], "r")[0] / scale == pytest.approx(56, abs=0.001)
    # As the limit has it: 5 mm read to 1 mm is up to 5.5, 25 degrees up to 25.5, and 12 mm all round.
    need = math.ceil((5.5 / math.cos(math.radians(25.5)) + 24) * 10) / 10
    assert 2 * at(shapes(svg, "needed")[0], "r")[0] / scale == pytest.approx(need, abs=0.001)


def test_every_drawing_keeps_inside_its_frame() -> None:
    """No text and no shape is cut off, for shallow and steep, thin and thick, near and far."""
    for angle in ("0", "25", "60"):
        for lean in ("outward", "inward", "round"):
            for clock in ("3", "9.5", "12"):
                (injury,) = injuries_of(facts(clock, angle, lean), (), DEFAULT)
                for made in (
                    face([injury]),
                    section(injury, "s"),
                    channel_view(injury, "c"),
                    liner_view(injury, "l"),
                ):
                    inside(tree(made))


def inside(svg: ET.Element) -> None:
    _, _, width, height = (float(x) for x in svg.attrib["viewBox"].split())
    for one in svg.iter():
        xs = [float(one.attrib[k]) for k in ("x", "x1", "x2", "cx") if k in one.attrib]
        ys = [float(one.attrib[k]) for k in ("y", "y1", "y2", "cy") if k in one.attrib]
        if "points" in one.attrib:
            xs += [x for x, _ in points(one)]
            ys += [y for _, y in points(one)]
        if one.tag == "text" or one.tag.endswith("}text"):
            long = len(one.text or "") * 6.6  # a bold 12 px letter is under 7 px wide on average
            start = {"start": 0.0, "middle": long / 2, "end": long}[one.attrib["text-anchor"]]
            xs += [xs[0] - start, xs[0] - start + long]
        assert all(-1 <= x <= width + 1 for x in xs), ET.tostring(one)
        assert all(-1 <= y <= height + 1 for y in ys), ET.tostring(one)


def test_two_injuries_are_drawn_from_their_own_readings(job: Callable[[str], Path]) -> None:
    folder = job("eventful")
    injuries = job_injuries(read_source(folder))
    assert [float(i.clock.value) for i in injuries if i.clock] == [3, 9.5]
    assert [i.lean for i in injuries] == [Lean.OUTWARD, Lean.INWARD]
    assert all(i.repaired for i in injuries)
    root = page(folder)
    svg = drawing(root, "face")
    assert [mark.attrib["data-clock"] for mark in shapes(svg, "mark")] == ["3", "9.5"]
    for number, sign in ((1, 1), (2, -1)):
        one = drawing(root, f"injury-{number}-section")
        scale = float(one.attrib["data-scale"])
        x1, x2 = at(shapes(one, "channel-axis")[0], "x1", "x2")
        # tread 180 mm, 60 mm from its edge; leans 10 degrees through 14 mm
        assert (x1 - 180) / scale == pytest.approx(30, abs=0.001)
        assert (x2 - x1) / scale == pytest.approx(sign * 14 * math.tan(math.radians(10)), abs=0.001)


def _two(folder: Path, **script: Sequence[str]) -> tuple[Injury, ...]:
    """A job of two injuries, measured at three and at half past nine: the second one is repaired first."""
    said = {"injury-clock": ["three o'clock", "half past nine"], "another-injury": ["another injury"],
            "all-repaired": ["next injury"]}  # fmt: skip
    make_job(folder, {**said, **{step.replace("_", "-"): lines for step, lines in script.items()}})
    return job_injuries(read_source(folder, audio_limit=0))


def test_each_injury_is_drawn_with_the_unit_it_was_repaired_with(tmp_path: Path) -> None:
    first, second = _two(
        tmp_path / "job",
        patch_size=["six zero", "four five"],
        stem_length=["seven zero", "five five"],
        outline_margin=["nine", "one zero"],
    )
    assert (first.patch, first.stem, first.margin) == (45, 55, 10)
    assert (second.patch, second.stem, second.margin) == (60, 70, 9)
    root = page(tmp_path / "job")
    for number, patch in ((1, "45"), (2, "60")):
        (one,) = shapes(drawing(root, f"injury-{number}-channel"), "patch")
        assert one.attrib["data-diameter"] == patch
    sheet = customer_page(read_source(tmp_path / "job", audio_limit=0), UTC_CLOCK)
    assert "Injury 1 at 3 o\u2019clock repaired from inside: patch 45 mm, stem 55 mm" in sheet
    assert "Injury 2 at half past 9 repaired from inside: patch 60 mm, stem 70 mm" in sheet


def test_an_injury_whose_repair_was_not_begun_has_no_unit_yet(tmp_path: Path) -> None:
    script = {"injury-clock": ["three o'clock", "half past nine"], "another-injury": ["another injury"]}
    make_job(tmp_path / "job", script, until="all-repaired")
    first, second = job_injuries(read_source(tmp_path / "job", audio_limit=0))
    assert (first.repaired, first.patch, first.stem) == (False, None, None)
    assert (second.repaired, second.patch, second.stem) == (True, 40, 50)


def test_an_answer_that_is_corrected_leaves_each_unit_with_its_injury(tmp_path: Path) -> None:
    """Another injury is said by mistake, taken back, and said again; the next injury too."""
    first, second = _two(
        tmp_path / "job",
        patch_size=["six zero", "four five"],
        another_injury=["another injury", "another injury"],
        injury_size=["five", "correction", "five"],
        all_repaired=["next injury", "next injury"],
        clean_liner=["completed", "go back", "completed"],
    )
    rows = read_log(tmp_path / "job").lines
    assert [row.body["reopens"] for row in rows if row.kind == "correction"] == ["another-injury"]
    assert [row.body["to"] for row in rows if row.kind == "back"] == ["all-repaired"]
    assert [float(one.clock.value) for one in (first, second) if one.clock] == [3, 9.5]
    assert (first.patch, second.patch) == (45, 60)


def test_a_limit_is_drawn_as_the_record_has_it(tmp_path: Path) -> None:
    """The zone that the channel was judged by, and the patch that was asked for: not what rules of today say."""
    make_job(tmp_path / "job")
    source = read_source(tmp_path / "job", audio_limit=0)
    (own,) = source.own
    own.judged["injury.channel.crown"] = {"high": "50 mm"}
    own.judged["patch.size.min"] = {"low": "30.0013 mm"}
    (injury,) = job_injuries(source)
    assert (injury.zone, injury.needs_patch) == (50, Fraction("30.01"))


def test_a_wait_stands_in_its_window() -> None:
    wait = Wait("drying", 236, 344, 265, "used in time", "", "")
    svg = tree(wait_bar(wait, "w"))
    (window,) = shapes(svg, "window")
    (line,) = shapes(svg, "waited")
    (never,) = shapes(svg, "never")
    zero, x, width = float(never.attrib["x"]), *at(window, "x", "width")
    second = (x - zero) / 236
    assert (x + width - zero) / second == pytest.approx(344, abs=0.01)
    assert (float(line.attrib["x1"]) - zero) / second == pytest.approx(265, abs=0.01)
    inside(svg)


@pytest.mark.parametrize(
    ("wait", "word"),
    [
        (Wait("a", 236, 344, 200, "over", "", ""), "TOO SHORT by 36 s"),
        (Wait("a", 236, 344, 350, "overrun", "", ""), "TOO LONG"),
        (Wait("a", 236, 344, 350, "over", "", ""), "TOO LONG"),
        (Wait("a", 236, None, None, "started", "", ""), "not finished"),
        (Wait("a", 300, None, 300, "over", "", ""), "kept"),
    ],
)
def test_a_wait_says_in_words_whether_it_was_kept(wait: Wait, word: str) -> None:
    svg = tree(wait_bar(wait, "w"))
    assert wait.words == word
    assert word in "".join(svg.itertext())
    assert bool(shapes(svg, "wrong")) == (word.startswith("TOO"))
    inside(svg)


def test_pressures_share_one_scale() -> None:
    found = [
        Pressure("Pressure set", "16:34", q("35.0", "psi"), q("34", "psi"), q("36", "psi"), "inside"),
        Pressure("Seating pressure", "16:33", q("3.2", "bar"), None, q("276", "kPa"), "outside"),
    ]
    svg = tree(pressures(found))
    (window, seat) = shapes(svg, "window")
    point, wrong = shapes(svg, "point")
    x, width = at(window, "x", "width")
    per_psi = width / 2
    assert float(point.attrib["cx"]) == pytest.approx(x + per_psi, abs=0.01)
    # 3.2 bar is 46.412 psi; 1 psi is 6.894757 kPa (NIST SP 811)
    center = sum(px for px, _ in points(wrong)) / 4
    assert center == pytest.approx(x + (320 / 6.894757 - 34) * per_psi, abs=0.05)
    assert sum(at(seat, "x", "width")) == pytest.approx(x + (276 / 6.894757 - 34) * per_psi, abs=0.05)
    assert wrong.tag.endswith("polygon")
    inside(svg)


def test_the_pressure_after_the_leak_test_shows_the_least_that_would_have_passed(
    job: Callable[[str], Path],
) -> None:
    """Set to 35.0 psi, read at the same temperature: 10 kPa may be lost (1 psi is 6.894757 kPa)."""
    found = {one.name: one for one in pressures_of(read_source(job("whole")), UTC_CLOCK)}
    end, seat = found["End pressure"], found["Seating pressure"]
    assert end.low is not None
    assert end.high is None
    assert float(end.low.to("psi").value) == pytest.approx(35 - 10 / 6.894757, abs=0.001)
    assert seat.high == q("40", "psi")
    assert seat.low is None


def test_levels_show_every_utterance() -> None:
    found = [Level("16:00:00", "x", -20.0 - n, -50.0, n != 2) for n in range(5)]
    svg = tree(levels(found))
    spoken = list(shapes(svg, "speech"))[:-1]  # the last is the legend's
    assert len(spoken) == 4
    down = [float(c.attrib["cy"]) for c in spoken]
    assert down == sorted(down)
    first, second = down[:2]
    noise = float(shapes(svg, "noise")[0].attrib["cy"])
    assert (noise - first) == pytest.approx(30 * (second - first), abs=0.05)
    assert len(shapes(svg, "refused")) == 4
    inside(svg)


def test_what_was_not_read_is_not_drawn() -> None:
    (injury,) = injuries_of({"injury.size": q("9", "mm", "1")}, (), DEFAULT)
    assert face([injury]) is None
    assert section(injury, "s") is None
    assert channel_view(injury, "c") is None
    assert liner_view(injury, "l") is None
    assert injuries_of({"tread.depth": q("5", "mm")}, (), DEFAULT) == ()
    assert pressures([]) is None
    assert levels([]) is None
