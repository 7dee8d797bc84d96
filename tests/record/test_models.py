"""The format as documented: models, their JSON Schema, and the way up from earlier versions."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from importlib import resources
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import rfc8785
from procedure.driving import START_MS
from session.bay import Scripted, heard, new_job, session, work
from session.conftest import SHORT, SHORT_LINES, WHOLE, WHOLE_LINES

from handsfree.record import (
    SCHEMA,
    JobLog,
    RecordError,
    check_chain,
    current,
    read_log,
    show_text,
    summary_text,
)
from handsfree.record._models import misfit, schema_text
from handsfree.session import Lost, Quiet, SimulatedClock

OLD_JOB = Path(__file__).parent / "schema-1"
SCHEMA_FILE = resources.files("handsfree.record") / "record.schema.json"
VALID = jsonschema.Draft202012Validator(json.loads(SCHEMA_FILE.read_text(encoding="utf-8")))


def job(folder: Path, text: str, lines: list[str]) -> list[dict[str, Any]]:
    clock = SimulatedClock(START_MS)
    work(new_job(folder, text, clock), lines, clock)
    return current(read_log(folder).lines)


def troubled(folder: Path) -> list[dict[str, Any]]:
    """Everything that goes wrong: silence, noise, a refusal, a stop, a lost microphone."""
    clock = SimulatedClock(START_MS)
    started = new_job(folder, SHORT, clock)
    ears = Scripted(
        heard("fabric ply", pcm=b"\x01\x00" * 160),
        heard("fabric", accepted=False, reason="too faint"),
        Quiet(),
        heard("negative"),
        heard("hold work"),
        heard("resume work"),
        Lost("microphone", "pulled out"),
    )
    running = session(started, clock, ears)
    running.run(started.first)
    running.close()
    return current(read_log(folder).lines)


@pytest.fixture
def entries(tmp_path: Path) -> list[dict[str, Any]]:
    return [
        *job(tmp_path / "whole", WHOLE, WHOLE_LINES),
        *job(tmp_path / "short", SHORT, SHORT_LINES),
        *troubled(tmp_path / "troubled"),
    ]


def test_the_schema_in_the_repository_is_the_one_of_the_models() -> None:
    """Regenerate it: python -m handsfree.record._models > handsfree/record/record.schema.json"""
    assert SCHEMA_FILE.read_text(encoding="utf-8") == schema_text()


def test_the_schema_is_a_good_json_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(VALID.schema)


def kinds(entries: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """One line of each kind; the schema's many branches make each line slow to check."""
    return list({(e["kind"], e.get("type"), e.get("waited_s") is None): e for e in entries}.values())


def test_every_line_of_real_jobs_fits_the_models_and_the_schema(entries: list[dict[str, Any]]) -> None:
    assert len(entries) > 200
    assert {"event", "reading", "verdict", "caution", "wait", "pass", "seal", "close"} <= {
        str(entry["kind"]) for entry in entries
    }
    for entry in entries:
        assert misfit(entry) == "", entry
    for entry in kinds(entries):
        VALID.validate(entry)


#: Keys that a line of its kind may lack; of the first line everything but these, as what it says of a job is free.
OPTIONAL = {
    "audio",
    "level",
    "level_db",
    "number",
    "index",
    "decision",
    "reasons",
    "sources",
    "tire",
    "aside",
}
OPENING = {
    "kind",
    "seq",
    "prev",
    "hash",
    "at",
    "mono_ms",
    "procedure_sha256",
    "engine",
    "clock",
    "policy_moved",
}


