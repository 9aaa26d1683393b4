"""Boxes to write in and squares to tick, drawn and entered as form fields with their tags."""

from loambrief.render.compose import Composer, clean
from loambrief.render.flowables import Flowable, Together
from loambrief.render.lines import text_width
from loambrief.render.styles import Look
from loambrief.render.tables import lay_out
from loambrief.render.tags import Element
from loambrief.report.blocks import Text
from loambrief.report.form_blocks import FormCell, FormEntry, FormGrid, FormTable, Tick

SQUARE = 13.0
"""Side of a square to tick [pt]; a gloved hand needs no less."""
GAP = 5.0
EDGE, SIDE = 1.6, 3.0
"""Between the lines of a cell and its box: above and below, left and right [pt]."""
LEAST_BOX = 17.5


class WritingBox(Flowable):
    """A text field that fills its cell; nothing is drawn."""

    def __init__(self, entry: FormEntry, element: Element, height: float):
        super().__init__()
        self.entry, self.element, self.height = entry, element, height

    def wrap(self, availWidth, availHeight):
        self.width = availWidth
        return self.width, self.height

    def draw(self):
        entry = self.entry
        self.canv.add_text_field(self.element, entry.name, clean(entry.says),
                                 (0.0, 0.0, self.width, self.height),
                                 lines=entry.lines, longest=entry.longest)


class TickRow(Flowable):
    """Squares with their words, side by side, on as many lines as they need."""

    def __init__(self, ticks: tuple[Tick, ...], parent: Element, look: Look):
        self.ticks, self.look = ticks, look
        self.style = look.style("small")
        self.elements = [(parent.add("Form"), parent.add("P")) for _ in ticks]

    def wrap(self, availWidth, availHeight):
        self.width = availWidth
        self.step = max(SQUARE, self.style.leading) + 3
        self.places, x, line = [], 0.0, 0
        for tick in self.ticks:
            size = SQUARE + GAP * 0.8 + text_width(clean(tick.label), self.style)
            if x and x + size > availWidth:
                x, line = 0.0, line + 1
            self.places.append((x, line))
            x += size + 2 * GAP
        self.height = (line + 1) * self.step
        return self.width, self.height

    def draw(self):
        canvas = self.canv
        for tick, (x, line), (field, word) in zip(self.ticks, self.places, self.elements,
                                                  strict=True):
            y = self.height - line * self.step - SQUARE - 1
            with canvas.artifact():
                canvas.setStrokeColor(self.look.colours["ink"])
                canvas.setLineWidth(1.0)
                canvas.rect(x, y, SQUARE, SQUARE, stroke=1, fill=0)
            box = (x, y, x + SQUARE, y + SQUARE)
            canvas.add_tick_field(field, tick.name, clean(tick.says), box)
            with canvas.tagged(word):
                canvas.setFont(self.style.fontName, self.style.fontSize)
                canvas.setFillColor(self.look.colours["ink"])
                canvas.drawString(x + SQUARE + GAP * 0.8, y + 2.4, clean(tick.label))


def form_grid(composer: Composer, block: FormGrid, parent: Element, width: float) -> list:
    """Rows of labelled cells below each other, lines shared."""
    made: list = []
    holder = parent.add("Div")
    if block.title:
        made.append(composer.text(block.title, holder, "caption"))
        made[-1].keep_next = True
    for row in block.rows:
        total = sum(cell.weight for cell in row)
        widths = [width * cell.weight / total for cell in row]
        cells = [_cell(composer, cell, holder.add("Div"), w, block.height)
                 for cell, w in zip(row, widths, strict=True)]
        laid = lay_out(composer, [cells], widths, _lines(composer.look, 0), heights=[None])
        laid.keep_next = True
        made.append(laid)
    made[-1].keep_next = False
    made[-1].spaceAfter = composer.look.style("body").leading * 0.4
    return [Together(made)]


def _cell(composer: Composer, cell: FormCell, parent: Element, width: float,
          height: float) -> list[Flowable]:
    """Label above its box or its squares."""
    inner: list[Flowable] = []
    used = 0.0
    if cell.label:
        label = composer.paragraph(cell.label, composer.look.style("small"), parent.add("P"))
        used = label.wrap(width - 2 * SIDE, 1e6)[1]
        inner.append(label)
    if cell.entry:
        room = max(LEAST_BOX, height - used - 2 * EDGE)
        inner.append(WritingBox(cell.entry, parent.add("Form"), room))
    elif cell.ticks:
        inner.append(TickRow(cell.ticks, parent, composer.look))
    return inner


def form_table(composer: Composer, block: FormTable, parent: Element, width: float) -> list:
    """A table of boxes; titles are repeated where it goes on over a page."""
    look = composer.look
    element = parent.add("Table")
    made: list = []
    if block.caption:
        made.append(composer.paragraph(block.caption, look.style("caption"),
                                       element.add("Caption")))
        made[-1].keep_next = True
    total = sum(column.weight for column in block.columns)
    widths = [width * column.weight / total for column in block.columns]
    head = element.add("THead").add("TR")
    rows = [[_title(composer, column, head) for column in block.columns]]
    body = element.add("TBody")
    for row in block.rows:
        line = body.add("TR")
        rows.append([_table_cell(composer, cell, line, number, w, block.height)
                     for number, (cell, w) in enumerate(zip(row, widths, strict=True))])
    laid = lay_out(composer, rows, widths, _lines(look, 1), titles=1)
    laid.spaceAfter = look.style("body").leading * 0.7
    made.append(laid)
    if block.note:
        made.append(composer.text(block.note, parent, "small"))
    return made


def _title(composer: Composer, column, row: Element):
    text: Text = column.title if not column.unit else f"{column.title}\n{column.unit}"
    cell = row.add("TH", attributes="/O/Table/Scope/Column")
    return composer.paragraph(text, composer.look.style("th", column.align), cell)


def _table_cell(composer: Composer, cell: Text | FormCell, row: Element, number: int,
                width: float, height: float):
    if not isinstance(cell, FormCell):
        role = row.add("TH", attributes="/O/Table/Scope/Row") if number == 0 else row.add("TD")
        return composer.paragraph(cell, composer.look.style("small"), role)
    return _cell(composer, cell, row.add("TD"), width, height)


def _lines(look: Look, titles: int) -> list[tuple]:
    commands = [
        ("GRID", (0, titles), (-1, -1), 0.8, look.colours["muted"]),
        ("LEFTPADDING", (0, titles), (-1, -1), SIDE), ("RIGHTPADDING", (0, titles), (-1, -1), SIDE),
        ("TOPPADDING", (0, titles), (-1, -1), EDGE), ("BOTTOMPADDING", (0, titles), (-1, -1), EDGE),
    ]
    if titles:
        commands += [("VALIGN", (0, 0), (-1, titles - 1), "BOTTOM"),
                     ("LEFTPADDING", (0, 0), (-1, titles - 1), SIDE),
                     ("RIGHTPADDING", (0, 0), (-1, titles - 1), SIDE),
                     ("LINEBELOW", (0, 0), (-1, titles - 1), 1.1, look.colours["ink"])]
    return commands
