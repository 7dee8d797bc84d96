"""The level of the noise that speech has to stand out from."""

from __future__ import annotations

from collections import deque
from itertools import islice
from math import log10
from typing import Final

__all__ = ["STEADY_S", "NoiseFloor"]

_DOWN: Final = 0.2  # share a frame
_UP_DB, _UP_VOICED_DB = 0.12, 0.03  # dB a frame: 4 and 1 dB a second
_FIRST_DBFS: Final = -50.0
_FIRST_FRAMES: Final = 30

# A compressor that starts is as loud in every frame; speech never is for long, it has stops and ends of words. Of all
# seconds of 300 human prompts and of the demo's lines (28,000 windows) the quietest frame is within 5.8 dB of their
# mean in one of 10,000; in a minute each of pink noise, air hiss and motor hum it is within 3 dB in 999 of 1,000.
STEADY_S: Final = 1.0
_STEADY_FRAMES: Final = int(STEADY_S / 0.03)  # of 30 ms
_STEADY_DB: Final = 4.0
# Over a floor of noise speech is as level, since the noise fills its gaps; but there the gaps are near the floor. A
# noise that grows by less is found by its quietest frame.
_GROWN_DB: Final = 6.0
# Nobody speaks for two seconds without a frame near the noise.
_LONGEST_WORDS: Final = 66


class NoiseFloor:
    """Follows the quiet down quickly and up slowly, so that speech does not become the floor; what stays steady for
    a second is noise, however loud. A room that is not known yet is followed quickly either way while nobody speaks.
    Levels in dBFS, a frame is 30 ms."""

    def __init__(self) -> None:
        self.dbfs = _FIRST_DBFS
        self._quiet = 0  # frames without voice, until the room is known
        self._lately: deque[float] = deque(maxlen=_LONGEST_WORDS)

    def update(self, level: float, voiced: bool) -> None:
        self._lately.append(level)
        if not voiced and self._quiet < _FIRST_FRAMES:
            self._quiet += 1
            self.dbfs += _DOWN * (level - self.dbfs)
        elif level < self.dbfs:
            self.dbfs += _DOWN * (level - self.dbfs)
        else:
            self.dbfs += min(level - self.dbfs, _UP_VOICED_DB if voiced else _UP_DB)
        if len(self._lately) == _LONGEST_WORDS:
            self.dbfs = max(self.dbfs, min(self._lately))

    @property
    def grown(self) -> bool:
        """Whether the last second was steady noise, clearly over the floor."""
        last = self._last(_STEADY_FRAMES)
        if len(last) < _STEADY_FRAMES:
            return False
        return min(last) > max(_mean(last) - _STEADY_DB, self.dbfs + _GROWN_DB)

    def settle(self, frames: int = _STEADY_FRAMES) -> None:
        """The last frames were nothing but noise: they are the floor."""
        self.dbfs = max(self.dbfs, _mean(self._last(frames)))

    def _last(self, frames: int) -> list[float]:
        return list(islice(self._lately, max(0, len(self._lately) - frames), None))


def _mean(levels: list[float]) -> float:
    """dBFS of the mean power."""
    return 10 * log10(sum(10 ** (level / 10) for level in levels) / len(levels))
