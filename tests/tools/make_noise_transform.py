"""Makes ``handsfree/hearing/noise-*.mllr``: what noise, taken out again, does to the acoustic model.

    python tests/tools/make_noise_transform.py CACHE handsfree/hearing/noise-10db.mllr 10
    python tests/tools/make_noise_transform.py CACHE handsfree/hearing/noise-5db.mllr 5

The same sentences are heard clean, and in pink noise through the suppressor. The clean features say which Gaussian
of the model each frame belongs to; where the frames of one Gaussian lie in the noisy features is what its mean
becomes. A single affine transform of all means for each feature stream, and one factor for each variance, fitted to
that by least squares, is an MLLR from stereo data (``handsfree/hearing/_mllr.py``, as for a voice that is enrolled);
the variances matter as much as the means. Voices: flite's ``kal16`` and four of espeak-ng's, and the prompts of the
human voice that ``handsfree.bench._prompts.tuned_on`` sets aside. The packaged demo's voices are not among them.

Needs Debian's flite, espeak-ng, ffmpeg and asterisk-core-sounds-en-g722; about ten minutes each.
"""

from __future__ import annotations

import pickle
import sys
import zlib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import make_voices
import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[1] / "hearing"))
from chatter import CHATTER

from handsfree.audio import samples, suppressed
from handsfree.bench._hearing import _surround
from handsfree.bench._noise import mix, pink
from handsfree.bench._prompts import prompts, sentence_prompts, tuned_on
from handsfree.bench._script import recorded_lines
from handsfree.hearing._frames import Features, phones_of
from handsfree.hearing._mllr import Array, Stereo, Transform, shipped_model, write_transform
from handsfree.hearing._phone_loop import make_phone_loop

VOICES = ("kal16", "espeak:en-us", "espeak:en-us+f3", "espeak:en-gb", "espeak:en-us+m3")
SEED = 900
BEFORE_S = 1.5  # of the room, for the suppressor to learn; the last 0.3 s of it belong to the utterance
SENTENCES, EVERY = 3, 4  # a grammar and a voice; of these, every how many


def align(loop: Any, pcm: bytes) -> NDArray[np.int_]:
    """The phone loop's phone of each frame."""
    loop.start_utt()
    loop.process_raw(pcm, False, True)
    loop.end_utt()
    segments = ((s.word, s.start_frame, s.end_frame + 1 - s.start_frame) for s in loop.seg() or ())
    return phones_of(segments, loop.n_frames())


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


def pairs(said: Sequence[bytes], snr_db: float) -> Iterator[tuple[NDArray[np.int_], Array, Array]]:
    """(phones, clean features, noisy features) of each sentence."""
    loop = make_phone_loop()
    with Features() as features:
        for number, pcm in enumerate(said):
            clean = _surround(pcm, BEFORE_S)
            noisy = suppressed(mix(clean, pink(len(clean) // 2, SEED + number), snr_db))
            begin = int((BEFORE_S - 0.3) * 16000)
            cut = slice(2 * begin, 2 * (begin + len(samples(pcm)) + int(0.75 * 16000)))
            phones, x, y = align(loop, clean[cut]), features(clean[cut]), features(noisy[cut])
            n = min(len(phones), len(x), len(y))
            yield phones[:n], x[:n], y[:n]


def fit(said: Sequence[bytes], snr_db: float) -> Transform:
    """What the noise does to the model's means and variances."""
    statistics = Stereo(shipped_model())
    for phones, x, y in pairs(said, snr_db):
        statistics.add(phones, x, y)
    return statistics.solve()


if __name__ == "__main__":
    Path(sys.argv[1]).mkdir(parents=True, exist_ok=True)
    found = fit(spoken(Path(sys.argv[1])), float(sys.argv[3]))
    Path(sys.argv[2]).write_text(write_transform(found), encoding="ascii")
