"""From what is to be shown to a picture of any size. Pure: the time and the microphone's level come in."""

from __future__ import annotations

from rich.console import Console, ConsoleOptions, RenderResult

from handsfree.session._panels import panels_picture
from handsfree.session._pieces import Scene
from handsfree.session._rows import rows_picture

__all__ = ["Picture"]

_WIDE, _TALL = 120, 40  # from this size on there is room for panels


class Picture(Scene):
    """A renderable that fills the space it is given."""

    __slots__ = ()

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        width, height = options.max_width, options.height or options.size.height
        if width >= _WIDE and height >= _TALL:
            yield panels_picture(self, width, height)
        else:
            yield rows_picture(self, console, width, height)
