"""Reads a finished PDF and names what is wrong with its pages.

``python tests/pages/pagecheck.py FILE...`` prints one line a flaw and ends with 1 if there
is any. It knows nothing of how the pages were made: it looks at the drawn text and lines
(pypdfium2) and at the structure tree (pikepdf).

Limits, with their reasons:

- Side margins of 50 pt. Filed sheets are punched: a hole of ISO 838 ends 15 mm (43 pt) from
  the edge (from memory, unverified), on the left of a front and on the right of a back.
- 26 pt free above, 30 pt below: office printers leave about 12 pt blank.
- Type of 8 pt and more; 7 pt inside charts, whose labels stand alone.
"""

from __future__ import annotations

import ctypes
import io
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

import pikepdf
import pypdfium2 as pdfium
import pypdfium2.raw as raw

SIDE, ABOVE, BELOW = 50.0, 26.0, 30.0
SMALLEST, SMALLEST_IN_CHARTS = 8.0, 7.0
FEWEST_USED = 0.12
"""Share of a page's text height that must be used, the last page apart."""
TOP, BOTTOM = 70.0, 58.0
"""Text starts and ends this far from the paper's edge [pt]."""
TOUCH = 0.8
"""Ink of two texts may share this much both ways [pt]: rounding, accents."""
LOOSE = 0.4
BLANK = 0.01
HEADINGS = frozenset(("H1", "H2", "H3", "H4", "H5", "H6", "Caption"))
SHORT_ROW = 90.0
"""A table row lower than this must not be split over pages [pt]."""


@dataclass(frozen=True)
class Flaw:
    """One fault: page (from 1), kind, and what was found."""

    page: int
    kind: str
    what: str

    def __str__(self) -> str:
        return f"page {self.page}: {self.kind}: {self.what}"


class Piece(NamedTuple):
    """One drawn text or path: its box from the lower left corner [pt], and its tag."""

    kind: str
    box: tuple[float, float, float, float]
    tag: str
    """Structure type, or "Artifact"."""
    text: str = ""
    size: float = 0.0
    clip: tuple[float, float, float, float] | None = None
    number: int = -1
    """Its marked content, to tell the lines of one paragraph from the next."""


@dataclass
class Page:
    """Everything drawn on a page, in the order of drawing."""

    number: int
    width: float
    height: float
    pieces: list[Piece] = field(default_factory=list)

    @property
    def content(self) -> list[Piece]:
        return [p for p in self.pieces if p.tag != "Artifact"]

    @property
    def texts(self) -> list[Piece]:
        return [p for p in self.pieces if p.kind == "text"]


def check(data: bytes, *, smallest: float = SMALLEST) -> list[Flaw]:
    """Every flaw of a document's pages.

    Parameters
    ----------
    data : bytes
        A tagged PDF.
    smallest : float
        Least type size outside charts [pt].

    Returns
    -------
    list of Flaw
        By page.
    """
    flaws = _flaws(data, read(data, words=False), smallest)
    return flaws and _flaws(data, read(data), smallest)  # words are slow, and only for a report


def _flaws(data: bytes, pages: list[Page], smallest: float) -> list[Flaw]:
    flaws: list[Flaw] = []
    for page, following in zip(pages, (*pages[1:], None), strict=True):
        last = following is None or _starts_part(following)
        for test in (outside, overlapping, clipped, orphans):
            flaws += test(page)
        flaws += tiny(page, smallest)
        flaws += [] if last else unused(page)
    flaws += split_rows(data, pages)
    return sorted(flaws, key=lambda flaw: (flaw.page, flaw.kind, flaw.what))


def _starts_part(page: Page) -> bool:
    """A page that begins with a heading: what is before it may end wherever it ends."""
    texts = [p for p in page.texts if p.tag and p.tag != "Artifact"]
    return bool(texts) and texts[0].tag in ("H1", "H2")


# Reading ----------------------------------------------------------------------------------


def read(data: bytes, words: bool = True, whole: bool = True) -> list[Page]:
    """The pages of a PDF with what is drawn on them; ``words``: also what the texts say.

    It asks pdfium's own functions: a page has a thousand things, a document thirty pages. Not
    ``whole``: box and outermost tag of each thing alone, in half the time.
    """
    document = pdfium.PdfDocument(data)
    pages = []
    for number, sheet in enumerate(document, start=1):
        page = Page(number, *sheet.get_size())
        texts = sheet.get_textpage() if words else None
        drawn = _items(sheet.raw, raw.FPDFPage_CountObjects, raw.FPDFPage_GetObject, DEEPEST)
        for kind, item in drawn:
            piece = _piece(kind, item, texts, whole)
            if piece is not None:
                page.pieces.append(piece)
        pages.append(page)
        if texts is not None:
            texts.close()
        sheet.close()
    document.close()
    return pages


