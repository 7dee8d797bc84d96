"""Makes ``handsfree/hearing/noise-*.mllr``: what noise, taken out again, does to the acoustic model.

    python tests/tools/make_noise_transform.py CACHE handsfree/hearing/noise-10db.mllr 10
    python tests/tools/make_noise_transform.py CACHE handsfree/hearing/noise-5db.mllr 5

The same sentences are heard clean, and in pink noise through the suppressor. The clean features say which Gaussian
of the model each frame belongs to; where the frames of one Gaussian lie in the noisy features is what its mean
becomes. A single affine transform of all means for each feature stream, and one factor for each variance, fitted to
that by least squares, is an MLLR (Leggetter and Woodland, Computer Speech and Language 9, 1995) from stereo data; the
variances matter as much as the means. Voices: flite's ``kal16`` and four of espeak-ng's, and the prompts of the human
voice that ``handsfree.bench._prompts.tuned_on`` sets aside. The packaged demo's voices are not among them.

Needs Debian's flite, espeak-ng, ffmpeg and asterisk-core-sounds-en-g722; about ten minutes each.
"""

from __future__ import annotations

import pickle
import sys
import tempfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import make_voices
import numpy as np
from numpy.typing import NDArray
from pocketsphinx import Decoder, get_model_path

sys.path.insert(0, str(Path(__file__).parents[1] / "hearing"))
from chatter import CHATTER

from handsfree.audio import Suppressor, samples
from handsfree.bench._hearing import _surround
from handsfree.bench._noise import mix, pink
from handsfree.bench._prompts import prompts, sentence_prompts, tuned_on
from handsfree.bench._script import recorded_lines
from handsfree.hearing._phone_loop import make_phone_loop

VOICES = ("kal16", "espeak:en-us", "espeak:en-us+f3", "espeak:en-gb", "espeak:en-us+m3")
SEED = 900
BEFORE_S = 1.5  # of the room, for the suppressor to learn; the last 0.3 s of it belong to the utterance
SENTENCES, EVERY = 3, 4  # a grammar and a voice; of these, every how many
RIDGE = 50.0  # frames that speak for no change
_PHONES = """AA AE AH AO AW AY B CH D DH EH ER EY F G HH IH IY JH K L M N NG OW OY P R S SH SIL T TH UH UW V W Y Z
ZH +NSN+ +SPN+"""
PHONES = sorted(_PHONES.split())
STREAMS, DENSITIES, WIDTH, SENONES = 3, 128, 13, 5126

Array = NDArray[np.float64]


class Model:
    """The shipped model's Gaussians: arrays of (phone, stream, Gaussian, feature); log weights without the last."""

    def __init__(self) -> None:
        folder = Path(get_model_path("en-us/en-us"))
        self.means, self.variances = self._read(folder / "means"), self._read(folder / "variances")
        raw = (folder / "sendump").read_bytes()
        dump = np.frombuffer(raw[-STREAMS * DENSITIES * SENONES :], "u1").reshape(STREAMS, DENSITIES, SENONES)
        # Minus the logarithm to the base 1.0001, shifted right by ten bits; the first senones are the phones'
        # own, three states each.
        own = np.exp(-0.1024 * dump[:, :, : 3 * len(PHONES)].astype(float))
        weights = own.reshape(STREAMS, DENSITIES, len(PHONES), 3).mean(axis=3).transpose(2, 0, 1)
        self.log_weights = np.log(weights + 1e-12)

    @staticmethod
    def _read(path: Path) -> Array:
        raw = path.read_bytes()
        at = raw.index(b"endhdr\n") + 7 + 4 + 12 + 4 * STREAMS + 4  # byte order, sizes, widths, total
        count = len(PHONES) * STREAMS * DENSITIES * WIDTH
        flat = np.frombuffer(raw, "<f4", count=count, offset=at).astype(float)
        return flat.reshape(len(PHONES), STREAMS, DENSITIES, WIDTH)

    def posteriors(self, frames: Array, phones: NDArray[np.int_], stream: int) -> Array:
        """Which Gaussian of its phone each frame belongs to, (frame, Gaussian)."""
        mean, variance = self.means[phones, stream], np.maximum(self.variances[phones, stream], 1e-4)
        score = -0.5 * ((frames[:, None] - mean) ** 2 / variance + np.log(variance)).sum(axis=2)
        score += self.log_weights[phones, stream]
        likely = np.exp(score - score.max(axis=1, keepdims=True))
        return np.asarray(likely / likely.sum(axis=1, keepdims=True))


class Features:
    """The recognizer's own: its front end writes them to a file, mean and deltas are taken here as it does."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._decoder: Any = Decoder(loglevel="FATAL", lm=None, mfclogdir=str(folder))
        self._decoder.add_jsgf_string("any", "#JSGF V1.0;\ngrammar any;\npublic <any> = one;\n")
        self._decoder.activate_search("any")

    def __call__(self, pcm: bytes) -> Array:
        self._decoder.start_utt()
        self._decoder.process_raw(pcm, True, True)
        self._decoder.end_utt()
        (file,) = self._folder.iterdir()
        found = np.frombuffer(file.read_bytes()[4:], ">f4").reshape(-1, WIDTH).astype(float)
        file.unlink()
        static = found - found.mean(axis=0)
        padded, n = np.pad(static, ((3, 3), (0, 0)), "edge"), len(static)

        def at(offset: int) -> Array:
            return padded[3 + offset : 3 + offset + n]

        return np.concatenate([static, at(2) - at(-2), (at(3) - at(-1)) - (at(1) - at(-3))], axis=1)


def align(loop: Any, pcm: bytes) -> NDArray[np.int_]:
    """The phone loop's phone of each frame."""
    loop.start_utt()
    loop.process_raw(pcm, False, True)
    loop.end_utt()
    phones = np.full(loop.n_frames(), PHONES.index("SIL"))
    for segment in loop.seg() or ():
        phones[segment.start_frame : segment.end_frame + 1] = PHONES.index(segment.word)
    return phones


