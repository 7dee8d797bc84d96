"""The check words: enough of them, known to the recognizer, and told apart by ear."""

from __future__ import annotations

import hashlib

import pytest

from handsfree._checking import dictionary
from handsfree.procedure._sounds import alike
from handsfree.record import check_words
from handsfree.record._words import WORDS


def test_the_list_holds_seven_bits_a_word() -> None:
    assert len(set(WORDS)) == 128
    assert list(WORDS) == sorted(WORDS)


def test_every_word_can_be_pronounced_and_no_two_sound_alike() -> None:
    assert all(dictionary().get(word) for word in WORDS)
    assert alike(WORDS, lambda word: dictionary().get(word, ())) == []


def test_the_words_are_the_first_bits_of_the_head() -> None:
    for number in range(200):
        head = hashlib.sha256(str(number).encode()).hexdigest()
        bits = "".join(f"{WORDS.index(word):07b}" for word in check_words(head))
        assert bits == f"{int(head, 16):0256b}"[:35]


@pytest.mark.parametrize(("head", "word"), [("0" * 64, "apron"), ("f" * 64, "winter")])
def test_the_ends_of_the_list(head: str, word: str) -> None:
    assert check_words(head) == (word,) * 5


def test_what_is_no_hash_is_refused() -> None:
    with pytest.raises(ValueError, match="invalid literal"):
        check_words("no hash")
