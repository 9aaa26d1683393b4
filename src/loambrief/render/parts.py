"""The blocks of the advisory as flowables: summary, findings, actions, sources, sign-off."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import groupby
from urllib.parse import urlsplit

from loambrief.render.compose import Composer, clean
from loambrief.render.flowables import (
    Flowable,
    NewPage,
    RuledLine,
    SideBySide,
    SignatureField,
    TaggedParagraph,
    Together,
    flat,
    stack,
)
from loambrief.render.grid import PAD_X
from loambrief.render.lines import text_width
from loambrief.render.logo import with_logo
from loambrief.render.status import status_line
from loambrief.render.styles import look as look_for
from loambrief.render.tables import lay_out, table
from loambrief.render.tags import Element
from loambrief.report.blocks import Column, Fact, Row, RowKind, Span, Table, Text, plain, spans
from loambrief.report.parts import (
    CLIENT_FIELD,
    Calculation,
    CalculationList,
    EvidenceLine,
    FindingBlock,
    SignOff,
    SourceList,
    Summary,
)

Made = list[Flowable]
DASH = "–"
SIGN_HEIGHT = 40.0
"""Room above a line to sign on [pt]."""


def facts_grid(composer: Composer, facts: Sequence[Fact], parent: Element, width: float,
               columns: int) -> Made:
    """Labels above their values, in columns, read row by row."""
    if not facts:
        return []
    look, top = composer.look, parent.add("L", attributes="/O/List/ListNumbering/None")
    cells: list = []
    for fact in facts:
        item = top.add("LI")
        label = composer.paragraph(fact.label, look.style("label"), item.add("Lbl"))
        value = composer.paragraph(fact.value or DASH, look.style("fact"), item.add("LBody"))
        cells.append([label, value])
    columns = min(columns, len(cells))
    cells += [""] * (-len(cells) % columns)
    rows = [cells[i : i + columns] for i in range(0, len(cells), columns)]
    grid = lay_out(composer, rows, [width / columns] * columns,
                   [("LEFTPADDING", (0, 0), (0, -1), 0)])
    grid.spaceAfter = look.style("body").spaceAfter
    return [grid]


# Page 1 -----------------------------------------------------------------------------------


def summary(composer: Composer, block: Summary, parent: Element, width: float) -> Made:
    """The first page, set closer and then with less of what not to buy if that makes it fit; a
    page break follows it where it is full."""
    normal = composer.look
    close = look_for(normal.paper, normal.scale, dense=True, accent=normal.accent)
    for look, part in ((normal, block), *((close, part) for part in _shorter(block))):
        trial = _summary(composer.draft(look), part, Element("Document"), width)
        if stack(trial, width) <= look.text_height:
            composer.look, block = look, part
            break
    made = _summary(composer, block, parent, width)
    composer.look = normal
    if stack(made, width) < SPARSE * look.text_height:
        return made
    return [*made, NewPage()]


SPARSE = 0.75
"""Below a page 1 that fills less than this share of the page, what follows begins at once."""


def _shorter(block: Summary) -> Iterator[Summary]:
    """The summary, then with fewer lines of what not to buy, which has a part of its own, then
    without lines that stand elsewhere too, and the last lines as one."""
    yield block
    for avoid in range(len(block.avoid) - 1, 0, -1):
        yield replace(block, avoid=block.avoid[:avoid])
    short = replace(block, avoid=block.avoid[:1], spare=())
    yield short
    yield replace(short, notes=(joined(block.notes),))


def _summary(composer: Composer, block: Summary, parent: Element, width: float) -> Made:
    look, words = composer.look, composer.words
    element = parent.add("Sect")
    line = look.style("body").leading
    made: Made = []
    head: Made = []
    if block.kicker:
        head.append(composer.text(block.kicker, element, "kicker"))
    head.append(composer.title(block.title, element, block.anchor))
    made += with_logo(composer, block.logo, head, element, width) if block.logo else head
    made += facts_grid(composer, block.facts, element, width, 4)
    made.append(RuledLine(None, 0.9, look.colours["ink"], after=0.55 * line))
    made.append(composer.text(block.message, element, "lead"))
    made.append(composer.sub(words.limits, element))
    made += _limits(composer, block, element)
    made.append(composer.sub(words.first_actions, element))
    made += _first_actions(composer, block, element, width)
    if block.cost_line:
        cost = composer.paragraph(block.cost_line, look.style("body", "right"), element.add("P"))
        made.append(cost)
    gap = look.lengths["column_gap"]
    left = (width - gap) * 0.56
    columns: list[tuple[float, float, Made]] = []
    lists: Made = []
    for title, lines in ((words.unjudged, block.unjudged), (words.avoid, block.avoid)):
        if lines:
            lists += [composer.sub(title, element), *composer.items(lines, element)]
    if lists:
        columns.append((0.0, left, lists))
    side: Made = []
    if block.contact:
        side.append(composer.sub(words.contact, element))
        side += [composer.text(text, element, "item") for text in block.contact]
    if block.valid_until:
        side.append(composer.sub(words.valid_until, element))
        side.append(composer.text(block.valid_until, element, "item"))
    if side:
        columns.append((left + gap, width - left - gap, side) if columns else (0.0, width, side))
    if columns:
        made.append(SideBySide(columns, before=0.5 * line, after=0.4 * line))
    made += [composer.text(text, element, "note") for text in (*block.spare, *block.notes)]
    return made


def _limits(composer: Composer, block: Summary, element: Element) -> Made:
    if not block.limits:
        return [composer.text(block.no_limits, element)] if block.no_limits else []
    return [*composer.items([_led(limit.text, limit.link, "  ", limit.detail)
                             for limit in block.limits], element, numbered=1)]


def _led(text: Text, link: str, between: str, rest: Text) -> Text:
    """A text in bold that leads somewhere, then what belongs to it."""
    head = tuple(Span(s.text, bold=True, link=link or s.link) for s in spans(text))
    more = tuple(spans(rest))
    return (*head, *((Span(between), *more) if more else ()))


def _first_actions(composer: Composer, block: Summary, element: Element, width: float) -> Made:
    if not block.actions:
        return [composer.text(block.no_actions, element)] if block.no_actions else []
    words = composer.words
    columns = (
        Column(words.rank, "right"), Column(words.action), Column(words.rate, "right"),
        Column(words.area, "right"), Column(words.total, "right"), Column(words.cost, "right"),
        Column(words.when),
    )
    rows: list[Row] = []
    notes: dict[int, Text] = {}
    for action in block.actions:
        rows.append(Row((
            str(action.rank), _led(action.what, action.link, "\n", action.material), *(
            cell or DASH for cell in (action.rate, action.area, action.total, action.cost,
                                      action.when)))))
        if action.caution:
            notes[len(rows) - 1] = (Span(f"{words.caution}: ", bold=True), *spans(action.caution))
    last = len(block.foot) - 1
    rows += [Row(("", fact.label, "", "", "", fact.value, ""),
                 RowKind.TOTAL if i == last else RowKind.BODY)
             for i, fact in enumerate(block.foot)]
    return table(composer, Table(columns, tuple(rows)), element, width, below=notes)


# Findings ---------------------------------------------------------------------------------


def finding(composer: Composer, block: FindingBlock, parent: Element, width: float,
            make: Callable[..., Made]) -> Made:
    """Title, status line, body, evidence for and against, what belongs to it."""
    look, words, element = composer.look, composer.words, parent.add("Sect")
    made: Made = []
    for one in (block, *block.zones):
        made += [_card_title(composer, one.title, element, one.anchor),
                 _status(composer, one, element, width)]
        made[-1].keep_soft = True
    made[-1].keep_next = True
    gap, space = look.lengths["column_gap"], look.style("body").leading
    beside = bool(block.blocks) and width >= SET_IN_TWO * look.text_width and all(
        isinstance(part, CalculationList) for part in block.blocks)
    main = round((width - gap) * _main_share(block)) if beside else width
    told: Made = []
    body = joined(block.body)
    if body:
        told.append(composer.text(body, element))
        told[-1].spaceAfter = 0.3 * space
    told += _evidence(composer, block, element, main)
    sums: Made = []
    room = width - gap - main if beside else width
    if block.blocks:
        sums.append(composer.text(words.worked, element, "group"))
        sums[0].keep_next = True
        for part in block.blocks:
            sums += flat(make(composer, part, element, room))
    if beside:
        made.append(SideBySide([(0.0, main, told), (main + gap, room, sums)]))
    else:
        made += [*told, *sums]
    made[-1].spaceAfter = 0.7 * space
    if stack(made, width) <= look.text_height * 0.2:
        return [Together(made)]
    return made


LEAST_MAIN, MOST_MAIN = 0.45, 0.74
"""Bounds of the share of the width for what is said beside the calculations."""


def _main_share(block: FindingBlock) -> float:
    """Share of the width for what is said, so that the sums beside it come out as high."""
    said = sum(len(plain(text)) for text in block.body) + sum(
        len(plain(line.text)) + len(plain(line.sources)) + 30
        for lines in (block.support, block.against, block.context) for line in lines)
    sums = sum(len(plain(_calculation(item, ()))) + 20 for part in block.blocks
               if isinstance(part, CalculationList) for item in part.items)
    sums += sum(len(plain(group)) for part in block.blocks if isinstance(part, CalculationList)
                for group in {item.group for item in part.items})
    return min(max(said / (said + 1.15 * sums + 1), LEAST_MAIN), MOST_MAIN)


def _status(composer: Composer, block: FindingBlock, element: Element, width: float) -> Flowable:
    """The status word, the reading with what it is held against, and how sure it is."""
    reading: list[Span] = []
    if block.reading:
        reading += [Span(s.text, bold=True, link=s.link) for s in spans(block.reading)]
    if block.reference:
        reading += [Span("; " if reading else ""), *spans(block.reference)]
    sure = [Span(s.text, muted=True) for text in (block.grade, block.confidence) if text
            for s in (Span(", "), *spans(text))][1:]
    if sure:
        reading += [Span(" · " if reading else "", muted=True), *sure]
    return status_line(composer, block.mark, block.status, tuple(reading), element, width)


def joined(texts: Sequence[Text]) -> Text:
    """Paragraphs as one."""
    pieces: list[str | Span] = []
    for text in texts:
        if plain(text).strip():
            pieces += [" ", *spans(text)] if pieces else [*spans(text)]
    return tuple(pieces)


LEAST_ROW = 3.0
"""A table of evidence is so many times as wide as its first column, or it is a list."""


def _evidence(composer: Composer, block: FindingBlock, element: Element, width: float) -> Made:
    """A small table: a row for each point, led by whether it speaks for it or against it."""
    words, look = composer.words, composer.look
    groups = ((words.evidence_for, block.support), (words.evidence_against, block.against),
              (words.evidence_context, block.context))
    first = PAD_X + 2 + max(text_width(word, look.style("label")) for word, _ in groups)
    if width < LEAST_ROW * first:
        return [*composer.items([(Span(f"{word}: ", bold=True), *spans(_line(line)))
                                 for word, lines in groups for line in lines], element,
                                style="small")]
    top = element.add("Table")
    rows: list[list[Flowable]] = []
    breaks: list[int] = []
    for word, lines in groups:
        if lines:
            breaks.append(len(rows))
        for line in lines:
            row = top.add("TR")
            side = row.add("TH", attributes="/O/Table/Scope/Row")
            rows.append([composer.paragraph(word, look.style("label"), side),
                         composer.paragraph(_line(line), look.style("small"), row.add("TD"))])
    if not rows:
        element.kids.remove(top)
        return []
    rule = look.colours["rule"]
    laid = lay_out(composer, rows, [first, width - first], [
        ("LEFTPADDING", (0, 0), (0, -1), 0), ("RIGHTPADDING", (-1, 0), (-1, -1), 0),
        *(("LINEABOVE", (0, n), (-1, n), 0.4, rule) for n in breaks)], pad=0.8)
    laid.small_enough = 0.0
    return [laid]


def _line(line: EvidenceLine) -> Text:
    """A piece of evidence with its grade and sources."""
    pieces = [*spans(line.text)]
    if line.grade:
        pieces.append(Span(f" ({plain(line.grade)})", italic=True, muted=True))
    if line.sources:
        pieces += [Span(" "), *spans(line.sources)]
    return tuple(pieces)


def _card_title(composer: Composer, title: Text, element: Element, anchor: str) -> TaggedParagraph:
    """A heading one level below the section's, which stays as it is for the next card."""
    level = composer.level
    made = composer.heading(min(level + 1, 3), title, element, anchor=anchor, style="h2"
                            if level < 2 else "h3")
    composer.level = level
    return made


