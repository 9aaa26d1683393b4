"""Draws a chart as vectors and real text on a reportlab canvas.

Text uses the page's own embedded fonts and stays text.
"""

from collections.abc import Callable, Sequence

from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject

from loambrief.charts.fonts import pdf_name
from loambrief.charts.renderer import Colour, Drawing, Pen, Step, Surface

CAPS = {"butt": 0, "round": 1, "projecting": 2}
JOINS = {"miter": 0, "round": 1, "bevel": 2}


class CanvasSurface(Surface):
    """Draws on a canvas whose origin is the chart's lower left corner."""

    def __init__(self, canvas: Canvas):
        self.canvas = canvas
        self._state: dict[str, object] = {}

    def shape(self, steps: Sequence[Step], fill: Colour | None, pen: Pen | None,
              clip: Sequence[Step] | None) -> None:
        kept = dict(self._state)
        if clip is not None:
            self.canvas.saveState()
            self.canvas.clipPath(self._path(clip), stroke=0, fill=0)
        self._looks(fill, pen)
        self.canvas.drawPath(self._path(steps), stroke=int(pen is not None),
                             fill=int(fill is not None))
        if clip is not None:
            self.canvas.restoreState()
            self._state = kept

    def stamps(self, marker: Sequence[Step], places: Sequence[tuple[float, float]],
               fill: Colour | None, pen: Pen | None, clip: Sequence[Step] | None) -> None:
        if clip is not None:
            super().stamps(marker, places, fill, pen, clip)
            return
        self._looks(fill, pen)
        path = self._path(marker)
        for x, y in places:
            self.canvas.saveState()
            self.canvas.translate(x, y)
            self.canvas.drawPath(path, stroke=int(pen is not None), fill=int(fill is not None))
            self.canvas.restoreState()

    def words(self, x: float, y: float, text: str, size: float, weight: str, colour: Colour,
              angle: float) -> None:
        self._fill(colour)
        self.canvas.setFont(pdf_name(weight), size)
        if angle:
            self.canvas.saveState()
            self.canvas.translate(x, y)
            self.canvas.rotate(angle)
            self.canvas.drawString(0, 0, text)
            self.canvas.restoreState()
        else:
            self.canvas.drawString(x, y, text)

    def _path(self, steps: Sequence[Step]) -> PDFPathObject:
        path = self.canvas.beginPath()
        how: dict[str, Callable[..., object]] = {
            "m": path.moveTo, "l": path.lineTo, "c": path.curveTo, "h": path.close}
        for kind, *at in steps:
            how[kind](*at)
        return path

    def _set(self, what: str, value: object, setter: Callable[[], object]) -> None:
        """Call a canvas setter only when the value differs from the one in force."""
        if self._state.get(what) != value:
            setter()
            self._state[what] = value

    def _fill(self, colour: Colour) -> None:
        self._set("fill", colour, lambda: self.canvas.setFillColorRGB(*colour))

    def _looks(self, fill: Colour | None, pen: Pen | None) -> None:
        if fill is not None:
            self._fill(fill)
        if pen is not None:
            canvas = self.canvas
            self._set("colour", pen.colour, lambda: canvas.setStrokeColorRGB(*pen.colour))
            self._set("width", pen.width, lambda: canvas.setLineWidth(pen.width))
            self._set("cap", pen.cap, lambda: canvas.setLineCap(CAPS[pen.cap]))
            self._set("join", pen.join, lambda: canvas.setLineJoin(JOINS[pen.join]))
            self._set("dash", pen.dash, lambda: canvas.setDash(list(pen.dash), 0))


def put_on_canvas(canvas: Canvas, drawing: Drawing, x: float, y: float) -> None:
    """Draw with the lower left corner at (x, y) [pt]; the page's state stays."""
    canvas.saveState()
    canvas.translate(x, y)
    CanvasSurface(canvas).put(drawing)
    canvas.restoreState()
