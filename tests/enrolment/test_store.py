"""Enrolled voices on the disk: private, proved, and gone when they are to be forgotten."""

from __future__ import annotations

import json
import os
import stat
from pathlib import Path

import pytest
from test_cli import handsfree

from handsfree.enrolment import VoiceStore, voices_folder
from handsfree.hearing import EngineError

from .voices import QUIET, any_transform, store_voice

NAME = "Mara Lindqvist"


def everything(folder: Path) -> list[Path]:
    return sorted(path.relative_to(folder) for path in folder.rglob("*"))


def test_what_was_stored_is_found_by_its_name_and_by_its_hash(store: VoiceStore) -> None:
    place = store_voice(store, NAME)
    found = store.find("mara  LINDQVIST")
    assert found is not None
    assert found == store.by_hash(found.sha256)
    assert found.transforms == {QUIET.name: place / "quiet.mllr"}
    assert found.biases == {QUIET.name: 0.2}
    assert store.find("Ben Okoro") is None
    assert store.by_hash("0" * 64) is None


@pytest.mark.skipif(os.name == "nt", reason="modes of POSIX")
def test_only_its_owner_can_read_it(store: VoiceStore) -> None:
    old = os.umask(0)
    try:
        place = store_voice(store, NAME)
    finally:
        os.umask(old)
    modes = {path.name: stat.S_IMODE(path.stat().st_mode) for path in (store.folder, place, *place.iterdir())}
    assert {mode for name, mode in modes.items() if "." in name} == {0o600}
    assert {mode for name, mode in modes.items() if "." not in name} == {0o700}


def test_enrolled_again_the_new_voice_takes_the_old_one_s_place(store: VoiceStore) -> None:
    store_voice(store, NAME)
    before = store.find(NAME)
    store_voice(store, NAME, made="2031-01-01T00:00:00Z")
    after = store.find(NAME)
    assert before is not None
    assert after is not None
    assert before.sha256 != after.sha256
    assert len(list(store.folder.iterdir())) == 1


@pytest.mark.parametrize(
    "name", ["../x", "../../etc/passwd", "<script>", "a/b\\c:d", "[red]x[/red]", "-x", "ß" * 60]
)
def test_a_name_is_only_a_name(store: VoiceStore, tmp_path: Path, name: str) -> None:
    place = store_voice(store, VoiceStore.checked(name))
    assert place.parent == store.folder
    assert everything(tmp_path) == everything_of(place, tmp_path)
    assert store.find(name) is not None
    listed = handsfree("enrolled")
    assert listed.returncode == 0
    assert name[:4] in listed.stdout
    assert handsfree("forget-voice", "--", name).returncode == 0
    assert everything(tmp_path) == [Path("voices")]


def everything_of(place: Path, root: Path) -> list[Path]:
    return sorted(path.relative_to(root) for path in (place.parent, place, *place.iterdir()))


@pytest.mark.parametrize("name", ["", "   ", "x" * 61, "a\nb", "a\x1b[31m", "{x}"])
def test_what_is_no_name_is_refused_in_one_line(store: VoiceStore, name: str) -> None:
    with pytest.raises(EngineError, match="1 to 60 characters"):
        VoiceStore.checked(name)
    told = handsfree("enrol", "--wav", "nowhere", "--", name)
    assert (told.returncode, told.stderr.count("\n")) == (1, 1), told.stderr
    assert not store.folder.exists()


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (lambda place: (place / "quiet.mllr").write_text(any_transform() + " "), "was changed since"),
        (lambda place: (place / "quiet.mllr").write_text(any_transform().replace("1", "2")), "was changed"),
        (lambda place: (place / "quiet.mllr").unlink(), "enrol again"),
        (lambda place: (place / "voice.json").write_text("{}"), "is no stored voice"),
        (lambda place: (place / "voice.json").write_bytes(b"\xff"), "is no stored voice"),
        (lambda place: _about(place, name="Ben Okoro"), "another person's"),
        (lambda place: _about(place, model_sha256="0" * 64), "another recognizer model"),
        (lambda place: _about(place, packaged_sha256="0" * 64), "another recognizer model"),
        (lambda place: _about(place, biases={"quiet": 0.51}), "is no stored voice"),
        (lambda place: _about(place, transforms={"../quiet": "0" * 64}), "is no stored voice"),
    ],
)
def test_what_was_changed_is_refused_and_can_be_forgotten(
    store: VoiceStore, tmp_path: Path, change: object, why: str
) -> None:
    assert callable(change)
    place = store_voice(store, NAME)
    change(place)
    with pytest.raises(EngineError, match=why) as told:
        store.find(NAME)
    assert "\n" not in str(told.value)
    listed = handsfree("enrolled")
    assert (listed.returncode, listed.stderr.count("\n")) == (1, 1)
    assert store.forget(NAME)
    assert everything(tmp_path) == [Path("voices")]


def _about(place: Path, **change: object) -> None:
    path = place / "voice.json"
    path.write_text(json.dumps({**json.loads(path.read_text()), **change}))


def test_a_file_that_has_the_right_hash_but_is_no_transform_is_refused(store: VoiceStore) -> None:
    store_voice(store, NAME, "1\n3\n13\n")
    with pytest.raises(EngineError, match="no transform"):
        store.find(NAME)


def test_forgotten_by_one_command_that_says_whose_are_left_when_it_finds_none(store: VoiceStore) -> None:
    store_voice(store, NAME)
    store_voice(store, "Ben Okoro")
    (store.folder / f"{VoiceStore.key(NAME)}.new").mkdir()  # an enrolment was cut off here
    first, second = handsfree("forget-voice", NAME.upper()), handsfree("forget-voice", NAME)
    assert (first.returncode, second.returncode) == (0, 1)
    assert first.stdout == f"Deleted: the voice of {NAME}\n"  # as it was stored
    assert "Deleted" not in second.stdout
    assert "nothing was deleted; stored are: Ben Okoro" in second.stderr
    assert len(second.stderr.splitlines()) == 1
    assert store.find(NAME) is None
    assert store.find("Ben Okoro") is not None
    assert len(list(store.folder.iterdir())) == 1
    assert handsfree("forget-voice", "Ben Okoro").returncode == 0
    nobody = handsfree("forget-voice", "Ben Okoro")
    assert nobody.returncode == 1
    assert "none are stored" in nobody.stderr


def test_nothing_enrolled_is_said_and_no_error(store: VoiceStore) -> None:
    told = handsfree("enrolled")
    assert told.returncode == 0
    assert "No voice is enrolled" in told.stdout
    assert not store.folder.exists()


def test_where_voices_are(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("HANDSFREE_VOICES")
    monkeypatch.setenv("XDG_DATA_HOME", "/data")
    assert voices_folder() == Path("/data/handsfree/voices")
    monkeypatch.delenv("XDG_DATA_HOME")
    assert voices_folder().parts[-3:] == ("share", "handsfree", "voices")
