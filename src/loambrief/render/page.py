"""The sheet around the text: running head, page number and status bands."""

from io import BytesIO

from loambrief.charts.fonts import BOLD, REGULAR
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
    """All pages with tags, not yet a file; the flowables, made for ``root``, are consumed."""
    word = status_word(model)
    status = Element("P")
    if word:
        root.kids.insert(0, status)

    def furnish(canvas: TaggedCanvas) -> None:
        _furnish(canvas, model, look)
        if word:  # content on the first page, decoration on the others
            _bands(canvas, word, look, None if canvas.page_count() else status)

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
        text = pattern.replace("{}", str(index), 1).replace("{}", str(total), 1)
        x = look.width - look.lengths["margin_side"] - text_width(text, style)
        shown = canvas.printer.show(text, style.fontName, style.fontSize)
        line = (f"{artifact_operator('Pagination', 'Footer')} BT "
                f"{fill(colour.red, colour.green, colour.blue)} {number(x)} "
                f"{number(look.lengths['foot'])} Td {shown} ET EMC")
        page.stream = page.stream.replace(FOLIO, line, 1)


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
    issued = model.status is DocumentStatus.ISSUED
    return "" if issued else clean(getattr(model.words, model.status.value))


def _bands(canvas: TaggedCanvas, word: str, look: Look, element: Element | None) -> None:
    """The status in a dark band above the text and in another below it.

    They stand in the margins, so that they cover neither text nor chart, and whatever part of a
    page is copied or torn off carries one of them.
    """
    left, height = look.lengths["margin_side"], look.lengths["band_height"]
    size, rise = look.lengths["band_type"], look.lengths["band_rise"]
    above = look.height - look.lengths["band_top"] - height
    below = look.lengths["foot"] - rise
    foot_width = look.text_width - look.lengths["folio"]
    canvas.saveState()
    with canvas.artifact("Pagination", "Watermark"):
        canvas.setFillColor(look.colours["ink"])
        canvas.rect(left, above, look.text_width, height, stroke=0, fill=1)
        canvas.rect(left, below, foot_width, height, stroke=0, fill=1)
    canvas.setFillColor(look.colours["paper"])
    canvas.setFont(BOLD, size)
    with canvas.tagged(element) if element else canvas.artifact("Pagination", "Header"):
        canvas.drawString(left + 6, above + rise, word)
    with canvas.artifact("Pagination", "Footer"):
        canvas.drawString(left + 6, below + rise, word)
    canvas.restoreState()


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