# Appendix ---------------------------------------------------------------------------------


def calculations(composer: Composer, block: CalculationList, parent: Element,
                 width: float) -> Made:
    """Each formula once, then its calculations: what, from which inputs, and the answer."""
    made: Made = []
    places = {id(item): number for number, item in enumerate(block.items, start=1)}
    for formula, members in groupby(block.items, key=lambda item: item.group):
        if formula:
            made.append(composer.text(formula, parent, "group"))
            made[-1].keep_next = True
        items = list(members)
        numbers = [plain(item.number).split(", ") if item.number else [str(places[id(item)])]
                   for item in items]
        listed = composer.items(
            tuple(_calculation(item, ids[1:]) for item, ids in zip(items, numbers, strict=True)),
            parent, style="table_small", labels=tuple(clean(ids[0]) for ids in numbers))
        for item, paragraph in zip(items, listed, strict=True):
            paragraph.tag.bookmark = composer.mark(item.anchor)
        made += _spaced(composer, listed, 0.35)
    return in_columns(composer, made, width)


SET_IN_TWO = 0.75
"""Share of the text width from which a list of small print is set in two columns."""
BAND = 0.14
"""Most height of one band of two columns, as a share of the page's: read before the next."""


def in_columns(composer: Composer, made: Made, width: float) -> Made:
    """A list in bands of two level columns, where it is as wide as the page.

    Each band is read left, then right, and is low enough to stand whole on a page.
    """
    look = composer.look
    if width < SET_IN_TWO * look.text_width or len(made) < 4:
        return made
    gap = look.lengths["column_gap"]
    half = (width - gap) / 2
    groups: list[Made] = [[]]
    for flowable in made:
        groups[-1].append(flowable)
        if not flowable.keep_next:
            groups.append([])
    heights = [stack(group, half) + (group[-1].getSpaceAfter() if group else 0.0)
               for group in groups]
    out: Made = []
    while any(groups):
        count, high = 0, 0.0
        while count < len(groups) and (high < 2 * BAND * look.text_height or not count):
            high += heights[count]
            count += 1
        if sum(heights[count:]) < 0.5 * BAND * look.text_height:  # no band of a few lines
            count, high = len(groups), sum(heights)
        left, used = 0, 0.0
        while left < count and used + heights[left] / 2 <= high / 2:
            used += heights[left]
            left += 1
        sides = [[f for group in part for f in group] for part in (groups[:left],
                                                                  groups[left:count])]
        out.append(SideBySide([(x, half, side) for x, side in zip((0.0, half + gap), sides,
                                                                  strict=True) if side],
                              keep_whole=look.text_height))
        del groups[:count], heights[:count]
    return out


