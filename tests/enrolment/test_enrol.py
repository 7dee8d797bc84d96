"""From twenty phrases to a voice that is heard better, by recordings of an odd voice (flite's awb)."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hearing.listening import with_room
from test_cli import handsfree

from handsfree import _enrolment
from handsfree._checking import pronounce
from handsfree.audio import AudioError, Device, mix, pink, read_sound, room_noise, surround, write_wav
from handsfree.bench._voices import Speakers
from handsfree.bench.enrolment import _in_a_room, sentences
from handsfree.enrolment import (
    Phrase,
    Result,
    VoiceStore,
    from_file,
    from_folder,
    make_voice,
    packaged_phrases,
    read_phrases,
)
from handsfree.enrolment import _gain as gain
from handsfree.enrolment._estimate import estimate, frames_of
from handsfree.enrolment._front import decode, heard_in
from handsfree.grammar import Library
from handsfree.hearing import Adaptation, EngineError, PocketSphinxEngine, same_meaning

from .voices import (
    HELD_OUT,
    QUIET,
    SAID,
    any_transform,
    engine,
    files,
    heard_right,
    held_out,
    read,
    store_voice,
    transform,
)

if TYPE_CHECKING:
    from conftest import Figures

NAME = "Mara Lindqvist"
DEPTH = Library.load().arm({"answer": HELD_OUT["eighty eight"], "command": "<commands.command>"})


@pytest.fixture(scope="module")
def ears() -> Iterator[PocketSphinxEngine]:
    made = engine()
    yield made
    made.close()


def test_twenty_phrases_hold_what_is_said_in_a_job() -> None:
    phrases = [phrase.say for phrase in packaged_phrases()]
    assert len(phrases) == len(set(phrases)) == 20
    for half in (phrases[::2], phrases[1::2]):
        words = {word for say in half for word in say.split()}
        digits = {"zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "point"}
        assert digits <= words
        phones = {phone for word in words for phone in pronounce(word)[0].split()}
        assert len(phones) >= 29


def test_held_out_sentences_are_heard_wrong_before_and_right_after(
    ears: PocketSphinxEngine, store: VoiceStore
) -> None:
    ears.use(None)
    assert not any(heard_right(ears, say) for say in HELD_OUT), "these recordings show nothing any more"
    store_voice(store, NAME, transform(), biases={})
    ears.use(store.find(NAME))
    assert all(heard_right(ears, say) for say in HELD_OUT)
    ears.use(store.find("Ben Okoro"))
    assert not heard_right(ears, "eighty eight"), "nobody else is heard by it"


def test_a_voice_that_changes_within_an_utterance_counts_from_the_next_one(
    ears: PocketSphinxEngine, store: VoiceStore
) -> None:
    store_voice(store, NAME, transform(), biases={})
    ears.use(None)
    pcm = held_out("eighty eight")
    before = decode(ears, DEPTH, pcm, 20.0)[0].text
    ears.reset()
    ears.begin(20.0)
    half = len(pcm) // 2 // 960 * 960
    ears.feed(pcm[:half])
    ears.use(store.find(NAME))
    store.forget(NAME)  # it is loaded already
    ears.feed(pcm[half:])
    assert ears.end(20.0).text == before
    assert heard_right(ears, "eighty eight")
    ears.use(None)


def test_what_can_t_be_loaded_leaves_the_recognizer_as_it_was(
    ears: PocketSphinxEngine, store: VoiceStore, tmp_path: Path
) -> None:
    store_voice(store, NAME, transform(), biases={})
    ears.use(store.find(NAME))
    with pytest.raises(EngineError):
        ears.use(Adaptation({"quiet": tmp_path / "none.mllr"}, sha256="1"))
    assert heard_right(ears, "eighty eight")
    ears.use(None)


class Reading:
    """What is asked and told while phrases are read."""

    def __init__(self) -> None:
        self.asked: list[str] = []
        self.told: list[str] = []

    def ask(self, number: int, phrase: Phrase) -> None:
        self.asked.append(phrase.say)

    def tell(self, text: str) -> None:
        self.told.append(text)


def some(*numbers: int) -> list[Phrase]:
    return [packaged_phrases()[number] for number in numbers]


def test_a_take_with_lost_sound_is_said_again(
    ears: PocketSphinxEngine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("handsfree.enrolment._takes.LEAST_TAKES", 1)
    ears.use(None)
    reading, path = Reading(), tmp_path / "read.wav"
    write_wav(path, b"".join(surround(read_sound(files()[0]), 0.6, 0.9) for _ in range(2)))
    lost = iter((0, 3, 3, 3))  # before and after each take
    takes = read_phrases(some(0), from_file(path), ears, reading.ask, reading.tell, lost=lambda: next(lost))
    assert len(takes.said) == 1
    assert "sound was lost" in reading.told[0]
    assert reading.told[1:] == ["taken"]


def test_a_wrong_phrase_is_asked_again_and_then_left_out(
    ears: PocketSphinxEngine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("handsfree.enrolment._takes.LEAST_TAKES", 1)
    ears.use(None)
    reading, wanted = Reading(), some(0, 5)
    # "affirmative" comes at the second time of asking, "nothing found" never.
    said = [read_sound(files()[n]) for n in (3, 0, 7, 7, 7)]
    whole = b"".join(surround(pcm, 0.6, 0.9) for pcm in said)
    path = tmp_path / "read.wav"
    write_wav(path, whole)
    takes = read_phrases(wanted, from_file(path), ears, reading.ask, reading.tell)
    assert [phrase.say for phrase, _ in takes.said] == ["affirmative"]
    assert takes.skipped == ("nothing found",)
    assert reading.asked == ["affirmative"] * 2 + ["nothing found"] * 3
    assert reading.told[1] == "taken"
    assert reading.told[0].endswith("once more")
    assert reading.told[-1].endswith("left out")


def test_too_much_noise_is_told_and_nothing_made_of_it(
    ears: PocketSphinxEngine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ears.use(None)
    monkeypatch.setattr("handsfree.enrolment._takes.LEAST_TAKES", 19)
    for n, file in enumerate(files()):
        pcm = read_sound(file)
        write_wav(tmp_path / f"{n:02d}.wav", with_room(pcm, 10.0, seed=n) if n < 2 else pcm)
    reading = Reading()
    with pytest.raises(AudioError, match="nothing is stored"):
        read_phrases(packaged_phrases(), _noisy(tmp_path), ears, reading.ask, reading.tell, tries=1)
    assert len(reading.asked) == 2
    assert any("dB over the noise" in told for told in reading.told)


def _noisy(folder: Path) -> object:
    """The room is as loud before the first phrase."""
    inner = from_folder(folder, packaged_phrases())
    loud = mix(room_noise(level_dbfs=-60) + read_sound(files()[0]), pink(200_000, 1), 10.0)[: 2 * 32000]
    return lambda number: (
        inner(number) if number else iter([loud[at : at + 960] for at in range(0, len(loud) - 959, 960)])
    )


@pytest.mark.parametrize(
    ("make", "why"),
    [
        (lambda folder: None, "0 sound files; give 20"),
        (lambda folder: [shutil.copy(file, folder) for file in files()[:19]], "19 sound files; give 20"),
        (lambda folder: [(folder / f"{n:02d}.wav").write_bytes(b"no") for n in range(20)], "00.wav"),
    ],
)
def test_a_folder_that_does_not_fit_is_one_line(
    store: VoiceStore, tmp_path: Path, make: object, why: str
) -> None:
    assert callable(make)
    (folder := tmp_path / "sound").mkdir()
    make(folder)
    told = handsfree("enrol", NAME, "--wav", str(folder))
    assert (told.returncode, told.stderr.count("\n")) == (1, 1), told.stderr
    assert why in told.stderr
    assert not store.folder.exists()


def test_a_missing_path_a_missing_name_and_the_list() -> None:
    nowhere = handsfree("enrol", NAME, "--wav", "/nowhere")
    assert nowhere.returncode == 1
    assert nowhere.stderr.startswith("handsfree: /nowhere: no such folder or sound file; give a folder")
    assert handsfree("enrol").returncode == 2
    listed = handsfree("enrol", "--phrases")
    assert listed.stdout.splitlines() == [phrase.say for phrase in packaged_phrases()]


def told_of(capsys: pytest.CaptureFixture[str], before: float, after: float, kept: str | None) -> str:
    tallies = [gain.Tally(20, right, 1, 10, 0, sure) for right, sure in ((12, before), (17, after))]
    _enrolment._show(Result((gain.Gain("quiet", tallies[0], tallies[1], kept, -0.5),), 20))
    return " ".join(capsys.readouterr().out.split())


def test_an_acceptance_that_falls_though_the_voice_is_kept_is_explained(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert "Acceptance is the mean over the phrases heard right. It falls where" in told_of(
        capsys, 0.91, 0.84, "x"
    )
    assert "Acceptance is the mean" not in told_of(capsys, 0.84, 0.91, "x")
    assert "Acceptance is the mean" not in told_of(capsys, 0.91, 0.84, None)


class Recorded:
    """A microphone into which somebody reads; ``cues``: how often it was turned to after the tool had spoken."""

    live, frame_ms, lost = False, 30, 0
    device = Device(0, "headset", 1, 0, 16000, True)

    def __init__(self, pcm: bytes) -> None:
        self.frames = [pcm[at : at + 960] for at in range(0, len(pcm) - 959, 960)]
        self.cues = 0
        self.closed = False

    def read(self) -> bytes | None:
        return self.frames.pop(0) if self.frames else None

    def cue(self, answer: bool = True) -> None:
        self.cues += 1

    def close(self) -> None:
        self.closed = True


def test_at_the_microphone_two_phrases_are_too_little_and_that_is_no_error(
    store: VoiceStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The whole command with a short list: what did not help is said, and nothing is stored."""
    wanted = some(13, 14)
    said = b"".join(surround(read_sound(files()[n]), 1.5, 0.9) for n in (13, 14))
    microphone = Recorded(room_noise(level_dbfs=-60) + said)
    monkeypatch.setattr("handsfree._enrolment.Microphone", lambda device: microphone)
    monkeypatch.setattr("handsfree._enrolment.packaged_phrases", lambda: wanted)
    monkeypatch.setattr("handsfree.enrolment._takes.LEAST_TAKES", 2)
    monkeypatch.setattr("handsfree.enrolment._enrol.LEVELS", {"quiet": (20.0,)})
    told = handsfree("enrol", NAME, "--silent")
    assert told.returncode == 0, told.stdout + told.stderr
    assert told.stdout.count("taken\n") == 2
    assert "Kept out: it did not help" in told.stdout
    assert (microphone.cues, microphone.closed) == (2, True)
    assert not store.folder.exists()


