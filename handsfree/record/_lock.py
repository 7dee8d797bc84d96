"""One writer to a job."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from filelock import FileLock, Timeout

from ._errors import RecordError
from ._files import explain

__all__ = ["JobLock"]


class JobLock:
    """Holds a job's ``.lock``; the system frees it when the process dies, however it dies.

    The process id stands beside it in ``.writer``: on Windows a locked file can't be read by others.
    """

    def __init__(self, folder: Path) -> None:
        self._pid_file = folder / ".writer"
        self._lock = FileLock(folder / ".lock", mode=0o600, thread_local=False)
        try:
            self._lock.acquire(timeout=0)
        except Timeout:
            raise RecordError(f"job is open in another window (pid {self._holder()}): {folder}") from None
        except OSError as error:
            raise explain(f"can't lock {folder}", error) from None
        with contextlib.suppress(OSError):  # the lock holds without it; only the message would be poorer
            self._write_pid()

    def release(self) -> None:
        """Let others write."""
        with contextlib.suppress(OSError):
            self._pid_file.unlink(missing_ok=True)
        self._lock.release()

    def _write_pid(self) -> None:
        fd = os.open(self._pid_file, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        try:
            os.write(fd, str(os.getpid()).encode())
        finally:
            os.close(fd)

    def _holder(self) -> str:
        try:
            return self._pid_file.read_text(encoding="ascii").strip() or "unknown"
        except (OSError, UnicodeDecodeError):
            return "unknown"
