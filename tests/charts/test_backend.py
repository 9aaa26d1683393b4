"""The way from matplotlib to paper: paths, pens, markers, text, patterns."""

from __future__ import annotations

import io
import math
import os
import re
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree as ET

import matplotlib
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.figure import Figure
from matplotlib.path import Path as Course
from matplotlib.transforms import Affine2D, IdentityTransform
from pypdf import PdfReader
from recording import Recorder
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfgen.canvas import Canvas

from loambrief.charts.canvas import put_on_canvas
from loambrief.charts.fonts import pdf_name
from loambrief.charts.measure import Scale
from loambrief.charts.panel import Panel
from loambrief.charts.renderer import drawing, hatch, steps_of
from loambrief.charts.sheet import Sheet, themed
from loambrief.charts.svg import SvgSurface

CHILD = """
import hashlib, io, sys
from chart_samples import EVERYDAY
assert "matplotlib" not in sys.modules, "loaded before a chart is drawn"
from reportlab.pdfgen.canvas import Canvas
from xml.etree import ElementTree as ET
from loambrief.charts import draw_chart, figure_size, svg_chart
buffer = io.BytesIO()
canvas = Canvas(buffer, invariant=1)
digest = hashlib.sha256()
for make in EVERYDAY.values():
    draw_chart(canvas, make(), 40, 40, 504.0)
    canvas.showPage()
    digest.update(ET.tostring(svg_chart(make(), 504.0, "x")))
canvas.save()
digest.update(buffer.getvalue())
assert "matplotlib.pyplot" not in sys.modules
print(digest.hexdigest())
"""


def on_sheet(draw, height=72.0):
    """Draw on a sheet of 144 by 72 pt; returns the page's operators and the boxes."""
    with themed():
        sheet = Sheet(144.0)
        draw(sheet)
        sheet.y = height
        figure = sheet.finish()
    canvas = Canvas(io.BytesIO(), pageCompression=0)
    before = len(canvas._code)
    put_on_canvas(canvas, drawing(figure), 30, 40)
    recorder = Recorder()
    recorder.put(drawing(figure))
    return " ".join(canvas._code[before:]), recorder.drawn


def test_same_bytes_in_every_process(tmp_path):
    """ensures that a picture depends on nothing but its spec: neither on the process, the hash
    seed nor the reader's settings; that matplotlib is loaded by the first chart only; and that
    drawing prints nothing and writes nothing but the lists of typefaces that matplotlib and
    fontconfig keep where they keep theirs."""
    answers = set()
    for seed in ("0", "1"):
        config, home = tmp_path / f"config{seed}", tmp_path / f"home{seed}"
        home.mkdir()
        if seed == "0":  # no folder to keep a list in
            config = Path(os.devnull) / "config"
        else:
            config.mkdir()
            (config / "matplotlibrc").write_text("lines.linewidth: 9\nfont.size: 30\n")
        found = subprocess.run(
            [sys.executable, "-W", "error", "-c", CHILD], capture_output=True, text=True,
            check=False, cwd=home, env={
                **os.environ, "PYTHONHASHSEED": seed, "MPLCONFIGDIR": str(config),
                "HOME": str(home), "XDG_CACHE_HOME": str(home / ".cache"),
                "PYTHONPATH": os.pathsep.join(sys.path)})
        assert found.returncode == 0 and found.stderr == "", found.stderr
        answers.add(found.stdout)
        assert all(p.name == ".cache" for p in home.iterdir())
    assert all(p.name.startswith(("fontlist", "matplotlibrc")) for p in config.iterdir())
    assert len(answers) == 1


def test_settings_stay():
    """ensures that charts leave the settings of another program's matplotlib alone."""
    before = dict(matplotlib.rcParams)
    with themed():
        assert dict(matplotlib.rcParams) != before
    assert dict(matplotlib.rcParams) == before


def test_origin_and_state():
    """ensures that the chart lands at its corner, y turned upward, the page's state put back."""
    code, drawn = on_sheet(lambda s: s.line([1, 9], [70, 64], "#FF0000", 1.0))
    assert code.startswith("q 1 0 0 1 30 40 cm")
    assert code.count("q ") == code.count("Q")
    assert "1 2 m" in code and "9 8 l" in code
    assert "1 0 0 RG" in code
    assert drawn.paths == [pytest.approx((0.5, 1.5, 9.5, 8.5))]


