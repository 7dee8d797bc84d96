"""The sound in the page is the sound in the job's folder, or the page says why there is none."""

from __future__ import annotations

import base64
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from urllib.parse import unquote

import pytest

from handsfree.record import JobLog, read_log
from handsfree.review import forget_pages, job_page, read_source, review_folder, review_job

from .conftest import UTC_CLOCK, XHTML, page, parse, words

Jobs = Callable[[str], Path]


def heard(folder: Path) -> dict[str, str]:
    """Line number -> audio path, for every utterance of the record."""
    return {str(x.seq): str(x.body["audio"]) for x in read_log(folder).lines if x.body.get("audio")}


def test_every_utterance_can_be_played_at_its_line(job: Jobs) -> None:
    folder = job("unfinished")
    root = page(folder)
    rows = {one.get("id"): one for one in root.iter(f"{XHTML}tr") if one.get("id")}
    wanted = heard(folder)
    assert len(wanted) > 20
    for seq, path in wanted.items():
        (audio,) = rows[f"line-{int(seq) + 1}"].iter(f"{XHTML}audio")
        kind, _, data = (audio.get("src") or "").partition(";base64,")
        assert kind == "data:audio/flac"
        assert base64.b64decode(data) == (folder / path).read_bytes()
        assert audio.get("controls") is not None
        # Counted from one, as the audit and an editor count the lines of the file.
        assert audio.get("aria-label") == f"Utterance of line {int(seq) + 1}"
    assert len(list(root.iter(f"{XHTML}audio"))) == len(wanted)


def test_what_is_over_the_size_limit_is_left_out_and_says_so(job: Jobs) -> None:
    folder = job("eventful")
    size = next((folder / "audio").iterdir()).stat().st_size
    source = read_source(folder, audio_limit=10 * size)
    kept = [path for path, sound in source.sounds.items() if sound.uri]
    assert len(kept) == 10
    text = words(parse(job_page(source, UTC_CLOCK)))
    assert text.count("left out for size; it is in the job\u2019s folder") == len(heard(folder)) - 10
    assert f"{len(heard(folder)) - 10} utterances can\u2019t be played on this page" in text


def test_what_is_out_of_the_ordinary_keeps_its_sound_first(job: Jobs) -> None:
    folder = job("eventful")
    size = next((folder / "audio").iterdir()).stat().st_size
    source = read_source(folder, audio_limit=3 * size)
    kept = {path for path, sound in source.sounds.items() if sound.uri}
    first = list(heard(folder).values())[:3]
    assert len(kept) == 3
    assert kept != set(first)


def test_a_changed_sound_is_not_played(copied: Jobs) -> None:
    folder = copied("unfinished")
    changed, missing = list(heard(folder).values())[:2]
    with (folder / changed).open("ab") as file:
        file.write(b"\x01")
    (folder / missing).unlink()
    text = words(page(folder))
    assert f"THE SOUND WAS CHANGED: {changed}" in text
    assert f"the sound is missing: {missing}" in text


@pytest.mark.parametrize(
    "path",
    [
        "../secret.wav",
        "/etc/passwd",
        "audio/../secret.wav",
        "audio/secret.wav",
        "spoken/secret.wav",
        "audio/",
    ],
)
def test_a_record_can_not_pull_other_files_into_the_page(path: str, tmp_path: Path) -> None:
    (tmp_path / "secret.wav").write_bytes(b"RIFF secret")
    folder = tmp_path / "job"
    with JobLog.create(folder, {"technician": "Ana"}) as log:
        (folder / "audio" / "secret.wav").write_bytes(b"RIFF secret")
        log.append([{"kind": "event", "type": "answer", "text": "x", "audio": path}])
    text = job_page(read_source(folder), UTC_CLOCK)
    assert base64.b64encode(b"RIFF secret").decode() not in text
    assert "<audio" not in text
    assert "not the name of a kept utterance" in words(parse(text))