def _calculation(item: Calculation, also: Sequence[str]) -> Text:
    told: list[Span] = [*spans(item.name)]
    if also:
        told.append(Span(f"{' ' if told else ''}({', '.join(also)})", muted=True))
    if told and item.inputs:
        told.append(Span(": "))
    for number, fact in enumerate(item.inputs):
        told += [Span(f"{'; ' if number else ''}{plain(fact.label)}\u00a0", muted=True),
                 *spans(fact.value)]
    told.append(Span(" = " if told else "= "))
    told += [Span(s.text, bold=True, link=s.link) for s in spans(item.answer)]
    for text, bold in ((item.outside, True), (item.note, False)):
        if text:
            told += [Span("; "), *(Span(s.text, bold=bold or s.bold, link=s.link)
                                   for s in spans(text))]
    return tuple(told)


def _spaced(composer: Composer, made: Sequence[Flowable], share: float) -> Made:
    if made:
        made[-1].spaceAfter = share * composer.look.style("body").leading
    return [*made]


def sources(composer: Composer, block: SourceList, parent: Element, width: float) -> Made:
    """Citations with their labels, and the site that holds each as a link."""
    texts = []
    for item in block.items:
        pieces = [*spans(item.citation)]
        if item.note:
            pieces += [Span(" "), *(Span(s.text, italic=True, muted=True)
                                    for s in spans(item.note))]
        if item.url:
            heard = composer.words.site.replace("{}", item.url)
            pieces += [Span(" "), Span(site(item.url), link=item.url, describe=heard)]
        texts.append(tuple(pieces))
    made = composer.items(tuple(texts), parent, style="note.ink",
                          labels=tuple(clean(item.label) for item in block.items))
    for item, paragraph in zip(block.items, made, strict=True):
        paragraph.tag.bookmark = composer.mark(item.anchor)
    return in_columns(composer, [*made], width)


