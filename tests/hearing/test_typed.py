"""The keyboard, and engines by name."""

from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.hearing import ENGINES, EngineError, TypedEngine, Word, make_engine


def typed(engine: TypedEngine, *parts: bytes) -> str:
    engine.begin()
    for part in parts:
        engine.feed(part)
    return engine.end().text


def test_what_is_typed_is_heard() -> None:
    engine = TypedEngine()
    assert typed(engine, b"One  four\tPOINT ", b"five\n") == "one four point five"
    assert typed(engine, b"") == ""


def test_the_hook_puts_figures_into_words() -> None:
    engine = TypedEngine(lambda text, armed: text.replace("1.5", " one point five "))
    engine.begin()
    engine.feed(b"1.5 mm")
    assert engine.partial() == "one point five mm"
    found = engine.end()
    assert found.words == tuple(Word(w, 0.0, 0.0) for w in ("one", "point", "five", "mm"))
    assert (found.engine, found.accepted) == ("typed", True)


def test_letters_cut_in_two_and_rubbish_bytes() -> None:
    assert typed(TypedEngine(), "é".encode()[:1], "é".encode()[1:]) == "é"
    assert typed(TypedEngine(), b"\xff\xfe one") == "\ufffd\ufffd one"


def test_engines_by_name() -> None:
    assert ENGINES == ("pocketsphinx", "vosk", "typed")
    assert make_engine("typed", normalise=lambda text, armed: text.upper()).name == "typed"
    assert make_engine("pocketsphinx").name == "pocketsphinx"


@pytest.mark.parametrize("name", ["", "Vosk", "other"])
def test_an_unknown_engine_is_told_the_known_ones(name: str) -> None:
    with pytest.raises(EngineError, match="pocketsphinx, vosk, typed"):
        make_engine(name)


def test_vosk_wants_a_model(tmp_path: Path) -> None:
    with pytest.raises(EngineError, match="--model"):
        make_engine("vosk")
    with pytest.raises(EngineError, match="no such folder"):
        make_engine("vosk", tmp_path / "nothing")