DEEPEST = 7
"""Drawings inside drawings are followed down to here."""


def _items(parent, count, get, deeper: int) -> Iterator[tuple[int, object]]:
    """Kind and handle of each text and path of a page, or of a drawing used on it."""
    for index in range(count(parent)):
        item = get(parent, index)
        kind = raw.FPDFPageObj_GetType(item)
        if kind in (raw.FPDF_PAGEOBJ_TEXT, raw.FPDF_PAGEOBJ_PATH):
            yield kind, item
        elif kind == raw.FPDF_PAGEOBJ_FORM and deeper:
            yield from _items(item, raw.FPDFFormObj_CountObjects, raw.FPDFFormObj_GetObject,
                              deeper - 1)


X0, Y0, X1, Y1 = (ctypes.c_float() for _ in range(4))
"""Where pdfium puts a box."""


def _piece(kind: int, item, texts, whole: bool) -> Piece | None:
    assert raw.FPDFPageObj_GetBounds(item, X0, Y0, X1, Y1), "a box of each thing"
    box = (X0.value, Y0.value, X1.value, Y1.value)
    path = kind == raw.FPDF_PAGEOBJ_PATH
    if not path and (box[2] - box[0] < BLANK or box[3] - box[1] < BLANK):
        return None  # spaces
    if not whole:
        mark = raw.FPDFPageObj_GetMark(item, 0)
        return Piece("path" if path else "text", box, _name(mark) if mark else "")
    tag, number = _marks(item)
    if path:
        return Piece("path", box, tag, clip=_clip(item), number=number)
    text = _text(item, texts.raw) if texts is not None else ""
    size, matrix = ctypes.c_float(), raw.FS_MATRIX()
    raw.FPDFTextObj_GetFontSize(item, size)
    assert raw.FPDFPageObj_GetMatrix(item, matrix), "a matrix of each text"
    scale = (matrix.c ** 2 + matrix.d ** 2) ** 0.5
    return Piece("text", box, tag, text, size.value * scale, _clip(item), number)


WORDS = (ctypes.c_ushort * 4096)()
"""Where pdfium puts a text."""


def _text(item, page) -> str:
    length = raw.FPDFTextObj_GetText(item, page, WORDS, ctypes.sizeof(WORDS))
    assert length <= ctypes.sizeof(WORDS), "a text is at most a line"
    return bytes(WORDS)[: max(length - 2, 0)].decode("utf-16-le", "replace")


def _marks(item) -> tuple[str, int]:
    """Outermost mark and the innermost MCID."""
    tag, number, value = "", -1, ctypes.c_int()
    for index in range(raw.FPDFPageObj_CountMarks(item)):
        mark = raw.FPDFPageObj_GetMark(item, index)
        tag = tag or _name(mark)
        if raw.FPDFPageObjMark_GetParamIntValue(mark, b"MCID", value):
            number = value.value
    return tag, number


NAME = (ctypes.c_ushort * 64)()
"""Where pdfium puts the name of a mark."""


def _name(mark) -> str:
    size = ctypes.c_ulong()
    raw.FPDFPageObjMark_GetName(mark, NAME, 128, size)
    return bytes(NAME)[: max(size.value - 2, 0)].decode("utf-16-le", "replace")


def _clip(item) -> tuple[float, float, float, float] | None:
    """Box of the narrowest clip around an object."""
    path = raw.FPDFPageObj_GetClipPath(item)
    count = raw.FPDFClipPath_CountPaths(path) if path else 0
    box = None
    x, y = ctypes.c_float(), ctypes.c_float()
    for index in range(max(count, 0)):
        xs, ys = [], []
        for step in range(raw.FPDFClipPath_CountPathSegments(path, index)):
            segment = raw.FPDFClipPath_GetPathSegment(path, index, step)
            if raw.FPDFPathSegment_GetPoint(segment, x, y):
                xs.append(x.value)
                ys.append(y.value)
        if xs:
            new = (min(xs), min(ys), max(xs), max(ys))
            box = new if box is None else (max(box[0], new[0]), max(box[1], new[1]),
                                           min(box[2], new[2]), min(box[3], new[3]))
    return box


