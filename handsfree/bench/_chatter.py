"""How often talk that answers nothing is taken for an answer: hours of human voices, in noise, with the grammars of
the real procedure armed. Now and then a packaged voice answers in the midst of it: it should still be heard.

The voices are Debian's: recorded telephone prompts (asterisk-core-sounds-*-g722) in English, French, Italian and
Russian, and the descriptions of a drawing program's pictures (tuxpaint-stamps-default) in five languages. Nothing was
fitted to them: of the English prompts these are the files set apart for tests, the languages in whose descriptions
the acceptance's bounds were chosen are left out (of these here 300 were looked at too before they were settled).
``--talk`` takes a folder of any other recordings instead.
"""

from __future__ import annotations

import argparse
import json
import random
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

from handsfree import _wiring as wiring
from handsfree.audio import surround
from handsfree.bench import _prompts
from handsfree.bench._noise import NOISES, mix
from handsfree.bench._script import Recording, recorded_lines
from handsfree.grammar import Armed, Interpretation
from handsfree.hearing import Engine, Hypothesis, Listener, same_meaning
from handsfree.procedure import UNSURE, Answer, Command, NoMatch
from handsfree.session import Heard, Listening, People, Twice, event_of

__all__ = ["main"]

_STAMPS: Final = Path("/usr/share/tuxpaint/stamps")
_LANGUAGES: Final = (
    "bg",
    "da",
    "el",
    "fr",
    "ro",
)  # Catalan, Russian, Spanish and Belarusian chose the bounds
_VOICES: Final = ("fr_CA_f_June", "it_IT_m_Carlo", "ru_RU_f_IvrvoiceRU")
_SUFFIXES: Final = frozenset({".flac", ".g722", ".m4a", ".mp3", ".oga", ".ogg", ".opus", ".wav"})
_NO_TALK: Final = ("silence", "digits", "letters", "phonetic", "beep", "tone", "monkeys", "confbridge-")
_ROOMS: Final = (None, ("pink", 20.0), ("pink", 10.0), ("hiss", 10.0), ("hum", 10.0), ("impacts", 10.0))
_ARMED_FOR: Final = 20  # utterances, then something else is asked
_ANSWER_EVERY: Final = 12  # sounds in a room: about once a minute
_BETWEEN_S, _SETTLING_S, _LONGEST_S = 1.2, 8.0, 6
_ANSWER_MS: Final = 3000


@dataclass
class Found:
    """Counts by sort: ``taken`` what was accepted outright, ``figures`` where it was a number, which is read back all
    the same, ``twice`` what was heard unsurely and then once more the same, ``stopped`` a "stop work" that was obeyed
    though it was unsure, ``asked`` what is asked about. ``answers`` by what became of them. ``hours`` with the pauses
    between the recordings, ``talk_hours`` of the recordings alone."""

    hours: float = 0.0
    talk_hours: float = 0.0
    sounds: int = 0
    counts: Counter[str] = field(default_factory=Counter)
    answers: Counter[str] = field(default_factory=Counter)
    examples: list[str] = field(default_factory=list)

    @property
    def accepted(self) -> int:
        """Talk that was acted on: false accepts."""
        return self.counts.total() - self.counts["asked"]


def _sort(
    event: Answer | Command | NoMatch, said: Hypothesis, meaning: Interpretation, *, twice: bool
) -> str:
    """What became of talk that was heard as a sentence of the grammar: a key of ``Found.counts``, "" for nothing."""
    if isinstance(event, NoMatch):
        return "asked" if event.reason == UNSURE else ""
    if isinstance(event, Answer) and event.unsure:
        return "asked"
    if twice:
        return "twice"
    if said.unsure:
        return "stopped"
    return "figures" if meaning.figures else "taken"


def sounds(stamps: Path) -> list[tuple[str, Path]]:
    """(language, file) of all that is installed."""
    found = [
        (voice.partition("_")[0], path)
        for voice in _VOICES
        for path in sorted((_prompts.RECORDINGS / voice).rglob("*.g722"))
        if not any(part in path.relative_to(_prompts.RECORDINGS / voice).as_posix() for part in _NO_TALK)
    ]
    for language in _LANGUAGES:
        found += [(language, path) for path in sorted(stamps.rglob(f"*_desc_{language}.ogg"))]
    if not _prompts.missing():
        names = [name for name in _prompts.sentence_prompts() if not _prompts.tuned_on(name)]
        found += [("en", _prompts.RECORDINGS / "en_US_f_Allison" / f"{name}.g722") for name in names]
    return found


def sounds_in(talk: Path) -> list[tuple[str, Path]]:
    """(its folder's name, file) of all recordings under a folder."""
    return [(path.parent.name, path) for path in sorted(talk.rglob("*")) if path.suffix.lower() in _SUFFIXES]


def listen(engine: Engine, files: Sequence[tuple[str, Path]], hours: float, seed: int) -> Iterator[Found]:
    """One job's listener in each of the rooms; the counts as they grow."""
    rng, found = random.Random(seed), Found()
    lines = [line for line in recorded_lines() if line.known]
    arms = list({line.armed.jsgf(): line.armed for line in lines}.values())
    yes = next(line for line in lines if line.say == "affirmative")
    rooms = [_Room(Listener(engine), room, seed * 1000 + n, rng, arms) for n, room in enumerate(_ROOMS)]
    for room in rooms:
        room.answer(yes, Found())  # how loud the technician is
    for number, (language, path) in enumerate(files):
        if found.hours >= hours:
            return
        room = rooms[number % len(rooms)]
        pcm = _prompts.decoded(path, _LONGEST_S)
        if len(pcm) < 32000 * 0.2:
            continue
        room.talk(pcm, found, f"{language} {path.stem}")
        found.sounds += 1
        if number // len(rooms) % _ANSWER_EVERY == _ANSWER_EVERY - 1:
            room.answer(rng.choice(lines), found)
        yield found


