"""The shop file: who it names, what it refuses, and that no code word ever leaves it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from handsfree._checking import pronounce
from handsfree._shop_file import shop_faults
from handsfree.grammar import Library
from handsfree.procedure import alike
from handsfree.shop import _OTHERS, DECOYS, HALVES, ShopError, code_expansion, parse_shop

CODE = "granite window"
TEXT = f"""name = "Harbor Row"
[[technician]]
badge = "17"
name = "Mara Lindqvist"
[[supervisor]]
badge = "409"
name = "R. Holt"
code = "{CODE}"
[[supervisor]]
badge = "12"
name = "S. Imre"
code = "velvet hammer"
"""


def test_people_are_found_by_badge_and_by_name() -> None:
    shop = parse_shop(TEXT)
    assert (shop.worker("17"), shop.worker("409"), shop.worker("99")) == ("Mara Lindqvist", "R. Holt", "")
    assert (shop.find("17"), shop.find("mara lindqvist")) == ("Mara Lindqvist", "Mara Lindqvist")
    with pytest.raises(ShopError, match="no 'Ana' in the shop file 'Harbor Row'"):
        shop.find("Ana")
    many = replace(shop, technicians={str(20 + n): f"Person {n}" for n in range(9)} | shop.technicians)
    with pytest.raises(ShopError) as caught:
        many.find("Mara")
    # Whom was meant first, and no code word.
    assert "a name of it: Mara Lindqvist (17), " in str(caught.value)
    assert str(caught.value).endswith(" and 4 more")
    assert CODE not in str(caught.value)


def test_the_example_in_the_help_is_a_whole_one() -> None:
    from handsfree.cli import _SHOP_HELP

    lines = [line.strip() for line in _SHOP_HELP.replace("\b", "").splitlines()]
    text = "\n".join(line for line in lines if line.startswith("[[") or " = " in line)
    assert shop_faults(parse_shop(text)) == []


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ('badge = "17"', "badge = 17", "technician 1 badge: must be two to six digits, in quotation marks"),
        ('badge = "17"', 'badge = "1"', "technician 1 badge: must be two to six digits"),
        ('badge = "17"', 'badge = "12"', "badge '12' is used twice"),
        ('name = "Mara Lindqvist"', 'name = "r. holt"', "name 'r. holt' is used twice"),
        ('name = "Mara Lindqvist"', 'name = "{x}"', "must be a name, without braces"),
        ('name = "Mara Lindqvist"', 'title = "boss"', "name: missing; add it"),
        ('name = "S. Imre"', 'name = "S. Imre"\nphone = "1"', "supervisor 2 phone: no such field"),
        ('code = "velvet hammer"', f'code = "{CODE}"', "two supervisors have the same code word"),
        ('code = "velvet hammer"', 'code = "granite window 7"', "must be one or two words"),
        ('code = "velvet hammer"', 'code = "granite window blue sky"', "must be one or two words"),
        ('code = "velvet hammer"', "code = [1]", "must be one or two words"),
        ('name = "Harbor Row"', "name = ", "not valid TOML"),
    ],
)
def test_a_mistake_is_one_line_that_says_what_to_do(old: str, new: str, line: str) -> None:
    with pytest.raises(ShopError) as caught:
        parse_shop(TEXT.replace(old, new, 1), "mine.toml")
    told = str(caught.value)
    assert told.startswith("mine.toml: ")
    assert line in told
    assert "\n" not in told
    assert "granite" not in told


@pytest.mark.parametrize(
    ("code", "line"),
    [
        ("xyzzy window", "does not know word 1 of the code word"),
        ("apple", "too short"),
        ("completed window", "also a command or an answer"),
        ("granite windows", "supervisors 409 and 12: their code words sound alike"),
        ("resumed", "the code word sounds like 'resume'"),
    ],
)
def test_a_code_word_that_can_not_be_told_apart_is_found(code: str, line: str) -> None:
    faults = shop_faults(parse_shop(TEXT.replace("velvet hammer", code)))
    assert any(line in fault for fault in faults), faults
    assert not any(word in fault for fault in faults for word in code.split())


def test_a_good_file_has_no_faults() -> None:
    assert shop_faults(parse_shop(TEXT)) == []


def test_the_hash_knows_the_people_and_not_the_code_words() -> None:
    shop = parse_shop(TEXT)
    assert parse_shop(TEXT.replace(CODE, "copper lantern")).sha256 == shop.sha256
    assert parse_shop(TEXT.replace("R. Holt", "R. Holtz")).sha256 != shop.sha256
    assert len(shop.sha256) == 64
    assert "granite" not in repr(shop)


def test_a_wrong_word_has_twenty_others_to_be_heard_as() -> None:
    shop = parse_shop(TEXT)
    armed = Library.load().arm({"code": code_expansion(shop, "409", pronounce)})
    meanings = {s: armed.interpret(s) for s in armed.sentences()}
    right = [s for s, m in meanings.items() if m is not None and m.slot("code") == "right"]
    wrong = [s for s, m in meanings.items() if m is not None and m.slot("code") == "wrong"]
    assert right == [CODE]
    assert len(wrong) == DECOYS + 2 * HALVES + 1  # and the other supervisor's
    assert "velvet hammer" in wrong
    assert not any(CODE in (one, other) for one, other, _ in alike([CODE, *wrong], pronounce))
    assert code_expansion(shop, "409", pronounce) == code_expansion(parse_shop(TEXT), "409", pronounce)


def test_every_decoy_can_be_heard_and_is_no_answer() -> None:
    library = Library.load()
    words = library.arm({str(n): f"<{r}>" for n, r in enumerate(library.public_rules())}).words()
    assert [word for word in _OTHERS if not pronounce(word) or word in words] == []


def test_a_code_word_is_noticed_wherever_it_is_said() -> None:
    shop = parse_shop(TEXT)
    assert shop.gives_away("supervisor release Granite  Window please")
    assert not shop.gives_away("granite windowsill")
