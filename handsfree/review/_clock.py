"""Times of a record in local time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any

from handsfree.record import value_of

__all__ = ["Clock"]


@dataclass(frozen=True, slots=True)
class Clock:
    """``tz`` None: this machine's zone, on each day as it was then."""

    tz: tzinfo | None = None

    def _local(self, row: Mapping[str, Any]) -> datetime | None:
        try:
            return datetime.fromisoformat(value_of(row, "at")).astimezone(self.tz)
        except (ValueError, OverflowError, OSError):  # Windows: a time before 1970
            return None

    def time(self, row: Mapping[str, Any]) -> str:
        """ "16:13:55"; a time that is none, as it stands."""
        local = self._local(row)
        return value_of(row, "at") if local is None else local.strftime("%H:%M:%S")

    def date(self, row: Mapping[str, Any]) -> str:
        """ "2026-11-25"."""
        local = self._local(row)
        return value_of(row, "at")[:10] if local is None else local.strftime("%Y-%m-%d")

    def both(self, row: Mapping[str, Any]) -> str:
        """ "2026-11-25 16:13 UTC+00:00"."""
        local = self._local(row)
        return value_of(row, "at") if local is None else local.strftime("%Y-%m-%d %H:%M ") + _zone(local)


def _zone(local: datetime) -> str:
    shift = local.strftime("%z")
    return "UTC" if shift == "+0000" else f"UTC{shift[:3]}:{shift[3:]}"
