"""Files that are on the disk when the call returns: the only module of the record that touches the system."""

from __future__ import annotations

import contextlib
import errno
import os
import sys
from pathlib import Path
from typing import Protocol

from ._errors import RecordError

__all__ = [
    "AppendFile",
    "OsAppendFile",
    "cant_write",
    "explain",
    "make_folder",
    "set_aside",
    "sync_folder",
    "write_new",
    "write_out",
]

_PRIVATE_FILE = 0o600
_PRIVATE_FOLDER = 0o700
_BINARY = getattr(os, "O_BINARY", 0)  # Windows only
_CLOEXEC = getattr(os, "O_CLOEXEC", 0)


class AppendFile(Protocol):
    """The calls an append makes, so that tests can make each of them fail."""

    def size(self) -> int:
        """Bytes in the file that the name leads to. Raises OSError when it leads to none any more."""

    def write(self, data: bytes) -> int:
        """One write at the end of the file; returns the bytes taken. Raises OSError."""

    def sync(self) -> None:
        """Return when the bytes are on the disk. Raises OSError."""

    def close(self) -> None:
        """Give the file back."""


class OsAppendFile:
    """The real one: O_APPEND, so one write is one addition at the end whatever else has happened."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._fd = os.open(path, os.O_WRONLY | os.O_APPEND | _BINARY | _CLOEXEC)

    def size(self) -> int:
        held = os.fstat(self._fd)
        if not os.path.samestat(
            held, self._path.stat()
        ):  # replaced: what is written now would be lost with it
            raise OSError(errno.ENOENT, os.strerror(errno.ENOENT))
        return held.st_size

    def write(self, data: bytes) -> int:
        return os.write(self._fd, data)

    def sync(self) -> None:
        sync(self._fd)

    def close(self) -> None:
        if self._fd >= 0:
            os.close(self._fd)
            self._fd = -1


def write_new(path: Path, data: bytes, *, replace: bool = False) -> None:
    """Write a new private file, on disk with its folder entry when this returns. Raises OSError.

    An existing file is an error unless ``replace``.
    """
    flags = os.O_WRONLY | os.O_CREAT | _BINARY | _CLOEXEC | (os.O_TRUNC if replace else os.O_EXCL)
    fd = os.open(path, flags, _PRIVATE_FILE)
    try:
        view = memoryview(data)
        while view:
            taken = os.write(fd, view)
            if taken == 0:
                raise OSError(errno.ENOSPC, "nothing written")
            view = view[taken:]
        sync(fd)
    finally:
        os.close(fd)
    sync_folder(path.parent)


def write_out(path: Path, data: bytes, *, replace: bool = False) -> None:
    """Write a private file that somebody asked for by its name. With ``replace`` whole or not at all, by a draft
    beside it that no error names. Raises RecordError that says what to do."""
    draft = path.with_name(f".{path.name}.new") if replace else path
    try:
        if replace:
            draft.unlink(missing_ok=True)
        write_new(draft, data)
        draft.replace(path)
    except OSError as error:
        if replace:
            with contextlib.suppress(OSError):
                draft.unlink(missing_ok=True)
        raise cant_write(path, error) from None


def cant_write(path: Path, error: OSError) -> RecordError:
    """Why a file that somebody asked for can't be written, and what to do."""
    if path.is_dir():
        return RecordError(f"{path}: is a folder; give the name of a file in it")
    if error.errno == errno.ENOENT:
        return RecordError(
            f"{path}: there is no folder {path.parent}; make it, or give a file in another one"
        )
    if error.errno == errno.EEXIST:
        return RecordError(
            f"{path}: exists, and is not overwritten; give another file, or move that one away"
        )
    return explain(f"can't write {path}", error)


def make_folder(path: Path) -> None:
    """Make a private folder (and its parents) that survives a power cut. Raises OSError."""
    if path.is_dir():
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    path.mkdir(mode=_PRIVATE_FOLDER, exist_ok=True)
    sync_folder(path.parent)


def set_aside(path: Path, offset: int) -> tuple[str, bytes]:
    """Move what follows ``offset`` into a file of its own beside it, ``<name>.torn-<n>``: nothing is ever deleted.

    Returns that file's name and what is in it. Raises OSError.
    """
    number = 1
    while (aside := path.with_name(f"{path.stem}.torn-{number}")).exists():
        number += 1
    with path.open("r+b") as file:
        file.seek(offset)
        tail = file.read()
        # The copy is on disk before the original is cut: a stop between the two leaves both.
        write_new(aside, tail)
        file.truncate(offset)
        sync(file.fileno())
    return aside.name, tail


def sync_folder(path: Path) -> None:
    """Put the folder's entries on disk: a new file's name is not durable until its folder is."""
    if sys.platform == "win32":  # Windows opens no folder for fsync; NTFS journals the entry
        return
    fd = os.open(path, os.O_RDONLY | _CLOEXEC)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)


_REMEDIES = {
    errno.ENOSPC: "the disk is full: free space",
    errno.EDQUOT: "the disk quota is used up: free space",
    errno.EFBIG: "the file size limit is reached: raise it",
    errno.EACCES: "no permission: choose a folder you may write to",
    errno.EPERM: "no permission: choose a folder you may write to",
    errno.EROFS: "the disk is read-only: choose another",
    errno.EIO: "the disk reports an error: do not trust it, use another",
    errno.ENOTDIR: "a part of the path is a file: choose another folder",
    errno.ENOENT: "no such file or folder: check the path",
    errno.EEXIST: "the name is taken by a file: choose another folder",
}


#: Where no other folder will do: what is read, or has its place.
_OF_THIS = {
    errno.EACCES: "no permission: get the right to it from whoever owns it",
    errno.EPERM: "no permission: get the right to it from whoever owns it",
    errno.EROFS: "the disk is read-only: make it writable",
    errno.ENOTDIR: "a part of the path is a file: check the path",
    errno.EISDIR: "a folder has that name: give a file",
}


def explain(what: str, error: OSError, *, folder: bool = True) -> RecordError:
    """An OSError as one line: what was tried, why it failed, what to do. ``folder``: another folder may be chosen."""
    remedies = _REMEDIES if folder else _REMEDIES | _OF_THIS
    remedy = remedies.get(error.errno or 0, error.strerror or str(error))
    return RecordError(f"{what}: {remedy}")


def sync(fd: int) -> None:
    """Return when the file's bytes are on the disk. Raises OSError."""
    if sys.platform == "darwin":
        import fcntl

        # fsync on macOS stops at the drive's cache; F_FULLFSYNC goes through it (fsync(2), macOS manual).
        try:
            fcntl.fcntl(fd, fcntl.F_FULLFSYNC)
        except OSError as error:
            if error.errno not in (errno.ENOTSUP, errno.EINVAL):
                raise
            os.fsync(fd)  # a network's disk has no cache of its own that this call could reach
    elif hasattr(os, "fdatasync"):
        os.fdatasync(fd)
    else:
        os.fsync(fd)
