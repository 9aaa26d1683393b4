"""The status line of a finding: a word in a box whose look says the same, then the reading."""

from __future__ import annotations

from reportlab.lib.styles import ParagraphStyle

from loambrief.render.compose import Composer, clean
from loambrief.render.flowables import TaggedParagraph, text_width
from loambrief.render.styles import Look
from loambrief.render.tags import Element
from loambrief.report.blocks import Text, plain
from loambrief.report.parts import Mark

BOXES = {
    # mark: (fill, line, dashes, text); a copy in grey keeps all six apart
    Mark.LIMITING: ("ink", "ink", (), "paper"),
    Mark.EXCESS: ("accent", "accent", (), "paper"),
    Mark.WATCH: ("accent_soft", "ink", (), "ink"),
    Mark.UNCERTAIN: ("paper", "ink", (2.5, 1.8), "ink"),
    Mark.ADEQUATE: ("paper", "ink", (), "ink"),
    Mark.NOTED: ("paper", "paper", (), "muted"),
}


class StatusLine(TaggedParagraph):
    """A paragraph that starts with a boxed word; ``status_line`` makes one."""

    word: str = ""
    mark: Mark = Mark.NOTED
    box: float = 0.0
    """Width of the box [pt]; 0 for none."""
    look: Look

    def draw(self):
        if self.box and self._whole:
            self._draw_box()
        super().draw()

    def _draw_box(self) -> None:
        canvas, style, colours = self.canv, self.look.style("th"), self.look.colours
        fill, line, dash, ink = BOXES[self.mark]
        baseline = self.height - self.style.fontSize
        low, high = baseline - 0.34 * style.fontSize, baseline + 0.96 * style.fontSize
        with canvas.artifact():
            canvas.saveState()
            canvas.setFillColor(colours[fill])
            canvas.setStrokeColor(colours[line])
            canvas.setLineWidth(0.8)
            canvas.setDash(list(dash))
            canvas.rect(0.4, low, self.box - 0.8, high - low, stroke=1, fill=1)
            canvas.restoreState()
        with canvas.tagged(self.tag.element):
            canvas.setFont(style.fontName, style.fontSize)
            canvas.setFillColor(colours[ink])
            canvas.drawString(6, baseline, self.word)


def status_line(composer: Composer, mark: Mark, word: Text, text: Text, parent: Element,
                width: float) -> StatusLine:
    """A status word in its box, and what follows it.

    Parameters
    ----------
    composer : Composer
    mark : Mark
    word, text : Text
    parent : Element
    width : float
        Of the text area [pt]; a word wider than half of it gets no box.

    Returns
    -------
    StatusLine
    """
    look = composer.look
    printed = clean(plain(word))
    box = text_width(printed, look.style("th")) + 12
    if not printed or box > width / 2:
        text, box = (word, ". ", *(text if isinstance(text, tuple) else (text,))), 0.0
    elif not plain(text):
        text = "\u00a0"
    base = look.style("body")
    style = ParagraphStyle("status", base, firstLineIndent=box + 8 if box else 0,
                           spaceAfter=0.2 * base.leading)
    made = composer.paragraph(text, style, parent.add("P"))
    line = StatusLine(None, style, None, made.frags, tag=made.tag)
    line.mark, line.word, line.box, line.look = mark, printed, box, look
    return line
