"""Proving a procedure: each fault is found by name, and the packaged procedures have none."""

from __future__ import annotations

import random
import re

import pytest

from handsfree._checking import check_procedure, dictionary
from handsfree.limits import LimitsError
from handsfree.procedure import check, read_procedure
from handsfree.procedure._check import needed_facts
from handsfree.procedure._sounds import TOO_ALIKE, _surely_unlike, alike, distance, phrase_phones
from handsfree.session import packaged_procedure, packaged_procedures

from .conftest import EVERY_KIND
from .driving import CARE, ENDINGS, HEAD, LOOK, PLY, SIZE, count, do, library, wait, whole

TAIL = do("last", to="returned")


def faults(text: str) -> list[str]:
    return check(read_procedure(text), library(), lambda word: dictionary().get(word, ()))


def used(text: str) -> str:
    """The small procedures never scrap; this gives their other ending a use."""
    return text.replace(ENDINGS, ENDINGS[: ENDINGS.index("[[ending]]", 5)])


@pytest.mark.parametrize("name", packaged_procedures())
def test_the_packaged_procedures_are_proved(name: str) -> None:
    assert check_procedure(packaged_procedure(name), name) == []


def test_a_small_procedure_is_clean() -> None:
    assert faults(EVERY_KIND) == []


FAULTS = [
    (
        "a step out of reach",
        whole(do(to="last"), do("island")),
        "island: can't be reached from the first step",
    ),
    ("an ending out of reach", whole(do()), "scrap: can't be reached from the first step"),
    ("a ring", whole(do("a", to="b"), do("b", to="a")), "a: no ending can be reached from here"),
    ("unknown rule", used(whole(SIZE.replace("injury.size.max", "no.rule"))), "size: unknown rule 'no.rule'"),
    (
        "a verdict for passes",
        used(whole(PLY, count("injury.size.max"))),
        "drill: rule injury.size.max gives a verdict, a count is needed",
    ),
    (
        "passes for a verdict",
        used(whole(SIZE.replace("injury.size.max", "passes.inside"))),
        "size: rule passes.inside gives a count, a verdict is needed",
    ),
    (
        "a count for a wait",
        used(whole(PLY, wait().replace("drying", "passes.inside"))),
        "dry: rule passes.inside gives a count, a window is needed",
    ),
    (
        "a fact never read",
        used(whole(do(), count())),
        "drill: rule passes.inside needs tire.body_ply, which is not read on every way here",
    ),
    (
        "a fact read on one way only",
        HEAD + SIZE + 'on = { outside = "drill" }\n' + PLY + count() + TAIL + ENDINGS,
        "drill: rule passes.inside needs tire.body_ply, which is not read on every way here",
    ),
    (
        "a caution gone round",
        used(whole(SIZE + 'on = { outside = "act" }\n', CARE, do())),
        "act: can be reached without caution care",
    ),
    (
        "a unit that does not fit the fact",
        used(whole(SIZE.replace('"mm"', '"psi"').replace("length_mm", "pressure"))),
        "size: unit 'psi' does not fit injury.size, a length; give it in mm",
    ),
    (
        "a grammar whose units do not fit",
        used(whole(SIZE.replace("length_mm", "temperature"))),
        "size: readings.temperature lets 'degC' be said, which does not fit its unit 'mm'",
    ),
    (
        "an answer that is kept, unconfirmed",
        used(whole(PLY.replace("options", "confirm = false\noptions", 1))),
        "ply: its answer is kept or judged, so it must be confirmed; take out confirm = false",
    ),
    (
        "an answer that leads another way, unconfirmed",
        whole(
            PLY.replace('fact = "tire.body_ply"\n', "confirm = false\n") + 'on = { steel = "scrap" }\n', do()
        ),
        "ply: its answers lead different ways, so they must be confirmed; take out confirm = false",
    ),
    ("an unknown grammar rule", used(whole(SIZE.replace("length_mm", "furlongs"))), "size: .*furlongs"),
    ("a broken expansion", used(whole(PLY.replace('"fabric ply"', '"fabric ply ("'))), "ply: "),
    (
        "an unknown word",
        used(whole(PLY.replace('"fabric ply"', '"zyxwv ply"'))),
        "ply: the recognizer does not know 'zyxwv'",
    ),
    (
        "two meanings",
        used(whole(PLY.replace('"steel ply"', '"fabric ply"'))),
        "ply: 'fabric ply' has two meanings",
    ),
    (
        "like a command",
        used(whole(PLY.replace('"fabric ply"', '"hold work"'))),
        "ply: 'hold work' has two meanings",
    ),
    (
        "sounds like a command",
        used(whole(PLY.replace('"fabric ply"', '"cold"'))),
        "ply: 'cold' and 'hold' sound alike",
    ),
    (
        "sounds like its neighbor",
        used(whole(PLY.replace('"fabric ply"', '"eighty"').replace('"steel ply"', '"eighteen"'))),
        "ply: 'eighteen' and 'eighty' sound alike",
    ),
    (
        "a caution that is the plain yes",
        used(whole(CARE.replace("no flame", "affirmative"), do())),
        "care: 'affirmative' has two meanings",
    ),
    (
        "cautions that sound alike",
        used(
            whole(
                CARE,
                do(),
                CARE.replace('"care"', '"other"').replace("no flame", "no flames").replace("act", "last"),
            )
        ),
        "care: 'no flame' and 'no flames' sound alike",
    ),
]


