"""Makes the demo's recorded voices: freely licensed synthetic speech over a real room's noise floor.

  python tests/tools/make_voices.py SCENARIO.toml OUTDIR          write NNN-slug.flac for every line
  python tests/tools/make_voices.py SCENARIO.toml OUTDIR --check  also let PocketSphinx listen to each
  python tests/tools/make_voices.py --compare slt rms espeak:en-gb  which words survive noise, per voice

Needs Debian's ``flite``, its ``espeak-ng`` for voices named ``espeak:VOICE``, and numpy, soundfile, soxr,
pocketsphinx.
The same scenario gives the same bytes: every variation is seeded by the file's number, voice and text. Lines that say
the same may name the same file.
"""

from __future__ import annotations

import argparse
import functools
import re
import subprocess
import sys
import tempfile
import tomllib
import zlib
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import soundfile
import soxr
from room_tone import RATE, Samples, dbfs, pink_noise, room_tone

from handsfree.bench._voices import flite
from handsfree.speaking import Clip, VoiceError
from handsfree.speaking._sound_file import read_clip

__all__ = ["Line", "ScenarioError", "active_level", "read_scenario", "render"]

SPEECH_DBFS, PEAK_DBFS, FLOOR_DBFS = -21.0, -4.0, -54.0
BEFORE_S, AFTER_S = 0.09, 0.16  # floor around the speech; the player goes on with room noise
ROOM_SEED, DECAY_S, REVERB_DB = 1931, 0.22, -16.0  # one workshop corner for all lines: short and weak
FRAME = 320


class ScenarioError(ValueError):
    """The scenario file is wrong: one line that says where and what to do."""


@dataclass(frozen=True, slots=True)
class Line:
    """One thing said: ``voice`` is the synthesizer's, ``file`` the sound file's name, ``seed`` its variation."""

    number: int
    say: str
    voice: str
    file: str
    seed: int


def read_scenario(path: Path) -> list[Line]:
    """The lines of a scenario file, in order. Raises ScenarioError."""
    try:
        data: dict[str, Any] = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as e:
        raise ScenarioError(f"{path}: {e}") from None
    voices = data.get("voices", {})
    lines = [_line(path, voices, i, entry) for i, entry in enumerate(data.get("line", []), start=1)]
    takes = {(line.file, line.say, line.voice) for line in lines}  # the same words may be played twice
    twice = [name for name, n in Counter(file for file, _, _ in takes).items() if n > 1]
    if twice or not lines:
        raise ScenarioError(f"{path}: {'two lines write ' + twice[0] if twice else 'no [[line]] to say'}")
    return lines


def _line(path: Path, voices: dict[str, str], number: int, entry: dict[str, Any]) -> Line:
    say, who = str(entry.get("say", "")).strip().lower(), str(entry.get("voice", "technician"))
    if not re.fullmatch(r"[a-z][a-z' ]*", say):
        raise ScenarioError(f"{path}: line {number}: say must be plain words, numbers spelled out: {say!r}")
    if who not in voices:
        raise ScenarioError(f"{path}: line {number}: voice {who!r} is not in [voices]")
    slug = "-".join(re.sub(r"[^a-z ]", "", say).split())[:40].rstrip("-")
    file = str(entry.get("file", f"{number:03d}-{slug}.flac"))
    named = re.match(r"\d+", file)  # a line put in later leaves the others as they were
    number = int(named[0]) if named else number
    take = entry.get("take")  # another rendering of a line that came out badly
    key = f"{number}:{voices[who]}:{say}" + (f":{take}" if take else "")
    return Line(number, say, voices[who], file, zlib.crc32(key.encode()))


@functools.lru_cache(maxsize=4096)
def _synthesize(text: str, voice: str, stretch: float) -> Samples:
    """The synthesizer's own output at 16 kHz, its silences trimmed. ``stretch`` over 1 is slower."""
    engine, _, name = voice.rpartition(":")
    try:
        if engine == "espeak":
            clip = _espeak(text, name, round(155 / stretch))
        else:
            clip = flite(text, name, "--setf", f"duration_stretch={stretch}")
    except FileNotFoundError as missing:
        raise ScenarioError(f"{missing.filename} is missing: apt-get install {missing.filename}") from None
    except VoiceError as error:
        raise ScenarioError(str(error)) from None
    x = np.frombuffer(clip.pcm, "<i2").astype(np.float64) / 32768
    if clip.rate != RATE:
        x = np.asarray(soxr.resample(x, clip.rate, RATE), dtype=np.float64)
    return _trim(x)


