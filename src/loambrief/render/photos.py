"""Photos on the page: two side by side, each a tagged figure with its caption below."""

from __future__ import annotations

import io

from reportlab.lib.utils import ImageReader

from loambrief.errors import RenderFault
from loambrief.render.compose import Composer
from loambrief.render.flowables import Chart, SideBySide
from loambrief.render.tags import Element
from loambrief.report.parts import PhotoPrint, Photos

TALLEST = 250.0
"""Height of a photo on end [pt]: one and a half captions more would not leave room for text."""


def photos(composer: Composer, block: Photos, parent: Element, width: float) -> list:
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


def _picture(photo: PhotoPrint, parent: Element) -> Chart:
    if not photo.alt.strip():
        raise RenderFault("a photo has no text alternative")
    reader = ImageReader(io.BytesIO(photo.jpeg))

    def size(width: float) -> tuple[float, float]:
        return width, width * photo.height / photo.width

    def draw(canvas, x: float, y: float, width: float) -> None:
        canvas.drawImage(reader, x, y, *size(width))

    return Chart(parent.add("Figure", alt=photo.alt), size, draw, TALLEST)
