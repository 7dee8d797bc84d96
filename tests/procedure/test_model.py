"""A procedure file with each kind of mistake: one line that names the step and says what to do."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.procedure import Kind, ProcedureError, read_procedure

from .conftest import EVERY_KIND
from .driving import BADGE, CARE, DISPOSE, ENDINGS, HEAD, LOOK, ORDER, PLY, SIZE, count, do, wait, whole

GOOD = whole(SIZE)

#: (what is wrong, the file, what its one line must say)
MISTAKES = [
    ("no TOML", "schema = = 1", "not valid TOML"),
    ("empty", "", "schema: missing; add it"),
    ("another schema", GOOD.replace("schema = 1", "schema = 2"), "schema"),
    ("no notice", GOOD.replace('notice = "Follow the makers."\n', ""), "notice: missing"),
    ("no steps", HEAD + ENDINGS, "step: missing"),
    ("no ending", HEAD + SIZE + do("last", to="returned"), "ending: missing"),
    ("steps are no list", HEAD + 'step = "size"\n' + ENDINGS, "step"),
    ("a step is no table", HEAD + "step = [5]\n" + ENDINGS, "step"),
    ("unknown kind", whole(SIZE.replace('"reading"', '"gauge"')), "step 'size': .*'gauge'.*'reading'"),
    ("no kind", whole(SIZE.replace('kind = "reading"\n', "")), "step 'size'"),
    ("a newline as kind", whole(SIZE.replace('"reading"', '"a\\nb"')), "step 'size'"),
    ("no ask", whole(do().replace('ask = "Do it."\n', "")), "step 'act'.*ask: missing; add it"),
    ("empty ask", whole(do(ask="  ")), "step 'act'.*ask"),
    ("unknown field", whole(do() + 'colour = "red"\n'), "step 'act'.*colour: no such field"),
    ("id with capitals", whole(do("Act")), "step 'Act'.*id"),
    ("id is a number", whole(do().replace('"act"', "5")), "id"),
    ("fact without a group", whole(SIZE.replace('"injury.size"', '"size"')), "step 'size'.*fact"),
    ("duplicate id", whole(do(), do()), "id 'act' is used twice"),
    ("an ending named like a step", whole(do("scrap")), "id 'scrap' is used twice"),
    ("unknown target", whole(do(to="nowhere")), "step 'act': on.done goes to unknown 'nowhere'"),
    (
        "unknown outcome",
        whole(SIZE + 'on = { huge = "scrap" }\n'),
        "step 'size': no outcome 'huge'; it has inside",
    ),
    (
        "adjust has no outside",
        whole(SIZE + 'adjust = true\non = { outside = "scrap" }\n'),
        "no outcome 'outside'",
    ),
    ("last goes nowhere", HEAD + do() + ENDINGS, "last step 'act': outcome 'done' goes nowhere"),
    (
        "no limit, no reason",
        whole(SIZE.replace('limits = ["injury.size.max"]\n', "")),
        "step 'size'.*no_limit",
    ),
    ("limit and reason", whole(SIZE + 'no_limit = "why"\n'), "step 'size'.*not both"),
    ("binding no limit of it", whole(SIZE + 'binding = ["drying"]\n'), "step 'size'.*binding names 'drying'"),
    ("no plausible", whole(SIZE.replace("plausible = [0.5, 60]\n", "")), "step 'size'.*plausible"),
    ("plausible backwards", whole(SIZE.replace("[0.5, 60]", "[60, 0.5]")), "step 'size'.*plausible"),
    ("plausible endless", whole(SIZE.replace("[0.5, 60]", "[0, inf]")), "step 'size'.*plausible"),
    ("plausible no number", whole(SIZE.replace("[0.5, 60]", "[nan, 5]")), "step 'size'.*plausible"),
    ("plausible of three", whole(SIZE.replace("[0.5, 60]", "[1, 2, 3]")), "step 'size'.*plausible"),
    ("unknown unit", whole(SIZE.replace('"mm"', '"furlong"')), "step 'size'.*unknown unit 'furlong'"),
    ("no digits", whole(ORDER.replace("digits = [3, 5]\n", "")), "step 'order'.*digits"),
    ("digits backwards", whole(ORDER.replace("[3, 5]", "[5, 3]")), "step 'order'.*digits"),
    ("no digits at all", whole(ORDER.replace("[3, 5]", "[0, 0]")), "step 'order'.*digits"),
    (
        "limits is a word",
        whole(SIZE.replace('["injury.size.max"]', '"injury.size.max"')),
        "step 'size'.*limits",
    ),
    (
        "one option",
        whole(PLY.replace('  { id = "steel", say = "steel ply", name = "Steel ply" },\n', "")),
        "step 'ply'.*options",
    ),
    ("options alike", whole(PLY.replace('id = "steel"', 'id = "fabric"')), "step 'ply'.*same id"),
    (
        "limits of no fact",
        whole(PLY.replace('fact = "tire.body_ply"', 'limits = ["passes.inside"]')),
        "step 'ply'.*give fact",
    ),
    (
        "no conditions",
        whole(LOOK[: LOOK.index("conditions")] + "conditions = []\n"),
        "step 'look'.*conditions",
    ),
    ("unknown signal", whole(CARE.replace("WARNING", "HEY"), do()), "step 'care'.*signal"),
    ("read-back in capitals", whole(CARE.replace("no flame", "No Flame"), do()), "step 'care'.*read_back"),
    (
        "read-back with two spaces",
        whole(CARE.replace("no flame", "no  flame"), do()),
        "step 'care'.*read_back",
    ),
    ("guards nothing", whole(CARE.replace('["act"]', "[]"), do()), "step 'care'.*guards"),
    ("guards an unknown step", whole(CARE, do("x")), "step 'care': points at unknown step 'act'"),
    ("window to an unknown step", whole(do(), wait("place")), "step 'dry': points at unknown step 'place'"),
    (
        "refused goes on",
        whole(do(), BADGE.replace('on = { refused = "scrap" }\n', "")),
        "step 'boss'.*refused",
    ),
    ("released by nobody", whole(do(), BADGE.replace('"supervisor"', '"anyone"')), "step 'boss'.*by"),
    ("begins with a count", whole(count()), "step 'drill': nothing is known yet"),
    ("begins with a wait", whole(wait()), "step 'dry': nothing is known yet"),
    ("begins with a disposition", whole(DISPOSE), "step 'dispose': nothing is known yet"),
    ("deep", "a = " + "[" * 5000 + "]" * 5000, "not valid TOML"),
    ("deep in a step", HEAD + "[[step]]\nx = " + "[" * 60 + "]" * 60 + "\n" + ENDINGS, "step"),
]


@pytest.mark.parametrize(("text", "line"), [m[1:] for m in MISTAKES], ids=[m[0] for m in MISTAKES])
def test_a_mistake_is_one_line_that_says_what_to_do(text: str, line: str) -> None:
    with pytest.raises(ProcedureError, match=line) as caught:
        read_procedure(text, "shop.toml")
    message = str(caught.value)
    assert message.startswith("shop.toml: ")
    assert "\n" not in message
    assert len(message) < 420
    assert "pydantic" not in message


def test_every_mistake_is_made_in_a_file_that_is_right_without_it() -> None:
    for text in (GOOD, EVERY_KIND, whole(ORDER), whole(PLY), whole(LOOK), whole(CARE, do()), whole(BADGE)):
        assert read_procedure(text).id == "small"


def test_several_mistakes_are_counted() -> None:
    with pytest.raises(ProcedureError, match=r"\(and 1 more\)"):
        read_procedure(whole(do().replace('ask = "Do it."\n', "").replace('phase = "work"\n', "")))


def test_a_huge_file_is_read_or_refused_in_one_line() -> None:
    many = "".join(do(f"act-{n}") for n in range(2000))
    assert len(read_procedure(whole(many)).step) == 2001
    with pytest.raises(ProcedureError, match="step 'a"):
        read_procedure(whole(do("a" * 100_000 + "A")))


@settings(max_examples=150, deadline=None)
@given(st.text(max_size=200), st.integers(0, len(EVERY_KIND)))
def test_any_text_is_read_or_refused_in_one_line(text: str, cut: int) -> None:
    for broken in (text, EVERY_KIND[:cut] + text + EVERY_KIND[cut:], EVERY_KIND[:cut]):
        try:
            read_procedure(broken)
        except ProcedureError as error:
            assert "\n" not in str(error)  # noqa: PT017


def test_every_kind_has_a_step() -> None:
    procedure = read_procedure(EVERY_KIND)
    assert {step.kind for step in procedure.step} == {str(kind) for kind in Kind}


def test_ways_go_by_outcome_names_and_else_to_the_next_step() -> None:
    procedure = read_procedure(EVERY_KIND)
    assert procedure.after("size", "inside") == "look"
    assert procedure.after("dry", "overrun") == "cement"
    assert procedure.after("last", "done") == "returned"
    assert procedure.end("returned") is not None
    assert procedure.end("size") is None
    with pytest.raises(KeyError):
        procedure.after("size", "huge")
    with pytest.raises(KeyError):
        procedure.at("nowhere")


def test_what_can_follow_a_step() -> None:
    procedure = read_procedure(EVERY_KIND)
    assert procedure.reached_from("tack") == {"place", "last", "returned"}
    assert "tack" not in procedure.reached_from("cement", without="dry")
    assert {"warm-up", "temperature", "dry"} <= procedure.reached_from("humidity")