def _espeak(text: str, voice: str, words_a_minute: int) -> Clip:
    """A text by Debian's espeak-ng. Raises VoiceError, FileNotFoundError."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "say.wav"
        command = ["espeak-ng", "-v", voice, "-s", str(words_a_minute), "-w", str(out), text]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        if done.returncode:
            raise VoiceError(f"espeak-ng can't say {text!r} with {voice}: {done.stderr.strip()[:120]}")
        return read_clip(out)


def _trim(x: Samples) -> Samples:
    """Without what is 50 dB below the peak at either end, a 20 ms fade kept so that nothing clicks."""
    loud = np.flatnonzero(np.abs(x) > np.abs(x).max() * 10 ** (-50 / 20))
    x = x[max(loud[0] - FRAME, 0) : loud[-1] + FRAME].copy()
    ramp = np.linspace(0, 1, FRAME)
    x[:FRAME] *= ramp
    x[-FRAME:] *= ramp[::-1]
    return x


@functools.cache
def _room() -> Samples:
    """Impulse response: the direct sound and an exponentially decaying tail, 60 dB down after DECAY_S."""
    n = int(DECAY_S * RATE)
    tail = np.random.default_rng(ROOM_SEED).standard_normal(n) * 10 ** (-3 * np.arange(n) / n)
    tail[: RATE // 250] = 0.0  # nothing reflects sooner than 4 ms: 1.4 m there and back
    tail *= 10 ** (REVERB_DB / 20) / np.sqrt(np.square(tail).sum())
    tail[0] = 1.0
    return tail


def active_level(x: Samples) -> float:
    """Level in dBFS of the frames where somebody speaks: within 15.9 dB of it, the margin of ITU-T P.56."""
    power = np.square(x[: len(x) // FRAME * FRAME].reshape(-1, FRAME)).mean(axis=1)
    level = float(power.mean())
    for _ in range(20):
        level = float(power[power >= level * 10**-1.59].mean())
    return float(10 * np.log10(max(level, 1e-20)))


def speech(text: str, voice: str, seed: int) -> Samples:
    """The words alone (-1..1), with a speed and level of their own and the room's reverberation, no floor."""
    rng = np.random.default_rng(seed)
    dry = _synthesize(text, voice, round(float(rng.uniform(0.92, 1.05)), 2))
    wet = np.convolve(dry, _room())[: len(dry) + int(0.06 * RATE)]
    gain = SPEECH_DBFS + rng.uniform(-1.5, 1.5) - active_level(wet)
    headroom = PEAK_DBFS - 20 * np.log10(np.abs(wet).max())
    return np.asarray(wet * 10 ** (min(gain, headroom) / 20), dtype=np.float64)


def render(text: str, voice: str, seed: int) -> npt.NDArray[np.int16]:
    """16 kHz mono: ``text`` as ``voice`` (flite's ``slt``, ``rms``, ..., or ``espeak:en-gb``) says it."""
    words = speech(text, voice, seed)
    before = int((BEFORE_S + np.random.default_rng(seed + 2).uniform(-0.03, 0.03)) * RATE)
    x = room_tone(before + len(words) + int(AFTER_S * RATE), seed, FLOOR_DBFS)
    x[before : before + len(words)] += words
    return np.asarray(np.clip(np.round(x * 32768), -32768, 32767), dtype=np.int16)


def write_sound(path: Path, samples: npt.NDArray[np.int16]) -> None:
    """FLAC: the recordings are in the package, and it halves them without loss."""
    soundfile.write(str(path), samples, RATE, format="FLAC", subtype="PCM_16")


# --- listening ---------------------------------------------------------------------------------------------

Decoder = Any
ROOT = Path(__file__).resolve().parents[2]
PRONUNCIATIONS = ROOT / "grammars" / "pronunciations.dict"  # words the shipped dictionary lacks


def open_decoder(rules: str, vocabulary: Iterable[str], dictionary: Path = PRONUNCIATIONS) -> Decoder:
    """PocketSphinx with its shipped model listening for a JSGF body (``public <s> = ...;`` and helpers)."""
    from pocketsphinx import Decoder as Sphinx
    from pocketsphinx import get_model_path

    decoder = Sphinx(
        hmm=get_model_path("en-us/en-us"),
        dict=get_model_path("en-us/cmudict-en-us.dict"),
        lm=None,
        loglevel="FATAL",
        wip=0.01,  # the default 0.65 hears "seven point nine eight" in "seven point nine" and its last breath
    )
    if dictionary.exists():
        for row in dictionary.read_text(encoding="utf-8").splitlines():
            word, _, phones = row.partition(" ")
            if phones and not word.startswith(";") and decoder.lookup_word(word) is None:
                decoder.add_word(word, phones.strip(), False)
    missing = sorted({w for text in vocabulary for w in text.split() if decoder.lookup_word(w) is None})
    if missing:
        raise ScenarioError(
            f"PocketSphinx has no pronunciation for: {', '.join(missing)}; add it to {dictionary}"
        )
    decoder.add_jsgf_string("heard", f"#JSGF V1.0;\ngrammar heard;\n{rules}\n")
    decoder.activate_search("heard")
    return decoder