@pytest.mark.slow
def test_the_command_enrols_from_sound_files_and_keeps_no_sound(
    store: VoiceStore, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, figures: Figures
) -> None:
    monkeypatch.setattr(gain, "LEVELS", {"noise-10db": (15.0, 10.0)})  # all rooms take two minutes
    monkeypatch.setattr("handsfree.enrolment._enrol.LEVELS", {"noise-10db": (15.0, 10.0)})
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    told = handsfree("enrol", NAME, "--wav", str(SAID))
    assert told.returncode == 0, told.stdout + told.stderr
    assert "Stored" in told.stdout
    found = store.find(NAME)
    assert found is not None
    assert set(found.transforms) == {"noise-10db"}
    (voice, trouble), *others = store.all()
    assert (trouble, others) == ("", [])
    assert voice is not None
    measured = voice.measured["noise-10db"]
    assert measured.right[1] > measured.right[0]
    assert measured.taken[1] <= measured.taken[0]
    figures.add(
        "enrolment, 20 held-out phrases, awb, 15 and 10 dB", f"{measured.right[0]} -> {measured.right[1]}"
    )
    names = {path.name for path in tmp_path.rglob("*") if path.is_file()}
    assert names == {"voice.json", "noise-10db.mllr"}, "sound, features or other files were left"
    assert handsfree("forget-voice", NAME).returncode == 0
    assert not [path for path in tmp_path.rglob("*") if path.is_file()]