@pytest.mark.parametrize(("text", "line"), [f[1:] for f in FAULTS], ids=[f[0] for f in FAULTS])
def test_a_fault_is_found(text: str, line: str) -> None:
    found = faults(text)
    assert any(re.match(line, one) for one in found), found
    assert all("\n" not in one for one in found)


def test_a_fact_put_aside_must_be_read_again() -> None:
    more = PLY.replace('"ply"', '"more"').replace("tire.body_ply", "job.more")
    more = more.replace('name = "Fabric ply"', 'name = "Again", archive = "tire"')
    text = HEAD + PLY + count() + more + 'on = { fabric = "drill" }\n' + TAIL + ENDINGS
    assert any(f.startswith("drill: rule passes.inside needs tire.body_ply") for f in faults(text))
    whole_ring = text.replace('fabric = "drill"', 'fabric = "ply"')
    assert not any("passes.inside" in f for f in faults(whole_ring))


def test_passes_may_sound_alike_among_themselves() -> None:
    assert not any("pass" in f for f in faults(used(whole(PLY, count()))))


def test_two_ways_to_say_one_thing_may_sound_alike() -> None:
    text = used(whole(PLY.replace('say = "fabric ply"', 'say = "fabric ply | fabric plies"')))
    assert faults(text) == []


def test_a_rule_that_fails_otherwise_needs_no_fact(monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object) -> None:
        raise LimitsError("torn out")

    monkeypatch.setattr("handsfree.limits.answer", fails)
    assert needed_facts("passes.inside") == set()


def test_inspection_and_action_words_are_checked_too() -> None:
    text = used(whole(LOOK, do().replace('kind = "do"', 'kind = "do"\nanswer = "zyxwv {answer=done}"')))
    assert faults(text) == ["act: the recognizer does not know 'zyxwv'; add it to pronunciations.dict"]


def test_an_unknown_word_is_named_once() -> None:
    text = used(whole(do("a"), do("b")).replace('kind = "do"', 'kind = "do"\nanswer = "zyxwv {answer=done}"'))
    assert len([f for f in faults(text) if "zyxwv" in f]) == 1


def test_needed_facts_are_those_a_rule_can_not_do_without() -> None:
    assert needed_facts("passes.inside") == {"tire.body_ply"}
    assert needed_facts("drying") == {"air.temperature", "air.humidity"}


# -- how alike two phrases sound ---------------------------------------------------------------------


def say(phrase: str) -> list[tuple[str, ...]]:
    return phrase_phones(phrase, lambda word: dictionary().get(word, ()))


@pytest.mark.parametrize(("a", "b"), [("eighty", "eighteen"), ("hold", "cold"), ("fifty", "fifteen")])
def test_known_confusions_are_near(a: str, b: str) -> None:
    """The -teen/-ty twins were measured on a recorded voice, hold/cold on synthetic ones."""
    assert min(distance(x, y) for x in say(a) for y in say(b)) < TOO_ALIKE
    assert [(x, y) for x, y, _ in alike([a, b], lambda w: dictionary().get(w, ()))] == [tuple(sorted((a, b)))]


@pytest.mark.parametrize(
    ("a", "b"),
    [
        ("affirmative", "negative"),
        ("stop work", "say again"),
        ("no flame", "stand aside"),
        ("measure again", "out of limits"),
    ],
)
def test_words_made_to_be_told_apart_are_far(a: str, b: str) -> None:
    assert min(distance(x, y) for x in say(a) for y in say(b)) >= TOO_ALIKE
    assert alike([a, b], lambda w: dictionary().get(w, ())) == []


def test_distance_is_an_edit_distance() -> None:
    assert distance([], []) == 0
    assert distance(["K", "OW", "L", "D"], ["K", "OW", "L", "D"]) == 0
    assert distance([], ["K", "T"]) == pytest.approx(1.6)
    assert distance(["K"], ["T"]) == 0.5
    assert distance(["K"], ["AA"]) == 1.0
    assert distance(["K"], ["?"]) == 1.0
    assert distance(["AH", "B"], ["B"]) == distance(["B"], ["AH", "B"])


def test_every_pronunciation_is_tried_but_not_without_end() -> None:
    forms = {"a": ["AH", "EY"], "b": ["B IY"]}
    assert phrase_phones("a b", lambda w: forms.get(w, ())) == [("AH", "B", "IY"), ("EY", "B", "IY")]
    assert phrase_phones("a x", lambda w: forms.get(w, ())) == []
    assert len(phrase_phones("a a a a a a a", lambda w: forms.get(w, ()))) == 32


def test_phrases_told_apart_by_their_phones_alone_are_as_far_apart_as_measured() -> None:
    """What is passed over without measuring is never near: words of the dictionary with a few phones changed."""
    pick, forms = random.Random(3), [tuple(form.split()) for one in dictionary().values() for form in one]
    passed = 0
    for _ in range(3000):
        one = pick.choice(forms)
        other = list(one)
        for _ in range(pick.randint(1, 5)):
            at = pick.randrange(len(other) + 1)
            other[at : at + pick.choice((0, 1))] = pick.choice(forms)[: pick.choice((0, 1))]
        if _surely_unlike(one, other):
            passed += 1
            assert distance(one, other) >= TOO_ALIKE
    assert passed > 100
