"""Draws a chart as an SVG element for a page on a screen.

The same drawing as on paper, as vectors with text that stays text. Text is set in the
page's typeface, and each line carries its width, so that another typeface cannot make
labels run into each other.
"""

from __future__ import annotations

from xml.etree import ElementTree as ET

from loambrief.charts.build import build
from loambrief.charts.drawing import (
    Drawing,
    Fill,
    Lines,
    Markers,
    Pattern,
    Pen,
    Stroke,
    Text,
    bounds,
    hatch_marks,
)
from loambrief.charts.sheet import text_width
from loambrief.charts.theme import theme
from loambrief.report.specs import ChartSpec

FACES = {"regular": {}, "bold": {"font-weight": "600"}, "italic": {"font-style": "italic"}}


def svg_chart(spec: ChartSpec, width: float, prefix: str) -> ET.Element:
    """A chart as one ``svg`` element, to be put into an HTML page.

    Parameters
    ----------
    spec : ChartSpec
        With data.
    width : float
        Width it is laid out for [pt]; on the page it scales.
    prefix : str
        Starts every id in the drawing, so that several charts can share a page.

    Returns
    -------
    xml.etree.ElementTree.Element
        Without a namespace, with a ``title`` and a ``desc`` (the text alternative) that name
        it to a screen reader.

    Raises
    ------
    ValueError
        The spec has no data, or the width is below 200 pt.
    """
    drawing = build(spec, float(width))
    top = ET.Element("svg", {
        "role": "img", "aria-labelledby": f"{prefix}-title {prefix}-desc",
        "viewBox": f"0 0 {number(drawing.width)} {number(drawing.height)}", "class": "chart"})
    for tag, text in (("title", spec.title), ("desc", spec.alt)):
        ET.SubElement(top, tag, id=f"{prefix}-{tag}").text = text
    draw(top, drawing, prefix)
    return top


def number(value: float) -> str:
    """A coordinate, to a hundredth of a point."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def draw(top: ET.Element, drawing: Drawing, prefix: str) -> None:
    """Add the marks of a drawing to an ``svg`` element; ids start with ``prefix``.

    Raises
    ------
    ValueError
        An unknown pattern.
    """
    clips: dict[str, str] = {}
    for mark in drawing.marks:
        match mark:
            case Stroke(lines, pen, closed):
                _path(top, _lines(lines, closed), **_pen(pen))
            case Fill(points, colour):
                _path(top, _lines((points,), True), fill=colour)
            case Pattern():
                _pattern(top, mark, drawing.height, clips, prefix)
            case Markers():
                for x, y in mark.places:
                    _path(top, _circle(x, y, mark.size / 2) if mark.shape == "o"
                          else _lines(*mark.outline(x, y)), mark.fill or "none", **_pen(mark.pen))
            case Text() if mark.text.strip():
                looks = {"x": number(mark.x), "y": number(mark.y), "font-size": number(mark.size),
                         "fill": mark.colour,
                         "textLength": number(text_width(mark.text, mark.size, mark.weight)),
                         "lengthAdjust": "spacingAndGlyphs"}
                ET.SubElement(top, "text", looks | FACES[mark.weight]).text = mark.text


def _path(top: ET.Element, data: str, fill: str = "none", **looks: str) -> None:
    ET.SubElement(top, "path", {"d": data, "fill": fill,
                                **{name.replace("_", "-"): value for name, value in looks.items()}})


def _lines(lines: Lines, closed: bool) -> str:
    """Path data of lines through points."""
    return "".join("M" + "L".join(f"{number(x)} {number(y)}" for x, y in line) + "Z" * closed
                   for line in lines)


def _circle(x: float, y: float, radius: float) -> str:
    r, across = number(radius), number(2 * radius)
    return (f"M{number(x - radius)} {number(y)}a{r} {r} 0 1 0 {across} 0"
            f"a{r} {r} 0 1 0 -{across} 0Z")


def _pen(pen: Pen) -> dict[str, str]:
    """Attributes of a line."""
    looks = {"stroke": pen.colour, "stroke_width": number(pen.width)}
    if pen.cap != "butt":
        looks["stroke_linecap"] = pen.cap
    if pen.join != "miter":
        looks["stroke_linejoin"] = pen.join
    if pen.dash:
        looks["stroke_dasharray"] = " ".join(map(number, pen.dash))
    return looks


def _pattern(top: ET.Element, mark: Pattern, height: float, clips: dict[str, str],
             prefix: str) -> None:
    """Pattern lines or dots inside an outline, on the same grid as on paper.

    Each outline is written once as a clip.
    """
    outline = _lines((mark.points,), True)
    if outline not in clips:
        clips[outline] = f"{prefix}-clip{len(clips) + 1}"
        ET.SubElement(ET.SubElement(top, "clipPath", id=clips[outline]), "path", d=outline)
    x0, y0, x1, y1 = bounds(mark.points)
    lines, dots = hatch_marks(mark.signs, (x0, height - y1, x1, height - y0), theme().hatch_gap)
    width, clip = theme().hatch_line, f"url(#{clips[outline]})"
    if lines:
        parts = tuple(((x0, height - y0), (x1, height - y1)) for x0, y0, x1, y1 in lines)
        _path(top, _lines(parts, False), stroke=mark.colour, stroke_width=number(width),
              clip_path=clip)
    if dots:
        data = "".join(f"M{number(x)} {number(height - y)}h0" for x, y in dots)
        _path(top, data, stroke=mark.colour, stroke_linecap="round",
              stroke_width=number(2 * width), clip_path=clip)
