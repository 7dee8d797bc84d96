"""The JSGF reader: what it takes, what it refuses, and where it points."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.grammar import Armed, GrammarError, Library

HEAD = "#JSGF V1.0;\ngrammar t;\n"

# The JSGF 1.0 specification's own examples, from memory; what each must take and refuse.
GOOD = [
    ("words", "public <r> = open the window;", ["open the window"], ["open window", "open the window now"]),
    ("choice", "public <r> = small | medium | large;", ["small", "large"], ["small large", ""]),
    (
        "optional",
        "public <r> = [please | kindly] open;",
        ["open", "kindly open"],
        ["please", "please kindly open"],
    ),
    ("star", "public <r> = please* don't crash;", ["don't crash", "please please don't crash"], ["please"]),
    ("plus", "public <r> = please+ don't crash;", ["please don't crash"], ["don't crash"]),
    (
        "weights",
        "public <r> = /10/ small | /2.5/ medium thing | /1/ ( a | b );",
        ["medium thing", "b"],
        ["10"],
    ),
    ("group", "public <r> = ( a | b ) ( c | d );", ["a c", "b d"], ["a b", "c"]),
    ("rules", "public <r> = <verb> it; <verb> = stop | go;", ["stop it"], ["it"]),
    ("null", "public <r> = a <NULL> b;", ["a b"], ["a"]),
    ("void", "public <r> = a | b <VOID> c;", ["a"], ["b c", "b"]),
    ("quoted", 'public <r> = "new york" city;', ["new york city"], ["new city"]),
    ("line comment", "// public <x> = y;\npublic <r> = a; // b", ["a"], ["b"]),
    ("block comment", "/* one\n two */ public <r> = a /* or */ | b;", ["a", "b"], ["or"]),
    ("keywords are words", "public <r> = public grammar import;", ["public grammar import"], ["grammar"]),
    ("capitals", "public <R> = Stop;", ["stop", "STOP"], []),
    (
        "apostrophe, hyphen",
        "public <r> = three o'clock x-ray;",
        ["three o'clock x-ray"],
        ["three oclock x ray"],
    ),
    ("tags", "public <r> = a {k=1} {k=2} | ( b c ) {k=3};", ["a", "b c"], ["k"]),
    ("tag with a brace", "public <r> = a {k=\\}};", ["a"], []),
    ("repeat a group", "public <r> = ( a b | c )+;", ["a b c a b"], ["a", "a b a"]),
    ("own qualified name", "public <r> = <t.x>; <x> = a;", ["a"], ["b"]),
    ("byte order mark", "public <r> = a;", ["a"], ["b"]),
]


def armed(body: str, head: str = HEAD) -> Armed:
    library = Library.from_texts({"t.jsgf": head + body})
    return library.arm({"x": f"<{library.public_rules()[0]}>"})


@pytest.mark.parametrize(("name", "body", "inside", "outside"), GOOD, ids=[row[0] for row in GOOD])
def test_takes_exactly_the_sentences(name: str, body: str, inside: list[str], outside: list[str]) -> None:
    grammar = armed(body, "\ufeff" + HEAD if name == "byte order mark" else HEAD)
    for sentence in inside:
        assert grammar.interpret(sentence) is not None, sentence
    for sentence in outside:
        assert grammar.interpret(sentence) is None, sentence


@pytest.mark.parametrize("header", ["#JSGF V1.0;", "#JSGF V1.0 UTF-8;", "#JSGF V1.0 ISO8859-1 en;"])
def test_headers(header: str) -> None:
    assert armed("public <r> = a;", f"{header}\ngrammar t;\n").interpret("a")


# (name, text after the two head lines, where, a word of the advice)
BAD = [
    ("undefined rule", "public <r> = <x>;", "3:14", "undefined"),
    ("undefined qualified", "public <r> = a <o.x>;", "3:16", "undefined"),
    ("duplicate", "public <r> = a;\n<r> = b;", "4:1", "already defined on line 3"),
    ("recursion", "public <r> = a <r>;", "3:8", "recursion"),
    ("recursion by two", "public <r> = a [<s>];\n<s> = b <r>;", "3:8", "<t.r> -> <t.s> -> <t.r>"),
    ("recursion never used", "public <r> = a;\n<s> = b <s>;", "4:1", "recursion"),
    ("no semicolon", "public <r> = a", "3:15", "';'"),
    ("empty rule", "public <r> = ;", "3:14", "a word"),
    ("empty alternative", "public <r> = a | ;", "3:18", "a word"),
    ("empty group", "public <r> = ( );", "3:16", "a word"),
    ("open bracket", "public <r> = ( a;", "3:17", "')'"),
    ("stray bracket", "public <r> = a );", "3:16", "';'"),
    ("star first", "public <r> = * a;", "3:14", "a word"),
    ("open tag", "public <r> = a {k=1;", "3:16", "{tag}"),
    ("tag first", "public <r> = {k=1} a;", "3:14", "a word"),
    ("tag of no kind", "public <r> = a {hello};", "3:16", "neither"),
    ("mixed weights", "public <r> = /1/ a | b;", "3:14", "weight"),
    ("no rule", "", "1:1", "no rules"),
    ("import of nothing", "import <o.x>;\npublic <r> = a;", "3:8", "no grammar 'o'"),
    ("import without grammar", "import <x>;\npublic <r> = a;", "3:8", "name the grammar"),
    ("rule named null", "public <NULL> = a;", "3:8", "can't be defined"),
    ("dotted rule", "public <a.b> = a;", "3:8", "plain name"),
    ("star reference", "public <r> = <t.*>;", "3:14", "name one"),
    ("strange word", "public <r> = a $$;", "3:16", "word"),
    ("empty quotes", 'public <r> = a " ";', "3:16", "<NULL>"),
    ("unknown sign", "public <r> = a # b;", "3:16", "unexpected '#'"),
]


@pytest.mark.parametrize(("name", "body", "where", "advice"), BAD, ids=[row[0] for row in BAD])
def test_refuses_in_one_line_that_says_where_and_what(name: str, body: str, where: str, advice: str) -> None:
    with pytest.raises(GrammarError) as wrong:
        Library.from_texts({"t.jsgf": HEAD + body})
    message = str(wrong.value)
    assert message.startswith(f"t.jsgf:{where}: "), message
    assert advice in message
    assert "\n" not in message


@pytest.mark.parametrize(
    "text", ["", "grammar t;", "#JSGF V2.0;\ngrammar t;", "#ABNF 1.0;", "#JSGF V1.0\ngrammar t;"]
)
def test_bad_header(text: str) -> None:
    with pytest.raises(GrammarError, match=r"t\.jsgf:1:1: .*#JSGF V1\.0;"):
        Library.from_texts({"t.jsgf": text})


def test_too_long_a_file() -> None:
    with pytest.raises(GrammarError, match="split it"):
        Library.from_texts({"t.jsgf": HEAD + "public <r> = a;" + " " * 400_000})


OTHER = "#JSGF V1.0;\ngrammar o;\npublic <x> = a {k=1};\npublic <y> = b;\n<z> = c;\n"


@pytest.mark.parametrize(
    "body",
    [
        "import <o.x>;\npublic <r> = <x>;",
        "import <o.x>;\npublic <r> = <o.x>;",
        "import <o.*>;\npublic <r> = <x>;",
        "public <r> = <o.x>;",
    ],
)
def test_imports(body: str) -> None:
    grammar = Library.from_texts({"t.jsgf": HEAD + body, "o.jsgf": OTHER}).arm({"l": "<t.r>"})
    meaning = grammar.interpret("a")
    assert meaning is not None
    assert (meaning.label, meaning.slot("k")) == ("l", "1")


@pytest.mark.parametrize(
    ("body", "advice"),
    [
        ("import <o.z>;\npublic <r> = a;", "no public rule"),
        ("public <r> = <o.z>;", "private"),
        ("import <o.x>;\npublic <r> = <y>;", "undefined"),
    ],
)
def test_only_public_rules_are_shared(body: str, advice: str) -> None:
    with pytest.raises(GrammarError, match=advice):
        Library.from_texts({"t.jsgf": HEAD + body, "o.jsgf": OTHER})


def test_own_rule_hides_an_imported_one() -> None:
    texts = {"t.jsgf": HEAD + "import <o.*>;\npublic <r> = <x>;\n<x> = mine;", "o.jsgf": OTHER}
    assert Library.from_texts(texts).arm({"l": "<t.r>"}).interpret("mine")


def test_two_files_of_one_grammar() -> None:
    with pytest.raises(GrammarError, match=r"b\.jsgf:1:1: grammar o is already in a\.jsgf"):
        Library.from_texts({"a.jsgf": OTHER, "b.jsgf": OTHER})


@pytest.mark.parametrize(
    ("expansion", "advice"),
    [
        ("<o.nothing>", "undefined"),
        ("<o.z>", "private"),
        ("<x>", "undefined"),
        ("a |", "a word"),
        ("", "a word"),
        ("[a]*", "can be empty"),
        ("( [a] b* )+", "can be empty"),
        ("( <NULL> {k=1} )*", "can be empty"),
        ("(" * 100 + "a" + ")" * 100, "brackets deep"),
    ],
)
def test_bad_inline_expansions_name_their_label(expansion: str, advice: str) -> None:
    with pytest.raises(GrammarError, match=advice) as wrong:
        Library.from_texts({"o.jsgf": OTHER}).arm({"fine": "a", "broken": expansion})
    assert str(wrong.value).startswith("<broken>:1:")


@pytest.mark.parametrize("expansion", ["<VOID>", "a <VOID> | <VOID> b", " ".join(["a"] * 41)])
def test_a_grammar_nobody_can_speak_is_refused(expansion: str) -> None:
    with pytest.raises(GrammarError, match="can be said"):
        Library.from_texts({"o.jsgf": OTHER}).arm({"x": expansion})


def test_nothing_to_arm() -> None:
    with pytest.raises(GrammarError, match="nothing to arm"):
        Library.from_texts({"o.jsgf": OTHER}).arm({})


def test_a_grammar_that_doubles_at_each_rule_is_refused_not_built() -> None:
    doubling = "".join(f"<r{n}> = <r{n + 1}> <r{n + 1}>;\n" for n in range(40))
    library = Library.from_texts({"t.jsgf": HEAD + "public <r> = <r0>;\n" + doubling + "<r40> = a;"})
    with pytest.raises(GrammarError, match=r"more than .* states"):
        library.arm({"x": "<t.r>"})


def test_a_very_long_chain_of_rules_is_refused_not_a_stack_overflow() -> None:
    chain = "".join(f"<r{n}> = <r{n + 1}>;\n" for n in range(3000))
    library = Library.from_texts({"t.jsgf": HEAD + "public <r> = <r0>;\n" + chain + "<r3000> = a;"})
    with pytest.raises(GrammarError, match="nested deeper"):
        library.arm({"x": "<t.r>"})


def test_a_chain_under_a_star_is_refused_too() -> None:
    chain = "".join(f"<r{n}> = <r{n + 1}>;\n" for n in range(3000))
    library = Library.from_texts({"t.jsgf": HEAD + "public <r> = <r0>+;\n" + chain + "<r3000> = a;"})
    with pytest.raises(GrammarError, match="nested deeper"):
        library.arm({"x": "<t.r>"})


PIECES = [
    *'ab<>=|*+()[]{};/."\\# \n1',
    "public ",
    "<r>",
    "<NULL>",
    "{k=1}",
    "import ",
    "public <r> = a",
    "\u00e9",
]


def refusal(body: str) -> str | None:
    try:
        Library.from_texts({"t.jsgf": HEAD + body})
    except GrammarError as wrong:
        return str(wrong)
    return None


@settings(deadline=None, max_examples=300)
@given(st.lists(st.sampled_from(PIECES), max_size=40))
def test_any_text_is_read_or_refused_in_one_line(body: list[str]) -> None:
    message = refusal("".join(body))
    if message is not None:
        assert re.match(r"t\.jsgf:\d+:\d+: \S", message)
        assert "\n" not in message
