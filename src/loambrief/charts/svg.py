"""Draws a chart as an SVG element for a page on a screen.

The same figure as on paper, as vectors with text that stays text. Text is set in the page's
typeface, and each line carries its width, so that another typeface cannot make labels run
into each other. The elements are made here rather than by matplotlib's own SVG writer, whose
ids and metadata would meet those of the page's other charts.
"""

from collections.abc import Sequence
from xml.etree import ElementTree as ET

from matplotlib.colors import to_hex

from loambrief.charts.measure import text_width
from loambrief.charts.renderer import Colour, Drawing, Pen, Step, Surface

FACES = {"regular": {}, "bold": {"font-weight": "600"}, "italic": {"font-style": "italic"}}
CIRCLE = ["m", *["c"] * 8, "h"]
"""What the round marker is made of; it starts at its lowest point."""


def as_svg(drawing: Drawing, title: str, alt: str, prefix: str) -> ET.Element:
    """A drawing as an element named by a title and a text alternative; see ``svg_chart``."""
    top = ET.Element("svg", {
        "role": "img", "aria-labelledby": f"{prefix}-title {prefix}-desc",
        "viewBox": f"0 0 {number(drawing.width)} {number(drawing.height)}",
        "class": "chart"})
    for tag, text in (("title", title), ("desc", alt)):
        ET.SubElement(top, tag, id=f"{prefix}-{tag}").text = text
    SvgSurface(drawing.height, top, prefix).put(drawing)
    return top


def number(value: float) -> str:
    """A coordinate, to a hundredth of a point."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


class SvgSurface(Surface):
    """Adds elements to an ``svg`` element; ids start with ``prefix``."""

    def __init__(self, height: float, top: ET.Element, prefix: str):
        self.height, self.top, self.prefix = height, top, prefix
        self._clips: dict[str, str] = {}

    def shape(self, steps: Sequence[Step], fill: Colour | None, pen: Pen | None,
              clip: Sequence[Step] | None) -> None:
        looks = {"d": self._data(steps), "fill": to_hex(fill) if fill else "none", **_pen(pen)}
        if clip is not None:
            looks["clip-path"] = f"url(#{self._clip(self._data(clip))})"
        ET.SubElement(self.top, "path", looks)

    def stamps(self, marker: Sequence[Step], places: Sequence[tuple[float, float]],
               fill: Colour | None, pen: Pen | None, clip: Sequence[Step] | None) -> None:
        if [kind for kind, *_ in marker] != CIRCLE or clip is not None:
            super().stamps(marker, places, fill, pen, clip)
            return
        radius = number(-marker[0][2])
        for x, y in places:
            ET.SubElement(self.top, "circle", {
                "cx": number(x), "cy": number(self.height - y), "r": radius,
                "fill": to_hex(fill) if fill else "none", **_pen(pen)})

    def words(self, x: float, y: float, text: str, size: float, weight: str, colour: Colour,
              angle: float) -> None:
        if not text.strip():
            return
        at = {"x": number(x), "y": number(self.height - y)}
        looks = {**at, "font-size": number(size), "fill": to_hex(colour),
                 "textLength": number(text_width(text, size, weight)),
                 "lengthAdjust": "spacingAndGlyphs", **FACES[weight]}
        if angle:
            looks["transform"] = f"rotate({number(-angle)} {at['x']} {at['y']})"
        ET.SubElement(self.top, "text", looks).text = text

    def _data(self, steps: Sequence[Step]) -> str:
        """Path data, y downward."""
        return "".join(
            "Z" if kind == "h" else kind.upper() + " ".join(
                number(self.height - v if i % 2 else v) for i, v in enumerate(at))
            for kind, *at in steps)

    def _clip(self, outline: str) -> str:
        """Id of an outline; each is written once."""
        if outline not in self._clips:
            self._clips[outline] = f"{self.prefix}-clip{len(self._clips) + 1}"
            clip = ET.SubElement(self.top, "clipPath", id=self._clips[outline])
            ET.SubElement(clip, "path", d=outline)
        return self._clips[outline]


def _pen(pen: Pen | None) -> dict[str, str]:
    """Attributes of a line."""
    if pen is None:
        return {}
    looks = {"stroke": to_hex(pen.colour), "stroke-width": number(pen.width)}
    if pen.cap != "butt":
        looks["stroke-linecap"] = "square" if pen.cap == "projecting" else pen.cap
    if pen.join != "miter":
        looks["stroke-linejoin"] = pen.join
    if pen.dash:
        looks["stroke-dasharray"] = " ".join(map(number, pen.dash))
    return looks
