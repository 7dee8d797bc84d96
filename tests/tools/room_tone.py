"""A room's noise floor, made by seed from a spectrum measured in a real recording.

Digital silence wrecks a recognizer's cepstral mean and no microphone delivers it, so every packaged WAV lies
on this floor. Only band levels were kept from the recording, no samples: the pauses of ``something.raw`` in
Debian main's ``pocketsphinx-testdata`` 0.8+5prealpha+1-15 (a person at a desk, 16 kHz, BSD-2-Clause),
0.8 s in three pauses. Debian's telephone prompts would not do: their pauses are gated to about -80 dBFS.

``python tests/tools/room_tone.py FILE`` prints the same table for another one (16 kHz mono, WAV or raw).
"""

from __future__ import annotations

import sys
import wave
from pathlib import Path

import numpy as np
import numpy.typing as npt

__all__ = ["MEASURED_DBFS", "RATE", "band_levels", "dbfs", "pauses", "pink_noise", "read_pcm", "room_tone"]

Samples = npt.NDArray[np.float64]

RATE = 16_000
# Nominal band centre, Hz -> level in dB re full scale (mean square 1 = 0 dB); IEC 61260-1, base ten.
# The speaker of that recording is at -22.8 dBFS active level, peak -6.9; the whole floor at -50.9 dBFS.
MEASURED_DBFS: dict[float, float] = {
    50: -59.7, 63: -59.0, 80: -64.0, 100: -64.5, 125: -65.4, 160: -66.4, 200: -68.3, 250: -67.1, 315: -68.4,
    400: -68.3, 500: -69.9, 630: -70.1, 800: -70.5, 1000: -71.1, 1250: -72.4, 1600: -71.4, 2000: -71.7,
    2500: -72.4, 3150: -72.4, 4000: -72.9, 5000: -72.7, 6300: -73.8,
}  # fmt: skip
# Mains lines that stood 9 dB over their neighbours in the same pauses, Hz -> dB re the whole floor: heard as a
# quiet hum, and low enough that each band still measures what the table says.
HUM: dict[float, float] = {60.0: -18.0, 120.0: -26.0}
FRAME = 320  # 20 ms


def dbfs(x: Samples) -> float:
    """Level of samples in -1..1, dB re a mean square of 1. Empty or zero input gives -200."""
    return float(10 * np.log10(max(float(np.mean(np.square(x))) if len(x) else 0.0, 1e-20)))


def _centres() -> Samples:
    """Exact base-ten centres of the bands in the table, 50 Hz to 6.3 kHz."""
    return np.asarray(1000.0 * 10.0 ** (np.arange(-13, 9) / 10.0), dtype=np.float64)


def _shaped(n: int, seed: int, gain: Samples) -> Samples:
    """Gaussian noise of n samples whose spectrum is ``gain`` (amplitude per rfft bin)."""
    white = np.random.default_rng(seed).standard_normal(n)
    return np.asarray(np.fft.irfft(np.fft.rfft(white) * gain, n), dtype=np.float64)


def room_tone(n: int, seed: int, level: float = -54.0) -> Samples:
    """n samples (-1..1, 16 kHz) of room noise at ``level`` dBFS, with a quiet mains hum in it.

    Two calls with one seed and length give the same samples. Between band centres the density is interpolated
    over log frequency; below the first and above the last band it is held.
    """
    m = max(n, RATE)  # a short piece is cut from a whole second, or its low bands would be missing
    f = np.fft.rfftfreq(m, 1 / RATE)
    centres = _centres()
    width = centres * (10**0.05 - 10**-0.05)
    density = np.array(list(MEASURED_DBFS.values())) - 10 * np.log10(width)
    shape = np.interp(np.log(np.maximum(f, 1.0)), np.log(centres), density)
    shape[f < 30] = -200.0  # a microphone capsule's own high-pass; keeps DC out
    noise = _shaped(m, seed, 10 ** (shape / 20))
    noise *= 10 ** ((level - dbfs(noise)) / 20)  # brings the hum's own amplitude to scale, too
    phase = np.random.default_rng(seed + 1).uniform(0, 2 * np.pi, len(HUM))
    t = np.arange(m) / RATE
    for (hz, below), start in zip(HUM.items(), phase, strict=True):
        noise += np.sqrt(2) * 10 ** ((level + below) / 20) * np.sin(2 * np.pi * hz * t + start)
    return noise[:n] * 10 ** ((level - dbfs(noise)) / 20)


