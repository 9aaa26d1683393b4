"""The sheet around the text: running head, page number, status band."""

from __future__ import annotations

from io import BytesIO

from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageTemplate

from loambrief.charts.fonts import BOLD, REGULAR
from loambrief.render.compose import clean
from loambrief.render.flowables import text_width
from loambrief.render.styles import Look
from loambrief.render.tags import Element, TaggedCanvas, TaggedText
from loambrief.report.blocks import DocumentStatus, ReportModel

FOLIO = "%page-number"
"""A PDF comment that holds the place of the page number until the number of pages is known."""


def build_pages(model: ReportModel, look: Look, root: Element, flowables: list[Flowable]) -> bytes:
    """Pages with tags, not yet an archive file.

    Parameters
    ----------
    model : ReportModel
    look : Look
    root : Element
        Structure tree that the flowables were made for.
    flowables : list of Flowable
        Consumed.

    Returns
    -------
    bytes
        A tagged PDF.
    """
    buffer, lengths = BytesIO(), look.lengths
    document = BaseDocTemplate(
        buffer,
        pagesize=(look.width, look.height),
        invariant=1,
        pageCompression=1,
        initialFontName=REGULAR,
        initialFontSize=look.style("body").fontSize,
        lang=model.language,
        title=clean(model.title),
        author=clean(model.author),
        subject=clean(model.subject),
        creator="Loambrief",
    )
    frame = Frame(lengths["margin_side"], lengths["margin_bottom"], look.text_width,
                  look.text_height, leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0)

    def furnish(canvas: TaggedCanvas, _: BaseDocTemplate) -> None:
        _furnish(canvas, model, look)

    document.addPageTemplates(PageTemplate(id="page", frames=[frame], onPage=furnish))

    class Sheet(_NumberedCanvas):
        def __init__(self, *args, **kwargs):
            super().__init__(*args, **kwargs)
            self.root = root
            self.folio = model.words.page_of, look

    document.build(flowables or [], canvasmaker=Sheet)
    return buffer.getvalue()


class _NumberedCanvas(TaggedCanvas):
    """Puts "Page x of y" in once the number of pages is known."""

    def save(self) -> None:
        if not self.page_count() and not self._owners:
            self.showPage()
        pattern, look = self.folio
        style = look.style("label")
        total = self.page_count()
        for index in range(total):
            page = self._doc.idToObject[f"Page{index + 1}"]
            text = _fill(pattern, index + 1, total)
            x = look.width - look.lengths["margin_side"] - text_width(text, style)
            line = TaggedText(self, x, look.lengths["foot"], None,
                              "/Artifact <</Type/Pagination/Subtype/Footer>> BDC")
            line.setFont(style.fontName, style.fontSize)
            line.setFillColor(style.textColor)
            line.textOut(text)
            page.stream = page.stream.replace(FOLIO, line.getCode(), 1)
        super().save()


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
        canvas.drawString(left, head, shorten(clean(model.running_head), style, room))
        canvas.drawRightString(right, head, number)
        canvas.setStrokeColor(colours["rule"])
        canvas.setLineWidth(0.5)
        canvas.line(left, head - 5, right, head - 5)
    word = {DocumentStatus.DRAFT: model.words.draft, DocumentStatus.WITHDRAWN:
            model.words.withdrawn}.get(model.status)
    if word:
        top = look.height - lengths["band_top"]
        size = look.style("label").fontSize
        with canvas.artifact("Pagination", "Watermark"):
            canvas.setFillColor(colours["ink"])
            canvas.rect(left, top - lengths["band_height"], right - left, lengths["band_height"],
                        stroke=0, fill=1)
            canvas.setFillColor(colours["paper"])
            canvas.setFont(BOLD, size)
            canvas.drawString(left + 6, top - lengths["band_height"] + 4.2, clean(word))
    with canvas.artifact("Pagination", "Footer"):
        canvas.setFillColor(style.textColor)
        canvas.setFont(style.fontName, style.fontSize)
        canvas.drawString(left, lengths["foot"],
                          shorten(clean(model.title), style, look.text_width * 0.75))
    canvas.restoreState()
    canvas.addLiteral(FOLIO)


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
