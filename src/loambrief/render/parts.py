"""The blocks of the advisory as flowables: summary, findings, actions, sources, sign-off."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import groupby
from urllib.parse import urlsplit

from loambrief.render.compose import Composer, clean
from loambrief.render.flowables import (
    Barred,
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
from loambrief.render.lines import text_width
from loambrief.render.logo import with_logo
from loambrief.render.status import status_line
from loambrief.render.styles import look as look_for
from loambrief.render.tables import lay_out, table
from loambrief.render.tags import Element
from loambrief.report.blocks import Column, Fact, Row, RowKind, Span, Table, Text, plain, spans
from loambrief.report.parts import (
    CLIENT_FIELD,
    ActionCard,
    Calculation,
    CalculationList,
    FindingBlock,
    FirstAction,
    SignOff,
    SourceList,
    Summary,
)

Made = list[Flowable]
DASH = "–"
SHORT = 900
"""Reasons and steps of more characters than this get lists of their own."""
SIGN_HEIGHT = 44.0
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
    page break follows it."""
    normal = composer.look
    close = look_for(normal.paper, normal.scale, dense=True, accent=normal.accent)
    for look, part in ((normal, block), *((close, part) for part in _shorter(block))):
        trial = _summary(composer.draft(look), part, Element("Document"), width)
        if stack(trial, width) <= look.text_height:
            composer.look, block = look, part
            break
    made = _summary(composer, block, parent, width)
    composer.look = normal
    return [*made, NewPage()]


def _shorter(block: Summary) -> Iterator[Summary]:
    """The summary, then with fewer lines of what not to buy, which has a part of its own."""
    yield block
    for avoid in range(len(block.avoid) - 1, 0, -1):
        yield replace(block, avoid=block.avoid[:avoid])


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
    made += [composer.text(text, element, "note") for text in block.notes]
    return made


def _limits(composer: Composer, block: Summary, element: Element) -> Made:
    if not block.limits:
        return [composer.text(block.no_limits, element)] if block.no_limits else []
    texts = []
    for limit in block.limits:
        head = tuple(Span(s.text, bold=True, link=limit.link or s.link) for s in spans(limit.text))
        detail = tuple(spans(limit.detail))
        texts.append((*head, *((Span("  "), *detail) if detail else ())))
    return [*composer.items(tuple(texts), element, numbered=1)]


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
        rows.append(Row((str(action.rank), _what(action), *(
            cell or DASH for cell in (action.rate, action.area, action.total, action.cost,
                                      action.when)))))
        if action.caution:
            notes[len(rows) - 1] = (Span(f"{words.caution}: ", bold=True), *spans(action.caution))
    last = len(block.foot) - 1
    rows += [Row(("", fact.label, "", "", "", fact.value, ""),
                 RowKind.TOTAL if i == last else RowKind.BODY)
             for i, fact in enumerate(block.foot)]
    return table(composer, Table(columns, tuple(rows)), element, width, below=notes)


def _what(action: FirstAction) -> Text:
    head = tuple(Span(s.text, bold=True, link=action.link or s.link) for s in spans(action.what))
    material = tuple(spans(action.material))
    return (*head, *((Span("\n"), *material) if material else ()))


# Findings ---------------------------------------------------------------------------------


def finding(composer: Composer, block: FindingBlock, parent: Element, width: float,
            make: Callable[..., Made]) -> Made:
    """Title, status line, body, evidence for and against, what belongs to it."""
    look, element = composer.look, parent.add("Sect")
    title = _card_title(composer, block.title, element, block.anchor)
    reading: list[Span] = []
    if block.reading:
        reading += [Span(s.text, bold=True, link=s.link) for s in spans(block.reading)]
    if block.reference:
        reading += [Span("; " if reading else ""), *spans(block.reference)]
    sure = [Span(s.text, muted=True) for text in (block.grade, block.confidence) if text
            for s in (Span(", "), *spans(text))][1:]
    if sure:
        reading += [Span(" · " if reading else "", muted=True), *sure]
    status = status_line(composer, block.mark, block.status, tuple(reading), element, width)
    status.keep_next = bool(block.body)
    made: Made = [title, status]
    body = joined(block.body)
    if body:
        made.append(composer.text(body, element))
        made[-1].spaceAfter = 0.2 * look.style("body").leading
    made += _evidence(composer, block, element)
    for part in block.blocks:
        made += flat(make(composer, part, element, width))
    made[-1].spaceAfter = 0.55 * look.style("body").leading
    if stack(made, width) <= look.text_height * 0.3 / look.columns:
        return [Together(made)]
    return made


