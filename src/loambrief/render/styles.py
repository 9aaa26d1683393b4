"""Type, colours and distances of the page, read from ``templates/theme.toml``."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Literal

from reportlab.lib.colors import Color, HexColor
from reportlab.lib.enums import TA_CENTER, TA_LEFT, TA_RIGHT
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle

from loambrief.charts.fonts import BOLD, BOLD_ITALIC, ITALIC, REGULAR, register_fonts
from loambrief.colours import mixed, theme_file
from loambrief.errors import ResourceMissing
from loambrief.report.blocks import Paper

SMALLEST = 7.5
"""No type on a page is smaller [pt]."""
SOFT = 0.72
"""Share of paper in an accent that lies behind dark text."""
DENSE_LEADING, DENSE_SPACE = 0.92, 0.5
ALIGN: Mapping[str, Literal[0, 1, 2]] = {"left": TA_LEFT, "right": TA_RIGHT, "center": TA_CENTER}
SIZES = {Paper.LETTER: LETTER, Paper.A4: A4}


@dataclass(frozen=True)
class Look:
    """Everything the flowables need to know about looks."""

    paper: Paper
    scale: float
    width: float
    height: float
    """``width``, ``height``: paper [pt]."""
    colours: Mapping[str, Color]
    lengths: Mapping[str, float]
    """The ``[page]`` numbers [pt]."""
    styles: Mapping[str, ParagraphStyle]
    """Named as in ``[page.type]``, and variants such as "table.right"."""
    accent: str = ""
    """Asked for in place of the theme's; "" for none."""
    fine: bool = False
    """In the smaller type of reference pages."""

    @property
    def text_width(self) -> float:
        """Width of the text area [pt]."""
        return self.width - 2 * self.lengths["margin_side"]

    @property
    def text_height(self) -> float:
        """Height of the text area [pt]."""
        return self.height - self.lengths["margin_top"] - self.lengths["margin_bottom"]

    def style(self, name: str, align: str = "left") -> ParagraphStyle:
        """A paragraph style, by name and alignment."""
        return self.styles[name if align == "left" else f"{name}.{align}"]


def face(bold: bool, italic: bool) -> str:
    """Font name of a weight and slope."""
    if bold:
        return BOLD_ITALIC if italic else BOLD
    return ITALIC if italic else REGULAR


@cache
def look(paper: Paper = Paper.LETTER, scale: float = 1.0, dense: bool = False,
         accent: str = "", fine: bool = False) -> Look:
    """The look for a paper and type scale.

    Parameters
    ----------
    scale : float
        1 for normal type, up to 1.6.
    dense : bool
        The same type with less space around it.
    accent : str
        ``#RRGGBB`` in place of the theme's accent.
    fine : bool
        The smaller type of reference pages.

    Raises
    ------
    ResourceMissing
        The theme is not there, lacks a key, or asks for type under 7.5 pt.
    """
    register_fonts()
    theme = theme_file()
    try:
        colours = {k: HexColor(v) for k, v in theme["colors"].items() if isinstance(v, str)}
        if accent:
            colours["accent"] = HexColor(accent)
            colours["accent_soft"] = HexColor(mixed(accent, theme["colors"]["paper"], SOFT))
        lengths = _numbers(theme["page"])
        types = theme["page"]["type"]
        if fine:
            smaller = theme["page"]["fine"]
            lengths |= _numbers(smaller)
            types = types | smaller["type"]
        sizes = {k: (a * scale, b * scale) for k, (a, b) in types.items()}
        if dense:
            lengths["cell"] *= DENSE_SPACE
            sizes = {k: (a, max(a * 1.16, b * DENSE_LEADING)) for k, (a, b) in sizes.items()}
        styles = _styles(theme["page"]["styles"], colours, sizes, DENSE_SPACE if dense else 1.0)
    except KeyError as error:
        raise ResourceMissing(f"theme.toml: no {error.args[0]!r} for the page") from None
    tiny = sorted(name for name, (size, _) in sizes.items() if size < SMALLEST)
    if tiny:
        raise ResourceMissing(f"theme.toml: type under {SMALLEST} pt: {', '.join(tiny)}")
    width, height = SIZES[paper]
    return Look(paper, scale, width, height, colours, lengths, styles, accent, fine)


def _numbers(table: Mapping) -> dict[str, float]:
    return {k: float(v) for k, v in table.items() if not isinstance(v, dict)}


def _styles(wanted: Mapping, colours: Mapping, sizes: Mapping,
            space: float) -> dict[str, ParagraphStyle]:
    """All paragraph styles; distances follow the leading so that they scale with the type."""
    line = sizes["body"][1] * space
    styles = {}
    for name, (size, bold, colour, before, after) in wanted.items():
        for side, alignment in ALIGN.items():
            key = name if side == "left" else f"{name}.{side}"
            styles[key] = ParagraphStyle(
                key, fontName=BOLD if bold else REGULAR, textColor=colours[colour],
                fontSize=sizes[size][0], leading=sizes[size][1], alignment=alignment,
                spaceBefore=before * line, spaceAfter=after * line)
    return styles
