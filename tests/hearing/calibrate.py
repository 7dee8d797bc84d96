"""How the numbers in ``handsfree/hearing/_acceptance.py`` and ``_pocketsphinx.py`` were got.

    python tests/hearing/calibrate.py CACHE collect dev|test   # decode, write evidence to CACHE
    python tests/hearing/calibrate.py CACHE fit                # thresholds from dev, counts for dev and test
    python tests/hearing/calibrate.py CACHE search             # the grammar search's settings, dev voices only

Needs flite, espeak-ng, ffmpeg and asterisk-core-sounds-en-g722 (Debian). Voices, sentences and the recorded
human sentences (by file) of "test" are not in "dev". Everything goes through the endpointer and the packaged
grammars, as in a session.
"""

from __future__ import annotations

import itertools
import json
import subprocess
import sys
import time
import wave
import zlib
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
import soxr

sys.path.insert(0, str(Path(__file__).parent))
from chatter import CHATTER
from human import NUMBER_NAMES, prompts, sentence_prompts, tuned_on
from listening import hear, trim, with_room

from handsfree.audio import read_wav, write_wav
from handsfree.grammar import Armed, Library, load_pronunciations
from handsfree.hearing import THRESHOLDS, Listener, PocketSphinxEngine, judge
from handsfree.hearing import _searches as searches_module
from handsfree.hearing._acceptance import Evidence, Thresholds, WordEvidence

VOICES = {
    "dev": ("flite:kal16", "espeak-ng:en-us", "espeak-ng:en-gb+f3"),
    "test": ("flite:rms", "flite:slt", "espeak-ng:en-gb-x-rp+f3"),
}
SNRS = (40, 20, 10)
ANSWERS = (
    "<readings.length_mm>",
    "<readings.tread_depth>",
    "<readings.pressure>",
    "<readings.angle>",
    "<readings.torque>",
    "<readings.temperature>",
    "<answers.yes_no>",
    "<answers.finding>",
    "<answers.done>",
    "<answers.pass>",
    "<numbers.decimal_99>",
)
IN_GRAMMAR_EACH = 5  # sentences a voice and an answer


@dataclass(frozen=True)
class Trial:
    voice: str
    snr: int
    answer: str
    truth: str  # "" when out of grammar
    heard: str
    sentence: bool  # gate 2
    evidence: Evidence | None


def arms() -> dict[str, Armed]:
    library = Library.load()
    return {a: library.arm({"answer": a, "command": "<commands.command>"}) for a in ANSWERS}


def human_numbers() -> dict[str, bytes]:
    """Recorded numbers, alone and two joined: what is said -> sound."""
    found = prompts([f"digits/{n}" for n in NUMBER_NAMES])
    alone = {NUMBER_NAMES[n]: trim(found[f"digits/{n}"]) for n in NUMBER_NAMES}
    tens = [NUMBER_NAMES[n] for n in range(20, 100, 10)]
    units = [NUMBER_NAMES[n] for n in range(1, 10)]
    return alone | {f"{a} {b}": alone[a] + alone[b] for a in tens for b in units}


def speak(cache: Path, voice: str, text: str) -> bytes:
    """The sentence by a synthetic voice, cached; peak about -11 dBFS."""
    path = cache / f"{zlib.crc32(f'{voice}|{text}'.encode()):08x}.wav"
    if not path.exists():
        program, name = voice.split(":")
        raw = path.with_suffix(".raw")
        command = {
            "flite": ["flite", "-voice", name, "-t", text, "-o", str(raw)],
            "espeak-ng": ["espeak-ng", "-v", name, "-s", "155", "-w", str(raw), text],
        }[program]
        subprocess.run(command, check=True)
        with wave.open(str(raw)) as file:  # espeak-ng writes 22.05 kHz, one flite voice 8 kHz
            sound = np.frombuffer(file.readframes(file.getnframes()), "<i2").astype(np.float32)
            sound = soxr.resample(sound, file.getframerate(), 16000)
        write_wav(path, (sound / np.abs(sound).max() * 9000).astype("<i2").tobytes())
    return read_wav(path)


def spoken(cache: Path, part: str) -> Iterator[tuple[str, str, str, bytes]]:
    """(voice, answer rule, truth or "", sound)."""
    table = arms()
    for v, voice in enumerate(VOICES[part]):
        for a, (answer, armed) in enumerate(table.items()):
            seed = (1000 if part == "test" else 0) + 17 * v + a
            for text in armed.examples(IN_GRAMMAR_EACH, seed=seed, max_words=7):
                yield voice, answer, text, speak(cache, voice, text)
        for n, text in enumerate(CHATTER[part]):
            yield voice, ANSWERS[n % len(ANSWERS)], "", speak(cache, voice, text)
    numbers = human_numbers()
    for n, (text, sound) in enumerate(numbers.items()):
        if (n % 2 == 0) == (part == "dev"):
            yield "human", "<numbers.decimal_99>", text, sound
    chosen = [name for name in sentence_prompts() if tuned_on(name) == (part == "dev")]
    for n, sound in enumerate(prompts(chosen).values()):
        yield "human", ANSWERS[n % len(ANSWERS)], "", sound