def test_fill_and_edge():
    """ensures that a rectangle is filled, and edged with mitred corners, in its colours."""
    code, drawn = on_sheet(lambda s: s.rect(10, 57, 30, 62, "#0000FF", "#00FF00", 2.0))
    assert "0 0 1 rg" in code and "0 1 0 RG" in code and "2 w" in code and "0 j" in code
    assert code.count("h B") == 1
    assert drawn.paths == [pytest.approx((10.0, 10.0, 30.0, 15.0)),
                           pytest.approx((9.0, 9.0, 31.0, 16.0))]


def test_fill_or_edge_alone():
    """ensures that a shape without an edge is not stroked, and one without a fill not filled."""
    code, _ = on_sheet(lambda s: s.rect(10, 57, 30, 62, "#0000FF"))
    assert code.count("h f") == 1 and "h S" not in code and "h B" not in code
    code, _ = on_sheet(lambda s: s.rect(10, 57, 30, 62, None, "#0000FF"))
    assert code.count("h S") == 1 and "h f" not in code and "h B" not in code


def test_separate_lines_in_one_stroke():
    """ensures that lines of one stroke are not joined, and that a ring is closed once."""
    code, _ = on_sheet(lambda s: s.strokes([((1, 2), (1, 2)), ((3, 4), (3, 4))]))
    assert code.count(" m ") == code.count(" l ") == 2 and " h" not in code
    rings = [on_sheet(lambda s, p=p: s.polygon(p, edge="ink"))[0]
             for p in ([(0, 0), (9, 0), (9, 9), (0, 0)], [(0, 0), (9, 0), (9, 9)])]
    assert rings[0] == rings[1] and rings[0].count(" h ") == 1


def test_dashes():
    """ensures that dashes keep their length whatever the width, and that dots have round ends."""
    def lines(sheet):
        for n, (pattern, width) in enumerate(
                (("dash", 0.9), ("dash", 2.0), ("dot", 1.0), ("", 1.0))):
            for on in (None, ax) if (ax := sheet.axes(Scale(0, 9, 0, 9))) else ():
                sheet.line([0, 9], [n, n], width=width, pattern=pattern, on=on)

    code, _ = on_sheet(lines)
    found = re.findall(r"(?:(\[[^\]]*\]) 0 d|(\d) J|\S+ \S+ l\b)", code)
    state, seen = {}, []
    for dash, cap in found:
        if dash:
            state["dash"] = dash
        elif cap:
            state["cap"] = cap
        else:
            seen.append((state["dash"], state["cap"]))
    dot = "[.8 2]"
    assert sorted(seen) == sorted(
        [("[3 2]", "0")] * 4 + [(dot, "1")] * 2 + [("[]", "0")] * 2)


@pytest.mark.parametrize("shape", ["o", "s", "D", "^", "v", "<", ">", "x", "|"])
def test_markers(shape):
    """ensures that a marker stands at each place, in its size, and nowhere else."""
    code, drawn = on_sheet(lambda s: s.marks([10, 20], [62, 42], shape, 4.0, None, "ink", 1e-9))
    assert code.count(" cm ") == 3  # the chart's own corner first
    assert "1 0 0 1 10 10 cm" in code and "1 0 0 1 20 30 cm" in code
    (x0, y0, x1, y1), second = drawn.paths
    assert second == pytest.approx((x0 + 10, y0 + 20, x1 + 10, y1 + 20))
    assert (x0 + x1) / 2 == pytest.approx(10) and (y0 + y1) / 2 == pytest.approx(10)
    assert max(x1 - x0, y1 - y0) == pytest.approx(4 * math.sqrt(2) if shape == "D" else 4)


def test_arrows_point_their_way():
    """ensures that the triangles point up, down, left and right on the page."""
    for shape, axis, sign in (("^", 1, 1), ("v", 1, -1), ("<", 0, -1), (">", 0, 1)):
        code, _ = on_sheet(lambda s, shape=shape: s.marks([0], [72], shape, 2.0))
        points = [tuple(map(float, p)) for p in re.findall(r"(\S+) (\S+) [ml]\b", code)]
        tip = max(points, key=lambda p: sign * p[axis])
        assert tip[axis] == pytest.approx(sign) and tip[1 - axis] == pytest.approx(0, abs=1e-6)


