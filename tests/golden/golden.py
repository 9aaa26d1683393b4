"""What the samples look like, small enough to be read when it changes.

Kept for each sample, beside this file:

- ``<sample>.jsonl``: the report model, one line a block. The summary is whole; of a finding,
  an action and a table stands what a reader acts on; of charts their title. Sentences of
  evidence, calculations and sources are counted, not quoted, so that a better wording of one
  of them changes nothing here.
- ``<sample>.txt``: the text of page 1 as a reader program finds it, and on which page each
  main heading stands.
- ``<sample>-<page>.png``: pages 1 to 3 at 40 dots an inch in 16 greys.

``python tests/golden/renew.py`` writes them all anew.

Pictures are compared by the mean grey of squares of 5 mm; the tolerance lies between what two
rasterisers differ by and what a moved line gives, and a test holds it there. A new version of
the rasteriser therefore needs no renewal.
"""

from __future__ import annotations

import dataclasses
import io
import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pypdf
import pypdfium2 as pdfium
from PIL import Image, ImageFilter
from sample_reports import CASES, pdf, report

from loambrief.report import blocks as b
from loambrief.report import parts as p
from loambrief.report.blocks import plain

HERE = Path(__file__).parent
PAGES = (1, 2, 3)
DPI = 40
GREYS = 16
CELL = 8
"""Side of the squares in which two pictures are compared [px]: 5 mm of the page."""
BLUR = 1.0
"""Radius of the blur before that [px]: takes away what only smoothing makes different."""
MOST_CELL, MOST_MEAN = 32.0, 3.0
"""Most difference of one square's mean grey, and of all on average, of 255. Two different
rasterisers (pdfium and poppler, each with its own FreeType and its own smoothing) differ on the
samples by up to 27 and 2.0. Moving a page by 5 pt gives 51 and 4.3 or more, a blank patch of
6 by 4 cm 37 or more. ``test_golden.py`` checks both sides."""
MOST_ROWS, LONGEST = 6, 50
"""Longer tables and longer cells are cut."""


# The model --------------------------------------------------------------------------------


def outline(name: str) -> str:
    """The report model of a sample, a line of JSON for each block."""
    model = report(name)
    head = {"document": model.title, "language": model.language, "units": model.units,
            "paper": model.paper.value, "status": model.status.value}
    lines = [head, *(_told(block) for block in _flat(b.opened(model.blocks)))]
    return "".join(json.dumps(line, ensure_ascii=False) + "\n" for line in lines)


def _flat(content) -> Iterator[b.Block]:
    for block in content:
        if isinstance(block, b.KeepTogether):
            yield from _flat(block.blocks)
        elif isinstance(block, b.Beside):
            yield from _flat((*block.left, *block.right))
        else:
            yield block


def _told(block: b.Block) -> dict:
    told: dict = {"block": type(block).__name__}
    match block:
        case p.Summary():
            told |= _whole(block)
        case b.Heading():
            told |= {"level": block.level, "text": plain(block.text)}
        case p.FindingBlock():
            told |= {"title": plain(block.title), "status": plain(block.status),
                     "reading": plain(block.reading), "confidence": plain(block.confidence),
                     "grade": plain(block.grade),
                     "for, against, context": [len(block.support), len(block.against),
                                               len(block.context)]}
        case p.ActionCard():
            told |= {"rank": block.rank, "title": plain(block.title), "rate": plain(block.rate),
                     "total": plain(block.total), "time": plain(block.time),
                     "cautions": plain(block.cautions)}
        case b.Table():
            rows = [[_short(plain(c)) for c in row.cells] for row in block.rows]
            told |= {"columns": [plain(c.title) for c in block.columns],
                     "rows": rows[:MOST_ROWS], "of": len(rows)}
        case b.Figure():
            told |= {"chart": type(block.spec).__name__, "title": block.spec.title}
        case b.FigureRow():
            told["charts"] = [_told(figure) for figure in block.figures]
        case b.Callout():
            told |= {"kind": block.kind.value, "blocks": len(block.blocks)}
        case p.CalculationList() | p.SourceList():
            told["items"] = "some" if block.items else "none"
        case b.Bullets() | b.Numbered():
            told["items"] = len(block.items)
        case p.SignOff():
            told["fields"] = [block.field, block.client_field]
    return told


