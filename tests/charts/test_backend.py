"""The drawing back end by itself: paths, text, clips, patterns, refusals."""

from __future__ import annotations

import io
import os
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, PathPatch, Rectangle
from matplotlib.path import Path
from matplotlib.text import Text
from matplotlib.transforms import IdentityTransform
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfgen.canvas import Canvas

from loambrief.charts.backend import CanvasRenderer, Drawn, draw_figure, hatch_marks
from loambrief.charts.faces import pdf_name, properties


def draw(*artists, dpi=72):
    """Draw artists given in points; returns the page's operators and the record."""
    figure = Figure(figsize=(2, 1), dpi=dpi)
    figure.patch.set_visible(False)
    for artist in artists:
        artist.set_transform(IdentityTransform())
        figure.add_artist(artist)
    canvas = Canvas(io.BytesIO(), pageCompression=0)
    before = len(canvas._code)
    drawn = Drawn()
    draw_figure(canvas, figure, 30, 40, drawn)
    return " ".join(canvas._code[before:]), drawn


def test_no_global_plotting_state():
    """ensures that drawing charts does not load the stateful plotting interface."""
    code = "import sys, loambrief.charts; print('matplotlib.pyplot' in sys.modules)"
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    answer = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True,
                            check=True, env=env)
    assert answer.stdout.strip() == "False"


def test_origin_and_state():
    """ensures that the figure lands at its corner and the page's state is put back."""
    code, _ = draw(Line2D([1, 9], [2, 8], color="#FF0000", linewidth=1))
    assert code.startswith("q 1 0 0 1 30 40 cm")
    assert code.count("q ") == code.count("Q")
    assert "1 2 m" in code and "9 8 l" in code
    assert "1 0 0 RG" in code


def test_fill_and_stroke():
    """ensures that a rectangle is filled and stroked in its colours."""
    code, drawn = draw(Rectangle((10, 10), 20, 5, facecolor="#0000FF", edgecolor="#00FF00",
                                 linewidth=2))
    assert "0 0 1 rg" in code and "0 1 0 RG" in code and "2 w" in code
    assert drawn.paths == [(9.0, 9.0, 31.0, 16.0)]


def test_quadratic_becomes_cubic():
    """ensures that a quadratic curve is raised to the same cubic (standard degree raising)."""
    path = Path([(0, 0), (30, 60), (60, 0)], [Path.MOVETO, Path.CURVE3, Path.CURVE3])
    code, _ = draw(PathPatch(path, facecolor="none", edgecolor="#000000", linewidth=1))
    assert "20 40 40 40 60 0 c" in code  # control points at 2/3 of the way


def test_markers_share_one_outline():
    """ensures that markers are placed at every point and nowhere else."""
    code, drawn = draw(Line2D([10, 20, float("nan")], [10, 30, 5], linestyle="None", marker="o",
                              markersize=4, color="#000000", markeredgewidth=0))
    assert "1 0 0 1 10 10 cm" in code and "1 0 0 1 20 30 cm" in code
    assert len(drawn.paths) == 2


def test_text_uses_page_fonts():
    """ensures that text is shown in an embedded font and measured with that font's widths."""
    text = Text(12, 14, "Ca 44% P₂O₅", fontproperties=properties("regular", 8.0),
                parse_math=False, color="#112233")
    code, drawn = draw(text)
    assert "BT" in code and "12 14 Tm" in code
    box = drawn.texts[0]
    width = pdfmetrics.stringWidth("Ca 44% P₂O₅", pdf_name("regular"), 8.0)
    assert box.x1 - box.x0 == pytest.approx(width)
    assert box.size == 8.0 and box.x0 == pytest.approx(12)


def test_turned_text():
    """ensures that turned text is recorded where it is."""
    text = Text(50, 20, "depth", fontproperties=properties("regular", 8.0), rotation=90,
                rotation_mode="anchor", parse_math=False)
    code, drawn = draw(text)
    assert "0 1 -1 0 50 20 cm" in code
    assert drawn.texts[0].y1 - drawn.texts[0].y0 > drawn.texts[0].x1 - drawn.texts[0].x0


def test_money_is_not_mathematics():
    """ensures that two dollar signs do not turn a line into a formula."""
    text = Text(1, 1, "$900 of $1,200", fontproperties=properties("regular", 8.0),
                parse_math=False)
    assert draw(text)[1].texts[0].text == "$900 of $1,200"


def test_clip():
    """ensures that a clip narrows only the artist it belongs to."""
    line = Line2D([0, 100], [5, 5], color="#000000", linewidth=1)
    clip = Circle((20, 5), 4, transform=IdentityTransform())
    after = Line2D([0, 100], [9, 9], color="#000000", linewidth=1, zorder=9)
    figure = Figure(figsize=(2, 1), dpi=72)
    figure.patch.set_visible(False)
    for artist in (line, after):
        artist.set_transform(IdentityTransform())
        figure.add_artist(artist)
    line.set_clip_path(clip)
    canvas = Canvas(io.BytesIO(), pageCompression=0)
    draw_figure(canvas, figure, 0, 0)
    code = " ".join(canvas._code)
    assert code.count("W* n") == 1
    assert code.index("W* n") < code.index("0 5 m") < code.index("0 9 m")
    assert "Q" in code[code.index("0 5 m"):code.index("0 9 m")]


def test_refuses_transparency_and_bitmaps():
    """ensures that nothing half clear, no bitmap and no wrong resolution gets through."""
    with pytest.raises(ValueError, match="transparency"):
        draw(Rectangle((0, 0), 1, 1, facecolor="#000000", alpha=0.5))
    with pytest.raises(ValueError, match="72"):
        draw(dpi=100)
    renderer = CanvasRenderer(Canvas(io.BytesIO()), 10, 10)
    with pytest.raises(NotImplementedError, match="bitmap"):
        renderer.draw_image(renderer.new_gc(), 0, 0, None)
    with pytest.raises(ValueError, match="not a font of the page"):
        draw(Text(1, 1, "x", fontfamily="serif", parse_math=False))


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