def joined(texts: Sequence[Text]) -> Text:
    """Paragraphs as one."""
    pieces: list[str | Span] = []
    for text in texts:
        if plain(text).strip():
            pieces += [" ", *spans(text)] if pieces else [*spans(text)]
    return tuple(pieces)


def _evidence(composer: Composer, block: FindingBlock, element: Element) -> Made:
    """One list; the first line of each kind says which kind it is."""
    words = composer.words
    texts: list[Text] = []
    for word, lines in ((words.evidence_for, block.support),
                        (words.evidence_against, block.against),
                        (words.evidence_context, block.context)):
        for number, line in enumerate(lines):
            pieces = [Span(f"{word}: ", bold=True)] if number == 0 else []
            pieces += spans(line.text)
            if line.grade:
                pieces.append(Span(f" ({plain(line.grade)})", italic=True, muted=True))
            if line.sources:
                pieces += [Span(" "), *spans(line.sources)]
            texts.append(tuple(pieces))
    return [*composer.items(tuple(texts), element, style="small")]


def _card_title(composer: Composer, title: Text, element: Element, anchor: str) -> TaggedParagraph:
    """A heading one level below the section's, which stays as it is for the next card."""
    level = composer.level
    made = composer.heading(min(level + 1, 3), title, element, anchor=anchor, style="h2"
                            if level < 2 else "h3")
    composer.level = level
    return made


# Actions ----------------------------------------------------------------------------------


def action_card(composer: Composer, block: ActionCard, parent: Element, width: float) -> Made:
    """Rank and title; the facts; why and how; cautions beside all of it."""
    look, element = composer.look, parent.add("Sect")
    line = look.style("body").leading
    indent, title = _ranked_title(composer, block, element)
    gap = look.lengths["column_gap"]
    inner = width - indent
    beside = (inner - gap) * _caution_share(block) if block.cautions else 0.0
    main = inner - beside - (gap if beside else 0.0)
    body = _card_body(composer, block, element, main)
    columns = [(indent, main, body)] if body else []
    if block.cautions:
        caution = element.add("Div")
        head = composer.text(composer.words.caution, caution, "item", bold=True)
        head.keep_next = True
        items = [composer.text(text, caution, "small") for text in block.cautions]
        for item in items:
            item.spaceAfter = 0.25 * line
        barred = Barred([head, *items], look.lengths["indent"] * 0.8, look.lengths["bar"] * 1.6,
                        look.colours["accent"])
        columns.append((indent + main + gap, beside, [barred]))
    top = RuledLine(None, 0.5, look.colours["rule"], before=0.5 * line, after=0.35 * line)
    top.keep_next = True
    made: Made = [top, SideBySide([(indent, inner, [title])])]
    made[-1].keep_next = bool(columns)
    if columns:
        made.append(SideBySide(columns, before=0.2 * line, after=0.6 * line))
    if stack(made, width) <= look.text_height * 0.42:
        return [Together(made)]
    return made


def is_brief(block: ActionCard) -> bool:
    """A card of a few lines: two of them stand side by side."""
    told = (block.title, block.time, block.place, block.cost, *block.why, *block.how, *block.notes)
    return not (block.rate or block.cautions) and sum(len(plain(t)) for t in told) < SHORT