def test_text_uses_page_fonts():
    """ensures that text is shown in an embedded font and measured with that font's widths, and
    that no sign in it is taken for a formula."""
    words = "Ca 44% P₂O₅ $900 of $1,200"
    code, drawn = on_sheet(lambda s: s.text(12, 58, words, 8.0, colour="#112233"))
    assert "BT" in code and "12 14 Tm" in code
    (box,) = drawn.texts
    width = pdfmetrics.stringWidth(words, pdf_name("regular"), 8.0)
    assert box.text == words and box.x1 - box.x0 == pytest.approx(width)
    assert box.size == 8.0 and box.x0 == pytest.approx(12)
    assert box.colour == pytest.approx((0x11 / 255, 0x22 / 255, 0x33 / 255))


@pytest.mark.parametrize(("weight", "face", "css"), [
    ("regular", "Regular", {}), ("bold", "Semibold", {"font-weight": "600"}),
    ("italic", "It", {"font-style": "italic"})])
def test_weights(weight, face, css):
    """ensures that each weight is a face of the page's own typeface, embedded as TrueType."""
    with themed():
        sheet = Sheet(144.0)
        sheet.text(12, 58, "Hn", 8.0, weight)
        sheet.y = 72.0
        figure = sheet.finish()
    buffer = io.BytesIO()
    canvas = Canvas(buffer)
    put_on_canvas(canvas, drawing(figure), 0, 0)
    canvas.save()
    fonts = PdfReader(buffer).pages[0]["/Resources"]["/Font"].values()
    (used,) = [f.get_object() for f in fonts if "SourceSans3" in f.get_object()["/BaseFont"]]
    assert used["/BaseFont"].endswith(f"SourceSans3-{face}") and used["/Subtype"] == "/TrueType"
    top = ET.Element("svg")
    SvgSurface(72.0, top, "p").put(drawing(figure))
    (line,) = top
    assert {k: v for k, v in line.attrib.items() if k in ("font-weight", "font-style")} == css


def test_pattern_is_clipped_to_its_shape():
    """ensures that a pattern narrows the page for its own lines only."""
    ring = [(0, 62), (40, 62), (40, 72), (0, 72)]

    def draw(sheet):
        sheet.polygon(ring, None, hatch="/", hatch_colour="#FF0000")
        sheet.polygon(ring, "#0000FF")

    code, _ = on_sheet(draw)
    assert code.count("W* n") == 1
    inside = code[code.index("W* n"):code.index("0 0 1 rg")]
    assert "1 0 0 RG" in inside and inside.rstrip().endswith("Q")
    with pytest.raises(ValueError, match="unknown pattern"):
        on_sheet(lambda s: s.polygon(ring, None, hatch="*"))


def test_colours_are_opaque():
    """ensures that what matplotlib would let shine through is mixed with the paper's white."""
    figure = Figure(figsize=(2, 1), dpi=72, frameon=False)
    figure.add_artist(matplotlib.patches.Rectangle((0, 0), 1, 1, facecolor=(1, 0, 0, 0.25),
                                                   edgecolor="none"))
    canvas = Canvas(io.BytesIO(), pageCompression=0)
    put_on_canvas(canvas, drawing(figure), 0, 0)
    assert "1 .75 .75 rg" in " ".join(canvas._code)


def test_pictures_are_refused():
    """ensures that no raster can get into an advisory's charts."""
    figure = Figure(figsize=(2, 1), dpi=72, frameon=False)
    figure.add_axes((0, 0, 1, 1)).imshow([[0, 1], [1, 0]])
    with pytest.raises(NotImplementedError, match="pixels"):
        put_on_canvas(Canvas(io.BytesIO()), drawing(figure), 0, 0)


def test_paths():
    """ensures that lines, both kinds of curves and ends of a path keep their course, and that a
    line stops at a gap in its data."""
    two = Course([(0, 0), (1, 2), (2, 0), (3, 3), (4, 3), (4, 0), (9, 9)],
               [1, 3, 3, 4, 4, 4, 79])
    steps = steps_of(two, Affine2D().scale(3))
    assert [kind for kind, *_ in steps] == ["m", "c", "c", "h"]
    assert steps[1][1:] == pytest.approx((2, 4, 4, 4, 6, 0))  # two thirds of the way, times 3
    assert steps[2][1:] == pytest.approx((9, 9, 12, 9, 12, 0))
    broken = steps_of(Course([(0, 0), (1, 1), (math.nan, 2), (3, 3), (4, 4)]), IdentityTransform())
    assert [kind for kind, *_ in broken] == ["m", "l", "m", "l"]


