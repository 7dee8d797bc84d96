"""The injury channel with the unit in it, and the liner from inside with patch and outline: to scale."""

from __future__ import annotations

import math
from collections.abc import Callable

from markupsafe import Markup

from handsfree.limits import Lean

from ._injury import Injury
from ._svg import WIDTH, Drawing

__all__ = ["channel_view", "liner_view"]

_PAD = 20.0

Place = Callable[[float], float]


def _shift(injury: Injury) -> float:
    """How far the channel wanders from liner to tread, mm, in the plane of its lean."""
    channel = injury.channel
    assert channel is not None
    return float(channel.round_shift or channel.tread_across - channel.liner_across)


def channel_view(injury: Injury, name: str) -> Markup | None:
    """A cut along the lean: the channel at its angle, patch on the liner, stem through it. None if unread."""
    channel, thickness = injury.channel, injury.thickness
    if channel is None or thickness is None:
        return None
    t, shift, half = float(thickness), _shift(injury), float(channel.major) / 2
    slope = math.radians(injury.angle)
    sign = -1 if shift < 0 else 1
    stem = float(injury.stem or 0)
    # The stem begins at the patch and follows the channel.
    tip_x, tip_y = sign * stem * math.sin(slope), stem * math.cos(slope)
    span = max(float(injury.outline or injury.patch or 0) / 2, abs(shift) + half, abs(tip_x)) + 6
    above = max(tip_y - t, 6)
    scale = min((WIDTH - 2 * _PAD) / (2 * span), 230 / (t + above))
    middle, top = WIDTH / 2, 30 + max(above * scale, 30)
    bottom = top + t * scale
    drawing = Drawing(
        name, bottom + 92, f"{injury.name}: channel and unit, cut along its lean", _words(injury), scale=scale
    )

    def x(mm: float) -> float:
        return middle + mm * scale

    def y(mm: float) -> float:
        """Height above the liner."""
        return bottom - mm * scale

    drawing.rect("slab", x(-span), top, 2 * span * scale, bottom - top)
    drawing.polygon(
        "channel", (x(shift - half), top), (x(shift + half), top), (x(half), bottom), (x(-half), bottom)
    )
    if stem:
        _stem(drawing, injury, (x, y), slope * sign)
    if injury.outline is not None:
        reach = float(injury.outline) / 2
        drawing.rect("outline", x(-reach), bottom, 2 * reach * scale, 3)
    if injury.patch is not None:
        reach = float(injury.patch) / 2
        drawing.rect(
            "patch", x(-reach), bottom + 3, 2 * reach * scale, 9, rx=4, data_diameter=f"{2 * reach:g}"
        )
        drawing.text(middle, bottom + 28, f"patch {2 * reach:g} mm ({2 * reach / 25.4:.2f} in)", "strong")
    drawing.line("channel-axis", x(0), bottom, x(shift), top)
    if injury.angle:
        drawing.line("normal", x(0), bottom, x(0), top - 40)
        drawing.text(
            x(0) - sign * 8, top - 30, f"{injury.angle:g}°", "strong", "end" if sign > 0 else "start"
        )
    # Words stand on the side that the channel leans away from.
    near, far = ("start", "end") if sign > 0 else ("end", "start")
    edge = x(-sign * span)
    if injury.trim is not None and stem:
        cut = y(t + float(injury.trim))
        drawing.line("trim", x(-span), cut, x(span), cut)
        drawing.text(edge, cut - 4, f"trimmed at {float(injury.trim):g} mm", "small", near)
    drawing.text(edge + sign * 4, top + 14, "tread side", "small on-slab", near)
    drawing.text(edge + sign * 4, bottom - 6, "liner", "small on-slab", near)
    drawing.text(x(sign * span) - sign * 4, bottom - 6, f"{t:g} mm thick", "small on-slab", far)
    drawing.scale_bar(_PAD, bottom + 72, scale, (20, 10, 5))
    return drawing.svg()


