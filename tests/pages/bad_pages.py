"""Made-up PDFs, each with one fault, to show that the page checker sees it."""

from __future__ import annotations

import io
from contextlib import contextmanager

import pikepdf
from reportlab.lib.pagesizes import LETTER
from reportlab.pdfgen.canvas import Canvas

FACE = "Helvetica"


class Sheet(Canvas):
    """A canvas on which everything carries a tag."""

    def __init__(self, buffer):
        super().__init__(buffer, pagesize=LETTER, invariant=1, pageCompression=0)
        self.mcid = 0

    @contextmanager
    def tagged(self, tag: str):
        self._code.append(f"/{tag} <</MCID {self.mcid}>> BDC")
        self.mcid += 1
        yield
        self._code.append("EMC")

    def say(self, tag: str, x: float, y: float, text: str, size: float = 10):
        """One line of text with its tag."""
        with self.tagged(tag):
            self.setFont(FACE, size)
            self.drawString(x, y, text)

    def next(self):
        self.showPage()
        self.mcid = 0


@contextmanager
def sheets():
    """A file being drawn; ``data()`` gives its bytes at the end."""
    buffer = io.BytesIO()
    sheet = Sheet(buffer)
    sheet.data = buffer.getvalue
    yield sheet
    sheet.save()


def filled(sheet: Sheet, low: float = 100.0) -> None:
    """Running text down to a height, so that the page counts as used."""
    sheet.say("P", 60, 700, "Text at the top")
    sheet.say("P", 60, low, "Text at the foot")


def with_table(data: bytes, rows: list[tuple[str, list[tuple[int, int]]]]) -> bytes:
    """A file with a structure tree of one table: rows of (cell kind, [(page, MCID)])."""
    with pikepdf.open(io.BytesIO(data)) as pdf:
        top = pdf.make_indirect(pikepdf.Dictionary(Type=pikepdf.Name.StructTreeRoot))
        table = pdf.make_indirect(pikepdf.Dictionary(
            Type=pikepdf.Name.StructElem, S=pikepdf.Name.Table, P=top))
        top.K = table
        made = []
        for kind, places in rows:
            row = pdf.make_indirect(pikepdf.Dictionary(
                Type=pikepdf.Name.StructElem, S=pikepdf.Name.TR, P=table))
            cell = pdf.make_indirect(pikepdf.Dictionary(
                Type=pikepdf.Name.StructElem, S=pikepdf.Name(f"/{kind}"), P=row))
            cell.K = pikepdf.Array([
                pikepdf.Dictionary(Type=pikepdf.Name.MCR, Pg=pdf.pages[page - 1].obj, MCID=mcid)
                for page, mcid in places])
            row.K = cell
            made.append(row)
        table.K = pikepdf.Array(made)
        pdf.Root.StructTreeRoot = top
        out = io.BytesIO()
        pdf.save(out)
        return out.getvalue()
