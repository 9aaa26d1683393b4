"""Type, colours and distances of the page, read from ``templates/theme.toml``."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Literal

from reportlab.lib.colors import Color, HexColor
from reportlab.lib.enums import TA_CENTER, TA_LEFT, TA_RIGHT
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle

from loambrief.charts.fonts import BOLD, BOLD_ITALIC, ITALIC, REGULAR, register_fonts
from loambrief.colours import mixed
from loambrief.errors import ResourceMissing
from loambrief.report.blocks import Paper
from loambrief.resources import templates_dir

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
def _theme() -> Mapping[str, Mapping]:
    path = templates_dir() / "theme.toml"
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise ResourceMissing(f"{path} not found") from None


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
    theme = _theme()
    try:
        colours = {k: HexColor(v) for k, v in theme["colors"].items() if isinstance(v, str)}
        if accent:
            colours["accent"] = HexColor(accent)
            colours["accent_soft"] = HexColor(mixed(accent, theme["colors"]["paper"], SOFT))
        lengths = {k: float(v) for k, v in theme["page"].items() if not isinstance(v, dict)}
        types = theme["page"]["type"]
        if fine:
            smaller = theme["page"]["fine"]
            lengths |= {k: float(v) for k, v in smaller.items() if not isinstance(v, dict)}
            types = types | smaller["type"]
        sizes = {k: (a * scale, b * scale) for k, (a, b) in types.items()}
        if dense:
            lengths["cell"] *= DENSE_SPACE
            sizes = {k: (a, max(a * 1.16, b * DENSE_LEADING)) for k, (a, b) in sizes.items()}
        styles = _styles(colours, sizes, DENSE_SPACE if dense else 1.0)
    except KeyError as error:
        raise ResourceMissing(f"theme.toml: no {error.args[0]!r} for the page") from None
    tiny = sorted(name for name, (size, _) in sizes.items() if size < SMALLEST)
    if tiny:
        raise ResourceMissing(f"theme.toml: type under {SMALLEST} pt: {', '.join(tiny)}")
    width, height = SIZES[paper]
    return Look(paper, scale, width, height, colours, lengths, styles, accent, fine)


def _styles(colours: dict, sizes: dict, space: float) -> dict[str, ParagraphStyle]:
    """All paragraph styles; distances follow the leading so that they scale with the type."""
    ink, muted = colours["ink"], colours["muted"]
    line = sizes["body"][1] * space
    settings = {
        # name: (size, font, colour, space before, space after)
        "body": ("body", REGULAR, ink, 0, 0.45),
        "lead": ("lead", REGULAR, ink, 0, 0.5),
        "note": ("note", REGULAR, muted, 0, 0.35),
        "note.ink": ("note", REGULAR, ink, 0, 0.16),
        "big": ("big", REGULAR, ink, 0, 0.5),
        "item": ("body", REGULAR, ink, 0, 0.22),
        "small": ("small", REGULAR, ink, 0, 0.12),
        "caption": ("caption", BOLD, ink, 0.35, 0.25),
        "label": ("label", REGULAR, muted, 0, 0),
        "value": ("value", REGULAR, ink, 0, 0),
        "fact": ("table", BOLD, ink, 0, 0),
        "kicker": ("kicker", REGULAR, muted, 0, 0.1),
        "title": ("title", BOLD, ink, 0, 0.4),
        "h1": ("h1", BOLD, ink, 1.15, 0.4),
        "h2": ("h2", BOLD, ink, 1.0, 0.25),
        "h3": ("h3", BOLD, ink, 0.6, 0.18),
        "group": ("note", BOLD, ink, 0.2, 0.1),
        "action": ("table", BOLD, ink, 0, 0),
        "table": ("table", REGULAR, ink, 0, 0),
        "table_small": ("table_small", REGULAR, ink, 0, 0),
        "th": ("label", BOLD, ink, 0, 0),
    }
    styles = {}
    for name, (size, font, colour, before, after) in settings.items():
        for side, alignment in ALIGN.items():
            key = name if side == "left" else f"{name}.{side}"
            styles[key] = ParagraphStyle(
                key,
                fontName=font,
                bulletFontName=font,
                fontSize=sizes[size][0],
                bulletFontSize=sizes[size][0],
                leading=sizes[size][1],
                textColor=colour,
                alignment=alignment,
                spaceBefore=before * line,
                spaceAfter=after * line,
                allowWidows=0,
                allowOrphans=0,
                splitLongWords=1,
            )
    return styles
