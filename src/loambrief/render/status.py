"""The status line of a finding: a word in a box whose look says the same, then the reading."""

from reportlab.lib.styles import ParagraphStyle

from loambrief.findings.model import Status
from loambrief.render.compose import Composer, clean
from loambrief.render.flowables import TaggedParagraph
from loambrief.render.lines import text_width
from loambrief.render.styles import Look
from loambrief.render.tags import Element, TaggedCanvas
from loambrief.report.blocks import Text, plain, spans

BOXES = {
    # mark: (fill, thickness of the line, dashes, text); a grey copy keeps all six apart
    Status.LIMITING: ("ink", 0.8, (), "paper"),
    Status.EXCESS: ("paper", 1.7, (), "ink"),
    Status.WATCH: ("accent_soft", 0.8, (), "ink"),
    Status.UNCERTAIN: ("paper", 0.8, (2.5, 1.8), "ink"),
    Status.ADEQUATE: ("paper", 0.5, (), "ink"),
    Status.NOTED: ("paper", 0.0, (), "muted"),
}
"""Looks of the boxes; lines are in ink."""


def _pad(mark: Status) -> float:
    """Between the box's line and the word [pt]; none where there is no line."""
    return 6.0 if BOXES[mark][1] else 0.0


class StatusLine(TaggedParagraph):
    """A paragraph that starts with a boxed word; ``status_line`` makes one."""

    word: str = ""
    mark: Status = Status.NOTED
    box: float = 0.0
    """Width of the box [pt]; 0 for none."""
    look: Look

    def drawOn(self, canvas, x, y):
        if self.box and self._first:
            self._draw_box(canvas, x, y + self.height - self.style.fontSize)
        super().drawOn(canvas, x, y)

    def _draw_box(self, canvas: TaggedCanvas, x: float, baseline: float) -> None:
        style, colours = self.look.style("th"), self.look.colours
        fill, line, dash, ink = BOXES[self.mark]
        inset = line / 2
        low, high = baseline - 0.31 * style.fontSize, baseline + 0.99 * style.fontSize
        canvas.saveState()
        with canvas.artifact():
            canvas.setFillColor(colours[fill])
            canvas.setStrokeColor(colours["ink"])
            canvas.setLineWidth(line)
            canvas.setDash(list(dash))
            canvas.rect(x + inset, low + inset, self.box - line, high - low - line,
                        stroke=int(line > 0), fill=1)
        with canvas.tagged(self.tag.element):
            canvas.setFont(style.fontName, style.fontSize)
            canvas.setFillColor(colours[ink])
            canvas.drawString(x + _pad(self.mark), baseline, self.word)
        canvas.restoreState()


def status_line(composer: Composer, mark: Status, word: Text, text: Text, parent: Element,
                width: float) -> StatusLine:
    """A status word in its box, and what follows it.

    A word wider than half of the text area's width [pt] gets no box.
    """
    look = composer.look
    printed = clean(plain(word))
    box = text_width(printed, look.style("th")) + 2 * _pad(mark)
    if not printed or box > width / 2:
        text, box = (*spans(word), ". ", *spans(text)), 0.0
    elif not plain(text):
        text = "\u00a0"
    base = look.style("body")
    style = ParagraphStyle("status", base, firstLineIndent=box + 8 if box else 0,
                           spaceAfter=0.2 * base.leading)
    made = composer.paragraph(text, style, parent.add("P"))
    line = StatusLine(made.pieces, style, made.tag)
    line.mark, line.word, line.box, line.look = mark, printed, box, look
    return line
