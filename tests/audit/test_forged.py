"""A record changed by somebody who writes the whole chain anew, hashes and check words: the audit's own checks.

Such a record has other check words than those that were spoken, and no signature; here it is looked at without
either, to see what the replay, the rules, the clocks and the grammars find by themselves.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from session.bay import reopen
from session.conftest import SHORT, SHORT_LINES

from handsfree.audit import audit
from handsfree.record import _migrate, check_words, read_log

from .jobs import LINES, RECORD, Entries, checks, copy_of, forge, found, whole_job


def at(entries: Entries, kind: str, **body: str) -> int:
    """Where the first line of that kind and body is."""
    return next(
        n for n, e in enumerate(entries) if e["kind"] == kind and all(e.get(k) == v for k, v in body.items())
    )


def lose(kind: str, **body: str) -> Callable[[Entries], Entries]:
    def change(entries: Entries) -> Entries:
        place = at(entries, kind, **body)
        return entries[:place] + entries[place + 1 :]

    return change


def put(kind: str, key: str, new: Any, /, **body: str) -> Callable[[Entries], Entries]:
    def change(entries: Entries) -> Entries:
        place = at(entries, kind, **body)
        assert entries[place][key] != new
        return [{**e, key: new} if n == place else e for n, e in enumerate(entries)]

    return change


def test_writing_the_chain_anew_changes_nothing_by_itself(job: Path) -> None:
    """Else the tests below would prove nothing."""
    before = (job / RECORD).read_bytes()
    assert (forge(job, list) / RECORD).read_bytes() == before


def shifted(entry: dict[str, Any], ms: int) -> dict[str, Any]:
    moment = datetime.fromisoformat(entry["at"]) + timedelta(milliseconds=ms)
    changed = {**entry, "at": f"{moment:%Y-%m-%dT%H:%M:%S}.{moment.microsecond // 1000:03d}Z"}
    changed["mono_ms"] = entry["mono_ms"] + ms
    if "at_ms" in entry:
        changed["at_ms"] = str(int(entry["at_ms"]) + ms)
    return changed


def wait_cut_short(entries: Entries) -> Entries:
    """The drying wait is over after 40 of its 200 seconds, by every clock in the record, figures and all."""
    place = at(entries, "wait", outcome="over")
    event = place - 1
    assert entries[event]["type"] == "timer"
    later = [shifted(e, -160_000) for e in entries[event:]]
    later[1]["waited_s"] = str(int(later[1]["waited_s"]) - 160)
    return entries[:event] + later


def clocks_only(entries: Entries) -> Entries:
    """The wait is over by the machine's time, while the clocks of the computer went on by 40 seconds only."""
    event = at(entries, "wait", outcome="over") - 1
    kept = {n: e.get("at_ms") for n, e in enumerate(entries)}
    later = [shifted(e, -160_000) for e in entries[event:]]
    for n, e in enumerate(later, start=event):
        if kept[n] is not None:
            e["at_ms"] = kept[n]
    return entries[:event] + later


FIVE_TWO = "five point two millimeters"
FORGERIES: dict[str, tuple[Callable[[Entries], Entries], set[str]]] = {
    "a value": (put("reading", "value", "4.5", value="5.2"), {"replay", "judged"}),
    "a verdict": (put("verdict", "margin", "9 mm"), {"replay", "judged"}),
    "a loosened limit's source": (put("verdict", "source", "published"), {"replay", "judged"}),
    "what was understood": (
        put("event", "number", {"value": "5.3", "resolution": "0.1", "spelled": "5.3"}, text=FIVE_TWO),
        {"parse", "replay", "spoken"},
    ),
    "what was heard": (put("event", "hypothesis", "completed", text=FIVE_TWO), {"parse"}),
    "a refused sound that counts": (put("event", "accepted", "false", text="affirmative"), {"parse"}),
    "a no-match that was an answer": (put("event", "hypothesis", FIVE_TWO, type="no_match"), {"parse"}),
    "what was said": (put("event", "text", "All is well.", say_kind="read_back"), {"spoken"}),
    "a caution not played whole": (
        put("event", "completed", "false", say_kind="caution"),
        {"replay", "caution"},
    ),
    "a caution not told": (lose("told"), {"replay", "caution"}),
    "a caution not read back": (lose("caution"), {"replay", "caution"}),
    "a caution in other words": (put("caution", "read_back", "flame"), {"replay", "caution"}),
    "a pass left out": (lose("pass", n="2"), {"replay", "passes"}),
    "fewer passes due": (put("pass", "target", "2", n="2"), {"replay", "judged"}),
    "a shorter wait planned": (put("wait", "planned_s", "20", outcome="started"), {"replay", "judged"}),
    "a wait cut short": (wait_cut_short, {"wait"}),
    "a wait by one clock only": (clocks_only, {"time", "wait"}),
    "a wait not begun": (lose("wait", outcome="started"), {"replay", "wait"}),
    "a step skipped": (lose("step", step="care"), {"replay", "course"}),
    "a release without a badge": (lose("hold_point", by="supervisor badge 12"), {"replay"}),
    "a disposition": (put("close", "disposition", "good as new"), {"replay"}),
    "an exception forgotten": (put("close", "exceptions", []), {"replay"}),
    "a limit not called loosened": (put("open", "policy_moved", []), {"open"}),
    "another technician": (put("open", "technician", "Bea"), {"open"}),
    "another technician at the start": (put("event", "job", {"technician": "Bea"}, type="start"), {"open", "replay"}),
    "practice made real": (put("open", "practice", ""), {"clock", "open"}),
    "a key of no meaning": (
        lambda entries: [{**e, "more": "x"} if e["kind"] == "step" else e for e in entries],
        {"format", "replay"},
    ),
    "time that runs back": (
        lambda entries: [*entries[:60], shifted(entries[60], -90_000), *entries[61:]],
        {"time"},
    ),
}  # fmt: skip