def _stem(drawing: Drawing, injury: Injury, place: tuple[Place, Place], slope: float) -> None:
    """The stem along the channel from the patch on; what was trimmed off is drawn apart."""
    assert injury.channel is not None
    assert injury.stem is not None
    assert injury.thickness is not None
    x, y = place
    half, length = float(injury.channel.minor) / 2, float(injury.stem)
    cut = length
    if injury.trim is not None:
        cut = min(length, float(injury.thickness + injury.trim) / math.cos(slope))
    dx, dy = half * math.cos(slope), -half * math.sin(slope)
    for cls, start, end in (("stem", 0.0, cut), ("stem trimmed-off", cut, length)):
        if end > start:
            along = [(at * math.sin(slope), at * math.cos(slope)) for at in (start, end)]
            (x1, y1), (x2, y2) = along
            corners = ((x1 - dx, y1 - dy), (x1 + dx, y1 + dy), (x2 + dx, y2 + dy), (x2 - dx, y2 - dy))
            drawing.polygon(
                cls, *((x(px), y(py)) for px, py in corners), data_from=f"{start:.6g}", data_to=f"{end:.6g}"
            )


def liner_view(injury: Injury, name: str) -> Markup | None:
    """The liner from inside: the injury's ellipse, the patch and the buffed outline. None if unread."""
    channel = injury.channel
    if channel is None:
        return None
    rings = [float(ring) / 2 for ring in (injury.outline, injury.patch) if ring is not None]
    reach = max([*rings, float(channel.major)]) + 4
    scale = (WIDTH / 2 - _PAD - 30) / reach
    cx, cy = WIDTH / 2, reach * scale + 26
    drawing = Drawing(
        name,
        cy + reach * scale + 46,
        f"{injury.name}: the liner from inside",
        _plan_words(injury),
        scale=scale,
    )
    if injury.outline is not None:
        drawing.circle("outline-ring", cx, cy, float(injury.outline) / 2 * scale)
        drawing.text(
            cx, 14, f"outline {float(injury.outline):g} mm ({float(injury.outline) / 25.4:.2f} in)", "strong"
        )
    if injury.patch is not None:
        drawing.circle("patch", cx, cy, float(injury.patch) / 2 * scale)
    rx, ry = float(channel.major) / 2 * scale, float(channel.minor) / 2 * scale
    if injury.lean is Lean.ROUND:  # the long axis lies along the tire, which runs up and down here
        rx, ry = ry, rx
    drawing.add("ellipse", "hole", cx=cx, cy=cy, rx=rx, ry=ry)
    if injury.needs_patch is not None:
        drawing.circle("needed", cx, cy, float(injury.needs_patch) / 2 * scale)
        drawing.text(cx, cy + reach * scale + 4, "dashed: smallest patch that does", "small")
    drawing.scale_bar(_PAD, cy + reach * scale + 36, scale, (20, 10, 5))
    drawing.text(WIDTH - _PAD, cy + reach * scale + 36, "tread edge \u2192", "small", "end")
    return drawing.svg()


def _words(injury: Injury) -> str:
    channel = injury.channel
    assert channel is not None
    assert injury.thickness is not None
    parts = [
        f"Channel {float(channel.minor):g} mm wide, leaning {injury.angle:g} degrees from straight in "
        f"({_LEANS[injury.lean]}), {float(channel.length):.1f} mm long through {float(injury.thickness):g} mm of "
        "tire."
    ]
    if injury.stem is not None:
        need = "" if injury.needs_stem is None else f", needed {float(injury.needs_stem):.1f} mm"
        parts.append(f"Stem {float(injury.stem):g} mm{need}.")
    if injury.patch is not None:
        parts.append(f"Patch {float(injury.patch):g} mm across.")
    return " ".join([*parts, "To scale, but for the patch's thickness."])


def _plan_words(injury: Injury) -> str:
    channel = injury.channel
    assert channel is not None
    parts = [
        f"On the liner the injury is an ellipse of {float(channel.minor):.1f} by {float(channel.major):.1f} mm."
    ]
    if injury.patch is not None:
        parts.append(f"The patch is {float(injury.patch):g} mm across.")
    if injury.needs_patch is not None:
        parts.append(f"The smallest patch that does is {float(injury.needs_patch):g} mm.")
    if injury.outline is not None:
        parts.append(f"The buffed outline is {float(injury.outline):g} mm across.")
    return " ".join([*parts, "To scale."])


_LEANS = {
    Lean.OUTWARD: "toward the shoulder",
    Lean.INWARD: "inboard",
    Lean.ROUND: "straight out or round the tire",
}
