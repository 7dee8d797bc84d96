"""The live screen: a picture of the job, drawn again a few times a second beside the work."""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from rich.console import Console
from rich.live import Live

from handsfree.procedure import Book, Event, Record, State
from handsfree.session import _shown as shown
from handsfree.session._ears import Heard, Level, Lines
from handsfree.session._keyline import KeyLine
from handsfree.session._layout import Picture
from handsfree.session._shown import Shown

__all__ = ["SCREENS", "LiveView", "choose_screen"]

SCREENS = ("live", "lines")
#: Pictures a second. A second of a timer and a glance need no more, and drawing takes time from the recognizer.
_A_SECOND = 4


def choose_screen(
    asked: str, *, tty: bool, keys: bool, fast: bool, encoding: str, environ: Mapping[str, str]
) -> str:
    """ "live" or "lines". What was ``asked`` for counts; else live where there is a terminal that shows color and
    block letters, whose keys can be read one by one (``keys``), at a pace that eyes can follow (not ``fast``), and
    nobody asked for plain text (NO_COLOR, see no-color.org; TERM=dumb).

    Raises ValueError when a live screen was asked for and there is no terminal for it.
    """
    dumb = environ.get("TERM", "dumb") in ("dumb", "unknown")
    able = tty and not dumb and encoding.lower().replace("-", "").startswith("utf")
    if asked == "live" and not able:
        raise ValueError("a live screen needs an interactive UTF-8 terminal; use --screen lines")
    if asked:
        return asked
    return "live" if able and keys and not fast and not environ.get("NO_COLOR") else "lines"


class LiveView:
    """Shows the job on the terminal's second page; of it only the last sentences stay in the scrollback.

    What happens replaces a frozen ``Shown``; a thread of rich's draws it. What is said is drawn before ``said``
    returns: without a voice the screen is the voice, and the session logs as spoken what it returned from. What was
    said last is printed once the terminal is as it was, and notes are written by ``write``: the second page is gone
    then. The keyboard's line is part of the picture (``keyboard``).
    """

    def __init__(self, write: Callable[[str], None], console: Console | None = None) -> None:
        self._write = write
        self._console = console or Console()
        self._shown = Shown()
        self._beside: dict[str, Shown] = {}  # of the tires that wait, by name
        self._keys = KeyLine(self._typing)
        self._live: Live | None = None
        self._before: Any = None  # what ended the program before
        self._now: Callable[[], int] = lambda: 0
        self._level: Callable[[], Level | None] = lambda: None

    def _picture(self) -> Picture:
        return Picture(self._shown, self._now(), self._level())

    def begin(self, now: Callable[[], int], level: Callable[[], Level | None]) -> None:
        self._now, self._level = now, level
        # Ended from outside it must not leave the terminal mute and on its second page: it ends as by Ctrl-C.
        with contextlib.suppress(ValueError):  # only the main thread may
            self._before = signal.signal(signal.SIGTERM, signal.default_int_handler)
        self._keys.open()
        self._live = Live(
            get_renderable=self._picture,
            console=self._console,
            screen=True,
            refresh_per_second=_A_SECOND,
            redirect_stdout=False,
            redirect_stderr=False,
        )
        self._live.start()

    def end(self) -> None:
        if self._live is not None:
            self._live.stop()
            self._live = None
        self._keys.close()
        if self._before is not None:
            signal.signal(signal.SIGTERM, self._before)
            self._before = None
        if self._shown.said:
            self._console.print(f"said  {self._shown.said}", markup=False, highlight=False)
        for note in self._shown.notes:
            self._write(note)
        self._shown = replace(self._shown, said="", notes=())

    def keyboard(self) -> Lines | None:
        """The line typed on this screen, None where the terminal can't do it."""
        return self._keys if self._keys.able() else None

    def _typing(self, line: str) -> None:
        self._shown = replace(self._shown, typing=line)
        self._draw()

    def _draw(self) -> None:
        """Now, not a quarter of a second later."""
        if self._live is not None:
            self._live.refresh()

    def stands(self, book: Book, state: State) -> None:
        self._shown = shown.stands(self._shown, book, state)

    def turned(self, tire: str, waiting: Sequence[str], sayable: Sequence[str]) -> None:
        own = self._shown
        if tire != own.tire:
            self._beside[own.tire] = own
            own = self._beside.pop(tire, Shown())
        # A name is free again when its job has ended: another tire of that name begins with nothing.
        self._beside = {name: self._beside[name] for name in waiting if name in self._beside}
        self._shown = shown.turned(self._shown, tire, waiting, sayable, own)
        self._waits_beside()

    def stands_beside(self, tire: str, state: State) -> None:
        self._beside[tire] = replace(self._beside.get(tire, Shown()), timers=shown.running(state))
        self._waits_beside()

    def _waits_beside(self) -> None:
        waits = tuple((name, timer) for name, beside in self._beside.items() for timer in beside.timers)
        self._shown = replace(self._shown, timers_beside=waits)

    def listening(self) -> None:
        self._shown = replace(self._shown, speaking=False)

    def said(self, text: str, kind: str) -> None:
        self._shown = shown.said(self._shown, text)
        self._draw()

    def heard(self, heard: Heard, event: Event) -> None:
        self._shown = shown.heard(self._shown, heard, event)

    def recorded(self, effect: Record) -> None:
        self._shown = shown.recorded(self._shown, effect)

    def recorded_beside(self, tire: str, effect: Record) -> None:
        self._beside[tire] = shown.recorded(self._beside.get(tire, Shown()), effect)

    def note(self, text: str) -> None:
        self._shown = shown.noted(self._shown, text)
