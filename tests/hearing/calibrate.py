"""How ``handsfree/hearing/acceptance.json`` is made, and how well it holds for other voices and sentences.

    python tests/hearing/calibrate.py CACHE collect dev|test   # 550 and 430 utterances, twenty minutes each
    python tests/hearing/calibrate.py CACHE fit [--plot FILE]  # writes acceptance.json, prints counts and the curve
    python tests/hearing/calibrate.py CACHE show [--plot FILE]  # the same of the packaged file, from "test" alone

"dev" are sentences of the real procedure's grammars by synthetic voices that the packaged demo does not use, with
chatter by the same voices, half of the recorded human prompts and every second human number; "test" are the packaged
demo's recordings, other chatter by their voices, and the other half of the prompts and numbers, split by file. Each
is heard in a room that has been heard for a while, as it is or in noise of one kind at one level, through the
listener of a session that knows how loud its technician is.

The packaged file was fitted so, but without the technician's level, and of several utterances that came of one item
only the last one's evidence was used.

A logistic regression (Newton's method, a little ridge) tells how likely the meaning heard is the one that was said.
From ``ACCEPT`` on it counts, figures and short words from ``ACCEPT_STRICT`` on, from ``CONFIRM`` on it is asked
about. Both upper bounds were chosen afterwards with 1.7 hours of other chatter in noise; ``python -m handsfree.bench
chatter`` counts what they let through. Needs Debian's flite, espeak-ng, ffmpeg and asterisk-core-sounds-en-g722.
"""

from __future__ import annotations

import argparse
import json
import pickle
import random
import sys
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[1] / "tools"))
import make_voices
from chatter import CHATTER
from human import NUMBER_NAMES
from listening import trim

from handsfree import _wiring as wiring
from handsfree.audio import frames
from handsfree.bench import _prompts
from handsfree.bench._hearing import _surround
from handsfree.bench._noise import NOISES, mix
from handsfree.bench._script import Recording, recorded_lines
from handsfree.grammar import Armed, Library
from handsfree.hearing import (
    FEATURES,
    Calibration,
    Evidence,
    Listened,
    Listener,
    PocketSphinxEngine,
    calibration,
    same_meaning,
)

ACCEPT: Final = 0.85
ACCEPT_STRICT: Final = 0.92
CONFIRM: Final = 0.4
BOUNDS: Final = {"accept": ACCEPT, "accept_strict": ACCEPT_STRICT, "confirm": CONFIRM}
#: What may only speak for an utterance, and what only against it: a feature that the fit turns round is left out.
FOR: Final = ("ratio", "worst_word", "ratio_times_letters", "agreed", "snr_db", "letters", "spoken_s")
DEV_VOICES: Final = (
    "awb",
    "kal16",
    "espeak:en-us",
    "espeak:en-us+f3",
    "espeak:en-gb",
    "espeak:en-us+m5",
    "espeak:en-gb+f4",
)
TEST_VOICES: Final = ("rms", "slt")
LEVELS: Final = (None, 20.0, 20.0, 15.0, 10.0, 10.0, 5.0)
SETTLING_S: Final = 8.0
PROMPTS: Final = 170
RIDGE: Final = 1.0

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Item:
    voice: str
    say: str  # "" when it answers nothing
    armed: Armed
    pcm: bytes


@dataclass(frozen=True)
class Trial:
    """One utterance that was heard as a sentence of the grammar."""

    voice: str
    say: str
    noise: str
    level: float | None
    heard: str
    right: bool
    evidence: Evidence


def items(part: str) -> list[Item]:
    rng = random.Random(part)
    lines = [line for line in recorded_lines() if line.known]
    arms = list({line.armed.jsgf(): line.armed for line in lines}.values())

    def render(text: str, voice: str) -> bytes:
        return make_voices.render(text, voice, zlib.crc32(f"{part}{voice}{text}".encode())).tobytes()

    if part == "test":
        voices = TEST_VOICES
        found = [Item("packaged", line.say, line.armed, line.pcm) for line in lines]
    else:
        voices = DEV_VOICES
        texts = [
            (voice, rng.choice(list(armed.examples(4, seed=700 + 31 * v + a, max_words=8))), armed)
            for v, voice in enumerate(voices)
            for a, armed in enumerate(arms)
        ]
        found = [Item(v, text, armed, render(text, v)) for v, text, armed in rng.sample(texts, 290)]
    for n, text in enumerate(CHATTER[part]):
        voice = voices[n % len(voices)]
        found.append(Item(voice, "", rng.choice(arms), render(text, voice)))
    names = [name for name in _prompts.sentence_prompts() if _prompts.tuned_on(name) == (part == "dev")]
    chosen = rng.sample(names, min(PROMPTS, len(names)))
    found += [
        Item("human", "", rng.choice(arms), pcm[: 6 * 32000]) for pcm in _prompts.prompts(chosen).values()
    ]
    found += numbers(rng, 0 if part == "dev" else 1)
    rng.shuffle(found)
    return found