def brief_cards(composer: Composer, cards: Sequence[ActionCard], parent: Element,
                width: float) -> Made:
    """One brief card, or two side by side."""
    look = composer.look
    line, gap = look.style("body").leading, look.lengths["column_gap"]
    half = (width - gap) / 2
    columns = []
    for number, block in enumerate(cards):
        element = parent.add("Sect")
        indent, title = _ranked_title(composer, block, element)
        room = half - indent
        inner: Made = [SideBySide([(indent, room, [title])])]
        body = _card_body(composer, block, element, room)
        if body:
            inner.append(SideBySide([(indent, room, body)], before=0.15 * line))
        columns.append((number * (half + gap), half, inner))
    top = RuledLine(None, 0.5, look.colours["rule"], before=0.5 * line, after=0.35 * line)
    top.keep_next = True
    return [Together([top, SideBySide(columns, after=0.5 * line)])]


def _ranked_title(composer: Composer, block: ActionCard,
                  element: Element) -> tuple[float, TaggedParagraph]:
    """A card's title with its rank to the left; the room that the rank needs comes first."""
    look = composer.look
    title = _card_title(composer, block.title, element, block.anchor)
    title.spaceBefore = 0
    title.tag.label, title.tag.label_style = str(block.rank), look.style("rank")
    indent = max(26.0 * look.style("body").fontSize / 10,
                 text_width(str(block.rank), look.style("rank")) + 9)
    title.tag.label_element, title.tag.label_x = element.add("Span"), -indent
    element.kids.insert(0, element.kids.pop())  # the rank is read before the title
    return indent, title


def _caution_share(block: ActionCard) -> float:
    """Share of the width for the cautions, so that both sides come out about equally high."""
    beside = sum(len(plain(t)) + 20 for t in block.cautions)
    facts = (block.source, block.rate, block.range, block.total, block.time, block.place,
             block.cost, block.depends)
    main = sum(len(plain(t)) for t in (*block.why, *block.how, *block.notes)) + sum(
        max(70, len(plain(t))) for t in facts if t)
    return min(max(beside / (beside + main * 1.15), 0.3), 0.52)


def _card_body(composer: Composer, block: ActionCard, element: Element, width: float) -> Made:
    """What a card says: facts, reasons, steps, notes."""
    look, words = composer.look, composer.words
    body: Made = []
    if block.tag:
        body.append(composer.text(block.tag, element, "label"))
        body[-1].spaceAfter = 0.2 * look.style("body").leading
    pairs = [
        (words.source, block.source), (words.rate, block.rate), (words.range, block.range),
        (words.total, block.total), (words.when, block.time), (words.where, block.place),
        (words.cost, block.cost), (words.depends, block.depends),
    ]
    told = ((words.why, block.why, None), (words.how, block.how, 1))
    if is_brief(block):
        pairs += [(word, joined(texts)) for word, texts, _ in told]
        run: list[str | Span] = []
        for word, text in pairs:
            if text:
                run += [Span(f"{' ' if run else ''}{word}: ", muted=True), *_stopped(text)]
        if run:
            body.append(composer.text(tuple(run), element, "value"))
    else:
        short = sum(len(plain(text)) for _, texts, _ in told for text in texts) < SHORT
        pairs += [(word, _lines(texts)) for word, texts, _ in told if short]
        body += _pairs(composer, [Fact(w, t) for w, t in pairs if t], element, width)
        for word, texts, numbered in told if not short else ():
            if texts:
                head = composer.text(word, element, "group")
                head.keep_next = True
                body += [head, *composer.items(texts, element, style="small", numbered=numbered)]
    notes = joined(block.notes)
    if notes:
        body.append(composer.text(notes, element, "note"))
    return body


def _stopped(text: Text) -> Sequence[Span]:
    """A text that ends with a full stop."""
    pieces = [*spans(text)]
    return pieces if plain(text).rstrip()[-1:] in ".?!" else [*pieces, Span(".")]