def test_a_line_without_a_key_or_with_one_more_does_not_fit(entries: list[dict[str, Any]]) -> None:
    for entry in kinds(entries):
        needed = OPENING if entry["kind"] == "open" else entry.keys() - OPTIONAL
        if entry["kind"] == "hold_point":
            needed = needed - {"name", "verified"}  # of a badge only
        if entry.get("type") == "no_input":
            needed = needed - {"engine"}  # of the keyboard only
        for key in needed:
            assert misfit({k: v for k, v in entry.items() if k != key}), (entry, key)
        assert misfit({**entry, "more": 1})
        assert not VALID.is_valid({**entry, "more": 1})
        assert not VALID.is_valid({k: v for k, v in entry.items() if k != "hash"})


def test_every_kind_the_machine_writes_has_a_model() -> None:
    folder = resources.files("handsfree.procedure")
    text = "".join(f.read_text(encoding="utf-8") for f in folder.iterdir() if f.name.endswith(".py"))
    written = set(re.findall(r'(?:turn\.record|Record)\(\s*"(\w+)"', text))
    known = {
        kind
        for model in VALID.schema["$defs"].values()
        for key in ("const", "enum")
        for kind in [model.get("properties", {}).get("kind", {}).get(key, [])]
        for kind in ([kind] if isinstance(kind, str) else kind)
    }
    assert len(written) > 20
    assert written <= known


# -- earlier versions ----------------------------------------------------------------------------


def test_a_job_of_version_1_reads_as_one_of_today() -> None:
    read = read_log(OLD_JOB)
    assert (read.lines[0].body["schema"], len(read.lines), read.damage) == ("1", 128, ())
    assert check_chain(OLD_JOB) == []
    entries = current(read.lines)
    assert entries[0]["schema"] == SCHEMA
    assert [misfit(entry) for entry in entries if misfit(entry)] == []
    for entry in kinds(entries):
        VALID.validate(entry)
    assert "injury.size 5.2 mm inside" in " ".join(show_text(OLD_JOB).split())
    assert "Disposition: practice, not for a real tire: return to service" in summary_text(OLD_JOB)


def test_migrations_are_done_one_after_the_other() -> None:
    lines = read_log(OLD_JOB).lines

    def named(version: str) -> Callable[[list[dict[str, Any]]], list[dict[str, Any]]]:
        return lambda found: [
            {**found[0], "schema": version},
            *({**e, f"v{version}": "x"} for e in found[1:]),
        ]

    found = current(lines, steps={"1": named("1.5"), "1.5": named("3")}, newest="3")
    assert found[0]["schema"] == "3"
    assert all(entry["v1.5"] == entry["v3"] == "x" for entry in found[1:])
    assert read_log(OLD_JOB).lines == lines  # the record itself is as it was


@pytest.mark.parametrize("version", ["3", "", "0"])
def test_a_version_from_elsewhere_is_refused_in_one_line(version: str, tmp_path: Path) -> None:
    JobLog.create(tmp_path / "job", {"schema": version}).close()
    with pytest.raises(RecordError, match=r"reads up to 2; use the handsfree it was written with"):
        current(read_log(tmp_path / "job").lines)


# -- RFC 8785: the library gives the standard's own results ----------------------------------------

#: RFC 8785, section 3.2.2 and its expected output in section 3.2.3, without the numbers that a record never holds.
STANDARD = {
    "string": "\u20ac$\u000f\u000aA'\u0042\u0022\u005c\\\"/",
    "literals": [None, True, False],
}
EXPECTED = b'{"literals":[null,true,false],"string":"' + "\u20ac".encode() + rb"$\u000f\nA'B\"\\\\\"" + b'/"}'


def test_the_canonical_form_is_that_of_rfc_8785() -> None:
    assert rfc8785.dumps(STANDARD) == EXPECTED


def test_keys_are_sorted_by_utf_16_code_units() -> None:
    """RFC 8785, section 3.2.3: the keys of its sorting example come in this order."""
    keys = ["\r", "1", "\u0080", "\u00f6", "\u20ac", "\U0001f600", "\ufb33"]
    text = rfc8785.dumps(dict.fromkeys(reversed(keys), "")).decode()
    assert list(json.loads(text)) == keys
