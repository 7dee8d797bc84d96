"""The only clock. Machine time never runs back: it is the wall clock at the start plus monotonic time since."""

from __future__ import annotations

import time
from datetime import UTC, datetime
from typing import Protocol

__all__ = ["Clock", "SimulatedClock", "SystemClock", "stamp"]


def stamp(ms: int) -> str:
    """RFC 3339, UTC, milliseconds."""
    moment = datetime.fromtimestamp(ms / 1000, UTC)
    return f"{moment:%Y-%m-%dT%H:%M:%S}.{ms % 1000:03d}Z"


class Clock(Protocol):
    name: str
    """ "system", "paced" (sound files at their own pace) or "simulated" (waits pass at once: practice)."""

    def now(self) -> int:
        """Milliseconds since the epoch, never less than before."""

    def reading(self) -> tuple[str, int]:
        """Wall time and monotonic milliseconds for the record."""

    def catch_up(self, ms: int) -> None:
        """Go on from ``ms`` if that is later: the time of a job's last event."""

    def advance(self, ms: int) -> None:
        """Sound of this length went by. A real clock has moved by itself."""


class SystemClock:
    """Counts on from ``not_before`` when the computer's clock was set back while the job was closed."""

    name = "system"

    def __init__(self, not_before: int = 0) -> None:
        self._start_wall = max(time.time_ns() // 1_000_000, not_before)
        self._start_mono = time.monotonic_ns()

    def now(self) -> int:
        return self._start_wall + (time.monotonic_ns() - self._start_mono) // 1_000_000

    def reading(self) -> tuple[str, int]:
        return stamp(time.time_ns() // 1_000_000), time.monotonic_ns() // 1_000_000

    def catch_up(self, ms: int) -> None:
        self._start_wall += max(0, ms - self.now())

    def advance(self, ms: int) -> None:
        pass


class SimulatedClock:
    """Moves only with the sound that is played and heard, as fast as that goes or at its own pace."""

    def __init__(self, start: int, *, realtime: bool = False) -> None:
        self.name = "paced" if realtime else "simulated"
        self._now = start
        self._start = start
        self._paced_from = time.monotonic() if realtime else None

    def now(self) -> int:
        return self._now

    def reading(self) -> tuple[str, int]:
        return stamp(self._now), self._now - self._start

    def catch_up(self, ms: int) -> None:
        later = max(0, ms - self._now)
        self._now, self._start = self._now + later, self._start + later

    def advance(self, ms: int) -> None:
        self._now += ms
        if self._paced_from is not None:
            ahead = self._paced_from + (self._now - self._start) / 1000 - time.monotonic()
            if ahead > 0:
                time.sleep(ahead)
