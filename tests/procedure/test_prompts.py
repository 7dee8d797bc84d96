"""Every sentence is in the file, every variable is filled, and none is left over."""

from __future__ import annotations

import ast
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest

from handsfree import procedure
from handsfree.limits import DEFAULT
from handsfree.procedure import PromptError, Prompts
from handsfree.procedure._judging import Bounds, bounds
from handsfree.procedure._words import spoken, spoken_limit, spoken_seconds, written
from handsfree.quantity import Quantity
from handsfree.session import prompts_text

from .conftest import EVERY_KIND
from .driving import Drive, packaged_prompts

ROOM = Path(procedure.__file__).parent


def calls() -> list[tuple[str, list[str], set[str] | None]]:
    """Every call of a prompt in the room: where, the keys it may use, and its variables (None: not literal)."""
    found = []
    for path in sorted(ROOM.glob("_*.py")):
        for node in ast.walk(ast.parse(path.read_text())):
            if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)):
                continue
            owner = ast.unparse(node.func)
            if owner not in ("turn.prompt", "prompts.say", "turn.book.prompts.say") or not node.args:
                continue
            keys = [
                n.value
                for n in ast.walk(node.args[0])
                if isinstance(n, ast.Constant) and isinstance(n.value, str)
            ]
            names = {k.arg for k in node.keywords}
            literal = None if None in names else {str(n) for n in names}
            found.append((f"{path.name}:{node.lineno}", keys, literal))
    return found


def test_every_key_in_the_code_is_in_the_file_with_its_variables() -> None:
    prompts = packaged_prompts()
    checked = 0
    for where, keys, names in calls():
        for key in keys:
            assert key in prompts.templates, f"{where}: {key}"
            if names is not None:
                assert prompts.variables(key) <= names, f"{where}: {key}"
                checked += 1
    assert checked > 40


def test_no_key_of_the_file_is_left_over() -> None:
    source = "".join(path.read_text() for path in ROOM.glob("_*.py"))
    unused = [key for key in packaged_prompts().templates if f'"{key}"' not in source]
    assert unused == []


def test_nothing_said_has_a_brace_left() -> None:
    drive = Drive(EVERY_KIND)
    drive.say("fabric ply", "affirmative", "seven", "affirmative", "hold work", "resume work", "stop work")
    assert not [text for text in drive.spoken(drive.effects) if "{" in text or "  " in text]


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("held = ", "not valid TOML"),
        ("held = " + "[" * 5000, "not valid TOML"),
        ("held = 5", "held must be a line of text"),
        ('held = "{"', "held: .*brace"),
        ('held = "a } b"', "held: .*brace"),
        ('held = "{}"', "held: {} must be a plain name"),
        ('held = "{0}"', "must be a plain name"),
        ('held = "{a.b}"', "must be a plain name"),
        ('held = "{a[0]}"', "must be a plain name"),
        ('held = "{a!r}"', "must be a plain name"),
        ('held = "{a:>9999999}"', "must be a plain name"),
    ],
)
def test_a_file_with_a_mistake_is_refused_in_one_line(text: str, line: str) -> None:
    with pytest.raises(PromptError, match=line) as caught:
        Prompts(text, "mine.toml")
    assert str(caught.value).startswith("mine.toml: ")
    assert "\n" not in str(caught.value)


def test_a_missing_sentence_and_a_missing_word() -> None:
    prompts = Prompts('a = "one {two}  three"')
    assert prompts.say("a", two="2") == "one 2 three"
    with pytest.raises(PromptError, match="no prompt 'b'"):
        prompts.say("b")
    with pytest.raises(PromptError, match="variable 'two' is not filled"):
        prompts.say("a")


def test_a_translation_is_proved_before_the_job() -> None:
    packaged = packaged_prompts()
    Prompts(prompts_text()).must_cover(packaged)
    shorter = Prompts(prompts_text().replace('held = "On hold. Say: resume work."\n', ""), "shop.toml")
    with pytest.raises(PromptError, match=r"shop\.toml: no prompt 'held'"):
        shorter.must_cover(packaged)
    asking = Prompts(prompts_text().replace('released = "Released."', 'released = "{badge} released."'))
    with pytest.raises(PromptError, match=r"released: nothing fills \{badge\}"):
        asking.must_cover(packaged)
    fewer = Prompts(
        prompts_text().replace('read_back = "{name}: {value}. Affirmative?"', 'read_back = "{value}?"')
    )
    fewer.must_cover(packaged)


# -- words ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0, "0 seconds"),
        (-5, "0 seconds"),
        (1, "1 second"),
        (59, "59 seconds"),
        (60, "1 minute"),
        (61, "1 minute 1 second"),
        (180, "3 minutes"),
        (3605, "60 minutes 5 seconds"),
    ],
)
def test_seconds(seconds: int, text: str) -> None:
    assert spoken_seconds(seconds) == text


@pytest.mark.parametrize(
    ("value", "said", "line"),
    [
        ("007", "zero zero seven", "007"),
        ("3A", "three A", "3A"),
        (Quantity(Decimal("1.50"), "mm"), "one point five zero millimeters", "1.50 mm"),
        (Quantity(Decimal(3), "1"), "three", "3"),
        (Quantity(Decimal(1), "in"), "one inch", "1 in"),
        (Quantity(Fraction(1, 3), "mm"), None, "0.3333 mm"),
        (Quantity(Fraction(1, 4), "in", Fraction(1, 4)), None, "1/4 in"),
        (None, None, ""),
    ],
)
def test_values(value: Quantity | str | None, said: str | None, line: str) -> None:
    assert written(value) == line
    if said is not None and value is not None:
        assert spoken(value) == said


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        (None, Fraction(25, 3), "at most eight point three three millimeters"),  # never above 8.333...
        (Fraction(25, 3), None, "at least eight point three four millimeters"),  # never below it
        (Fraction(25, 2), Fraction(20), "one two point five to two zero millimeters"),
        (None, Fraction(127, 20), "at most six point three five millimeters"),  # 1/4 in exactly
        (None, None, "no number"),
    ],
)
def test_limits_are_rounded_to_the_safe_side(low: Fraction | None, high: Fraction | None, said: str) -> None:
    limit = Bounds(low and Quantity(low, "mm"), high and Quantity(high, "mm"), "source", "no number")
    assert spoken_limit(limit, packaged_prompts()) == said


def test_bounds_are_in_the_unit_the_technician_uses() -> None:
    assert bounds("injury.edge.min", {}, "mm", DEFAULT).low == Quantity(Decimal(1), "in").to("mm")
    assert bounds("injury.edge.min", {}, "psi", DEFAULT).low == Quantity(Fraction(1), "in")
    assert bounds("injury.place.crown", {"injury.place": "crown"}, "", DEFAULT).low is None
    size = bounds("injury.size.max", {}, "", DEFAULT)
    assert (size.low, size.high) == (None, Quantity(Decimal(6), "mm"))
