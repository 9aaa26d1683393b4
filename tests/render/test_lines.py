"""Line breaks and widths, against those of reportlab, which the pages are drawn with."""

from __future__ import annotations

import io
import random

import pytest
from reportlab.lib.colors import black
from reportlab.lib.utils import simpleSplit
from reportlab.pdfbase.pdfmetrics import getFont, stringWidth
from reportlab.pdfgen.canvas import Canvas

from loambrief.charts.fonts import BOLD, REGULAR, register_fonts
from loambrief.render.lines import Piece, Printer, break_lines

WORDS = ("lime", "pH", "5.4", "on", "a", "north,", "higher", "ground", "P₂O₅", "1.5 ton/ac",
         "neutralizing", "µS/cm")


@pytest.fixture(autouse=True)
def fonts():
    """The typeface is known."""
    register_fonts()


def _texts(pieces, width):
    return ["".join(run.text for run in line.runs) for line in break_lines(pieces, width, width)]


@pytest.mark.parametrize("seed", range(12))
def test_lines_break_where_reportlab_breaks_them(seed):
    """ensures that text of ordinary words breaks at the same spaces as reportlab's own."""
    random_ = random.Random(seed)
    text = " ".join(random_.choices(WORDS, k=120))
    width, size = random_.uniform(70, 500), random_.choice((8.0, 8.5, 10.0))
    assert _texts([Piece(text, REGULAR, size, black)], width) == simpleSplit(
        text, REGULAR, size, width)


def test_widths_are_those_of_the_typeface():
    """ensures that a line's width is the sum of its glyphs, over pieces of two faces."""
    pieces = [Piece("What speaks ", REGULAR, 10, black), Piece("for", BOLD, 10, black),
              Piece(" it: P₂O₅", REGULAR, 8, black)]
    (line,) = break_lines(pieces, 500, 500)
    wanted = sum(stringWidth(p.text, p.font, p.size) for p in pieces)
    assert line.width == pytest.approx(wanted, abs=1e-6)
    assert [run.text for run in line.runs] == ["What speaks ", "for", " it: P₂O₅"]


def test_no_break_where_pieces_meet_without_a_space():
    """ensures that a word in two looks stays one word, and a fixed space holds."""
    pieces = [Piece("aaaa bb", REGULAR, 10, black), Piece("cc", BOLD, 10, black),
              Piece(" 5\u00a0ppm", REGULAR, 10, black)]
    for width in range(30, 90):
        joined = "|".join(_texts(pieces, width))
        assert "bbcc" in joined and "5\u00a0ppm" in joined


def test_a_word_wider_than_the_line_is_parted():
    """ensures that no letter is lost and no line is wider than its room."""
    pieces = [Piece("so " + "Bramble" * 30 + " ends", REGULAR, 9, black)]
    lines = break_lines(pieces, 60, 90)
    assert "".join("".join(r.text for r in line.runs) for line in lines).replace(" ", "") == (
        "so" + "Bramble" * 30 + "ends")
    assert lines[0].width <= 60 and all(line.width <= 90 + 1e-6 for line in lines)


def test_line_breaks_and_empty_texts():
    """ensures that a newline breaks, an empty text is one empty line, spaces do not add up."""
    def piece(text):
        return Piece(text, REGULAR, 10, black)

    assert _texts([piece("a"), piece("\n"), piece("b")], 100) == ["a", "b"]
    assert _texts([], 100) == [""]
    assert _texts([piece("  a   b  ")], 100) == ["a b"]


def test_more_signs_than_one_font_holds():
    """ensures that a document with more than 256 different signs shows each of them."""
    canvas = Canvas(io.BytesIO())
    printer = Printer(canvas._doc)
    face = getFont(REGULAR).face
    signs = [chr(code) for code in sorted(face.charToGlyph) if code > 160][:400]
    shown = [printer.show(sign, REGULAR, 10) for sign in signs]
    fonts = {operators.split()[0] for operators in shown}
    assert len(fonts) >= 2
    assert printer.show("plain", REGULAR, 10).endswith("(plain) Tj")
