"""The plan as a table: a line an action with its rate and money, and under it the rest."""

from collections.abc import Sequence

from loambrief.render.compose import Composer
from loambrief.render.flowables import Flowable
from loambrief.render.grid import PAD_X, Grid, GridCell, GridRow
from loambrief.render.lines import text_width
from loambrief.render.tags import Element
from loambrief.report.blocks import Span, Text, plain, spans
from loambrief.report.parts import ActionCard

DASH = "–"
SHARES = (0.17, 0.11, 0.11)
"""Of the width, for rate, total and cost."""


def action_table(composer: Composer, cards: Sequence[ActionCard], parent: Element,
                 width: float) -> list[Flowable]:
    """Neighbouring actions as one table; no page break inside one of ordinary length."""
    look, words = composer.look, composer.words
    top = parent.add("Table")
    first = PAD_X + 2 + max(text_width(words.rank, look.style("th")),
                            *(text_width(str(c.rank), look.style("action")) for c in cards))
    sides = [width * share for share in SHARES]
    widths = [first, width - first - sum(sides), *sides]
    head = top.add("THead").add("TR")
    titles: list[Flowable] = []
    for word, align in ((words.rank, "left"), (words.action, "left"), (words.rate, "right"),
                        (words.total, "right"), (words.cost, "right")):
        cell = head.add("TH", attributes="/O/Table/Scope/Column")
        titles.append(composer.paragraph(word, look.style("th", align), cell))
    ink, rule = (0.9, look.colours["ink"]), (0.4, look.colours["rule"])
    pad = look.lengths["cell"]
    goes_on = f"{words.action} ({words.continued})"
    again = [titles[0], composer.paragraph(goes_on, look.style("th"), None), *titles[2:]]
    heads = [GridRow([GridCell([title], column, 1, 0 if column == 0 else PAD_X,
                               0 if column == 4 else PAD_X, pad, pad, low=True, below=ink)
                      for column, title in enumerate(row)]) for row in (titles, again)]
    rows = heads[:1]
    body = top.add("TBody")
    for card in cards:
        line = body.add("TR")
        rank = line.add("TH", attributes="/O/Table/Scope/Row")
        name: list[Flowable] = [composer.paragraph(str(card.rank), look.style("action"), rank)]
        figures = (card.rate, card.total, card.money)
        span = 1 if any(plain(text) for text in figures) else len(widths) - 1
        cell = line.add("TD", attributes=f"/O/Table/ColSpan {span}" if span > 1 else "")
        cells: list[list[Flowable]] = [name, _title(composer, card, cell)]
        cells += [[composer.paragraph(text or DASH, look.style("table", "right"), line.add("TD"))]
                  for text in figures if span == 1]
        rows.append(GridRow([
            GridCell(parts, column, span if column == 1 else 1, 0 if column == 0 else PAD_X,
                     0 if column == 4 else PAD_X, 1.6 * pad, 0.4)
            for column, parts in enumerate(cells)], bound=True))
        rest = body.add("TR")
        rest.add("TD")
        told = rest.add("TD", attributes="/O/Table/ColSpan 4")
        text = composer.paragraph(_told(composer, card), look.style("small"), told)
        rows.append(GridRow([GridCell([text], 1, 4, PAD_X, 0, 0, 1.2 * pad, below=rule)]))
    made = Grid(rows, widths, 1, 0.0, look.text_height * 0.5, heads[1:])
    made.spaceAfter = 0.5 * look.style("body").leading
    return [made]


def _title(composer: Composer, card: ActionCard, cell: Element) -> list[Flowable]:
    """What to do, as a heading and bookmark with its number, and the material."""
    level = min(composer.level + 1, 3)
    title = composer.heading_in(cell, level, card.title, card.anchor,
                                f"{card.rank}. {plain(card.title)}", "action")
    if not card.tag:
        return [title]
    return [title, composer.paragraph(card.tag, composer.look.style("label"), cell.add("P"))]


def _told(composer: Composer, card: ActionCard) -> Text:
    """All else of an action as one paragraph, each part after its word."""
    words = composer.words
    run: list[str | Span] = []
    for word, texts in ((words.source, (card.source,)), (words.when, (card.time,)),
                        (words.where, (card.place,)), (words.range, (card.range,)),
                        (words.depends, (card.depends,)), (words.how, card.how),
                        (words.why, card.why), (words.cost, (card.cost,)),
                        ("", card.notes), (words.caution, (card.cautions,))):
        filled = [text for text in texts if plain(text).strip()]
        if not filled:
            continue
        if run:
            run.append(" ")
        if word:
            run.append(Span(f"{word}: ", bold=True))
        for number, text in enumerate(filled):
            run += [" " if number else "", *stopped(text)]
    return tuple(run) or DASH


def stopped(text: Text) -> Sequence[Span]:
    """A text that ends with a full stop."""
    pieces = [*spans(text)]
    return pieces if plain(text).rstrip()[-1:] in ".?!" else [*pieces, Span(".")]