def collect(cache: Path, part: str) -> None:
    """Each utterance once, the noise levels in turn: more different utterances for the same time."""
    engine = PocketSphinxEngine(load_pronunciations())
    table, listener = arms(), Listener(engine)
    with (cache / f"{part}.jsonl").open("w") as out:
        for n, (voice, answer, truth, sound) in enumerate(spoken(cache, part)):
            snr = SNRS[n % len(SNRS)]
            listener.arm(table[answer])
            # A room that is known, as in a session: noise for three seconds before anybody speaks.
            noisy = with_room(sound[: 6 * 32000], snr, seed=n, before=3.0)
            for hypothesis in [found.hypothesis for found in listener.hear(noisy)] or [None]:
                text = hypothesis.text if hypothesis else ""
                evidence = engine.last_evidence if text else None
                ok = bool(text) and table[answer].interpret(text) is not None
                trial = Trial(voice, snr, answer, truth, text, ok, evidence)
                out.write(json.dumps(asdict(trial)) + "\n")
                out.flush()


def load(cache: Path, part: str) -> list[Trial]:
    trials = []
    for line in (cache / f"{part}.jsonl").read_text().splitlines():
        entry = json.loads(line)
        found = entry.pop("evidence")
        words = tuple(WordEvidence(**w) for w in found.pop("words")) if found else ()
        trials.append(Trial(**entry, evidence=Evidence(**{**found, "words": words}) if found else None))
    return trials


def rates(trials: list[Trial], thresholds: Thresholds) -> dict[str, tuple[int, int]]:
    """Counts, each with what it is a share of."""
    inside = [t for t in trials if t.truth]
    right = [t for t in inside if t.heard == t.truth]
    outside = [t for t in trials if not t.truth]
    human = [t for t in outside if t.voice == "human"]

    def passed(t: Trial) -> bool:
        return t.sentence and t.evidence is not None and judge(t.evidence, thresholds)[0]

    return {
        "in grammar, heard right": (len(right), len(inside)),
        "of these refused": (sum(not passed(t) for t in right), len(right)),
        "in grammar, misheard and accepted": (
            sum(passed(t) and t.heard != t.truth for t in inside),
            len(inside),
        ),
        "out of grammar, accepted": (sum(map(passed, outside)), len(outside)),
        "human sentences, accepted": (sum(map(passed, human)), len(human)),
    }


def candidates() -> Iterator[Thresholds]:
    for fit, weight, unexplained, longest in itertools.product(
        np.arange(-1.0, 0.5, 0.05), (0.5, 1, 1.5, 2, 3, 4), (0.3, 0.4, 0.6, 0.8), (0.9, 1.0, 1.1)
    ):
        yield Thresholds(round(float(fit), 2), weight, unexplained, -5.0, longest)


def fit(cache: Path) -> None:
    dev, test = load(cache, "dev"), load(cache, "test")
    best: dict[float, tuple[float, Thresholds]] = {}
    for thresholds in candidates():
        found = rates(dev, thresholds)
        refused, wrong = (a / b for a, b in (found["of these refused"], found["out of grammar, accepted"]))
        for most in (0.03, 0.05, 0.08):
            if refused <= most and wrong < best.get(most, (1.0, thresholds))[0]:
                best[most] = (wrong, thresholds)
    for most, (_, thresholds) in best.items():
        print(f"false rejection up to {most:.0%}:", thresholds)
        print("  dev ", rates(dev, thresholds))
        print("  test", rates(test, thresholds))
    for snr in SNRS:
        print(f"as set, test, {snr} dB:", rates([t for t in test if t.snr == snr], THRESHOLDS))
    print("as set, dev: ", rates(dev, THRESHOLDS))
    print("as set, test:", rates(test, THRESHOLDS))


def search(cache: Path) -> None:
    for settings in (
        {"lw": 6.5, "wip": 0.65, "silprob": 0.005},
        {"lw": 1.0, "wip": 1e-8, "silprob": 1e8},
        {"lw": 1.0, "wip": 1e-18, "silprob": 1e18},
        {"lw": 1.0, "wip": 1e-26, "silprob": 1e26},
        {"lw": 1.0, "wip": 1e-18, "silprob": 1e18, "beam": 1e-36, "pbeam": 1e-36, "wbeam": 1e-24},
    ):
        searches_module._SEARCH = settings
        engine = PocketSphinxEngine(load_pronunciations())
        table, right, count, sounds, begin = arms(), 0, 0, 0.0, time.process_time()
        for n, (_, answer, truth, sound) in enumerate(spoken(cache, "dev")):
            if truth:
                engine.arm(table[answer])
                pcm = with_room(sound, 30, seed=n)
                right += [h.text for h in hear(engine, pcm, table[answer])] == [truth]
                count, sounds = count + 1, sounds + len(pcm) / 32000
        print(settings, f"{right}/{count}", f"rtf {(time.process_time() - begin) / sounds:.3f}", flush=True)


if __name__ == "__main__":
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    {
        "collect": lambda: collect(folder, sys.argv[3]),
        "fit": lambda: fit(folder),
        "search": lambda: search(folder),
    }[sys.argv[2]]()
