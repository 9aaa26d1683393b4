"""The logo at the title and, small, beside the running head."""

from functools import lru_cache
from io import BytesIO

from reportlab.lib.utils import ImageReader

from loambrief.errors import RenderFault
from loambrief.render.compose import Composer, clean
from loambrief.render.flowables import Chart, Flowable, SideBySide
from loambrief.render.tags import Element, TaggedCanvas
from loambrief.report.blocks import LogoPrint

WIDEST, HIGHEST = 120.0, 40.0
"""Most room for the logo at the title [pt]."""
SMALL = 11.0
"""Height of the logo beside the running head [pt]."""
SMALL_WIDEST = 60.0


def logo_size(logo: LogoPrint, widest: float, highest: float) -> tuple[float, float]:
    """Width and height [pt] of a logo as large as fits."""
    scale = min(widest / logo.width, highest / logo.height)
    return logo.width * scale, logo.height * scale


@lru_cache(maxsize=4)
def _reader(png: bytes) -> ImageReader:
    return ImageReader(BytesIO(png))


def with_logo(composer: Composer, logo: LogoPrint, head: list[Flowable], parent: Element,
              width: float) -> list[Flowable]:
    """What stands on top of a page with the logo at its right.

    Raises RenderFault if the logo has no text alternative.
    """
    if not logo.alt.strip():
        raise RenderFault("the logo has no text alternative")
    wide, high = logo_size(logo, WIDEST, HIGHEST)

    def draw(canvas: TaggedCanvas, x: float, y: float, _: float) -> None:
        canvas.drawImage(_reader(logo.png), x, y, wide, high)

    picture = Chart(parent.add("Figure", alt=clean(logo.alt)), lambda _: (wide, high), draw,
                    HIGHEST)
    left = width - wide - composer.look.lengths["column_gap"]
    return [SideBySide([(0.0, left, head), (width - wide, wide, [picture])])]


def small_logo(canvas: TaggedCanvas, logo: LogoPrint, x: float, baseline: float) -> float:
    """Draw the logo beside a line of text; returns the room it takes [pt]."""
    wide, high = logo_size(logo, SMALL_WIDEST, SMALL)
    canvas.drawImage(_reader(logo.png), x, baseline - 2.5, wide, high)
    return wide + 6
