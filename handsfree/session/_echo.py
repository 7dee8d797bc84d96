"""Typing that does not show: for a code word."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterator

from handsfree.session._keyline import KeyLine

__all__ = ["unseen"]


@contextlib.contextmanager
def unseen(stream: object, wanted: bool) -> Iterator[None]:
    """While inside, a terminal does not echo what is typed, and a live screen shows dots; a file or a pipe has no
    echo to switch off."""
    if isinstance(stream, KeyLine):
        stream.veiled = wanted
    fd = _terminal(stream) if wanted else None
    restore = None if fd is None else _echo_off(fd)
    try:
        yield
    finally:
        if isinstance(stream, KeyLine):
            stream.veiled = False
        if restore is not None:
            restore()
            print(flush=True)  # the unseen line's end


def _terminal(stream: object) -> int | None:
    """The file descriptor of a terminal, else None."""
    try:
        return stream.fileno() if stream.isatty() else None  # type: ignore[attr-defined]
    except (AttributeError, ValueError, OSError):
        return None


def _echo_off(fd: int) -> Callable[[], None]:
    """Switch the echo off; what is returned switches it on again."""
    if sys.platform == "win32":
        return _windows()
    import termios

    before = termios.tcgetattr(fd)
    quiet = termios.tcgetattr(fd)
    quiet[3] &= ~termios.ECHO
    termios.tcsetattr(fd, termios.TCSADRAIN, quiet)
    return lambda: termios.tcsetattr(fd, termios.TCSADRAIN, before)


def _windows() -> Callable[[], None]:
    """Console mode bit ENABLE_ECHO_INPUT, 0x0004 (SetConsoleMode, Windows console documentation)."""
    import ctypes

    kernel = getattr(ctypes, "windll").kernel32  # noqa: B009 - only Windows has it
    handle = kernel.GetStdHandle(-10)
    mode = ctypes.c_ulong()
    kernel.GetConsoleMode(handle, ctypes.byref(mode))
    kernel.SetConsoleMode(handle, mode.value & ~0x0004)
    return lambda: kernel.SetConsoleMode(handle, mode.value)