def _short(text: str) -> str:
    return text if len(text) <= LONGEST else f"{text[:LONGEST]}…"


def _whole(value: object) -> dict:
    """Everything in a dataclass but pictures, empty parts left out."""
    told = {}
    for field in dataclasses.fields(value):
        inner = getattr(value, field.name)
        if field.type == "Text":
            inner = plain(inner)
        elif field.type == "tuple[Text, ...]":
            inner = [plain(text) for text in inner]
        elif isinstance(inner, tuple):
            inner = [_whole(item) for item in inner]
        elif isinstance(inner, b.LogoPrint):
            inner = inner.alt
        if inner not in ("", [], None):
            told[field.name] = inner
    return told


# The text ---------------------------------------------------------------------------------


def page_text(name: str) -> str:
    """Page 1 as lines of text, then the page of each main heading."""
    data = pdf(name)
    document = pdfium.PdfDocument(data)
    lines = document[0].get_textpage().get_text_range().replace("\r", "").split("\n")
    reader = pypdf.PdfReader(io.BytesIO(data))
    heads = [f"{reader.get_destination_page_number(item) + 1}: {item.title}"
             for item in reader.outline if not isinstance(item, list)]
    return "\n".join([*(" ".join(line.split()) for line in lines), "", "Headings:", *heads, ""])


# The pictures -----------------------------------------------------------------------------


def picture(data: bytes, page: int) -> Image.Image:
    """A page in grey."""
    return pdfium.PdfDocument(data)[page - 1].render(scale=DPI / 72, grayscale=True).to_pil()


def packed(image: Image.Image) -> bytes:
    """A picture as a small PNG of 16 greys."""
    step = 255 / (GREYS - 1)
    grey = image.convert("L").point(lambda v: round(v / step))
    small = Image.frombytes("P", grey.size, grey.tobytes())
    small.putpalette([round(i * step) for i in range(GREYS) for _ in range(3)])
    out = io.BytesIO()
    small.save(out, "PNG", bits=4, optimize=True)
    return out.getvalue()


def apart(one: Image.Image, other: Image.Image) -> tuple[float, float]:
    """Difference of two pictures of a page: the greatest of any square, and the mean.

    Raises
    ------
    ValueError
        The pages are not of one size.
    """
    if one.size != other.size:
        raise ValueError(f"{one.size} against {other.size}")
    cells = np.abs(_cells(one) - _cells(other))
    return float(cells.max()), float(cells.mean())


def _cells(image: Image.Image) -> np.ndarray:
    grey = np.asarray(image.convert("L").filter(ImageFilter.GaussianBlur(BLUR)), dtype=float)
    high, wide = (side // CELL * CELL for side in grey.shape)
    return grey[:high, :wide].reshape(high // CELL, CELL, wide // CELL, CELL).mean(axis=(1, 3))


def alike(one: Image.Image, other: Image.Image) -> bool:
    """Whether two pictures show the same page."""
    most, mean = apart(one, other)
    return most <= MOST_CELL and mean <= MOST_MEAN


# Files ------------------------------------------------------------------------------------


def files(name: str) -> dict[str, bytes]:
    """The golden files of a sample as they would be today."""
    made = {f"{name}.jsonl": outline(name).encode(), f"{name}.txt": page_text(name).encode()}
    for page in PAGES:
        made[f"{name}-{page}.png"] = packed(picture(pdf(name), page))
    return made


def names() -> tuple[str, ...]:
    return tuple(CASES)
