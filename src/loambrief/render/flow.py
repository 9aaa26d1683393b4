"""Blocks to flowables, in reading order, with their places in the structure tree."""

from collections.abc import Callable, Sequence

from loambrief.errors import RenderFault
from loambrief.render import parts
from loambrief.render.actions import action_table
from loambrief.render.compose import Composer
from loambrief.render.figures import figure, figure_row, photos
from loambrief.render.flowables import (
    Barred,
    Either,
    Flowable,
    NewPage,
    RuledLine,
    SideBySide,
    Together,
    flat,
)
from loambrief.render.form_fields import form_grid, form_table
from loambrief.render.styles import look as look_for
from loambrief.render.tables import table
from loambrief.render.tags import Element
from loambrief.report import blocks as b
from loambrief.report import form_blocks
from loambrief.report import parts as p

Made = list[Flowable]

def flow(composer: Composer, content: Sequence[b.Block]) -> Made:
    """All blocks of a document as flowables.

    Raises RenderFault for an unknown kind of block, a skipped heading level, an anchor used twice
    or a figure without a text alternative.
    """
    made: Made = []
    cards: list[p.ActionCard] = []
    for before, block, after in zip((None, *content), content, (*content[1:], None), strict=False):
        if isinstance(block, p.ActionCard):
            cards.append(block)
            if not isinstance(after, p.ActionCard):
                made += action_table(composer, cards, composer.root, composer.look.text_width)
                cards = []
            continue
        if isinstance(block, p.FindingBlock) and isinstance(before, b.Beside):
            made[-1] = _either(composer, made[-1], block)
            continue
        made += make(composer, block, composer.root, composer.look.text_width)
        if _announces(before, block, after):
            made[-1].keep_next = True
    return made


def _either(composer: Composer, beside: Flowable, block: p.FindingBlock) -> Either:
    """A topic's chart and its first finding, in whichever order leaves no blank."""
    kids = composer.root.kids
    before = len(kids)
    said = make(composer, block, composer.root, composer.look.text_width)
    section = kids[before]

    def swap() -> None:
        first = next(n for n, kid in enumerate(kids) if kid in shown)
        kids.remove(section)
        kids.insert(first, section)

    assert isinstance(beside, SideBySide)
    shown = beside.elements
    return Either([beside], said, swap)


def _announces(before: b.Block | None, block: b.Block, after: b.Block | None) -> bool:
    """A paragraph between a heading and tables stays with the tables, a line with what follows."""
    if not (isinstance(before, b.Heading) and isinstance(block, b.Paragraph)):
        return False
    follows: tuple[type, ...] = (b.Table, b.Beside, p.CalculationList, b.Heading)
    if len(b.plain(block.text)) <= ONE_LINE:
        follows += (p.FindingBlock, p.ActionCard)
    return isinstance(after, follows)


ONE_LINE = 40
"""A paragraph of no more characters is one line."""
LARGE = 1.25
"""From this type scale on pages stay in ordinary type."""


def _annex(composer: Composer, block: b.Annex, parent: Element, width: float) -> Made:
    """The second part, in smaller type, on pages of its own."""
    normal = composer.look
    composer.look = look_for(normal.paper, normal.scale, accent=normal.accent,
                             fine=normal.scale < LARGE)
    made = [NewPage(), *flow(composer, block.opened)]
    composer.look = look_for(normal.paper, normal.scale, accent=normal.accent)
    return made


def make(composer: Composer, block: b.Block, parent: Element, width: float) -> Made:
    """One block as flowables of a width, its elements below ``parent``."""
    try:
        maker = MAKERS[type(block)]
    except KeyError:
        raise RenderFault(f"no way to print a {type(block).__name__}") from None
    return maker(composer, block, parent, width)


def _heading(composer: Composer, block: b.Heading, parent: Element, width: float) -> Made:
    made: Made = [NewPage()] if block.new_page else []
    title = composer.heading(block.level, block.text, parent, anchor=block.anchor,
                             bookmark=block.bookmark)
    if block.level == 1:
        style = title.style
        sign = RuledLine(28, 2.4, composer.look.colours["accent"], before=style.spaceBefore,
                         after=5)
        sign.keep_next = True
        title.spaceBefore = 0
        made.append(sign)
    return [*made, title]


def _paragraph(composer: Composer, block: b.Paragraph, parent: Element, width: float) -> Made:
    return [composer.text(block.text, parent, block.style.value, anchor=block.anchor)]