# Checks -----------------------------------------------------------------------------------


def _visible(piece: Piece) -> tuple[float, float, float, float]:
    """A path's box inside its clip."""
    if piece.clip is None:
        return piece.box
    a, b = piece.box, piece.clip
    return (max(a[0], b[0]), max(a[1], b[1]), min(a[2], b[2]), min(a[3], b[3]))


def outside(page: Page) -> Iterator[Flaw]:
    """Text or lines in the margins."""
    left, right = SIDE, page.width - SIDE
    low, high = BELOW, page.height - ABOVE
    for piece in page.pieces:
        x0, y0, x1, y1 = _visible(piece) if piece.kind == "path" else piece.box
        if x0 > x1 or y0 > y1:
            continue  # clipped away
        if x0 < left - LOOSE or x1 > right + LOOSE or y0 < low - LOOSE or y1 > high + LOOSE:
            yield Flaw(page.number, "outside", f"{piece.kind} {piece.text.strip()!r} at "
                       f"{x0:.0f}, {y0:.0f} to {x1:.0f}, {y1:.0f}")


def overlapping(page: Page) -> Iterator[Flaw]:
    """Texts whose ink runs into each other."""
    live: list[Piece] = []  # those that reach above the foot of the next
    for piece in sorted(page.texts, key=lambda p: p.box[1]):
        x0, y0, x1, y1 = piece.box
        live = [o for o in live if o.box[3] > y0 + TOUCH]
        for other in live:
            if min(y1, other.box[3]) - y0 > TOUCH and (
                    min(x1, other.box[2]) - max(x0, other.box[0]) > TOUCH):
                left, right = sorted((piece, other), key=lambda p: p.box[0])
                yield Flaw(page.number, "overlap",
                           f"{left.text.strip()!r} and {right.text.strip()!r}")
        live.append(piece)


def tiny(page: Page, smallest: float = SMALLEST) -> Iterator[Flaw]:
    """Type too small to read."""
    for piece in page.texts:
        least = SMALLEST_IN_CHARTS if piece.tag == "Figure" else smallest
        if piece.size < least - 0.05:
            yield Flaw(page.number, "tiny", f"{piece.text.strip()!r} at {piece.size:.1f} pt")


def clipped(page: Page) -> Iterator[Flaw]:
    """Text cut off by a clip, by the paper, or run through by an upright line of a table."""
    uprights = [p.box for p in page.pieces if p.kind == "path" and p.tag != "Figure"
                and p.box[2] - p.box[0] < 3 and p.box[3] - p.box[1] > 8]
    for piece in page.texts:
        x0, y0, x1, y1 = piece.box
        edge = piece.clip or (0, 0, page.width, page.height)
        if (x0 < edge[0] - LOOSE or y0 < edge[1] - LOOSE or x1 > edge[2] + LOOSE
                or y1 > edge[3] + LOOSE):
            yield Flaw(page.number, "clipped", repr(piece.text.strip()))
        elif piece.tag not in ("Figure", "Artifact"):
            for a0, b0, a1, b1 in uprights:
                if x0 + 1 < a0 and a1 < x1 - 1 and b0 < (y0 + y1) / 2 < b1:
                    yield Flaw(page.number, "clipped",
                               f"{piece.text.strip()!r} runs through a line")
                    break


def orphans(page: Page) -> Iterator[Flaw]:
    """Headings with nothing below them: at the end of a page, or of a column of one.

    What stands right of a heading, at its height, is in its row of a table.
    """
    content = [p for p in page.content if p.kind == "text" or p.tag == "Figure"]
    for index, piece in enumerate(content):
        if piece.tag not in HEADINGS:
            continue
        whole = [p.box for p in content if p.number == piece.number] if piece.number >= 0 else [
            piece.box]
        low, high = min(box[1] for box in whole), max(box[3] for box in whole)
        after = next((p for p in content[index + 1:] if p.number != piece.number
                      and not (p.box[0] > piece.box[0] and low - 2 < p.box[1] < high)), None)
        if after is None or after.box[1] > piece.box[3] + 2 * (piece.box[3] - piece.box[1]):
            yield Flaw(page.number, "orphan", repr(piece.text.strip()))


def unused(page: Page) -> Iterator[Flaw]:
    """A page with little on it; a watermark, which carries no tag, is nothing."""
    share = used(page)
    if share < FEWEST_USED:
        yield Flaw(page.number, "unused", f"only {max(share, 0):.0%} of the height")


