"""The sheet around the text: running head, page number, status band and watermark."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from io import BytesIO

from loambrief.charts.fonts import BOLD, REGULAR
from loambrief.charts.outlines import Outline, outline
from loambrief.render.compose import clean
from loambrief.render.flowables import Flowable
from loambrief.render.lines import fill, number, text_width
from loambrief.render.logo import small_logo
from loambrief.render.paginate import Paginator
from loambrief.render.styles import Look
from loambrief.render.tags import Element, TaggedCanvas, artifact_operator
from loambrief.report.blocks import DocumentStatus, ReportModel

FOLIO = "%page-number"
"""A PDF comment that holds the place of the page number until the number of pages is known."""


def build_pages(model: ReportModel, look: Look, root: Element,
                flowables: list[Flowable]) -> TaggedCanvas:
    """Pages with tags, not yet a file.

    Parameters
    ----------
    root : Element
        Structure tree that the flowables were made for.
    flowables : list of Flowable
        Consumed.

    Returns
    -------
    TaggedCanvas
        All its pages are finished.
    """
    word = status_word(model)
    status = Element("P")
    if word:
        root.kids.insert(0, status)

    def furnish(canvas: TaggedCanvas) -> None:
        if word:
            _watermark(canvas, word, look)
        _furnish(canvas, model, look)
        if word:  # content on the first page, decoration on the others
            _band(canvas, word, look, None if canvas.page_count() else status)

    canvas = TaggedCanvas(
        BytesIO(),
        pagesize=(look.width, look.height),
        invariant=1,
        pageCompression=0,  # the file is compressed as a whole
        initialFontName=REGULAR,
        initialFontSize=look.style("body").fontSize,
    )
    canvas.root = root
    Paginator(canvas, look, furnish).print(flowables)
    _number_pages(canvas, model.words.page_of, look)
    return canvas


def _number_pages(canvas: TaggedCanvas, pattern: str, look: Look) -> None:
    """Put "Page x of y" in, now that the number of pages is known."""
    style, total = look.style("label"), canvas.page_count()
    colour = style.textColor
    for index, page in enumerate(canvas.finished_pages(), start=1):
        text = _fill(pattern, index, total)
        x = look.width - look.lengths["margin_side"] - text_width(text, style)
        shown = canvas.printer.show(text, style.fontName, style.fontSize)
        line = (f"{artifact_operator('Pagination', 'Footer')} BT "
                f"{fill(colour.red, colour.green, colour.blue)} {number(x)} "
                f"{number(look.lengths['foot'])} Td {shown} ET EMC")
        page.stream = page.stream.replace(FOLIO, line, 1)


def _fill(pattern: str, *values: object) -> str:
    for value in values:
        pattern = pattern.replace("{}", str(value), 1)
    return pattern


def _furnish(canvas: TaggedCanvas, model: ReportModel, look: Look) -> None:
    """Everything outside the text area of one page."""
    lengths, colours, style = look.lengths, look.colours, look.style("label")
    left, right = lengths["margin_side"], look.width - lengths["margin_side"]
    head = look.height - lengths["head"]
    number = document_number(model)
    room = look.text_width - text_width(number, style) - 24
    canvas.saveState()
    canvas.setFillColor(style.textColor)
    canvas.setFont(style.fontName, style.fontSize)
    with canvas.artifact("Pagination", "Header"):
        start = 0.0
        if model.logo is not None and canvas.page_count():  # page 1 has it at the title
            start = small_logo(canvas, model.logo, left, head)
        line = shorten(clean(model.running_head), style, room - start)
        canvas.drawString(left + start, head, line)
        canvas.drawRightString(right, head, number)
        canvas.setStrokeColor(colours["rule"])
        canvas.setLineWidth(0.5)
        canvas.line(left, head - 5, right, head - 5)
    canvas.restoreState()
    canvas.addLiteral(FOLIO)


def status_word(model: ReportModel) -> str:
    """What the band on each page says; nothing once the document is issued."""
    words = {
        DocumentStatus.DRAFT: model.words.draft,
        DocumentStatus.SUPERSEDED: model.words.superseded,
        DocumentStatus.WITHDRAWN: model.words.withdrawn,
        DocumentStatus.REDACTED: model.words.redacted,
    }
    return clean(words.get(model.status, ""))


def _band(canvas: TaggedCanvas, word: str, look: Look, element: Element | None) -> None:
    """A dark band with the status in it."""
    left, height = look.lengths["margin_side"], look.lengths["band_height"]
    bottom = look.height - look.lengths["band_top"] - height
    canvas.saveState()
    with canvas.artifact("Pagination", "Watermark"):
        canvas.setFillColor(look.colours["ink"])
        canvas.rect(left, bottom, look.text_width, height, stroke=0, fill=1)
    mark = canvas.tagged(element) if element else canvas.artifact("Pagination", "Header")
    with mark:
        canvas.setFillColor(look.colours["paper"])
        canvas.setFont(BOLD, min(look.style("label").fontSize, height - 5))
        canvas.drawString(left + 6, bottom + 4.2, word)
    canvas.restoreState()


WATERMARK = "watermark"
WATERMARK_GREY, WATERMARK_LINE = 0.8, 0.9
"""Shade and thickness [pt] of the outlines: a copier keeps them, and text on them is read."""


def _watermark(canvas: TaggedCanvas, word: str, look: Look) -> None:
    """The first word of the status across the page, as outlines behind everything else.

    Opaque lines, no transparency; shapes instead of letters, so that neither a search nor a
    reader's voice meets them. They are in the file once.
    """
    if not canvas.hasForm(WATERMARK):  # drawn once, shown on each page
        canvas.beginForm(WATERMARK, 0, 0, look.width, look.height)
        _outlines(canvas, outline(re.split("[:,]", word)[0].strip()), look)
        canvas.endForm()
    canvas.saveState()  # some readers carry a form's rotation on to what follows it
    with canvas.artifact("Pagination", "Watermark"):
        canvas.doForm(WATERMARK)
    canvas.restoreState()


def _outlines(canvas: TaggedCanvas, shape: Outline, look: Look) -> None:
    across = math.hypot(look.text_width, look.text_height)
    turn = math.atan2(look.text_height, look.text_width)
    wide = shape.width * math.cos(turn) + shape.height * math.sin(turn)
    high = shape.width * math.sin(turn) + shape.height * math.cos(turn)
    size = min(0.8 * across / shape.width, 0.25 * look.text_height / shape.height,
               look.text_width / wide, look.text_height / high)
    canvas.translate(look.width / 2, look.height / 2)
    canvas.rotate(math.degrees(turn))
    canvas.setStrokeGray(WATERMARK_GREY)
    canvas.setLineWidth(WATERMARK_LINE)
    path = canvas.beginPath()
    draw: dict[str, Callable[..., None]] = {
        "move": path.moveTo, "line": path.lineTo, "curve": path.curveTo,
        "close": path.close}
    middle = (shape.width / 2, shape.height / 2)
    for kind, points in shape.steps:
        draw[kind](*(size * (v - middle[i % 2]) for i, v in enumerate(points)))
    canvas.drawPath(path, stroke=1, fill=0)


def document_number(model: ReportModel) -> str:
    """Advisory number and revision; the case's name until there is one."""
    number = model.number or model.case_id
    return clean(f"{number} · {model.revision}" if model.number and model.revision else number)


def shorten(text: str, style, width: float) -> str:
    """A text cut to a width, with an ellipsis if it was longer."""
    if text_width(text, style) <= width:
        return text
    while text and text_width(f"{text}…", style) > width:
        text = text[:-1]
    return f"{text.rstrip()}…"