@pytest.mark.slow
def test_what_was_said_to_other_words_is_not_kept(
    ears: PocketSphinxEngine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Somebody who reads the list from another line on: a voice made of it would be harmful."""
    monkeypatch.setattr("handsfree.enrolment._enrol.LEVELS", {"quiet": (20.0,)})
    ears.use(None)
    shuffled = [(phrase, read()[(n + 7) % 20][1]) for n, (phrase, _) in enumerate(read())]
    made = make_voice(shuffled[::2], ears, pronounce)
    assert not made.transforms
    assert not made.biases
    assert not made.helps


@pytest.mark.exhaustive  # held-out sentences are heard right by a voice's transform above, in the fast set
def test_an_accent_is_heard_better_in_sentences_that_were_not_read(
    ears: PocketSphinxEngine, store: VoiceStore, figures: Figures
) -> None:
    """A Scottish voice of the synthesizer that comes with the package; at 20 dB of pink noise."""
    voice, speakers = "gmw/en-gb-scotland", Speakers()
    said = [(phrase.say, speakers.say(phrase.say, voice)) for phrase in packaged_phrases()]
    heard = [(say, heard_in(_in_a_room(pcm), None, seed)) for seed, (say, pcm) in enumerate(said)]
    text = estimate(frames_of(heard, QUIET, pronounce), QUIET)
    assert text is not None
    store_voice(store, NAME, text, biases={})
    lines = sentences(voice, speakers, 40)
    speakers.close()
    noisy = [heard_in(line.pcm, 20.0, 100 + n) for n, line in enumerate(lines)]
    right = {}
    for who in ("anybody", NAME):
        ears.use(store.find(who))
        ears.reset()
        found = [decode(ears, line.armed, pcm, 20.0)[0] for line, pcm in zip(lines, noisy, strict=True)]
        right[who] = sum(
            one.accepted and same_meaning(line.armed, one.text, line.say)
            for one, line in zip(found, lines, strict=True)
        )
    ears.use(None)
    figures.add(
        f"enrolment, {len(lines)} other sentences, {voice}, 20 dB", " -> ".join(map(str, right.values()))
    )
    assert right[NAME] >= right["anybody"] + 2


def test_transforms_of_another_voice_are_not_mixed_up(store: VoiceStore) -> None:
    store_voice(store, NAME, any_transform())
    store_voice(store, "Ben Okoro", transform())
    mine, his = store.find(NAME), store.find("Ben Okoro")
    assert mine is not None
    assert his is not None
    assert mine.transforms[QUIET.name].read_text() == any_transform()
    assert his.transforms[QUIET.name].read_text() == transform()