def spoken(cache: Path) -> list[bytes]:
    """All sentences, synthetic ones cached."""
    file = cache / "sentences.pickle"
    if not file.exists():
        grammars = {line.armed.jsgf(): line.armed for line in recorded_lines()}
        said: list[bytes] = []
        for v, voice in enumerate(VOICES):
            texts = [
                text
                for a, armed in enumerate(grammars.values())
                for text in armed.examples(SENTENCES, seed=500 + 31 * v + a, max_words=8)
            ]
            for text in (*texts, *CHATTER["dev"]):
                said.append(make_voices.render(text, voice, zlib.crc32(f"{voice}{text}".encode())).tobytes())
        file.write_bytes(pickle.dumps(said[::EVERY]))
    human = prompts([name for name in sentence_prompts() if tuned_on(name)]).values()
    return [*pickle.loads(file.read_bytes()), *(pcm[: 8 * 32000] for pcm in human)]


def suppressed(pcm: bytes) -> bytes:
    suppressor, pcm = Suppressor(), pcm + bytes(-len(pcm) % 960)
    out = b"".join(suppressor.feed(pcm[at : at + 960]) for at in range(0, len(pcm), 960))
    late = suppressor.delay_ms * 32
    return out[late:] + bytes(late)


def pairs(cache: Path, snr_db: float) -> Iterator[tuple[NDArray[np.int_], Array, Array]]:
    """(phones, clean features, noisy features) of each sentence."""
    with tempfile.TemporaryDirectory() as folder:
        features, loop = Features(Path(folder)), make_phone_loop()
        for number, pcm in enumerate(spoken(cache)):
            clean = _surround(pcm, BEFORE_S)
            noisy = suppressed(mix(clean, pink(len(clean) // 2, SEED + number), snr_db))
            begin = int((BEFORE_S - 0.3) * 16000)
            cut = slice(2 * begin, 2 * (begin + len(samples(pcm)) + int(0.75 * 16000)))
            phones, x, y = align(loop, clean[cut]), features(clean[cut]), features(noisy[cut])
            n = min(len(phones), len(x), len(y))
            yield phones[:n], x[:n], y[:n]


def fit(cache: Path, snr_db: float) -> list[tuple[Array, Array, Array]]:
    """For each stream: matrix, offset, factor of the variances."""
    model = Model()
    shape = (STREAMS, len(PHONES), DENSITIES)
    count = np.zeros((*shape, 1))
    sums = {name: np.zeros((*shape, WIDTH)) for name in ("x", "y", "xx", "yy")}
    for phones, x, y in pairs(cache, snr_db):
        for stream in range(STREAMS):
            part = slice(WIDTH * stream, WIDTH * (stream + 1))
            share = model.posteriors(x[:, part], phones, stream)
            for phone in np.unique(phones):
                here = phones == phone
                weight, a, b = share[here].T, x[here, part], y[here, part]
                count[stream, phone, :, 0] += weight.sum(axis=1)
                for name, value in (("x", a), ("y", b), ("xx", a**2), ("yy", b**2)):
                    sums[name][stream, phone] += weight @ value
    return [_solve(count[s], {name: total[s] for name, total in sums.items()}) for s in range(STREAMS)]


def _solve(count: Array, sums: dict[str, Array]) -> tuple[Array, Array, Array]:
    some = np.maximum(count, 1e-3)
    mean = {name: total / some for name, total in sums.items()}
    weight = count.reshape(-1, 1)
    ones = np.concatenate([mean["x"].reshape(-1, WIDTH), np.ones((weight.size, 1))], axis=1)
    ridge = np.diag([RIDGE] * WIDTH + [0.0])
    same = np.concatenate([np.eye(WIDTH), np.zeros((1, WIDTH))])
    both = np.linalg.solve(
        (ones * weight).T @ ones + ridge, (ones * weight).T @ mean["y"].reshape(-1, WIDTH) + ridge @ same
    )
    spread = {v: (count * (mean[v + v] - mean[v] ** 2)).sum(axis=(0, 1)) for v in "xy"}
    return both[:WIDTH].T, both[WIDTH], spread["y"] / spread["x"]


def write(path: Path, transform: list[tuple[Array, Array, Array]]) -> None:
    """One class, three streams, as SphinxTrain's mllr_solve writes it."""
    rows = ["1", str(STREAMS)]
    for matrix, offset, factor in transform:
        rows += [str(WIDTH), *(" ".join(f"{v:.5g}" for v in row) for row in (*matrix, offset, factor))]
    path.write_text("\n".join(rows) + "\n", encoding="ascii")


if __name__ == "__main__":
    Path(sys.argv[1]).mkdir(parents=True, exist_ok=True)
    write(Path(sys.argv[2]), fit(Path(sys.argv[1]), float(sys.argv[3])))