def _lines(texts: Sequence[Text]) -> Text:
    """Texts, each on a line of its own."""
    pieces: list[str | Span] = []
    for text in texts:
        pieces += ["\n", *spans(text)] if pieces else [*spans(text)]
    return tuple(pieces)


def _pairs(composer: Composer, facts: list[Fact], parent: Element, width: float) -> Made:
    """Labels left of their values, one pair a line."""
    if not facts:
        return []
    look, top = composer.look, parent.add("L", attributes="/O/List/ListNumbering/None")
    rows = []
    for fact in facts:
        item = top.add("LI")
        rows.append([composer.paragraph(fact.label, look.style("label"), item.add("Lbl")),
                     composer.paragraph(fact.value, look.style("value"), item.add("LBody"))])
    first = min(width * 0.35, 10 + max(
        text_width(clean(plain(f.label)), look.style("label")) for f in facts))
    shift = look.style("value").fontSize - look.style("label").fontSize
    laid = lay_out(composer, rows, [first, width - first], [
        ("LEFTPADDING", (0, 0), (0, -1), 0),
        ("RIGHTPADDING", (-1, 0), (-1, -1), 0),
        ("TOPPADDING", (0, 0), (0, -1), 1.2 + shift),
    ], pad=1.2)
    laid.spaceAfter = 0.25 * look.style("body").leading
    return [laid]


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
    return made


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
    return [*made]


def site(url: str) -> str:
    """The site of an address, as a link is printed: "example.org"."""
    return (urlsplit(url).hostname or url).removeprefix("www.")


def sign_off(composer: Composer, block: SignOff, parent: Element, width: float) -> Made:
    """Adviser's sign-off; apart from it, the grower's acknowledgement."""
    look, words = composer.look, composer.words
    groups: list = []
    for word, anchor, lines, name, signed, field in (
        (words.adviser, block.anchor, block.statement, block.adviser_name, block.signed,
         block.field),
        (words.acknowledgement, "", block.acknowledgement, block.grower_name, "",
         block.client_field),
    ):
        element = parent.add("Sect")
        title = _card_title(composer, word, element, anchor)
        made: Made = [title]
        if word == words.adviser:
            made += facts_grid(composer, block.adviser, element, width, 4)
            interest = (Span(f"{words.interest}: ", bold=True), *spans(block.interest))
            made.append(composer.text(interest, element))
        made.append(composer.text(lines, element))
        if signed:
            made.append(composer.text(signed, element, bold=True))
        else:
            made[-1].keep_next = True
            made.append(_signature(composer, element, width, name, field, word))
        made[-1].spaceAfter = look.style("body").spaceAfter
        groups.append(Together(made))
    return groups


def _signature(composer: Composer, parent: Element, width: float, name: str,
               field: str, title: Text) -> Flowable:
    """Lines to sign on, with what goes on each below it."""
    look, words = composer.look, composer.words
    place: Flowable | str = ""
    if field:
        label = f"{title}: {words.signature}"
        place = SignatureField(parent.add("Form"), clean(field), clean(label), SIGN_HEIGHT - 8,
                               last=field == CLIENT_FIELD)
    rows: list[list] = [[place, "", "", "", ""], [
        composer.paragraph(words.signature, look.style("label"), parent.add("P")), "",
        composer.paragraph((words.name, f": {name}" if name else ""), look.style("label"),
                           parent.add("P")), "",
        composer.paragraph(words.date, look.style("label"), parent.add("P")),
    ]]
    widths = [width * share for share in (0.40, 0.03, 0.33, 0.03, 0.21)]
    ink = look.colours["ink"]
    commands: list[tuple] = [("LINEBELOW", (column, 0), (column, 0), 0.6, ink)
                             for column in (0, 2, 4)]
    commands += [("LEFTPADDING", (0, 0), (-1, -1), 0), ("NOSPLIT", (0, 0), (-1, -1))]
    laid = lay_out(composer, rows, widths, commands, heights=[SIGN_HEIGHT, None])
    laid.spaceAfter = 0.5 * look.style("body").leading
    return laid
