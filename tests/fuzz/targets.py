"""What every reader must do with any bytes whatever: read them, or refuse them in one line of the house's own.

Each target takes bytes and raises only when a promise is broken. ``test_mutations.py`` feeds them mutated files,
``run.py`` feeds them what a coverage-guided fuzzer finds. The seeds are the repository's own files.
"""

from __future__ import annotations

import atexit
import io
import json
import os
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from rich.console import Console

from handsfree.audio import AudioError, read_sound
from handsfree.audit._course import course
from handsfree.audit._time import times, waits
from handsfree.audit._walk import walk
from handsfree.grammar import Armed, GrammarError, Library, evaluate, typed_to_words
from handsfree.limits import LimitsError, parse_policy
from handsfree.limits._policy_file import parse_quantity
from handsfree.procedure import Book, ProcedureError, PromptError, Prompts, read_procedure
from handsfree.record import RecordError, check_read, exceptions_of, in_present_form, render, tell
from handsfree.record._line import GENESIS, Line, build
from handsfree.record._models import misfit
from handsfree.record._read import LogRead, scan
from handsfree.review._page import job_page
from handsfree.review._source import Source
from handsfree.session import book_of
from handsfree.session._scenario import parse_scenario
from handsfree.shop import ShopError, parse_shop

__all__ = ["TARGETS", "Target"]

_HOUSE = (AudioError, GrammarError, LimitsError, ProcedureError, PromptError, RecordError, ShopError)
_ROOT = Path(__file__).parents[2]
_JOB = _ROOT / "tests" / "record" / "schema-1"
_LONGEST = 2000  # characters of an error: a line, be it a long one


@dataclass(frozen=True, slots=True)
class Target:
    """``feed`` raises for a broken promise only; ``seeds``: what valid input looks like; ``words``: its tokens."""

    feed: Callable[[bytes], None]
    seeds: Callable[[], list[bytes]]
    words: Sequence[bytes] = ()


def _refusing(read: Callable[[bytes], None]) -> Callable[[bytes], None]:
    """A refusal is one line for a person, without anything that moves the cursor of a terminal."""

    def feed(data: bytes) -> None:
        try:
            read(data)
        except _HOUSE as error:
            line = str(error)
            if not line or not line.isprintable() or len(line) > _LONGEST:
                raise AssertionError(f"not one plain line: {line[:300]!r}") from error

    return feed


def _text(read: Callable[[str], object]) -> Callable[[bytes], None]:
    """A reader of text: the callers of all of them refuse what is not UTF-8."""

    def feed(data: bytes) -> None:
        try:
            text = data.decode("utf-8")
        except UnicodeDecodeError:
            return
        read(text)

    return _refusing(feed)


def _files(*patterns: str) -> Callable[[], list[bytes]]:
    def seeds() -> list[bytes]:
        found = [path.read_bytes() for pattern in patterns for path in sorted(_ROOT.glob(pattern))]
        assert found
        return found

    return seeds


# -- the record ------------------------------------------------------------------------------------------


def _log(data: bytes) -> None:
    read = scan(Path("job"), data)
    told = sum(len(line.encode()) for line in read.lines)
    told += sum(damage.size for damage in read.damage if damage.line not in read.numbers)
    assert told == len(data), "a byte is neither in a line nor in a damage"
    assert all(1 <= damage.line <= data.count(b"\n") + 1 for damage in read.damage)
    assert len(read.lines) == len(read.numbers)
    check_read(read)
    _show(read.lines)


def _show(lines: Sequence[Line]) -> None:
    Console(width=80, file=io.StringIO()).print(render(lines))


def _log_seeds() -> list[bytes]:
    lines = (_JOB / "record.jsonl").read_bytes().splitlines(keepends=True)
    return [b"".join(lines[:2]), b"".join(lines[:9]), *(line for line in lines[::11])]


@cache
def _book() -> Book:
    names = ("procedure.toml", "prompts.toml", "policy.toml")
    return book_of({name: (_JOB / name).read_text(encoding="utf-8") for name in names}, "1", to_work_by=False)


