"""What goes wrong with an archive, in one line that says what to do."""

from __future__ import annotations

from handsfree.record import RecordError

__all__ = ["ArchiveError"]


class ArchiveError(RecordError):
    """The archive can't be reached, is of another layout, or refuses a job."""