def site(url: str) -> str:
    """The site of an address, as a link is printed: "example.org"."""
    return (urlsplit(url).hostname or url).removeprefix("www.")


def sign_off(composer: Composer, block: SignOff, parent: Element, width: float) -> Made:
    """Adviser's sign-off; below who that is, and apart, the grower's acknowledgement beside it."""
    look, words = composer.look, composer.words
    gap = 2 * look.lengths["column_gap"]
    half = (width - gap) / 2
    columns: list[tuple[float, float, Made]] = []
    head: Made = []
    for word, anchor, lines, name, signed, field in (
        (words.adviser, block.anchor, block.statement, block.adviser_name, block.signed,
         block.field),
        (words.acknowledgement, "", block.acknowledgement, block.grower_name, "",
         block.client_field),
    ):
        element = parent.add("Sect")
        title = _card_title(composer, word, element, anchor)
        made: Made = []
        if columns:
            title.spaceBefore = 0
            made.append(title)
        else:
            head = [title, *facts_grid(composer, block.adviser, element, width, 4)]
            interest = (Span(f"{words.interest}: ", bold=True), *spans(block.interest))
            made.append(composer.text(interest, element, "small"))
        made.append(composer.text(lines, element, "small"))
        if signed:
            made.append(composer.text(signed, element, bold=True))
        else:
            made[-1].keep_next = True
            made.append(_signature(composer, element, half, name, field, word))
        columns.append((len(columns) * (half + gap), half, made))
    if not block.signed:  # both sign at one height
        heights = [stack(made[:-1], half) for _, _, made in columns]
        for (_, _, made), height in zip(columns, heights, strict=True):
            made[-1].spaceBefore = made[-2].getSpaceAfter() + max(heights) - height
    return [Together([*head, SideBySide(columns, after=look.style("body").spaceAfter,
                                        keep_whole=look.text_height)])]


def _signature(composer: Composer, parent: Element, width: float, name: str,
               field: str, title: Text) -> Flowable:
    """Lines to sign on, with what goes on each below it."""
    look, words = composer.look, composer.words
    place: Flowable | str = ""
    if field:
        label = f"{title}: {words.signature}"
        place = SignatureField(parent.add("Form"), clean(field), clean(label), SIGN_HEIGHT - 8,
                               last=field == CLIENT_FIELD)
    rows: list[list] = [[place, "", ""], [
        composer.paragraph((words.signature, f": {name}" if name else ""), look.style("label"),
                           parent.add("P")), "",
        composer.paragraph(words.date, look.style("label"), parent.add("P")),
    ]]
    widths = [width * share for share in (0.72, 0.04, 0.24)]
    ink = look.colours["ink"]
    commands: list[tuple] = [("LINEBELOW", (column, 0), (column, 0), 0.6, ink)
                             for column in (0, 2)]
    commands += [("LEFTPADDING", (0, 0), (-1, -1), 0), ("NOSPLIT", (0, 0), (-1, -1))]
    laid = lay_out(composer, rows, widths, commands, heights=[SIGN_HEIGHT, None])
    laid.spaceAfter = 0.5 * look.style("body").leading
    return laid
