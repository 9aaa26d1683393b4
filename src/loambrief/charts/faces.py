"""The page's faces by the weights the charts use."""

from __future__ import annotations

from functools import cache

from loambrief.charts.fonts import BOLD, ITALIC, REGULAR, printable, register_fonts

WEIGHTS = {"regular": REGULAR, "bold": BOLD, "italic": ITALIC}
"""Weights the charts use, and the face of each."""


@cache
def pdf_name(weight: str) -> str:
    """Name of a weight's face on a reportlab canvas; the faces are registered by then."""
    register_fonts()
    return WEIGHTS[weight]


def one_line(text: str) -> str:
    """Text as the typeface can print it, on one line."""
    return printable(text).replace("\n", " ")
