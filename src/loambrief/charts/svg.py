"""Draws a chart as an SVG element for a page on a screen.

The same matplotlib figure as on paper, as vectors with text that stays text. Text is set in
the page's typeface, and each line carries its width, so that another typeface cannot make
labels run into each other.
"""

from __future__ import annotations

from xml.etree import ElementTree as ET

from matplotlib.backend_bases import RendererBase
from matplotlib.colors import to_hex
from matplotlib.path import Path
from reportlab.pdfbase import pdfmetrics

from loambrief.charts.backend import hatch_marks, opaque
from loambrief.charts.build import build
from loambrief.charts.faces import pdf_font
from loambrief.charts.fonts import BOLD, ITALIC
from loambrief.charts.theme import theme
from loambrief.report.specs import ChartSpec

CAPS = {"butt": "butt", "round": "round", "projecting": "square"}
LETTERS = {Path.MOVETO: "M", Path.LINETO: "L", Path.CURVE3: "Q", Path.CURVE4: "C"}


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
    figure = build(spec, float(width))
    wide, high = (float(v) for v in figure.bbox.size)
    top = ET.Element("svg", {
        "role": "img", "aria-labelledby": f"{prefix}-title {prefix}-desc",
        "viewBox": f"0 0 {number(wide)} {number(high)}", "class": "chart"})
    for tag, text in (("title", spec.title), ("desc", spec.alt)):
        ET.SubElement(top, tag, id=f"{prefix}-{tag}").text = text
    figure.draw(SvgRenderer(top, wide, high, prefix))
    return top


