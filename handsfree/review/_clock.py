"""Times of a record in local time."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any

from handsfree.record import local_time, minute_of, value_of, zones_of

__all__ = ["Clock"]


@dataclass(frozen=True, slots=True)
class Clock:
    """``tz`` None: this machine's zone, on each day as it was then."""

    tz: tzinfo | None = None

    def _local(self, row: Mapping[str, Any]) -> datetime | None:
        return local_time(value_of(row, "at"), self.tz)

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
        return minute_of(value_of(row, "at"), self.tz)

    def zones(self, rows: Iterable[Mapping[str, Any]]) -> str:
        """ "UTC+01:00", for the head of a list of times; "no time zone" where none is a time."""
        return zones_of(rows, self.tz) or "no time zone"
