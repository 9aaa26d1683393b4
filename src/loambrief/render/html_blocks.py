"""Blocks of the report as HTML elements, in reading order."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from loambrief.charts import svg_chart
from loambrief.errors import RenderFault
from loambrief.render.html_parts import PARTS
from loambrief.render.html_tree import Element, Tree, add, append, readable
from loambrief.report import blocks as b
from loambrief.report import parts as p
from loambrief.report.blocks import plain

CHART_WIDTH = 250.0
"""Width charts are laid out for [pt]: on a phone held upright they are shown larger than so."""
MOST_COLUMNS = 4
"""Tables with more keep their width and scroll sideways on a phone."""


def make(tree: Tree, parent: Element, block: b.Block) -> None:
    """Add one block below an element.

    Raises
    ------
    RenderFault
        An unknown kind of block, a skipped heading level, an anchor used twice, a figure
        without a text alternative.
    """
    try:
        maker = MAKERS[type(block)]
    except KeyError:
        raise RenderFault(f"no way to show a {type(block).__name__}") from None
    maker(tree, parent, block)


def make_all(tree: Tree, parent: Element, blocks: Sequence[b.Block]) -> None:
    """Add blocks in their order."""
    for block in blocks:
        make(tree, parent, block)


def _heading(tree: Tree, parent: Element, block: b.Heading) -> None:
    made = tree.heading(parent, block.level, block.text, block.anchor, block.bookmark)
    if block.new_page:
        made.set("class", "new-page")


def _paragraph(tree: Tree, parent: Element, block: b.Paragraph) -> None:
    look = "" if block.style is b.Style.BODY else block.style.value
    tree.place(tree.paragraph(parent, block.text, look), block.anchor)


def _bullets(tree: Tree, parent: Element, block: b.Bullets) -> None:
    tree.items(parent, block.items)


def _numbered(tree: Tree, parent: Element, block: b.Numbered) -> None:
    tree.items(parent, block.items, start=block.start)


def table(tree: Tree, parent: Element, block: b.Table) -> None:
    """A table; where the screen is narrow it scrolls sideways in a box of its own."""
    if not block.rows:
        if plain(block.empty):
            tree.place(tree.paragraph(parent, block.empty), block.anchor)
        return
    box = add(parent, "div", class_="scroll", tabindex="0", role="group",
              aria_label=plain(block.caption) or ", ".join(plain(c.title) for c in block.columns))
    looks = [name for name, wanted in (("fill-in", block.fill_in),
                                       ("wide", len(block.columns) > MOST_COLUMNS)) if wanted]
    made = add(box, "table", class_=" ".join(looks))
    tree.place(made, block.anchor)
    if plain(block.caption):
        tree.inline(add(made, "caption"), block.caption)
    titles = add(add(made, "thead"), "tr")
    for column in block.columns:
        cell = add(titles, "th", scope="col", class_=_align(column))
        tree.inline(cell, column.title)
        if column.unit:
            append(cell, "\n")
            add(cell, "small", column.unit)
    body: Element | None = None
    for row in block.rows:
        if body is None or row.kind is b.RowKind.GROUP:
            body = add(made, "tbody")
        _row(tree, body, row, block)
    if plain(block.note):
        tree.paragraph(parent, block.note, "note")


def _row(tree: Tree, body: Element, row: b.Row, block: b.Table) -> None:
    made = add(body, "tr", class_="total" if row.kind is b.RowKind.TOTAL else "")
    tree.place(made, row.anchor)
    if row.kind is b.RowKind.GROUP:
        head = add(made, "th", scope="rowgroup", colspan=str(len(block.columns)))
        tree.inline(head, row.cells[0])
        return
    for index, (column, cell) in enumerate(zip(block.columns, row.cells, strict=True)):
        if index == 0 and block.row_headers:
            tree.inline(add(made, "th", scope="row", class_=_align(column)), cell)
        else:
            tree.inline(add(made, "td", class_=_align(column)), cell)


def _align(column: b.Column) -> str:
    return "" if column.align == "left" else column.align


def _figure(tree: Tree, parent: Element, block: b.Figure) -> None:
    """The chart, and below it what it shows in words for whoever wants the numbers read."""
    spec = block.spec
    if not spec.alt.strip():
        raise RenderFault(f"figure {spec.title!r} has no text alternative")
    tree.figures += 1
    figure = add(parent, "figure")
    tree.place(figure, block.anchor)
    chart = svg_chart(spec, CHART_WIDTH, f"doc-chart{tree.figures}")
    for name in chart[:2]:  # its title and description
        name.text = readable(name.text or "")
    figure.append(chart)
    words = add(figure, "details")
    add(words, "summary", tree.words.in_words)
    add(words, "p", spec.alt)


def _figure_row(tree: Tree, parent: Element, block: b.FigureRow) -> None:
    row = add(parent, "div", class_="figures")
    for figure in block.figures:
        _figure(tree, row, figure)


def _callout(tree: Tree, parent: Element, block: b.Callout) -> None:
    made = add(parent, "div", role="note", class_=f"callout {block.kind.value}")
    head = add(made, "p", class_="callout-title")
    append(head, getattr(tree.words, block.kind.value))
    if plain(block.title):
        append(head, ": ")
        tree.inline(head, block.title)
    make_all(tree, made, block.blocks)


def _facts(tree: Tree, parent: Element, block: b.KeyFacts) -> None:
    tree.facts(parent, ((fact.label, fact.value or "–") for fact in block.facts), "facts")


def _page_break(tree: Tree, parent: Element, block: b.PageBreak) -> None:
    add(parent, "div", class_="new-page")


def _together(tree: Tree, parent: Element, block: b.KeepTogether) -> None:
    make_all(tree, add(parent, "div", class_="together"), block.blocks)


def _finding(tree: Tree, parent: Element, block: p.FindingBlock) -> None:
    section = PARTS[p.FindingBlock](tree, parent, block)
    make_all(tree, section, block.blocks)


MAKERS: dict[type[b.Block], Callable[..., object]] = {
    **PARTS,
    b.Heading: _heading,
    b.Paragraph: _paragraph,
    b.Bullets: _bullets,
    b.Numbered: _numbered,
    b.Table: table,
    b.Figure: _figure,
    b.FigureRow: _figure_row,
    b.Callout: _callout,
    b.KeyFacts: _facts,
    b.PageBreak: _page_break,
    b.KeepTogether: _together,
    p.FindingBlock: _finding,
}
"""Which function shows which block."""
