"""The drawing back end by itself: lines, fills, markers, text, patterns, outlines of words."""

from __future__ import annotations

import io
import math
import os
import re
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfgen.canvas import Canvas

from loambrief.charts.backend import ARCS, Drawn, draw
from loambrief.charts.drawing import (
    SHAPES,
    Drawing,
    Fill,
    Markers,
    Pattern,
    Pen,
    Stroke,
    Text,
    hatch_marks,
)
from loambrief.charts.faces import pdf_name
from loambrief.charts.outlines import outline
from loambrief.charts.sheet import Sheet

BLACK = Pen("#000000", 1.0)


def drawn_as(*marks):
    """Draw marks on a sheet of 144 by 72 pt; returns the page's operators and the record."""
    canvas = Canvas(io.BytesIO(), pageCompression=0)
    before = len(canvas._code)
    drawn = Drawn()
    draw(canvas, Drawing(144, 72, marks), 30, 40, drawn)
    return " ".join(canvas._code[before:]), drawn


def test_no_plotting_library():
    """ensures that charts are drawn without matplotlib, which is slow to load."""
    code = "import sys, loambrief.charts.svg; print('matplotlib' in sys.modules)"
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    answer = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True,
                            check=True, env=env)
    assert answer.stdout.strip() == "False"


def test_origin_and_state():
    """ensures that the chart lands at its corner, y turned upward, the page's state put back."""
    code, drawn = drawn_as(Stroke((((1, 70), (9, 64)),), Pen("#FF0000", 1.0)))
    assert code.startswith("q 1 0 0 1 30 40 cm")
    assert code.count("q ") == code.count("Q")
    assert "1 2 m" in code and "9 8 l" in code
    assert "1 0 0 RG" in code
    assert drawn.paths == [(0.5, 1.5, 9.5, 8.5)]


def test_fill_and_edge():
    """ensures that a rectangle is filled, and edged with mitred corners, in its colours."""
    sheet = Sheet(144.0)
    sheet.rect(10, 57, 30, 62, "#0000FF", "#00FF00", 2.0)
    sheet.y = 72.0
    code, drawn = drawn_as(*sheet.finish().marks)
    assert "0 0 1 rg" in code and "0 1 0 RG" in code and "2 w" in code and "0 j" in code
    assert code.count("h f") == code.count("h S") == 1
    assert drawn.paths == [(10.0, 10.0, 30.0, 15.0), (9.0, 9.0, 31.0, 16.0)]


def test_separate_lines_in_one_stroke():
    """ensures that lines of one stroke are not joined, and that a ring is closed once."""
    code, _ = drawn_as(Stroke((((1, 1), (2, 2)), ((3, 3), (4, 4))), BLACK))
    assert code.count(" m ") == code.count(" l ") == 2 and " h" not in code
    sheet = Sheet(144.0)
    sheet.polygon([(0, 0), (9, 0), (9, 9), (0, 0)], edge="ink")
    sheet.polygon([(0, 0), (9, 0), (9, 9)], edge="ink")
    first, second = sheet.finish(9).marks
    assert first == second and first.closed


def test_dashes():
    """ensures that dashes keep their length whatever the width, and that dots have round ends."""
    sheet = Sheet(144.0)
    for pattern, width in (("dash", 0.9), ("dash", 2.0), ("dot", 1.0), ("", 1.0)):
        sheet.line([0, 9], [1, 1], width=width, pattern=pattern)
    pens = [mark.pen for mark in sheet.finish().marks]
    assert [pen.dash for pen in pens] == [sheet.theme.dash] * 2 + [sheet.theme.dot, ()]
    assert [pen.cap for pen in pens] == ["butt", "butt", "round", "butt"]
    code, _ = drawn_as(Stroke((((0, 1), (9, 1)),), pens[2]), Stroke((((0, 2), (9, 2)),), pens[3]))
    dot = " ".join(re.sub("^0", "", f"{d:g}") for d in sheet.theme.dot)
    assert f"[{dot}] 0 d" in code and "1 J" in code
    assert "[] 0 d" in code and "0 J" in code[code.index("1 J"):]


@pytest.mark.parametrize("shape", ["o", *SHAPES])
def test_markers(shape):
    """ensures that a marker stands at each place, in its size, and nowhere else."""
    code, drawn = drawn_as(Markers(((10, 62), (20, 42)), shape, 4.0, None, Pen("#000000", 0.0)))
    assert code.count(" cm ") == 3  # the chart's own corner first
    assert "1 0 0 1 10 10 cm" in code and "1 0 0 1 20 30 cm" in code
    (x0, y0, x1, y1), second = drawn.paths
    assert second == pytest.approx((x0 + 10, y0 + 20, x1 + 10, y1 + 20))
    assert (x0 + x1) / 2 == pytest.approx(10) and (y0 + y1) / 2 == pytest.approx(10)
    assert max(x1 - x0, y1 - y0) == pytest.approx(4 * math.sqrt(2) if shape == "D" else 4)