def hear(decoder: Decoder, samples: npt.NDArray[np.int16]) -> str:
    """The words PocketSphinx makes of one utterance, fed in pieces as from a microphone."""
    decoder.start_utt()
    for start in range(0, len(samples), 1600):
        decoder.process_raw(samples[start : start + 1600].tobytes(), False, False)
    decoder.end_utt()
    hyp = decoder.hyp()
    return hyp.hypstr if hyp else ""


def flat(texts: Iterable[str]) -> str:
    return f"public <s> = {' | '.join(sorted(set(texts)))};"


def in_noise(text: str, voice: str, seed: int, snr_db: float | None) -> npt.NDArray[np.int16]:
    """``render`` with pink noise ``snr_db`` below the active speech level all through; None is quiet."""
    x = render(text, voice, seed).astype(np.float64) / 32768
    if snr_db is not None:
        x += pink_noise(len(x), seed + 3, active_level(speech(text, voice, seed)) - snr_db)
    return np.asarray(np.clip(np.round(x * 32768), -32768, 32767), dtype=np.int16)


DIGIT = "zero | one | two | three | four | five | six | seven | eight | nine"
TEEN = "ten | eleven | twelve | thirteen | fourteen | fifteen | sixteen | seventeen | eighteen | nineteen"
TENS = "(twenty | thirty | forty | fifty | sixty | seventy | eighty | ninety)"
SPELLED = f"<d> = {DIGIT};\n<spelled> = <d>+ [point <d>+] | point <d>+;"
NATURAL = (
    f"<u> = <d> | {TEEN} | {TENS} [<d>];\n"
    "<natural> = (<u> | <d> hundred [[and] <u>]) [point <d>+] | point <d>+;"
)
# Answers and commands that could be armed together, by what they are for.
WORDS = """
confirm: affirmative, correct, confirm, confirmed, yes, that is right, that is correct, roger
deny: negative, no, wrong, incorrect, that is wrong, not correct
done: completed, all done, finished, task complete, done, step complete, it is done, work completed
clear: all clear, clear, nothing found, no damage, looks good, acceptable, no defect
found: damage found, found, damaged, defect found, problem found, not acceptable, damage
tack: tacky, still wet, it is tacky, not tacky, ready to stick, too wet, too dry, dry to the touch,
    still drying
ready: ready, next, next step, i am ready, continue, carry on, go ahead, proceed
hold: hold, hold on, stand by, pause, wait a moment, hold the job, pause the job
resume: resume, resume work, resume the job, carry on working, continue working
stop: stop work, stop, abort, emergency stop, stop the job, stop everything
say again: say again, repeat, repeat that, say that again
go back: go back, previous step, back up, one step back
correction: correction, change that, make a correction, correct that
limit: what is the limit, the limit, limits, what is allowed
time: time left, how much time, how long, time remaining, how much time is left
where: crown, shoulder, sidewall, the crown, the shoulder, the sidewall, crown area, shoulder area,
    sidewall area
ply: fabric, steel, fabric cord, steel cord, steel belt, body ply, polyester, steel body, fabric
    body
again: measure again, take it again, new reading, another reading
scrap: scrap it, scrap the tire, scrap, reject, reject the tire
pass: pass one, pass two, pass three, pass four, pass five, pass six
pass ord: first pass, second pass, third pass, fourth pass, fifth pass, sixth pass
one word: supervisor, release, released, concession, override, cancel, help, leaking, no leak,
    bubbles, no bubbles
"""
NUMBERS = """
digits: one four point five, one eight, eight zero, three two two four, two four zero, point two
    five, zero point two five, one point six, six, five zero zero zero, three point one seven, one
    two zero, seven point nine, three three
natural: fourteen point five, eighteen, eighty, thirty two, two hundred forty, two hundred and
    forty, six point five, thirty three, fifty, fifteen, one hundred twenty, seven point nine,
    thirty five, two hundred twenty, sixty, sixteen
"""
CONDITIONS: tuple[float | None, ...] = (None, 20.0, 15.0, 10.0)
Tally = dict[str, dict[tuple[str, float | None], bool]]


def _groups(block: str) -> dict[str, list[str]]:
    """``name: text, text`` rows, indented where they go on."""
    rows = (row.split(":") for row in block.replace("\n    ", " ").strip().splitlines())
    return {name: [text.strip() for text in texts.split(",")] for name, texts in rows}


