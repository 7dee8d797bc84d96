"""The tire cut across, to scale: tread, crown zone, and the channel of an injury from liner to tread."""

from __future__ import annotations

import math
from fractions import Fraction

from markupsafe import Markup

from handsfree.limits import Lean

from ._injury import Injury
from ._svg import WIDTH, Drawing

__all__ = ["section"]

_SIDE, _TOP, _BELOW = 16.0, 66.0, 64.0


def section(injury: Injury, name: str) -> Markup | None:
    """The cross-section of one injury; None while tread width, thickness or place were not read."""
    channel, width, thickness = injury.channel, injury.tread_width, injury.thickness
    if channel is None or width is None or thickness is None:
        return None
    scale = (WIDTH - 2 * _SIDE) / float(width)
    middle, bottom = WIDTH / 2, _TOP + float(thickness) * scale
    drawing = Drawing(
        name,
        bottom + _BELOW,
        f"{injury.name}: cross-section with the crown zone",
        _words(injury),
        scale=scale,
    )

    def across(mm: Fraction | float) -> float:
        return middle + float(mm) * scale

    half = float(width) / 2
    drawing.rect("slab", across(-half), _TOP, 2 * half * scale, bottom - _TOP, rx=3)
    zone = injury.zone
    if zone is not None and zone > 0:
        left, right = across(-zone), across(zone)
        drawing.rect("zone", left, _TOP - 10, right - left, bottom - _TOP + 20, data_half=str(float(zone)))
        drawing.line("zone-edge", left, _TOP - 16, left, bottom + 16)
        drawing.line("zone-edge", right, _TOP - 16, right, bottom + 16)
        drawing.text(
            middle,
            _TOP - 42,
            f"crown zone {2 * float(zone):.1f} mm ({2 * float(zone) / 25.4:.2f} in)",
            "strong",
        )
        drawing.line("dimension", left, _TOP - 34, right, _TOP - 34)
    drawing.line("center", middle, _TOP - 26, middle, bottom + 20)
    major = channel.minor if injury.lean is Lean.ROUND else channel.major
    reach = float(major) / 2
    top, foot = channel.tread_across, channel.liner_across
    drawing.polygon(
        "channel",
        (across(float(top) - reach), _TOP),
        (across(float(top) + reach), _TOP),
        (across(float(foot) + reach), bottom),
        (across(float(foot) - reach), bottom),
    )
    drawing.line("channel-axis", across(foot), bottom, across(top), _TOP)
    drawing.text(across(-half), _TOP - 16, "outside", "small", "start")
    drawing.text(across(-half), bottom + 16, "liner", "small", "start")
    drawing.scale_bar(_SIDE, bottom + 46, scale)
    drawing.text(WIDTH - _SIDE, bottom + 46, f"tread {float(width):g} mm", "small", "end")
    return drawing.svg()


def _words(injury: Injury) -> str:
    channel, zone = injury.channel, injury.zone
    assert channel is not None
    place = (
        f"The channel lies {float(channel.liner_across):.1f} mm from the center line at the liner and "
        f"{float(channel.tread_across):.1f} mm at the tread."
    )
    reach = f" Its farthest reach is {float(channel.nominal_reach):.1f} mm"
    limit = (
        f" of {math.floor(zone * 100) / 100:g} mm to the edge of the crown zone." if zone is not None else "."
    )
    return (
        f"{place}{reach}{limit} Which side of the center line was not recorded; drawn on the right. To scale."
    )