def number(value: float) -> str:
    """A coordinate, to a hundredth of a point."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


class SvgRenderer(RendererBase):
    """Matplotlib renderer that adds elements below an ``svg`` element.

    Parameters
    ----------
    top : Element
    width, height : float
        Figure size [pt].
    prefix : str
        Starts every id.

    Raises
    ------
    ValueError
        While drawing: partial transparency, an unknown pattern, mathematical markup.
    NotImplementedError
        While drawing: a bitmap or a colour gradient.
    """

    def __init__(self, top: ET.Element, width: float, height: float, prefix: str):
        super().__init__()
        self.top, self.width, self.height, self.prefix = top, width, height, prefix
        self._clips: dict[str, str] = {}

    def flipy(self) -> bool:
        return False

    def get_canvas_width_height(self) -> tuple[float, float]:
        return self.width, self.height

    def points_to_pixels(self, points: float) -> float:
        return points

    def draw_image(self, gc, x, y, im, transform=None):
        raise NotImplementedError("charts hold no bitmaps")

    def draw_gouraud_triangles(self, gc, triangles_array, colors_array, transform):
        raise NotImplementedError("charts hold no gradients")

    def draw_path(self, gc, path, transform, rgbFace=None):
        fill, hatch = opaque(rgbFace), gc.get_hatch()
        pen = self._pen(gc)
        if fill is None and not pen and not hatch:
            return
        outline, box = self._outline(path, transform)
        if not outline:
            return
        clip = self._clip(gc)
        looks = {"fill": to_hex(fill) if fill else "none"}
        if hatch:
            ET.SubElement(self.top, "path", {"d": outline, **looks, **clip})
            self._hatch(gc, outline, box, hatch)
            looks["fill"] = "none"
        if pen or not hatch:
            ET.SubElement(self.top, "path", {"d": outline, **looks, **pen, **clip})

    def draw_text(self, gc, x, y, s, prop, angle, ismath=False, mtext=None):
        if ismath:
            raise ValueError(f"mathematical markup in {s!r}")
        colour = opaque(gc.get_rgb())
        if colour is None or not s.strip():
            return
        name, size = pdf_font(prop), prop.get_size_in_points()
        looks = {
            "x": number(x), "y": number(self.height - y), "font-size": number(size),
            "fill": to_hex(colour),
            "textLength": number(pdfmetrics.stringWidth(s, name, size)),
            "lengthAdjust": "spacingAndGlyphs",
        }
        if name == BOLD:
            looks["font-weight"] = "600"
        if name == ITALIC:
            looks["font-style"] = "italic"
        if angle:
            looks["transform"] = f"rotate({number(-angle)} {looks['x']} {looks['y']})"
        ET.SubElement(self.top, "text", {**looks, **self._clip(gc)}).text = s

    def get_text_width_height_descent(self, s, prop, ismath):
        name, size = pdf_font(prop), prop.get_size_in_points()
        ascent, descent = pdfmetrics.getAscentDescent(name, size)
        return pdfmetrics.stringWidth(s, name, size), ascent - descent, -descent

    def _pen(self, gc) -> dict[str, str]:
        """Attributes of the line; none for no line."""
        colour = opaque(gc.get_rgb()) if gc.get_linewidth() > 0 else None
        if colour is None:
            return {}
        pen = {"stroke": to_hex(colour), "stroke-width": number(gc.get_linewidth())}
        cap, join = CAPS[str(gc.get_capstyle())], str(gc.get_joinstyle())
        if cap != "butt":
            pen["stroke-linecap"] = cap
        if join != "miter":
            pen["stroke-linejoin"] = join
        offset, dashes = gc.get_dashes()
        if dashes is not None:
            pen["stroke-dasharray"] = " ".join(number(d) for d in dashes)
            if offset:
                pen["stroke-dashoffset"] = number(offset)
        return pen

    def _outline(self, path, transform) -> tuple[str, tuple[float, float, float, float]]:
        """Path data and its box in figure coordinates; ("", ...) for nothing."""
        pieces: list[str] = []
        xs: list[float] = []
        ys: list[float] = []
        for vertices, code in path.iter_segments(transform, remove_nans=True, simplify=False):
            if code == Path.CLOSEPOLY:
                pieces.append("Z")
                continue
            across, up = [float(v) for v in vertices[0::2]], [float(v) for v in vertices[1::2]]
            pieces.append(LETTERS[code] + " ".join(
                f"{number(x)} {number(self.height - y)}" for x, y in zip(across, up, strict=True)))
            xs += across
            ys += up
        if not xs:
            return "", (0.0, 0.0, 0.0, 0.0)
        return "".join(pieces), (min(xs), min(ys), max(xs), max(ys))

    def _clip(self, gc) -> dict[str, str]:
        """Reference to the artist's clip, written once for each outline."""
        rectangle = gc.get_clip_rectangle()
        path, transform = gc.get_clip_path()
        if path is not None:
            outline, _ = self._outline(path, transform)
        elif rectangle is not None:
            x0, y0, x1, y1 = (float(v) for v in rectangle.extents)
            if x0 <= 0 and y0 <= 0 and x1 >= self.width and y1 >= self.height:
                return {}
            outline = (f"M{number(x0)} {number(self.height - y1)}H{number(x1)}"
                       f"V{number(self.height - y0)}H{number(x0)}Z")
        else:
            return {}
        return {"clip-path": f"url(#{self._clip_id(outline)})"}

    def _clip_id(self, outline: str) -> str:
        if outline not in self._clips:
            name = self._clips[outline] = f"{self.prefix}-clip{len(self._clips) + 1}"
            ET.SubElement(ET.SubElement(self.top, "clipPath", id=name), "path", d=outline)
        return self._clips[outline]

    def _hatch(self, gc, outline: str, box, pattern: str) -> None:
        """Pattern lines or dots inside an outline, on the same grid as on paper."""
        lines, dots = hatch_marks(pattern, box, theme().hatch_gap)
        colour, width = to_hex(opaque(gc.get_hatch_color())), gc.get_hatch_linewidth()
        clip = {"clip-path": f"url(#{self._clip_id(outline)})"}
        if lines:
            strokes = "".join(
                f"M{number(x0)} {number(self.height - y0)}L{number(x1)} {number(self.height - y1)}"
                for x0, y0, x1, y1 in lines)
            ET.SubElement(self.top, "path", {"d": strokes, "fill": "none", "stroke": colour,
                                             "stroke-width": number(width), **clip})
        if dots:
            points = "".join(f"M{number(x)} {number(self.height - y)}h0" for x, y in dots)
            ET.SubElement(self.top, "path", {
                "d": points, "fill": "none", "stroke": colour, "stroke-linecap": "round",
                "stroke-width": number(2 * width), **clip})