def test_a_sound_that_was_not_to_be_kept_is_no_fault(tmp_path: Path) -> None:
    folder = tmp_path / "job"
    with JobLog.create(folder, {"technician": "Ana"}) as log:
        log.append([{"kind": "event", "type": "answer", "text": "(code word)", "audio": "withheld"}])
    text = words(page(folder))
    assert "no sound: withheld" in text
    assert "can\u2019t be played" not in text


def test_odd_lines_do_not_break_the_page(tmp_path: Path) -> None:
    """Keys of the wrong kind, control characters, numbers that are none: shown or left out, never a crash."""
    folder = tmp_path / "job"
    nasty = ["\x1b[31m\u202e\x00", "NaN", "-1", "1e9999", "<svg onload=alert(1)>", "]]>", "&amp;", "\u2028"]
    with JobLog.create(
        folder, {"technician": nasty[0] + nasty[4], "policy_moved": nasty, "practice": 7}
    ) as log:
        for bad in nasty:
            loud = {"speech_dbfs": bad, "noise_dbfs": bad}
            log.append(
                [
                    {"kind": "event", "type": "answer", "text": bad, "level": loud},
                    {
                        "kind": "event",
                        "type": "answer",
                        "level": [bad],
                        "scores": {"ratio": bad},
                        "accepted": "true",
                    },
                    {"kind": "step", "step": bad, "phase": bad},
                    {
                        "kind": "reading",
                        "step": bad,
                        "measurand": bad,
                        "value": bad,
                        "unit": "mm",
                        "record": "1",
                    },
                    {"kind": "reading", "step": bad, "measurand": "pressure.x", "value": bad, "unit": "psi"},
                    {"kind": "verdict", "rule": bad, "outcome": bad, "low": bad, "high": bad, "margin": bad},
                    {"kind": "wait", "step": bad, "planned_s": bad, "longest_s": bad, "waited_s": bad},
                    {"kind": "wait", "step": "w", "planned_s": "0", "longest_s": "0", "waited_s": "0"},
                    {"kind": "hold_point", "by": bad, "outcome": bad, "reasons": bad},
                    {"kind": "unheard-of", "words": json.dumps(bad)},
                    {
                        "kind": "close",
                        "disposition": bad,
                        "outcome": bad,
                        "reasons": [bad],
                        "exceptions": [bad],
                    },
                ]
            )
    root = page(folder)
    assert "No:" in words(root)
    assert not [one for one in root.iter() if "onload" in one.attrib]
    assert "\x1b" not in words(root)


def test_pages_with_sound_go_with_the_sound_and_the_record_stays(job: Jobs) -> None:
    folder = job("unfinished")
    record = (folder / "record.jsonl").read_bytes()
    one = review_job(folder).page
    index = review_folder(folder.parent).page
    many = index.with_name(f"job-{folder.name}.html")
    assert "data:audio/flac" in one.read_text(encoding="utf-8")
    assert many.is_file()
    assert forget_pages(folder) == 2
    assert not one.exists()
    assert not many.exists()
    assert (folder / "record.jsonl").read_bytes() == record
    assert forget_pages(folder) == 0


def test_no_link_of_the_index_leads_to_a_page_that_went_with_its_sound(job: Jobs, tmp_path: Path) -> None:
    names = ("a & 'b'", "other")
    for name in names:
        shutil.copytree(job("recheck"), tmp_path / name)
    index = review_folder(tmp_path).page
    assert forget_pages(tmp_path / names[0]) == 1
    root = parse(index.read_text(encoding="utf-8"))
    links = [one for one in root.iter(f"{XHTML}a") if not (one.get("href") or "#").startswith("#")]
    assert [one.text for one in links] == ["other"]
    assert all((index.parent / unquote(one.get("href") or "")).is_file() for one in links)
    assert "a & 'b'" in words(root)
    assert "its page was deleted with its sound; handsfree review makes it again" in words(root)
    review_folder(tmp_path)
    assert index.read_text(encoding="utf-8").count('<a class="job"') == 2
