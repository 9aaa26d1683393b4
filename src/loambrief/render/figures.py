"""Charts and photos as flowables; a chart of many items may go on over a page."""

import io

from reportlab.lib.utils import ImageReader

from loambrief.charts import ChartSpec, broken, draw_chart, figure_size, fitted, least_height
from loambrief.errors import RenderFault
from loambrief.render.compose import Composer
from loambrief.render.flowables import Anchor, Chart, Flowable, SideBySide
from loambrief.render.tags import Element
from loambrief.report import blocks as b
from loambrief.report import parts as p

Made = list[Flowable]

TALLEST = 250.0
"""Height of a photo on end [pt]: one and a half captions more would not leave room for text."""
LEAST_LEFT = 0.2
"""A chart goes whole to the next page if no more than this share of the page stays blank."""


def figure(composer: Composer, block: b.Figure, parent: Element, width: float) -> Made:
    half = (composer.look.text_width - composer.look.lengths["column_gap"]) / 2
    halved = block.half and width > half
    space = composer.look.style("body").leading
    made: Made = []
    for chart in _charts(composer, block, parent, half if halved else width):
        if halved:
            made.append(SideBySide([(0.0, half, [chart])], before=0.4 * space, after=0.8 * space))
        else:
            chart.spaceBefore, chart.spaceAfter = 0.4 * space, 0.8 * space
            made.append(chart)
    return [*_anchor(composer, block), *made]


def _anchor(composer: Composer, block: b.Figure) -> Made:
    """The place that links to a figure go to."""
    place = composer.mark(block.anchor)
    if place is None:
        return []
    made = Anchor(place)
    made.keep_next = True
    return [made]


def _charts(composer: Composer, block: b.Figure, parent: Element, width: float) -> list[Chart]:
    """A figure as one chart, or as several where one would be higher than a page.

    The first carries the whole text alternative, the others their title.
    """
    if not block.spec.alt.strip():
        raise RenderFault(f"figure {block.spec.title!r} has no text alternative")
    beside_heading = 4.5 * composer.look.style("body").leading
    tallest = composer.look.text_height - beside_heading
    pieces = fitted(block.spec, width, tallest)
    return [SpecChart(piece, parent,
                      parent.add("Figure", alt=piece.title if index else block.spec.alt),
                      composer.look.text_height, tallest) for index, piece in enumerate(pieces)]


class SpecChart(Chart):
    """A chart of a spec, parted between its items where the rest of a page is too low for it."""

    def __init__(self, spec: ChartSpec, parent: Element, element: Element, page: float,
                 tallest: float, follows: Element | None = None):
        super().__init__(element, lambda width: figure_size(spec, width),
                         lambda canvas, x, y, width: draw_chart(canvas, spec, x, y, width),
                         tallest)
        self.spec, self.parent, self.page, self.follows = spec, parent, page, follows

    def start_height(self, width: float) -> float:
        whole = self.wrap(width, 1e6)[1]
        least = LEAST_LEFT * self.page
        return whole if whole <= least else max(least, min(whole, least_height(self.spec, width)))

    def split(self, availWidth, availHeight):
        if self.wrap(availWidth, availHeight)[1] <= availHeight:
            return [self]
        if availHeight < LEAST_LEFT * self.page:
            return []
        parts = broken(self.spec, availWidth, availHeight)
        if not parts:
            return []
        look = (self.page, self.tallest)
        second = Element("Figure", alt=parts[1].title)
        made = [SpecChart(parts[0], self.parent, self.element, *look, self.follows),
                SpecChart(parts[1], self.parent, second, *look, self.element)]
        made[0].spaceBefore, made[1].spaceAfter = self.spaceBefore, self.spaceAfter
        return made

    def drawOn(self, canvas, x, y):
        if self.follows is not None:  # now that it is sure to be printed
            self.parent.kids.insert(self.parent.kids.index(self.follows) + 1, self.element)
        super().drawOn(canvas, x, y)


def figure_row(composer: Composer, block: b.FigureRow, parent: Element, width: float) -> Made:
    gap = composer.look.lengths["column_gap"]
    half = (width - gap) / 2
    space = composer.look.style("body").leading
    sides: tuple[Made, Made] = ([], [])
    heights = [0.0, 0.0]
    for figure in block.figures:
        for number, chart in enumerate(_charts(composer, figure, parent, half)):
            shorter = heights.index(min(heights))
            if sides[shorter]:
                chart.spaceBefore = space
            if not number:
                sides[shorter].extend(_anchor(composer, figure))
            sides[shorter].append(chart)
            heights[shorter] += chart.wrap(half, 1e6)[1] + space
    read = [chart.element for side in sides for chart in side if isinstance(chart, Chart)]
    parent.kids[-len(read):] = read  # read as painted: the left column first
    columns = [(index * (half + gap), half, side) for index, side in enumerate(sides) if side]
    return [SideBySide(columns, before=0.4 * space, after=0.8 * space)]


def photos(composer: Composer, block: p.Photos, parent: Element, width: float) -> list:
    """Rows of two photos."""
    gap = composer.look.lengths["column_gap"]
    half = (width - gap) / 2
    space = composer.look.style("body").leading
    rows = []
    for start in range(0, len(block.photos), 2):
        columns = []
        for place, photo in enumerate(block.photos[start:start + 2]):
            picture = _picture(photo, parent)
            caption = composer.text(photo.caption, parent, "note")
            caption.spaceBefore = 0.3 * space
            picture.keep_next = True
            columns.append((place * (half + gap), half, [picture, caption]))
        rows.append(SideBySide(columns, before=0.4 * space, after=0.8 * space, keep_whole=1e6))
    return rows


def _picture(photo: p.PhotoPrint, parent: Element) -> Chart:
    if not photo.alt.strip():
        raise RenderFault("a photo has no text alternative")
    reader = ImageReader(io.BytesIO(photo.jpeg))

    def size(width: float) -> tuple[float, float]:
        return width, width * photo.height / photo.width

    def draw(canvas, x: float, y: float, width: float) -> None:
        canvas.drawImage(reader, x, y, *size(width))

    return Chart(parent.add("Figure", alt=photo.alt), size, draw, TALLEST)
