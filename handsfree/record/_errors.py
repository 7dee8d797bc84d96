"""What can go wrong with a record, each as one line that says what to do."""

from __future__ import annotations

__all__ = ["RecordDamaged", "RecordError"]


class RecordError(RuntimeError):
    """The record can't be written or read; the message is one line for the technician or the terminal."""


class RecordDamaged(RecordError):
    """A line before the last is damaged, so nothing more may be appended. ``line`` counts from 1."""

    def __init__(self, line: int, reason: str) -> None:
        super().__init__(
            f"record damaged at line {line}: {reason}; nothing is appended to it: look at it with show, "
            "keep the folder and start a new job"
        )
        self.line = line
        self.reason = reason
