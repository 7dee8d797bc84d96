"""An armed grammar: strict, bounded, honest about ambiguity, and the language PocketSphinx accepts."""

from __future__ import annotations

import random
import re
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.grammar import MAX_WORDS, Armed, Library, Number, load_pronunciations
from handsfree.grammar._arithmetic import evaluate
from handsfree.grammar._types import GrammarError
from handsfree.quantity import Quantity

pocketsphinx = pytest.importorskip("pocketsphinx")

LIBRARY = Library.load()
RULES = LIBRARY.public_rules()
EMPTY = Library.from_texts({"e.jsgf": "#JSGF V1.0;\ngrammar e;\npublic <e> = a;"})
WIDEST = LIBRARY.arm({rule: f"<{rule}>" for rule in RULES if not rule.startswith("numbers.")})


def arm(expansion: str) -> Armed:
    return EMPTY.arm({"x": expansion})


def sphinx_accepts(armed: Armed, folder: Path) -> object:
    """PocketSphinx's own finite-state acceptor of the emitted text."""
    file = folder / "armed.gram"
    file.write_text(armed.jsgf())
    jsgf = pocketsphinx.Jsgf(str(file))
    return jsgf.build_fsg(jsgf.get_rule("armed.armed"), DECODER.logmath, 1.0).accept


def _decoder() -> object:
    decoder = pocketsphinx.Decoder(lm=None, loglevel="FATAL")
    for word, pronunciations in load_pronunciations().items():
        if decoder.lookup_word(word) is None:
            for number, phones in enumerate(pronunciations, 1):
                decoder.add_word(word if number == 1 else f"{word}({number})", phones, True)
    return decoder


DECODER = _decoder()


@pytest.mark.parametrize("rule", RULES)
def test_every_public_rule_compiles_and_is_in_the_dictionary(rule: str) -> None:
    armed = LIBRARY.arm({"x": f"<{rule}>"})
    assert [word for word in sorted(armed.words()) if DECODER.lookup_word(word) is None] == []
    DECODER.add_jsgf_string(rule, armed.jsgf())
    DECODER.activate_search(rule)
    assert DECODER.current_search() == rule


def test_pronunciations_are_needed_and_add_only_what_is_missing() -> None:
    plain = pocketsphinx.Decoder(lm=None, loglevel="FATAL")
    ways = ((word, phones) for word, found in load_pronunciations().items() for phones in found)
    assert [word for word, phones in ways if plain.lookup_word(word) == phones] == []


@pytest.mark.parametrize("rule", RULES)
def test_same_language_as_pocketsphinx(rule: str, tmp_path: Path) -> None:
    """Real sentences, and the same with a word dropped, doubled, swapped or exchanged."""
    armed = LIBRARY.arm({"x": f"<{rule}>"})
    accepts = sphinx_accepts(armed, tmp_path)
    pick, words = random.Random(rule), sorted(armed.words())
    for sentence in armed.examples(30, seed=7):
        said = sentence.split()
        at = pick.randrange(len(said))
        variants = [
            said,
            said[:at] + said[at + 1 :],
            said[: at + 1] + said[at:],
            said[at:] + said[:at],
            [*said[:at], pick.choice(words), *said[at + 1 :]],
        ]
        for variant in filter(None, variants):
            text = " ".join(variant)
            assert bool(armed.interpretations(text)) == accepts(text), text


def test_weights_and_repeats_survive_the_way_to_pocketsphinx(tmp_path: Path) -> None:
    armed = arm("/9/ ( a | b ) c | /1/ <e.e>* d | /2.5/ ( a | <NULL> ) b+ | /1/ <VOID> c")
    assert "/2.5/" in armed.jsgf()
    accepts = sphinx_accepts(armed, tmp_path)
    texts = ["a c", "b c", "d", "a a d", "b b", "a b b", "a", "c", "a d c", "b c d"]
    assert {text: accepts(text) for text in texts} == {
        text: bool(armed.interpretations(text)) for text in texts
    }


@pytest.mark.parametrize(
    "expansion",
    [
        "a c | <VOID> d | b",
        "( a | b <VOID> ) [<VOID>] c",
        "a <v.void>* b | <v.void> c | <v.partly>+",
        "/2/ a | /3/ <VOID> | /4/ b",
        "( <VOID> | a {k=1} ) {k=2}",
    ],
)
def test_void_reaches_no_recognizer(expansion: str, tmp_path: Path) -> None:
    rules = "public <void> = <VOID> | a <inner>; <inner> = <VOID>; public <partly> = d | <void>;"
    text = f"#JSGF V1.0;\ngrammar v;\n{rules}"
    armed = Library.from_texts({"v.jsgf": text}).arm({"x": expansion, "never": "<v.void>"})
    assert "VOID" not in armed.jsgf()
    accepts = sphinx_accepts(armed, tmp_path)
    for said in ("a", "b", "c", "d", "a b", "a c", "b c", "a d", "d d", "a a b"):
        assert accepts(said) == bool(armed.interpretations(said)), said