@pytest.mark.parametrize("what", FORGERIES)
def test_a_forgery_is_found_by_the_checks_that_should(what: str, job: Path) -> None:
    change, wanted = FORGERIES[what]
    report = audit(forge(job, change))
    assert not report.passed
    assert wanted <= checks(report), report.findings
    assert {"line", "torn"}.isdisjoint(checks(report))  # the chain itself is whole


# -- every line and every key, forged ------------------------------------------------------------

#: What nothing in the record contradicts when it alone is changed: how it sounded and by which program and engine
#: it was heard. The check words and a signature cover these too.
FREE = {
    "open": {"tool", "engine", "input", "at", "mono_ms"},
    "event": {"scores", "words", "level", "engine"},
}
EVERY = [pytest.param(23, id="sample"), pytest.param(1, id="all", marks=pytest.mark.exhaustive)]


def moved_on(entry: dict[str, Any], key: str) -> Any:
    """Another value of the same type."""
    value = entry[key]
    if key == "at_ms":
        return str(int(value) + 3_600_000)  # some milliseconds more are within what clocks differ
    if key == "at":
        return shifted(entry, 3_600_000)["at"]
    if isinstance(value, int):
        return value + 3_600_000
    if isinstance(value, str):
        return str(int(value) + 7) if value.isdigit() else f"{value}x"
    if isinstance(value, list):
        return [*value, ["x", "y"] if key == "slots" else "x"]
    return {**value, "x": "y"}


def key_forgeries(entries: Entries) -> Iterator[tuple[int, str]]:
    for number, entry in enumerate(entries):
        sealed = entry["kind"] == "seal" or entry.get("type") == "sealed"
        own = {"seq", "prev", "hash", *(("head", "words") if sealed else ())}
        for key in sorted(entry.keys() - own - FREE.get(entry["kind"], set())):
            yield number, key


@pytest.mark.parametrize("every", EVERY)
def test_any_key_of_any_line_changed_with_the_chain_written_anew_is_found(every: int, job: Path) -> None:
    entries = [dict(line.entry) for line in read_log(job).lines]
    places = list(key_forgeries(entries))[::every]
    for number, key in places:
        if entries[number]["kind"] == "event" and key == "text" and number > len(entries) - 3:
            continue  # chained() writes the check words anew there
        changed = {**entries[number], key: moved_on(entries[number], key)}
        forge_to = [*entries[:number], changed, *entries[number + 1 :]]
        assert found(forge(job, lambda _, lines=forge_to: lines)), (number + 1, key)  # type: ignore[misc]
    print(f"{len(places)} keys forged, all found")
    assert len(places) > 900 // every