def pink_noise(n: int, seed: int, level: float) -> Samples:
    """n samples of noise with equal power per octave from 50 Hz up, at ``level`` dBFS."""
    m = max(n, RATE)
    gain = 1 / np.sqrt(np.maximum(np.fft.rfftfreq(m, 1 / RATE), 50.0))
    gain[0] = 0.0
    noise = _shaped(m, seed, gain)[:n]
    return np.asarray(noise * 10 ** ((level - dbfs(noise)) / 20), dtype=np.float64)


def pauses(x: Samples, above_db: float = 5.0, shortest_s: float = 0.12) -> list[Samples]:
    """Stretches of ``shortest_s`` or more, at most ``above_db`` over the quietest 5 % of frames."""
    frames = x[: len(x) // FRAME * FRAME].reshape(-1, FRAME)
    level = 10 * np.log10(np.square(frames).mean(axis=1) + 1e-20)
    quiet = np.concatenate(([False], level < np.percentile(level, 5) + above_db, [False]))
    edges = np.flatnonzero(np.diff(quiet.astype(np.int8)))
    spans = zip(edges[::2], edges[1::2], strict=True)
    return [x[a * FRAME : b * FRAME] for a, b in spans if (b - a) * FRAME >= shortest_s * RATE]


def band_levels(pieces: list[Samples], size: int = 2048) -> dict[float, float]:
    """Third-octave levels in dBFS of several pieces of one noise (Welch: Hann window, half overlap)."""
    power, count = np.zeros(size // 2 + 1), 0
    for piece in pieces:
        for start in range(0, max(len(piece) - size // 2, 1), size // 2):
            cut = piece[start : start + size]
            window = np.hanning(len(cut))
            spectrum = np.abs(np.fft.rfft((cut - cut.mean()) * window, size)) ** 2
            power += 2 * spectrum / float(np.square(window).sum()) / size
            count += 1
    if not count:
        raise ValueError("no pause to measure")
    f = np.fft.rfftfreq(size, 1 / RATE)
    levels = {}
    for nominal, centre in zip(MEASURED_DBFS, _centres(), strict=True):
        inside = (f >= centre * 10**-0.05) & (f < centre * 10**0.05)
        levels[nominal] = float(10 * np.log10(power[inside].sum() / count + 1e-20))
    return levels


def read_pcm(path: Path) -> Samples:
    """Samples in -1..1 of a 16 kHz mono 16-bit WAV or headerless file; ValueError for another format."""
    data = path.read_bytes()
    if data[:4] == b"RIFF":
        with wave.open(str(path), "rb") as w:
            if (w.getframerate(), w.getnchannels(), w.getsampwidth()) != (RATE, 1, 2):
                raise ValueError(f"{path}: need 16 kHz mono 16-bit")
            data = w.readframes(w.getnframes())
    return np.frombuffer(data[: len(data) // 2 * 2], "<i2").astype(np.float64) / 32768


def main() -> int:
    if len(sys.argv) != 2:
        print("usage: python tests/tools/room_tone.py FILE", file=sys.stderr)
        return 2
    try:
        found = pauses(read_pcm(Path(sys.argv[1])))
        levels = band_levels(found)
    except (OSError, ValueError, wave.Error) as e:
        print(f"room_tone: {e}", file=sys.stderr)
        return 1
    print(
        f"{sum(map(len, found)) / RATE:.2f} s in {len(found)} pauses, {dbfs(np.concatenate(found)):.1f} dBFS"
    )
    for nominal, level in levels.items():
        print(f"{nominal:6g} Hz {level:7.1f} dBFS")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
