"""One line typed below a live screen: the terminal's own echo would write into the picture."""

from __future__ import annotations

import codecs
import os
import re
import sys
from collections.abc import Callable, Iterator
from typing import Any, TextIO

__all__ = ["KeyLine", "edited"]

_LONGEST = 200
#: What arrow and function keys send (ECMA-48 control sequences): nothing of it belongs into an answer.
_SEQUENCE = re.compile(r"\x1b(\[[0-?]*[ -/]*[@-~]|O.|.)?")
_ENTER, _END, _ERASE, _CLEAR, _WORD = "\r\n", "\x04", "\b\x7f", "\x15", "\x17"


def edited(line: str, key: str) -> str:
    """The line after one key that is neither Enter nor the end of input; keys that mean nothing change nothing."""
    if key in _ERASE:
        return line[:-1]
    if key == _CLEAR:
        return ""
    if key == _WORD:
        return line.rstrip().rpartition(" ")[0]
    return line + key if key.isprintable() and len(line) < _LONGEST else line


class KeyLine:
    """Reads keys of a terminal and gives whole lines; ``changed`` is told the unfinished one after every key.

    While open the terminal echoes nothing and Ctrl-Z is off: a stray key must not spoil the screen. Ctrl-C
    works as ever.
    """

    def __init__(self, changed: Callable[[str], None], stream: TextIO | None = None) -> None:
        self._changed = changed
        self._stream = stream or sys.stdin
        self._fd = -1
        self._found: list[Any] = []
        self._before: list[Any] | None = None  # the terminal's settings to go back to
        self._begun = False
        self._line = ""
        self.veiled = False  # what is typed is shown as so many dots: a code word
        self._keys: list[str] = []
        self._decoder = codecs.getincrementaldecoder("utf-8")("replace")

    def able(self) -> bool:
        """Whether the stream is a terminal that can be read key by key."""
        try:
            import termios

            self._fd = self._stream.fileno()
            self._found = termios.tcgetattr(self._fd)
        except (ImportError, AttributeError, OSError, ValueError):
            return False
        except termios.error:
            return False
        return True

    def open(self) -> None:
        """Quiet the terminal, where it is one."""
        if not self.able():
            return
        import termios

        self._before = self._found
        quiet = termios.tcgetattr(self._fd)
        quiet[3] &= ~(termios.ECHO | termios.ICANON)
        quiet[6][termios.VMIN], quiet[6][termios.VTIME] = 1, 0
        quiet[6][termios.VSUSP] = b"\x00"
        termios.tcsetattr(self._fd, termios.TCSADRAIN, quiet)

    def close(self) -> None:
        """The terminal as it was found. Keys nobody read are dropped: they were no command for the shell."""
        if self._before is None:
            return
        import termios

        termios.tcsetattr(self._fd, termios.TCSAFLUSH, self._before)
        self._before = None

    def isatty(self) -> bool:
        return False  # it needs no mark where to type: the screen shows the line

    def readline(self) -> str:
        """The next whole line with its newline; "" when there will be no more."""
        if not self._begun:
            self._begin()
        while True:
            while self._keys:
                key = self._keys.pop(0)
                if key in _ENTER:
                    line, self._line = self._line, ""
                    self._changed("")
                    return f"{line}\n"
                if key == _END:
                    if not self._line:
                        return ""
                    continue
                self._line = edited(self._line, key)
            self._changed("\N{BULLET}" * len(self._line) if self.veiled else self._line)
            more = os.read(self._fd, 1024)
            if not more:
                return ""
            self._keys += _SEQUENCE.sub("", self._decoder.decode(more))

    def _begin(self) -> None:
        """What was typed before anyone wanted a line is no answer."""
        import termios

        self._begun = True
        termios.tcflush(self._fd, termios.TCIFLUSH)

    def __iter__(self) -> Iterator[str]:
        while line := self.readline():
            yield line