def blank(page: Page, last: bool) -> float:
    """The largest blank on a page, as a share of the sheet: across the page, or in the left or
    right half of it; what is free below the text of the last page does not count."""
    top, middle = page.height - TOP, page.width / 2
    boxes = [p.box for p in page.content if p.tag]
    if not boxes:
        return 1.0
    end = min(box[1] for box in boxes) if last else BOTTOM
    found = 0.0
    for left, right in ((0.0, page.width), (0.0, middle), (middle, page.width)):
        at = top
        for _, y0, _, y1 in sorted((b for b in boxes if min(b[2], right) - max(b[0], left) > TOUCH),
                                   key=lambda box: -box[3]):
            found = max(found, (at - y1) * (right - left))
            at = min(at, y0)
        found = max(found, (at - end) * (right - left))
    return found / page.width / page.height


def used(page: Page) -> float:
    """Share of the height for text that is used, down to the last line."""
    lowest = min((p.box[1] for p in page.content if p.tag), default=page.height - TOP)
    return (page.height - TOP - lowest) / (page.height - TOP - BOTTOM)


def split_rows(data: bytes, pages: list[Page]) -> Iterator[Flaw]:
    """Rows that would fit on a page but are parted, and column titles without a row."""
    boxes: dict[tuple[int, int], tuple[float, float]] = {}
    for page in pages:
        for piece in page.pieces:
            if piece.number >= 0:
                key = (page.number, piece.number)
                low, high = boxes.get(key, (piece.box[1], piece.box[3]))
                boxes[key] = (min(low, piece.box[1]), max(high, piece.box[3]))
    with pikepdf.open(io.BytesIO(data)) as pdf:
        sheets = {page.obj.objgen: n for n, page in enumerate(pdf.pages, start=1)}
        top = pdf.Root.get("/StructTreeRoot")
        if top is None:
            return
        for table in _elements(top, "/Table"):
            rows = [(row, sorted(_places(row, sheets, None))) for row in _elements(table, "/TR")]
            for _, places in rows:
                on = sorted({page for page, _ in places})
                heights = []
                for number in on:
                    spans = [boxes[p] for p in places if p[0] == number and p in boxes]
                    if spans:
                        heights.append(max(h for _, h in spans) - min(low for low, _ in spans))
                if len(on) > 1 and sum(heights) < SHORT_ROW:
                    yield Flaw(on[0], "split row", f"{sum(heights):.0f} pt high, over pages {on}")
            yield from _lonely_titles(rows)


def _lonely_titles(rows) -> Iterator[Flaw]:
    """Pages of a table that hold column titles and no row."""
    titles = {page for row, places in rows for page, _ in places if not _has(row, "/TD")}
    bodies = {page for row, places in rows for page, _ in places if _has(row, "/TD")}
    for page in sorted(titles - bodies):
        if bodies:
            yield Flaw(page, "split row", "column titles without a row")


def _kids(element) -> list:
    kids = element.get("/K")
    if kids is None:
        return []
    return list(kids) if isinstance(kids, pikepdf.Array) else [kids]


def _elements(element, kind: str) -> Iterator[pikepdf.Dictionary]:
    """Elements of a kind below another, not inside each other."""
    for kid in _kids(element):
        if isinstance(kid, pikepdf.Dictionary) and "/S" in kid:
            if kind == kid.S:
                yield kid
            else:
                yield from _elements(kid, kind)


def _has(element, kind: str) -> bool:
    return next(_elements(element, kind), None) is not None


def _places(element, sheets, page) -> Iterator[tuple[int, int]]:
    """(page, MCID) of everything below an element."""
    own = element.get("/Pg")
    page = sheets.get(own.objgen, page) if own is not None else page
    for kid in _kids(element):
        if isinstance(kid, pikepdf.Dictionary):
            if kid.get("/Type") == "/MCR":
                there = kid.get("/Pg")
                yield (sheets[there.objgen] if there is not None else page, int(kid.MCID))
            elif "/S" in kid:
                yield from _places(kid, sheets, page)
        else:
            yield (page, int(kid))


def main(names: list[str]) -> int:
    """Check files; 1 if any has a flaw."""
    found = 0
    for name in names:
        with open(name, "rb") as file:
            for flaw in check(file.read()):
                print(f"{name}: {flaw}")
                found += 1
    return int(bool(found))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
