"""A drawing as inline SVG: built as a tree, so every text in it is escaped by the library that writes it."""

from __future__ import annotations

from xml.etree import ElementTree as ET

from markupsafe import Markup

__all__ = ["Drawing", "number"]

#: Width of every drawing in its own units: one unit is about one CSS pixel on a phone, so text stays legible.
WIDTH = 360


def number(value: float) -> str:
    """A coordinate: three decimals are finer than any screen or printer."""
    return f"{value:.3f}".rstrip("0").rstrip(".") if "." in f"{value:.3f}" else f"{value:.3f}"


class Drawing:
    """One picture with its text alternative. ``title`` names it, ``desc`` says in words what it shows.

    ``scale``: drawing units to a millimeter, for a picture that is to scale; readable as ``data-scale``.
    """

    def __init__(
        self,
        name: str,
        height: float,
        title: str,
        desc: str,
        *,
        scale: float | None = None,
        width: float = WIDTH,
    ) -> None:
        self.width, self.height = width, height
        self._root = ET.Element(
            "svg",
            {
                "viewBox": f"0 0 {number(width)} {number(height)}",
                "role": "img",
                "aria-labelledby": f"{name}-title {name}-desc",
                "class": "drawing",
            },
        )
        if scale is not None:
            self._root.set("data-scale", repr(scale))
        ET.SubElement(self._root, "title", {"id": f"{name}-title"}).text = title
        ET.SubElement(self._root, "desc", {"id": f"{name}-desc"}).text = desc

    def add(self, tag: str, cls: str, **attributes: float | str) -> ET.Element:
        """One shape; numbers are coordinates, ``_`` in a name stands for ``-``."""
        named = {
            key.rstrip("_").replace("_", "-"): value if isinstance(value, str) else number(float(value))
            for key, value in attributes.items()
        }
        return ET.SubElement(self._root, tag, {"class": cls, **named})

    def line(self, cls: str, x1: float, y1: float, x2: float, y2: float, **more: float | str) -> ET.Element:
        return self.add("line", cls, x1=x1, y1=y1, x2=x2, y2=y2, **more)

    def circle(self, cls: str, cx: float, cy: float, r: float, **more: float | str) -> ET.Element:
        return self.add("circle", cls, cx=cx, cy=cy, r=r, **more)

    def rect(
        self, cls: str, x: float, y: float, width: float, height: float, **more: float | str
    ) -> ET.Element:
        return self.add("rect", cls, x=x, y=y, width=width, height=height, **more)

    def polygon(self, cls: str, *points: tuple[float, float], **more: float | str) -> ET.Element:
        return self.add(
            "polygon", cls, points=" ".join(f"{number(x)},{number(y)}" for x, y in points), **more
        )

    def text(self, x: float, y: float, text: str, cls: str = "", anchor: str = "middle") -> ET.Element:
        found = self.add("text", f"label {cls}".strip(), x=x, y=y, text_anchor=anchor)
        found.text = text
        return found

    def scale_bar(
        self, x: float, y: float, scale: float, lengths_mm: tuple[float, ...] = (50, 20, 10, 5)
    ) -> None:
        """How long a round number of millimeters is here, with inches beside it."""
        length = next((mm for mm in lengths_mm if mm * scale <= self.width * 0.3), lengths_mm[-1])
        end = x + length * scale
        self.line("scale", x, y, end, y)
        for at in (x, end):
            self.line("scale", at, y - 4, at, y + 4)
        self.text(x, y - 8, f"{length:g} mm ({length / 25.4:.2g} in)", anchor="start")

    def svg(self) -> Markup:
        """The drawing as markup that is safe to put into a page."""
        return Markup(ET.tostring(self._root, encoding="unicode"))