def _trial(rules: str, texts: list[str], voices: list[str], misheard: dict[str, Counter[str]]) -> Tally:
    """Each text by each voice in each condition through one grammar."""
    heard: Tally = defaultdict(dict)
    for snr in CONDITIONS:
        decoder = open_decoder(rules, texts)  # afresh: the cepstral mean must not carry over from other noise
        for voice in voices:
            for text in texts:
                got = hear(decoder, in_noise(text, voice, zlib.crc32(f"{voice}:{text}".encode()), snr))
                heard[text][voice, snr] = got == text
                if got != text:
                    misheard[text][got or "(nothing)"] += 1
    return heard


def _table(title: str, tally: Tally, voices: list[str], misheard: dict[str, Counter[str]]) -> Iterator[str]:
    names = ["quiet" if c is None else f"{c:.0f}dB" for c in CONDITIONS]
    yield (
        f"{title:24s} " + " ".join(f"{n:>6s}" for n in names) + "   all  " + " ".join(v[-8:] for v in voices)
    )
    for text, results in sorted(tally.items(), key=lambda kv: -sum(kv[1].values())):
        by_snr = [sum(results[v, c] for v in voices) for c in CONDITIONS]
        by_voice = [sum(results[v, c] for c in CONDITIONS) for v in voices]
        cells = " ".join(f"{n}/{len(voices)}".rjust(6) for n in by_snr)
        per = " ".join(str(n).rjust(len(v[-8:])) for n, v in zip(by_voice, voices, strict=True))
        wrong = ", ".join(f"{w} {n}" for w, n in misheard[text].most_common(2))
        yield f"  {text:22s} {cells} {sum(by_snr) / len(results):5.0%}  {per}  {wrong}"


def compare(voices: list[str]) -> Iterator[str]:
    """A table: how often each candidate word and number form is heard right, per voice and noise."""
    misheard: dict[str, Counter[str]] = defaultdict(Counter)
    groups = _groups(WORDS)
    every = sorted({t for texts in groups.values() for t in texts})
    tally = _trial(flat(every), every, voices, misheard)
    for name, texts in groups.items():
        yield from _table(name, {t: tally[t] for t in texts}, voices, misheard)
    digits, natural = _groups(NUMBERS).values()
    spelled, spoken = f"public <s> = <spelled>;\n{SPELLED}", f"public <s> = <natural>;\n{SPELLED}\n{NATURAL}"
    both = f"public <s> = <spelled> | <natural>;\n{SPELLED}\n{NATURAL}"
    trials = (
        ("digits, digits armed", spelled, digits),
        ("digits, both armed", both, digits),
        ("natural, natural armed", spoken, natural),
        ("natural, both armed", both, natural),
    )
    for title, rules, texts in trials:
        wrong: dict[str, Counter[str]] = defaultdict(Counter)
        yield from _table(title, _trial(rules, texts, voices, wrong), voices, wrong)


def _write_all(lines: list[Line], folder: Path, check: bool) -> int:
    folder.mkdir(parents=True, exist_ok=True)
    decoder = open_decoder(flat(x.say for x in lines), [x.say for x in lines]) if check else None
    total = misses = 0
    for line in lines:
        samples = render(line.say, line.voice, line.seed)
        write_sound(folder / line.file, samples)
        total += (folder / line.file).stat().st_size
        x = samples.astype(np.float64) / 32768
        level, floor = active_level(x), dbfs(x[: int((BEFORE_S - 0.03) * RATE)])
        peak = 20 * np.log10(np.abs(x).max())
        heard = "" if decoder is None else hear(decoder, samples)
        miss = decoder is not None and heard != line.say
        misses += miss
        print(
            f"{line.file:48s} {len(x) / RATE:5.2f} s  speech {level:6.1f}  peak {peak:5.1f}  "
            f"SNR {level - floor:4.1f} dB{f'  MISS: {heard!r}' if miss else ''}"
        )
    print(f"{len(lines)} files, {total / 1e6:.2f} MB" + (f", {misses} misheard" if check else ""))
    return 1 if misses else 0


def main(argv: list[str] | None = None) -> int:
    p = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    p.add_argument("scenario", type=Path, nargs="?")
    p.add_argument("outdir", type=Path, nargs="?")
    p.add_argument(
        "--check", action="store_true", help="let PocketSphinx listen to each file; exit 1 on a miss"
    )
    p.add_argument("--compare", nargs="+", metavar="VOICE", help="print how well candidate words are heard")
    args = p.parse_args(argv)
    try:
        if args.compare:
            for row in compare(args.compare):
                print(row, flush=True)
            return 0
        if not (args.scenario and args.outdir):
            p.error("give SCENARIO.toml and OUTDIR, or --compare VOICE...")
        return _write_all(read_scenario(args.scenario), args.outdir, args.check)
    except ScenarioError as e:
        print(f"make_voices: {e}", file=sys.stderr)
        return 2


if __name__ == "__main__":
    raise SystemExit(main())
