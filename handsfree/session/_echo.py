"""Typing that does not show: for a code word."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterator
from typing import TextIO

__all__ = ["unseen"]


@contextlib.contextmanager
def unseen(stream: TextIO, wanted: bool) -> Iterator[None]:
    """While inside, a terminal does not echo what is typed; a file or a pipe has no echo to switch off."""
    restore = _echo_off(stream) if wanted and _is_terminal(stream) else None
    try:
        yield
    finally:
        if restore is not None:
            restore()
            print(flush=True)  # the unseen line's end


def _is_terminal(stream: TextIO) -> bool:
    try:
        return stream.isatty()
    except (AttributeError, ValueError, OSError):
        return False


def _echo_off(stream: TextIO) -> Callable[[], None]:
    """Switch the echo off; what is returned switches it on again."""
    if sys.platform == "win32":
        return _windows()
    import termios

    fd = stream.fileno()
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