@pytest.mark.parametrize("every", EVERY)
def test_any_line_lost_doubled_or_moved_with_the_chain_written_anew_is_found(every: int, job: Path) -> None:
    entries = [dict(line.entry) for line in read_log(job).lines]
    tried = 0
    for n in range(1, len(entries), every):
        rest = entries[:n] + entries[n + 1 :]
        changes = [rest, [*entries[: n + 1], *entries[n:]], [*rest, entries[n]]]
        if n + 1 < len(entries):
            changes.append([*entries[:n], entries[n + 1], entries[n], *entries[n + 2 :]])
        for changed in changes[: 2 if n + 1 == len(entries) else 4]:
            assert found(forge(job, lambda _, lines=changed: lines)), n + 1  # type: ignore[misc]
            tried += 1
    print(f"{tried} lines forged, all found")
    assert tried > 3 * (len(entries) // every)


# -- what is no forgery --------------------------------------------------------------------------


def test_the_check_words_that_were_written_down_tell_another_record(original: Path, tmp_path: Path) -> None:
    words = audit(original).check_words
    assert len(words) == 5
    assert audit(original, words=words).passed
    other = whole_job(tmp_path / "other", [*LINES[:4], *LINES[5:]])  # the same without its "rhubarb"
    assert audit(other).passed
    assert checks(audit(other, words=words)) == {"head"}
    forged = forge(
        copy_of(original, tmp_path / "forged"), put("event", "scores", {"grammar": "0.1"}, type="no_match")
    )
    assert audit(forged).passed  # nothing contradicts it
    assert checks(audit(forged, words=words)) == {"head"}


def test_the_words_are_those_of_the_line_before_the_seal(original: Path) -> None:
    lines = read_log(original).lines
    seal = next(n for n, line in enumerate(lines) if line.body.get("type") == "sealed")
    assert audit(original).check_words == check_words(lines[seal - 1].hash)
    said = next(line for line in lines[seal:] if line.body.get("type") == "spoken")
    assert said.body["text"] == f"Check words: {', '.join(check_words(lines[seal - 1].hash))}."


def test_a_job_cut_off_anywhere_and_gone_on_with_is_no_forgery(tmp_path: Path) -> None:
    """Power lost at every ninth line; opened again and finished, its audit finds nothing."""
    from session.bay import work

    job = whole_job(tmp_path / "job", SHORT_LINES, SHORT)
    raw = (job / RECORD).read_bytes().splitlines(keepends=True)
    finished = next(n for n, line in enumerate(raw) if b'"kind":"close"' in line)
    for kept in range(1, finished, 9):
        cut = copy_of(job, tmp_path / f"cut-{kept}")
        (cut / RECORD).write_bytes(b"".join(raw[:kept]))
        again, clock = reopen(cut)
        done = sum(e.body.get("type") in ("answer", "command", "no_match") for e in again.log.lines)
        assert work(again, SHORT_LINES[done:], clock) in ("returned", "unfinished")
        assert not audit(cut).errors, (kept, audit(cut).findings)


@pytest.mark.parametrize("cut", range(1, 6))
def test_a_finished_job_without_its_last_lines_says_so_and_is_completed(cut: int, job: Path) -> None:
    raw = (job / RECORD).read_bytes().splitlines(keepends=True)
    assert b'"kind":"seal"' in raw[-2]
    (job / RECORD).write_bytes(b"".join(raw[:-cut]))
    report = audit(job)
    assert checks(report) == {"end"}
    assert "handsfree resume completes it" in report.findings[-1].message
    with pytest.raises(Exception, match="is finished"):
        reopen(job)
    assert audit(job).passed
    assert audit(job).check_words


def test_an_unfinished_job_is_told_from_a_bad_one(tmp_path: Path) -> None:
    report = audit(whole_job(tmp_path / "job", LINES[:8]))
    assert report.passed
    assert not report.finished
    assert [(f.severity, f.check) for f in report.findings if f.severity != "note"] == [("warn", "end")]


OLD_JOB = Path(__file__).parent.parent / "record" / "schema-1"


def test_a_job_of_an_earlier_line_format_is_still_found_good(tmp_path: Path) -> None:
    report = audit(OLD_JOB)
    assert report.passed, report.findings
    assert (report.finished, report.check_words, report.lines) == (True, (), 128)
    spoiled = copy_of(OLD_JOB, tmp_path / "job")
    path = spoiled / RECORD
    path.write_bytes(path.read_bytes().replace(b'"value":"5.2"', b'"value":"5.1"', 1))
    assert "line" in checks(audit(spoiled))


def test_a_slow_start_is_no_invented_time(job: Path) -> None:
    """The voice takes ten seconds to load: the job's first event is that much older than its line."""
    forge(job, lambda lines: [*lines[:1], *(_late(e) if i < 2 else e for i, e in enumerate(lines[1:]))])
    assert [f for f in found(job) if f.check == "time"] == []


def _late(entry: dict[str, Any]) -> dict[str, Any]:
    later = shifted({k: v for k, v in entry.items() if k != "at_ms"}, 6_000)
    return {**later, **({"at_ms": entry["at_ms"]} if "at_ms" in entry else {})}


def test_a_replay_is_compared_with_the_lines_in_their_present_form(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As if format 1 had written "value" as "amount": the file stays, the step of the migration tells."""

    step = _migrate.STEPS["1"]

    def renamed(lines: Entries) -> Entries:
        fresh = [{("value" if k == "amount" else k): v for k, v in e.items()} for e in lines]
        return step(fresh)

    def aged(lines: Entries) -> Entries:
        return [
            {("amount" if k == "value" and e["kind"] == "reading" else k): v for k, v in e.items()}
            for e in lines
        ]

    old = forge(copy_of(OLD_JOB, tmp_path / "job"), aged)
    assert {"format", "replay"} <= checks(audit(old))
    monkeypatch.setitem(_migrate.STEPS, "1", renamed)  # type: ignore[arg-type]
    assert audit(old).passed