def _rechained(data: bytes) -> tuple[Line, ...]:
    """Entries, one a line, made into a chain without a flaw: what is behind it must bear any content."""
    lines: list[Line] = []
    prev = GENESIS
    for raw in data.splitlines():
        try:
            entry = json.loads(raw)
        except (ValueError, RecursionError):
            continue
        if isinstance(entry, dict):
            body = {key: value for key, value in entry.items() if key not in ("seq", "prev", "hash")}
            try:
                lines.append(build(body, len(lines), prev, "2031-03-04T05:06:07.000Z", len(lines)))
            except RecordError:
                continue
            prev = lines[-1].hash
    return tuple(lines)


def _lines(data: bytes) -> None:
    lines = _rechained(data)
    read = LogRead(Path("job"), lines, (), tuple(range(1, len(lines) + 1)))
    findings = check_read(read)
    numbered = list(zip(read.numbers, read.lines, strict=True))
    list(times(numbered))
    list(waits(numbered))
    for line in lines:
        misfit(line.entry)
    rows = tell(lines)
    for row in rows:
        exceptions_of(row)
    _show(lines)
    job_page(Source("job", rows, findings, _book()))
    present = LogRead(Path("job"), in_present_form(lines), (), read.numbers)
    walk(_book(), present)
    try:
        list(course(_book().procedure, numbered))
    except (KeyError, ValueError):  # the audit makes a finding of these
        return


def _lines_seeds() -> list[bytes]:
    lines = (_JOB / "record.jsonl").read_bytes().splitlines(keepends=True)
    return [b"".join(lines[:6]), b"".join(lines[:20]), b"".join(lines[-12:]), b"".join(lines)]


# -- files that people write -----------------------------------------------------------------------------


def _grammar(text: str) -> None:
    library = Library.from_texts({"fuzzed.jsgf": text})
    for rule in library.public_rules()[:2]:
        armed = library.arm({"answer": f"<{rule}>"})
        armed.jsgf()
        armed.words()
        for sentence in armed.examples(2):
            assert armed.interpretations(sentence), sentence


def _scenario(text: str) -> None:
    parse_scenario(text, Path("scenario.toml"))


# -- sound -----------------------------------------------------------------------------------------------


@cache
def _place() -> Path:
    memory = Path("/dev/shm")
    fd, name = tempfile.mkstemp(prefix="handsfree-", dir=memory if memory.is_dir() else None)
    os.close(fd)
    atexit.register(Path(name).unlink, missing_ok=True)
    return Path(name)


def _sound(data: bytes) -> None:
    _place().write_bytes(data)
    pcm = read_sound(_place())
    assert pcm
    assert len(pcm) % 2 == 0


def _flac_seeds() -> list[bytes]:
    import numpy as np
    import soundfile

    found = []
    for rate, channels in ((16000, 1), (44100, 2)):
        tone = (np.sin(np.arange(900) / 9) * 9000).astype("<i2").reshape(-1, channels)
        buffer = io.BytesIO()
        soundfile.write(buffer, tone, rate, format="FLAC", subtype="PCM_16")
        found.append(buffer.getvalue())
    return found


def _wav_seeds() -> list[bytes]:
    import numpy as np
    import soundfile

    found = []
    kinds = [("WAV", "PCM_16", 1), ("WAV", "PCM_24", 2), ("WAVEX", "PCM_32", 1), ("WAV", "FLOAT", 1)]
    for form, subtype, channels in kinds:
        tone = (np.sin(np.arange(400) / 9) * 9000).astype("<i2").reshape(-1, channels)
        buffer = io.BytesIO()
        soundfile.write(buffer, tone, 16000, format=form, subtype=subtype)
        found.append(buffer.getvalue())
    return found


# -- numbers ---------------------------------------------------------------------------------------------


@cache
def _readings() -> Armed:
    library = Library.load()
    rules = [rule for rule in library.public_rules() if rule.startswith("readings.")]
    return library.arm({rule: f"<{rule}>" for rule in rules})