class _Room:
    def __init__(
        self,
        listener: Listener,
        noise: tuple[str, float] | None,
        seed: int,
        rng: random.Random,
        arms: Sequence[Armed],
    ) -> None:
        self._listener, self._noise, self._seed, self._rng, self._arms = listener, noise, seed, rng, arms
        self._twice, self._now = Twice(), 0
        self._left, self._listening = 0, Listening()
        self._before_s = _SETTLING_S

    def talk(self, pcm: bytes, found: Found, name: str) -> None:
        if not self._left:
            self._left = _ARMED_FOR
            self._listening = Listening(self._rng.choice(self._arms))
        self._left -= 1
        asked = self._listening.armed
        assert asked is not None
        sound = self._in_the_room(pcm)
        self._listener.arm(asked)
        for heard in self._listener.hear(sound):
            self._now += _ANSWER_MS
            said = heard.hypothesis
            meaning = asked.interpret(said.text) if said.accepted and said.text else None
            twice = self._twice(said, None, self._listening, self._now)
            if meaning is None:
                continue
            counted = Heard(replace(said, unsure=said.unsure and not twice), heard.utterance)
            sort = _sort(event_of(counted, asked, People(), self._now), said, meaning, twice=twice)
            if twice and meaning.figures:
                sort = "asked"  # read back the first time already: it never comes to a second
            if sort:
                found.counts[sort] += 1
                likely = dict(said.scores).get("probability", 0.0)
                found.examples.append(
                    f"{sort}: {said.text} ({likely:.2f}) for {name} in {self._noise or 'quiet'}"
                )
        found.hours += len(sound) / 32000 / 3600
        found.talk_hours += len(pcm) / 32000 / 3600

    def answer(self, line: Recording, found: Found) -> None:
        self._listener.arm(line.armed)
        heard = [one.hypothesis for one in self._listener.hear(self._in_the_room(line.pcm))]
        right = [one for one in heard if one.accepted and same_meaning(line.armed, one.text, line.say)]
        sure = any(not one.unsure for one in right)
        found.answers["sure" if sure else "asked" if right else "lost"] += 1
        self._twice = Twice()

    def _in_the_room(self, pcm: bytes) -> bytes:
        sound = surround(pcm, self._before_s, _BETWEEN_S)
        self._before_s = _BETWEEN_S
        if self._noise is None:
            return sound
        kind, level = self._noise
        self._seed += 1
        return mix(sound, NOISES[kind](len(sound) // 2, self._seed), level)


def main(arguments: Sequence[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m handsfree.bench chatter", description=__doc__)
    parser.add_argument(
        "--hours", type=float, default=1.0, help="of sound; one takes about ten minutes of one core"
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--stamps", type=Path, default=_STAMPS, help="where the spoken descriptions are")
    parser.add_argument("--talk", type=Path, help="a folder of recordings of any talk, instead of Debian's")
    parser.add_argument("--json", type=Path, help="write the counts there, also while it runs")
    args = parser.parse_args(arguments)
    files = sounds(args.stamps) if args.talk is None else sounds_in(args.talk)
    if not files and args.talk is not None:
        sys.exit(
            f"handsfree.bench: {args.talk}: no recordings there; give a folder of {', '.join(sorted(_SUFFIXES))}"
        )
    if not files:
        sys.exit(
            "handsfree.bench: no recorded voices here; install Debian's asterisk-core-sounds-fr-g722, -it-g722, "
            "-ru-g722, -en-g722, tuxpaint-stamps-default and ffmpeg"
        )
    random.Random(args.seed).shuffle(files)
    found = Found()
    try:
        for found in listen(wiring.build_engine(wiring.Setup()), files, args.hours, args.seed):
            if found.sounds % 100 == 0:
                print(_told(found), flush=True)
                _write(args.json, found)
    except (OSError, subprocess.CalledProcessError) as error:
        sys.exit(f"handsfree.bench: ffmpeg can't read a recording; is it installed? {error}")
    print(_told(found), *found.examples, sep="\n")
    _write(args.json, found)
    return 0


def _told(found: Found) -> str:
    n = found.counts
    rates = [found.accepted / max(hours, 1e-9) for hours in (found.hours, found.talk_hours)]
    return (
        f"{found.hours:.2f} h, of which talk itself {found.talk_hours:.2f} h, {found.sounds} sounds: "
        f"{found.accepted} acted on = {rates[0]:.2f} an hour, {rates[1]:.2f} an hour of talk itself "
        f"({n['taken']} taken outright, {n['figures']} figures, which are read back, {n['twice']} by being heard "
        f"twice, {n['stopped']} unsure stops); {n['asked']} asked about. Answers amid the talk: "
        f"{found.answers['sure']} counted at once, {found.answers['asked']} asked about, {found.answers['lost']} lost"
    )


def _write(path: Path | None, found: Found) -> None:
    if path is not None:
        body = {
            "hours": found.hours,
            "talk_hours": found.talk_hours,
            "sounds": found.sounds,
            **found.counts,
            "answers": found.answers,
            "examples": found.examples,
        }
        path.write_text(json.dumps(body, indent=1) + "\n", encoding="utf-8")