def test_a_folder_of_grammars_loads_alone(tmp_path: Path) -> None:
    (tmp_path / "own.jsgf").write_text("#JSGF V1.0;\ngrammar own;\npublic <r> = a;\n", "utf-8")
    assert Library.load(tmp_path).public_rules() == ("own.r",)


def test_an_empty_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(GrammarError, match="no \\*\\.jsgf file"):
        Library.load(tmp_path)


def test_pronunciation_files(tmp_path: Path) -> None:
    file = tmp_path / "pronunciations.dict"
    file.write_text(";;; note\n\nshim  SH IH M\nshim(2) SH IY M\n", "utf-8")
    assert load_pronunciations(tmp_path) == {"shim": ("SH IH M", "SH IY M")}
    file.write_text("shim SH IH M\nbead\n", "utf-8")
    with pytest.raises(GrammarError, match=r"pronunciations\.dict:2:1: "):
        load_pronunciations(tmp_path)


WORDS = st.sampled_from(["a", "b", "c"])
EXPANSIONS = st.recursive(
    WORDS,
    lambda inner: st.one_of(
        st.tuples(inner, inner).map(lambda two: f"( {two[0]} {two[1]} )"),
        st.tuples(inner, inner).map(lambda two: f"( {two[0]} | {two[1]} )"),
        inner.map(lambda one: f"[ {one} ]"),
        inner.map(lambda one: f"( {one} ) {{k+=1}}"),
    ),
    max_leaves=8,
)


@settings(deadline=None, max_examples=150)
@given(EXPANSIONS, st.lists(WORDS, min_size=1, max_size=6))
def test_same_language_as_a_regular_expression(expansion: str, said: list[str]) -> None:
    """Python's ``re`` as the second opinion on random grammars; JSGF's brackets map one to one."""
    pattern = re.sub(r"\{.*?\}", "", expansion).replace(" ", "").replace("[", "(").replace("]", ")?")
    regex = re.compile(pattern)
    armed, text = arm(expansion), " ".join(said)
    assert bool(armed.interpretations(text)) == bool(regex.fullmatch("".join(said)))
    longer = any(sentence.startswith(f"{text} ") for sentence in armed.sentences(9))
    assert armed.can_continue(text) == longer


def test_label_says_which_alternative_matched() -> None:
    armed = LIBRARY.arm(
        {"command": "<commands.command>", "answer": "<readings.length_mm> | unknown {answer=unknown}"}
    )
    assert armed.labels == ("command", "answer")
    for text, label in [("say again", "command"), ("five point five", "answer"), ("unknown", "answer")]:
        meaning = armed.interpret(text)
        assert meaning is not None
        assert (meaning.label, meaning.text) == (label, text)


@pytest.mark.parametrize("text", ["five", "five millimeters"])
def test_two_labels_that_both_match_are_ambiguous(text: str) -> None:
    armed = LIBRARY.arm({"depth": "<readings.tread_depth>", "size": "<readings.length_mm>"})
    assert armed.interpret(text) is None
    assert {meaning.label for meaning in armed.interpretations(text)} == {"depth", "size"}


def test_two_values_are_ambiguous_and_the_same_value_twice_is_not() -> None:
    assert len(arm("a {1} | a {2}").interpretations("a")) == 2
    assert len(arm("a {1} | a {1.0}").interpretations("a")) == 2  # another resolution is another reading
    assert arm("a {1} | a {1} | a {0+1}").interpret("a") is not None
    assert len(arm("a {k=1} | a {k=2}").interpretations("a")) == 2


def test_quantity_takes_the_spoken_unit_before_the_asked_one() -> None:
    armed = LIBRARY.arm({"size": "<readings.length_mm>", "other": "<commands.hold>"})
    expected = {
        "five point zero": Quantity(Decimal("5.0"), "mm", Decimal("0.1")),
        "two eighths": Quantity(Fraction(1, 4), "in", Fraction(1, 8)),
        "hold": None,
    }
    for text, quantity in expected.items():
        meaning = armed.interpret(text)
        assert meaning is not None
        assert meaning.quantity("mm") == quantity


def test_slots_append_in_order_and_keep_leading_zeros() -> None:
    meaning = LIBRARY.arm({"x": "<readings.digits>"}).interpret("zero oh one niner")
    assert meaning is not None
    assert meaning.slots == (("digits", "0019"),)
    assert meaning.number is None
    assert meaning.slot("unit") is None


@pytest.mark.parametrize(
    ("text", "more"),
    [
        ("", True),
        ("five", True),
        ("five point", True),
        ("five point five millimeters", False),
        ("what is", True),
        ("say again", False),
        ("say again five", False),
        ("nonsense", False),
        ("one and", True),
    ],
)
def test_can_continue(text: str, more: bool) -> None:
    armed = LIBRARY.arm({"command": "<commands.command>", "answer": "<readings.length_mm>"})
    assert armed.can_continue(text) is more
    assert bool(armed.next_words(text)) is more


