"""Times of a record in local time, and by how much that is off UTC: a time without it tells nobody when it was."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, tzinfo
from typing import Any

__all__ = ["local_time", "minute_of", "zone_of", "zones_of"]


def local_time(at: object, tz: tzinfo | None) -> datetime | None:
    """A record's time in ``tz`` (None: this machine's zone, on each day as it was then); None for what is no time."""
    try:
        return datetime.fromisoformat(str(at)).astimezone(tz)
    except (ValueError, OverflowError, OSError):  # Windows: a time before 1970
        return None


def minute_of(at: object, tz: tzinfo | None = None) -> str:
    """ "2026-11-25 16:13 UTC+01:00": when somebody signed, for several may have signed on one day; a text that is no
    time as it stands."""
    local = local_time(at, tz)
    return str(at) if local is None else f"{local:%Y-%m-%d %H:%M} {zone_of(local)}"


def zone_of(local: datetime) -> str:
    """ "UTC+01:00", and "UTC" for UTC itself."""
    shift = local.strftime("%z")
    return "UTC" if shift == "+0000" else f"UTC{shift[:3]}:{shift[3:]}"


def zones_of(rows: Iterable[Mapping[str, Any]], tz: tzinfo | None) -> str:
    """That of all times of a record, for the head of a list; several where the clocks were put forward or back."""
    found = (local_time(row.get("at"), tz) for row in rows)
    return ", then ".join(dict.fromkeys(zone_of(one) for one in found if one is not None))
