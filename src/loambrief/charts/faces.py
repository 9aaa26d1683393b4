"""The page's faces as matplotlib and reportlab each know them."""

from __future__ import annotations

from functools import cache

from matplotlib.font_manager import FontProperties

from loambrief.charts.fonts import BOLD, ITALIC, REGULAR, font_path, printable, register_fonts

WEIGHTS = {"regular": REGULAR, "bold": BOLD, "italic": ITALIC}
"""Weights the charts use, and the face of each."""


@cache
def pdf_name(weight: str) -> str:
    """Name of a weight's face on a reportlab canvas; the faces are registered by then."""
    register_fonts()
    return WEIGHTS[weight]


@cache
def properties(weight: str, size: float) -> FontProperties:
    """A weight at a size [pt] for matplotlib, straight from the file: no font search."""
    return FontProperties(fname=str(font_path(WEIGHTS[weight])), size=size)


@cache
def _by_file() -> dict[str, str]:
    return {str(font_path(name)): name for name in WEIGHTS.values()}


def pdf_font(prop: FontProperties) -> str:
    """Name on a reportlab canvas of the face that :func:`properties` gave.

    Raises
    ------
    ValueError
        A face that is not one of the page's.
    """
    register_fonts()
    try:
        return _by_file()[prop.get_file()]
    except KeyError:
        name = prop.get_file() or prop.get_name()
        raise ValueError(f"{name} is not a font of the page") from None


def one_line(text: str) -> str:
    """Text as the typeface can print it, on one line."""
    return printable(text).replace("\n", " ")