def numbers(rng: random.Random, half: int) -> list[Item]:
    """A person says them slower and clearer than any synthetic voice: without these, that would be doubted."""
    library = Library.load()
    arms = [
        library.arm({"answer": f"<{rule}>"})
        for rule in ("numbers.decimal_99", "readings.angle", "readings.length_mm")
    ]
    sound = _prompts.prompts([f"digits/{n}" for n in NUMBER_NAMES])
    alone = {n: trim(sound[f"digits/{n}"]) for n in NUMBER_NAMES}
    said = [(alone[n], name) for n, name in NUMBER_NAMES.items()]
    said += [
        (alone[tens] + alone[unit], f"{NUMBER_NAMES[tens]} {NUMBER_NAMES[unit]}")
        for tens in range(20, 100, 10)
        for unit in range(1, 10)
    ]
    found = [Item("human", text, rng.choice(arms), pcm) for pcm, text in said[half::2]]
    return [item for item in found if item.armed.interpret(item.say) is not None]


def collect(cache: Path, part: str) -> None:
    """Every sentence once."""
    engine = wiring.build_engine(wiring.Setup())
    assert isinstance(engine, PocketSphinxEngine)
    rng = random.Random(7)
    heard: list[tuple[Item, str, float | None]] = []
    for item in items(part):
        noise = "pink" if rng.random() < 0.55 else rng.choice(["hiss", "impacts", "hum", "babble"])
        heard.append((item, noise, rng.choice(LEVELS)))
    trials: list[Trial] = []
    outside = 0
    for number, (item, noise, level) in enumerate(heard):
        trials += listen(engine, item, noise, level, number)
        outside += not item.say
        if number % 50 == 0:
            print(part, number, "of", len(heard), flush=True)
    (cache / f"{part}.pickle").write_bytes(pickle.dumps((trials, outside)))


