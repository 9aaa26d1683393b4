"""What a form needs in the file itself: an embedded font to type in, and ticks to show.

ISO 19005-3, 6.3.3 and 6.4.1: every field has an appearance, nothing asks the reader to make
one, and the font of what will be typed is embedded. The font is the page's own, cut down to
the characters of WinAnsiEncoding, as a simple TrueType font: that is what programs that
fill in forms can write with.
"""

import hashlib
import string
from functools import cache
from io import BytesIO

from pikepdf import Array, Dictionary, Name, Object, Pdf, String

from loambrief.charts.fonts import REGULAR, font_path
from loambrief.render.tags import FIELD_FONT, FIELD_LOOK, NOTHING

FIRST, LAST = 32, 255
NONSYMBOLIC = 32
STEM = 80
TICKED = "/Yes"


def dress_form(pdf: Pdf) -> None:
    """Give a form its font and its ticks; a file without boxes to fill in stays as it is."""
    widgets = [item for page in pdf.pages for item in page.obj.get("/Annots", ())
               if item.get("/Subtype") == "/Widget"]
    texts = [w for w in widgets if w.get("/FT") == "/Tx"]
    ticks = [w for w in widgets if w.get("/FT") == "/Btn"]
    if not texts and not ticks:
        return
    pdf.Root.AcroForm.DR = Dictionary(Font=Dictionary({f"/{FIELD_FONT}": _font(pdf)}))
    pdf.Root.AcroForm.DA = String(FIELD_LOOK)
    for widget in ticks:
        x0, y0, x1, y1 = (float(v) for v in widget.Rect)
        side = min(x1 - x0, y1 - y0)
        widget.AP = Dictionary(N=Dictionary({"/Off": _picture(pdf, side, NOTHING),
                                             TICKED: _picture(pdf, side, _cross(side))}))


def _picture(pdf: Pdf, side: float, content: bytes) -> Object:
    return pdf.make_stream(content, Dictionary(
        Type=Name.XObject, Subtype=Name.Form, Resources=Dictionary(),
        BBox=Array([0, 0, round(side, 2), round(side, 2)])))


def _cross(side: float) -> bytes:
    """Two strokes from corner to corner."""
    a, b = side * 0.2, side * 0.8
    return (f"q 0 G 1.6 w 1 J {a:.2f} {a:.2f} m {b:.2f} {b:.2f} l "
            f"{a:.2f} {b:.2f} m {b:.2f} {a:.2f} l S Q").encode("ascii")


def _characters() -> list[str | None]:
    """Characters of codes 32 to 255 in WinAnsiEncoding; None where there is none."""
    return [bytes([code]).decode("cp1252", "ignore") or None for code in range(FIRST, LAST + 1)]


@cache
def _cut() -> tuple[bytes, tuple[int, ...], dict[str, float]]:
    """The font file with these characters alone, their widths, and its measures."""
    from fontTools import subset  # slow imports: only when a form is made
    from fontTools.ttLib import TTFont

    font = TTFont(font_path(REGULAR), recalcTimestamp=False)
    for table in {"GPOS", "GSUB", "GDEF", "DSIG"} & set(font.keys()):
        del font[table]  # before the subset is made: to read them takes most of its time
    options = subset.Options(hinting=False, notdef_outline=True, name_IDs=[1, 2, 6],
                             drop_tables=[])
    cutter = subset.Subsetter(options)
    cutter.populate(unicodes=[ord(c) for c in _characters() if c])
    cutter.subset(font)
    out = BytesIO()
    font.save(out)
    em = 1000 / font["head"].unitsPerEm
    names, widths = font.getBestCmap(), font["hmtx"]
    found = tuple(round(widths[names[ord(c)]][0] * em) if c and ord(c) in names else 0
                  for c in _characters())
    head = font["head"]
    measures = {"ascent": font["hhea"].ascent * em, "descent": font["hhea"].descent * em,
                "x0": head.xMin * em, "y0": head.yMin * em, "x1": head.xMax * em,
                "y1": head.yMax * em, "cap": font["OS/2"].sCapHeight * em}
    return out.getvalue(), found, measures


def _font(pdf: Pdf) -> Object:
    data, widths, m = _cut()
    mark = int(hashlib.sha256(data).hexdigest(), 16)
    tag = "".join(string.ascii_uppercase[mark // 26**n % 26] for n in range(6))
    name = Name(f"/{tag}+SourceSans3-Regular")
    file = pdf.make_stream(data, Dictionary(Length1=len(data)))
    descriptor = pdf.make_indirect(Dictionary(
        Type=Name.FontDescriptor, FontName=name, Flags=NONSYMBOLIC, ItalicAngle=0, StemV=STEM,
        Ascent=round(m["ascent"]), Descent=round(m["descent"]), CapHeight=round(m["cap"]),
        FontBBox=Array([round(m[k]) for k in ("x0", "y0", "x1", "y1")]), FontFile2=file))
    return pdf.make_indirect(Dictionary(
        Type=Name.Font, Subtype=Name.TrueType, BaseFont=name, FirstChar=FIRST, LastChar=LAST,
        Widths=Array(widths), FontDescriptor=descriptor, Encoding=Name.WinAnsiEncoding,
        ToUnicode=pdf.make_stream(_to_unicode())))


def _to_unicode() -> bytes:
    lines = [f"<{code:02X}> <{ord(c):04X}>" for code, c in enumerate(_characters(), FIRST) if c]
    blocks = [lines[i:i + 100] for i in range(0, len(lines), 100)]
    body = "\n".join(f"{len(b)} beginbfchar\n" + "\n".join(b) + "\nendbfchar" for b in blocks)
    return ("/CIDInit /ProcSet findresource begin\n12 dict begin\nbegincmap\n"
            "/CIDSystemInfo << /Registry (Adobe) /Ordering (UCS) /Supplement 0 >> def\n"
            "/CMapName /LoambriefForm def\n/CMapType 2 def\n"
            "1 begincodespacerange\n<00> <FF>\nendcodespacerange\n"
            f"{body}\nendcmap\nCMapName currentdict /CMap defineresource pop\nend\nend"
            ).encode("ascii")
