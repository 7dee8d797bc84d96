"""Valid files, mutated: every reader reads them or refuses them in one line, soon, and with little memory."""

from __future__ import annotations

import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from .targets import TARGETS, Target

_SECONDS = 10
_ODD = (
    b"\0",
    b"\xff",
    b"\r\n",
    b"\x1b[2J",
    b"\xe2\x80\xae",
    b'"',
    b"'",
    b"\\",
    b"-1",
    b"1e999",
    b"0" * 40,
    b"",
)
EXAMPLES = {"lines": 60, "grammar": 60}


@contextmanager
def no_longer_than(seconds: int) -> Iterator[None]:
    """An alarm: a reader that hangs fails here and not an hour later."""
    if sys.platform == "win32" or threading.current_thread() is not threading.main_thread():
        yield
        return

    def ring(_signal: int, _frame: object) -> None:
        raise AssertionError(f"took longer than {seconds} s")

    before = signal.signal(signal.SIGALRM, ring)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def mutate(data: st.DataObject, target: Target, seeds: list[bytes]) -> bytes:
    """A seed with up to six changes: bits, pieces cut out, doubled or put elsewhere, tokens, parts of other seeds."""
    content = data.draw(st.sampled_from(seeds))
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(content)))
        end = min(len(content), at + data.draw(st.sampled_from((0, 1, 2, 4, 20, 200))))
        match data.draw(st.sampled_from(("flip", "cut", "double", "token", "splice", "bytes"))):
            case "flip" if at < len(content):
                bit = bytes([content[at] ^ 1 << data.draw(st.integers(0, 7))])
                content = content[:at] + bit + content[at + 1 :]
            case "cut":
                content = content[:at] + content[end:]
            case "double":
                content = content[:end] + content[at:]
            case "token":
                token = data.draw(st.sampled_from((*target.words, *_ODD)))
                content = content[:at] + token + content[end:]
            case "splice":
                other = data.draw(st.sampled_from(seeds))
                content = content[:at] + other[data.draw(st.integers(0, len(other))) :]
            case _:
                content = content[:at] + data.draw(st.binary(max_size=8)) + content[end:]
    return content[:65536]


@pytest.mark.parametrize("name", TARGETS)
def test_a_changed_file_is_read_or_refused(name: str) -> None:
    target = TARGETS[name]
    seeds = target.seeds()
    for seed in seeds:
        target.feed(seed)

    @settings(max_examples=EXAMPLES.get(name, 100), deadline=None, suppress_health_check=list(HealthCheck))
    @given(st.data())
    def run(data: st.DataObject) -> None:
        content = mutate(data, target, seeds)
        with no_longer_than(_SECONDS):
            target.feed(content)

    run()