LONG_LIST = 8
"""A list of more items than this in a callout is set small, in two columns."""


def _callout_list(composer: Composer, block: b.Bullets, parent: Element, width: float) -> Made:
    items = composer.items(block.items, parent, style="small")
    gap = composer.look.lengths["column_gap"]
    half = (width - gap) / 2
    heights = [item.wrap(half, 1e6)[1] + item.getSpaceAfter() for item in items]
    middle = next(n for n in range(len(items)) if 2 * sum(heights[: n + 1]) >= sum(heights)) + 1
    return [SideBySide([(0.0, half, items[:middle]), (half + gap, half, items[middle:])])]


def _list(composer: Composer, block: b.Bullets | b.Numbered, parent: Element,
          width: float) -> Made:
    made = composer.items(block.items, parent, numbered=block.start if isinstance(
        block, b.Numbered) else None)
    if made:
        made[-1].spaceAfter = composer.look.style("body").spaceAfter
    return [*made]


BARS = {
    # kind: (share of the bar's thickness, colour, dashes)
    b.CalloutKind.CAUTION: (1.6, "accent", ()),
    b.CalloutKind.PRACTICE: (0.8, "muted", (0.8, 2.4)),
    b.CalloutKind.UNCERTAIN: (0.8, "muted", (5.0, 3.0)),
    b.CalloutKind.NOTE: (0.5, "muted", ()),
}


def _callout(composer: Composer, block: b.Callout, parent: Element, width: float) -> Made:
    look, element = composer.look, parent.add("Div")
    indent = look.lengths["indent"]
    word = b.Span(getattr(composer.words, block.kind.value), bold=True)
    title = tuple(b.spans(block.title))
    opening: b.Text = (word, b.Span(": ", bold=True), *title) if title else (word,)
    inner: Made = [composer.text(opening, element, "item", bold=True)]
    inner[0].keep_next = True
    for part in block.blocks:
        if isinstance(part, b.Bullets) and len(part.items) > LONG_LIST:
            inner += _callout_list(composer, part, element, width - indent)
        else:
            inner += flat(make(composer, part, element, width - indent))
    share, colour, dash = BARS[block.kind]
    space = look.style("body").leading
    return [Barred(inner, indent, look.lengths["bar"] * share, look.colours[colour], dash,
                   before=0.4 * space, after=0.8 * space, again=composer.paragraph(
                       (*b.spans(opening), f" ({composer.words.continued})"),
                       look.style("item"), None))]


def _together(composer: Composer, block: b.KeepTogether, parent: Element, width: float) -> Made:
    made: Made = []
    for part in block.blocks:
        made += make(composer, part, parent, width)
    return [Together(made)] if made else []


def _beside(composer: Composer, block: b.Beside, parent: Element, width: float) -> Made:
    gap, space = composer.look.lengths["column_gap"], composer.look.style("body").leading
    first = (width - gap) * block.share
    sides = ((0.0, first, block.left), (first + gap, width - gap - first, block.right))
    known = len(parent.kids)
    made = SideBySide([(x, wide, [f for part in inner
                                  for f in flat(make(composer, part, parent, wide))])
                       for x, wide, inner in sides], before=0.2 * space, after=0.5 * space)
    made.elements = parent.kids[known:]
    return [made]


MAKERS: dict[type[b.Block], Callable[..., Made]] = {
    b.Heading: _heading,
    b.Paragraph: _paragraph,
    b.Bullets: _list,
    b.Numbered: _list,
    b.Table: table,
    b.Figure: figure,
    b.FigureRow: figure_row,
    b.Callout: _callout,
    b.KeyFacts: lambda composer, block, parent, width: parts.facts_grid(
        composer, block.facts, parent, width, block.columns),
    b.PageBreak: lambda composer, block, parent, width: [NewPage()],
    b.KeepTogether: _together,
    b.Beside: _beside,
    b.Annex: _annex,
    form_blocks.FormGrid: form_grid,
    form_blocks.FormTable: form_table,
    p.Summary: parts.summary,
    p.ActionCard: lambda composer, block, parent, width: action_table(
        composer, [block], parent, width),
    p.CalculationList: parts.calculations,
    p.SourceList: parts.sources,
    p.Photos: photos,
    p.SignOff: parts.sign_off,
    p.FindingBlock: lambda composer, block, parent, width: parts.finding(
        composer, block, parent, width, make),
}
"""Which function prints which block."""