def test_a_dead_end_is_no_continuation() -> None:
    assert not arm("a | a b <VOID>").can_continue("a")


@pytest.mark.parametrize("rule", RULES)
def test_every_prefix_of_a_sentence_can_continue_and_examples_are_sentences(rule: str) -> None:
    armed = LIBRARY.arm({"x": f"<{rule}>"})
    examples = armed.examples(10)
    assert examples == armed.examples(10)
    assert examples
    for sentence in examples:
        assert len(armed.interpretations(sentence)) == 1
        words = sentence.split()
        for end in range(len(words)):
            assert armed.can_continue(" ".join(words[:end]))
            assert words[end] in armed.next_words(" ".join(words[:end]))


def test_sentences_come_shortest_first_and_once() -> None:
    assert list(arm("[a] b | c | b").sentences()) == ["b", "c", "a b"]
    assert len(list(arm("a+").sentences(5))) == 5


def test_silence_and_case() -> None:
    assert arm("[a] [b]").interpret("") is None
    assert arm("[a] [b]").interpret("  \n ") is None
    assert arm("a b").interpret("  A \t B ") is not None


def test_longest_utterance() -> None:
    digits = LIBRARY.arm({"x": "<readings.digits>"})
    assert digits.interpret(" ".join(["one"] * MAX_WORDS)) is not None
    assert not digits.can_continue(" ".join(["one"] * MAX_WORDS))
    assert digits.interpret(" ".join(["one"] * (MAX_WORDS + 1))) is None
    assert digits.interpret("one " * 200_000) is None


def test_an_explosively_ambiguous_grammar_stays_bounded() -> None:
    armed = arm("( a {k+=1} | a {k+=2} | a a {k+=3} )+")
    assert 2 <= len(armed.interpretations("a " * MAX_WORDS)) <= 16
    assert armed.interpret("a a a") is None


@settings(deadline=None, max_examples=200)
@given(
    st.one_of(
        st.text(max_size=200), st.lists(st.sampled_from(sorted(WIDEST.words())), max_size=45).map(" ".join)
    )
)
def test_garbage_neither_crashes_nor_hangs(text: str) -> None:
    WIDEST.interpret(text)
    WIDEST.can_continue(text)


# Arithmetic: the reference is Python's own fractions.
@pytest.mark.parametrize(
    ("spelled", "value", "resolution"),
    [
        ("14.5", "14.5", "0.1"),
        ("20+1", "21", "1"),
        ("2*100", "200", "1"),
        ("(40+5)*100", "4500", "1"),
        ("4*1000+5*100", "4500", "1"),
        ("0.25", "0.25", "0.01"),
        ("5.0", "5.0", "0.1"),
        ("-(20+1.50)", "-21.50", "0.01"),
        ("007", "7", "1"),
        ("0.5*0.5", "0.25", "0.1"),
    ],
)
def test_decimal_arithmetic(spelled: str, value: str, resolution: str) -> None:
    number = evaluate(spelled)
    assert (str(number.value), str(number.resolution)) == (value, resolution)


def test_fraction_arithmetic_keeps_the_denominator_as_spoken() -> None:
    assert evaluate("2/8") == Number(Fraction(1, 4), Fraction(1, 8), "2/8")
    assert evaluate("1+(20+1)/32") == Number(Fraction(53, 32), Fraction(1, 32), "1+(20+1)/32")


def test_forty_digits_are_not_rounded() -> None:
    digits = "1234567890" * 4
    assert str(evaluate(digits).value) == digits
    assert str(evaluate(f"{digits}.5").value) == f"{digits}.5"


@pytest.mark.parametrize("spelled", ["", "1+", ")", "1/0", "1/0.5", "1..2", "--", "1/(1+1", "+1"])
def test_tags_that_spell_no_number(spelled: str) -> None:
    with pytest.raises(GrammarError, match="no number"):
        evaluate(spelled)


OPERAND = st.integers(0, 999).map(str)
SUM = st.recursive(
    OPERAND, lambda e: st.tuples(e, st.sampled_from("+*"), e).map(lambda t: f"({t[0]}{t[1]}{t[2]})")
)


@given(SUM)
def test_whole_arithmetic_equals_pythons(spelled: str) -> None:
    assert evaluate(spelled).value == eval(
        re.sub(r"\b0+(?=\d)", "", spelled)
    )  # only digits, brackets, + and *


def test_the_units_that_can_be_said() -> None:
    library = Library.load()
    assert library.arm({"x": "<readings.pressure>"}).slot_values("unit") == {"psi", "kPa", "bar"}
    assert library.arm({"x": "<readings.count>"}).slot_values("unit") == frozenset()
    both = library.arm({"x": "<readings.angle>", "y": "<answers.yes_no>"})
    assert both.slot_values("unit") == {"deg"}
    assert both.slot_values("answer") == {"yes", "no"}