def listen(
    engine: PocketSphinxEngine, item: Item, noise: str, level: float | None, seed: int
) -> Iterator[Trial]:
    engine.reset()
    listener = Listener(engine)
    technician = affirmative()
    listener.arm(technician.armed)
    listener.hear(_surround(technician.pcm, SETTLING_S))
    sound = _surround(item.pcm, SETTLING_S)
    if level is not None:
        sound = mix(sound, NOISES[noise](len(sound) // 2, 4000 + seed), level)
    listener.arm(item.armed)
    for found in one_by_one(listener, sound):
        text = found.hypothesis.text
        if text and item.armed.interpret(text) is not None and engine.last_evidence is not None:
            right = bool(item.say) and same_meaning(item.armed, text, item.say)
            yield Trial(item.voice, item.say, noise, level, text, right, engine.last_evidence)


@cache
def affirmative() -> Recording:
    """By which a session learns how loud its technician is."""
    return next(line for line in recorded_lines() if line.say == "affirmative")


def one_by_one(listener: Listener, sound: bytes) -> Iterator[Listened]:
    """As ``Listener.hear``, but each before the next is heard: the engine's evidence is its last utterance's."""
    for frame in frames(sound):
        if (found := listener.feed(frame)) is not None:
            yield found
    yield from listener.hear(b"")


def table(trials: list[Trial], names: Sequence[str]) -> tuple[Array, Array]:
    """(features of each, 1 where it was right)."""
    rows = [[FEATURES[name](trial.evidence) for name in names] for trial in trials]
    return np.array(rows), np.array([float(trial.right) for trial in trials])


def regress(x: Array, y: Array) -> tuple[Array, Array, Array]:
    """(mean, spread, weights with the bias last)."""
    mean, spread = x.mean(axis=0), x.std(axis=0) + 1e-9
    z = np.column_stack([(x - mean) / spread, np.ones(len(x))])
    weights = np.zeros(z.shape[1])
    ridge = np.diag([RIDGE] * x.shape[1] + [0.0])
    for _ in range(50):
        p = 1 / (1 + np.exp(-z @ weights))
        weights -= np.linalg.solve((z.T * (p * (1 - p))) @ z + ridge, z.T @ (p - y) + ridge @ weights)
    return mean, spread, weights


def fit(cache: Path, plot: Path | None) -> None:
    dev, _ = pickle.loads((cache / "dev.pickle").read_bytes())
    test, outside = pickle.loads((cache / "test.pickle").read_bytes())
    names = list(FEATURES)
    while True:
        mean, spread, weights = regress(*table(dev, names))
        turned = [n for n, w in zip(names, weights, strict=False) if (w < 0) == (n in FOR)]
        if not turned:
            break
        names.remove(turned[0])
    terms = {
        name: (round(float(m), 4), round(float(s), 4), round(float(w), 4))
        for name, m, s, w in zip(names, mean, spread, weights[:-1], strict=True)
    }
    found = {"terms": terms, "bias": round(float(weights[-1]), 4), **BOUNDS}
    target = Path(wiring.__file__).with_name("hearing") / "acceptance.json"
    target.write_text(json.dumps(found, indent=2) + "\n", encoding="utf-8")
    show(test, outside, Calibration(terms, float(weights[-1]), *BOUNDS.values()), plot)


def show(test: list[Trial], outside: int, by: Calibration, plot: Path | None) -> None:
    """Counts at the two bounds, and the curve."""
    p = np.array([by.probability(trial.evidence) for trial in test])
    right = np.array([float(trial.right) for trial in test])
    for level in dict.fromkeys(sorted((t.level for t in test), key=lambda v: v or 99.0)):
        here = np.array([t.level == level for t in test])
        inside = np.array([bool(t.say) for t in test])
        good, bad = here & (right == 1), here & ~inside
        print(
            f"{level} dB: of {good.sum()} heard right {(p[good] >= ACCEPT).sum()} accepted, "
            f"{(p[good] < CONFIRM).sum()} rejected; of sentences that answer nothing {(p[bad] >= ACCEPT).sum()} "
            f"accepted, {((p[bad] >= CONFIRM) & (p[bad] < ACCEPT)).sum()} asked about"
        )
    print(f"{outside} sentences that answer nothing, all levels")
    said = np.array([bool(trial.say) for trial in test])
    curves = {"answers": curve(p[said], right[said]), "answers, and talk that is none": curve(p, right)}
    for name, points in curves.items():
        for given, true, count in points:
            print(f"{name}: said to be right {given:.2f}, was right {true:.2f}, of {count}")
    if plot is not None:
        draw(curves, plot)


Curve = list[tuple[float, float, int]]


def curve(given: Array, right: Array) -> Curve:
    """(mean probability given, share that was right, count) for each tenth of the probability."""
    found = []
    for low in np.arange(0, 1, 0.1):
        here = (given >= low) & (given < low + 0.1)
        if here.any():
            found.append((float(given[here].mean()), float(right[here].mean()), int(here.sum())))
    return found


def draw(curves: dict[str, Curve], path: Path) -> None:
    """The calibration curve: what was said of the test voices' utterances, and what was true, with its 95 % interval
    (Wilson). Needs matplotlib."""
    from matplotlib.figure import Figure

    axes = (figure := Figure(figsize=(6, 6), layout="constrained")).subplots()
    axes.plot([0, 1], [0, 1], color="grey", linestyle=":")
    for (name, points), style in zip(curves.items(), ("o-", "s--"), strict=True):
        given, true, counts = (np.array(column) for column in zip(*points, strict=True))
        reach = np.abs(np.array(wilson(true, counts)) - true)
        axes.errorbar(given, true, yerr=reach, fmt=style, capsize=3, label=f"{name} ({counts.sum()})")
    for bound, name in ((CONFIRM, "asked about"), (ACCEPT, "accepted"), (ACCEPT_STRICT, "figures, commands")):
        axes.axvline(bound, linestyle="--", color="grey", linewidth=0.8)
        axes.text(bound + 0.008, 0.02, name, rotation=90, fontsize="small")
    axes.set(xlabel="probability given", ylabel="share that was right", xlim=(0, 1), ylim=(0, 1.02))
    axes.legend(loc="upper left")
    figure.savefig(path)


def wilson(share: Array, count: Array) -> tuple[Array, Array]:
    """The 95 % interval of a share (E. B. Wilson, J. Am. Stat. Assoc. 22 (1927), 209)."""
    z = 1.96
    middle = (share + z * z / (2 * count)) / (1 + z * z / count)
    half = z * np.sqrt(share * (1 - share) / count + z * z / (4 * count * count)) / (1 + z * z / count)
    return middle - half, middle + half


if __name__ == "__main__":
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("cache", type=Path)
    parser.add_argument("what", choices=("collect", "fit", "show"))
    parser.add_argument("part", nargs="?", choices=("dev", "test"), default="dev")
    parser.add_argument("--plot", type=Path)
    args = parser.parse_args()
    args.cache.mkdir(parents=True, exist_ok=True)
    if args.what == "collect":
        collect(args.cache, args.part)
    elif args.what == "fit":
        fit(args.cache, args.plot)
    else:
        show(*pickle.loads((args.cache / "test.pickle").read_bytes()), calibration(), args.plot)