def _number(text: str) -> None:
    words = typed_to_words(text)
    for spoken in (words, text):
        for meaning in _readings().interpretations(spoken):
            assert meaning.number is None or meaning.number.resolution > 0
    for read in (evaluate, parse_quantity):
        try:
            read(text)
        except (GrammarError, LimitsError):
            if read is parse_quantity:
                raise


def _number_seeds() -> list[bytes]:
    typed = [
        "5.5 mm",
        "1 3/8 in",
        "-4 c",
        "205/55R16 91V",
        "1,200 rpm",
        "4*1000+5*100",
        "(1/8+2)*3",
        "35 psi",
    ]
    return [text.encode() for text in (*typed, *_readings().examples(20, seed=1))]


TARGETS = {
    "log": Target(
        _refusing(_log), _log_seeds, (b'"seq":', b'"hash":"', b'"prev":"', b"\n", b"{", b"[", b"\\u0000")
    ),
    "lines": Target(
        _refusing(_lines),
        _lines_seeds,
        (b'"kind":"', b'"at_ms":"', b'"type":"', b'""', b"null", b"[]", b"{}"),
    ),
    "procedure": Target(
        _text(lambda text: read_procedure(text, "fuzzed.toml")),
        _files("handsfree/procedure/procedures/*.toml", "tests/record/schema-1/procedure.toml"),
        (b"[[step]]\n", b'kind = "', b'id = "', b"on = {", b"[[ending]]\n", b'"""', b"\\u0000", b"9" * 50),
    ),
    "prompts": Target(
        _text(lambda text: Prompts(text, "fuzzed.toml")),
        _files("handsfree/procedure/prompts.toml"),
        (b"{", b"}", b"{{", b"[expert]\n", b'"', b" = "),
    ),
    "grammar": Target(
        _text(_grammar),
        _files("grammars/*.jsgf"),
        (
            b"#JSGF V1.0;",
            b"public ",
            b"<a> = ",
            b"(",
            b")",
            b"[",
            b"]",
            b"*",
            b"+",
            b"{",
            b"}",
            b"|",
            b"<NULL>",
        ),
    ),
    "shop": Target(
        _text(lambda text: parse_shop(text, "fuzzed.toml")),
        lambda: [_SHOP],
        (b"[[technician]]\n", b"[[supervisor]]\n", b'badge = "', b'code = "', b'name = "', b"\\n"),
    ),
    "policy": Target(
        _text(parse_policy),
        lambda: [_POLICY, (_JOB / "policy.toml").read_bytes()],
        (b'[limits."', b"[choose]\n", b'limit = "', b'severity = "', b"1/8", b"\\n"),
    ),
    "scenario": Target(
        _text(_scenario),
        _files("handsfree/demo_data/scenario.toml"),
        (b"[[line]]\n", b'file = "', b"pause_s = ", b"inf", b"nan", b"\\n"),
    ),
    "wav": Target(_refusing(_sound), _wav_seeds, (b"RIFF", b"WAVE", b"fmt ", b"data", b"\xff\xff\xff\xff")),
    "flac": Target(_refusing(_sound), _flac_seeds, (b"fLaC", b"\xff\xf8", b"\x84\x00", b"RIFF")),
    "number": Target(
        _text(_number), _number_seeds, (b"1/8", b" and ", b"point ", b"*10", b"+", b"(", b"-", b",", b"mm")
    ),
}

_SHOP = b"""name = "Harbor Row"
[[technician]]
badge = "17"
name = "Mara Lindqvist"
[[supervisor]]
badge = "409"
name = "R. Holt"
code = "granite window"
"""
_POLICY = b"""name = "our shop"
base = "us"
[choose]
"injury.edge.min" = "inch_and_half"
[limits."injury.size.max"]
limit = "5 mm"
[limits."buffer.rpm.max"]
limit = "5500 rpm"
allowed_by = "A. Supervisor"
why = "buffer measured at 4900 rpm under load"
"""