def test_arrows_point_their_way():
    """ensures that the triangles point up, down, left and right on the page."""
    for shape, axis, sign in (("^", 1, 1), ("v", 1, -1), ("<", 0, -1), (">", 0, 1)):
        code, _ = drawn_as(Markers(((0, 72),), shape, 2.0, "#000000", BLACK))
        points = [tuple(map(float, p)) for p in re.findall(r"(\S+) (\S+) [ml]\b", code)]
        tip = max(points, key=lambda p: sign * p[axis])
        assert tip[axis] == sign and tip[1 - axis] == 0


def test_circle():
    """ensures that the arcs of a circle meet and stray from it by less than 1 in 100,000."""
    here = (1.0, 0.0)
    for ax, ay, bx, by, *end in ARCS:
        for n in range(11):
            t = n / 10
            k = ((1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t * t * (1 - t), t**3)
            x, y = (sum(w * v for w, v in zip(k, vs, strict=True))
                    for vs in ((here[0], ax, bx, end[0]), (here[1], ay, by, end[1])))
            assert math.hypot(x, y) == pytest.approx(1, abs=1e-5)
        here = tuple(end)
    assert here == pytest.approx((1, 0))


def test_text_uses_page_fonts():
    """ensures that text is shown in an embedded font and measured with that font's widths."""
    words = "Ca 44% P₂O₅ $900 of $1,200"
    code, drawn = drawn_as(Text(12, 58, words, 8.0, "regular", "#112233"))
    assert "BT" in code and "12 14 Tm" in code
    box = drawn.texts[0]
    width = pdfmetrics.stringWidth(words, pdf_name("regular"), 8.0)
    assert box.text == words and box.x1 - box.x0 == pytest.approx(width)
    assert box.size == 8.0 and box.x0 == pytest.approx(12)


def test_pattern_is_clipped_to_its_shape():
    """ensures that a pattern narrows the page for its own lines only."""
    ring = ((0, 62), (40, 62), (40, 72), (0, 72))
    code, _ = drawn_as(Pattern(ring, "/", "#FF0000"), Fill(ring, "#0000FF"))
    assert code.count("W* n") == 1
    inside = code[code.index("W* n"):code.index("0 0 1 rg")]
    assert "1 0 0 RG" in inside and inside.rstrip().endswith("Q")
    with pytest.raises(ValueError, match="unknown pattern"):
        drawn_as(Pattern(ring, "*", "#FF0000"))


def test_outline_of_a_word():
    """ensures that outlines of a word start at the origin and are as wide as the type says."""
    found = outline("HH")
    points = [v for _, ends in found.steps for v in ends]
    assert min(points) == 0 and max(points) == pytest.approx(found.width)
    advance = pdfmetrics.stringWidth("H", pdf_name("bold"), 1.0)
    assert found.width == pytest.approx(outline("H").width + advance, abs=0.002)
    kinds = [kind for kind, _ in found.steps]
    assert kinds.count("move") == kinds.count("close") == 2 and "curve" not in kinds
    assert "curve" in [kind for kind, _ in outline("o").steps]


@given(st.sampled_from(["/", "\\", "-", "|", "x", "+", ".", "//"]),
       st.floats(0, 50), st.floats(0, 50), st.floats(1, 60), st.floats(1, 60))
def test_hatch_stays_inside(pattern, x, y, w, h):
    """ensures that pattern lines end on the box and dots lie within it."""
    lines, dots = hatch_marks(pattern, (x, y, x + w, y + h), 4.0)
    for x0, y0, x1, y1 in lines:
        assert x - 1e-6 <= min(x0, x1) and max(x0, x1) <= x + w + 1e-6
        assert y - 1e-6 <= min(y0, y1) and max(y0, y1) <= y + h + 1e-6
    for px, py in dots:
        assert x <= px <= x + w and y <= py <= y + h


def test_hatch_distance():
    """ensures that slanted lines are one gap apart, measured across them."""
    lines, _ = hatch_marks("/", (0.0, 0.0, 40.0, 40.0), 4.0)
    offsets = sorted(y0 - x0 for x0, y0, _, _ in lines)
    assert offsets[1] - offsets[0] == pytest.approx(4.0 * 2**0.5)
    with pytest.raises(ValueError, match="unknown pattern"):
        hatch_marks("*", (0, 0, 1, 1), 4.0)