def test_own_axes_clip():
    """ensures that what an axes cuts off is cut off on paper and on a screen too."""
    figure = Figure(figsize=(2, 1), dpi=72, frameon=False)
    ax = figure.add_axes((0.25, 0.25, 0.5, 0.5))
    ax.plot([0, 9], [0, 9])
    ax.set(xlim=(0, 1), ylim=(0, 1))
    canvas = Canvas(io.BytesIO(), pageCompression=0)
    with themed():
        put_on_canvas(canvas, drawing(figure), 0, 0)
        assert "W* n" in " ".join(canvas._code)
        top = ET.Element("svg")
        SvgSurface(72.0, top, "p").put(drawing(figure))
    assert {e.get("d") for e in top.iterfind("clipPath/path")} == {"M36 54L108 54L108 18L36 18Z"}


def test_panels_have_scales_only():
    """ensures that the bare axes still place data, with no tick, spine or grid made.

    They override ``_init_axis`` and ``_gen_axes_spines``, which matplotlib documents for its
    custom projections and may change: it makes a chart of ten panels four times as quick.
    """
    with themed():
        sheet = Sheet(200.0)
        ax = sheet.axes(Scale(1.0, 100.0, 50.0, 150.0, log=True), Scale(0.0, 8.0, 90.0, 10.0))
        sheet.y = 100.0
        figure = sheet.finish()
    assert isinstance(ax, Panel)
    found = ax.transData.transform([(1, 0), (10, 4), (100, 8)]).ravel()
    assert found == pytest.approx([50, 10, 100, 50, 150, 90])
    drawing(figure)
    assert not ax.spines and "majorTicks" not in vars(ax.xaxis)


@given(st.floats(-1e4, 1e4), st.floats(1e-2, 1e4), st.floats(0, 1), st.booleans())
def test_axes_agree_with_their_scale(low, span, share, log):
    """ensures that marks on axes lie where the layout of the labels takes them to be."""
    low = abs(low) + 0.1 if log else low
    scale = Scale(low, low + span, 20.0, 130.0, log)
    with themed():
        sheet = Sheet(144.0)
        ax = sheet.axes(scale)
        sheet.y = 50.0
        sheet.finish()
    value = low + share * span
    x, y = ax.transData.transform((value, 12.0))
    assert x == pytest.approx(scale(value), abs=1e-3)
    assert y == pytest.approx(50.0 - 12.0)
    assert scale.value(scale(value)) == pytest.approx(value, rel=1e-6, abs=1e-6 * span)


@given(st.sampled_from(["/", "\\", "-", "|", "x", "+", ".", "//"]),
       st.floats(0, 50), st.floats(0, 50), st.floats(4.1, 60), st.floats(4.1, 60))
def test_hatch_covers(pattern, x, y, w, h):
    """ensures that a pattern reaches from side to side of its box; what is outside is cut off."""
    lines, dots = hatch(pattern, (x, y, x + w, y + h), 2.0)
    assert bool(dots) is (pattern == ".") and bool(lines) is not bool(dots)
    for (_, x0, y0), (_, x1, y1) in zip(lines[::2], lines[1::2], strict=True):
        across, down = {x0, x1} == {x, x + w}, {y0, y1} == {y, y + h}
        assert across or down
        assert min(x0, x1) <= x + w and max(x0, x1) >= x
        assert min(y0, y1) <= y + h and max(y0, y1) >= y


def test_hatch_distance():
    """ensures that slanted lines are one gap apart, measured across them, and lean their way."""
    lines, _ = hatch("/", (0.0, 0.0, 40.0, 40.0), 4.0)
    offsets = sorted(y - x for kind, x, y in lines if kind == "m")
    assert offsets[1] - offsets[0] == pytest.approx(4.0 * 2**0.5)
    for (_, x0, y0), (_, x1, y1) in zip(lines[::2], lines[1::2], strict=True):
        assert x0 - y0 == pytest.approx(x1 - y1)  # y upward: rises to the right
    with pytest.raises(ValueError, match="unknown pattern"):
        hatch("*", (0, 0, 1, 1), 4.0)


def test_pattern_of_own_axes():
    """ensures that a pattern which a user's own chart asks of matplotlib is drawn."""
    figure = Figure(figsize=(2, 1), dpi=72, frameon=False)
    figure.add_axes((0, 0, 1, 1)).bar([0], [1], hatch="/", facecolor="none", edgecolor="#FF0000")
    canvas = Canvas(io.BytesIO(), pageCompression=0)
    with themed():
        put_on_canvas(canvas, drawing(figure), 0, 0)
    code = " ".join(canvas._code)
    assert code.count("1 0 0 RG") >= 1 and code.count(" l ") > 20
