"""The report as plain text: for a message, a braille line, or a machine without a browser.

Rows of a table become records, because columns set with spaces cannot be heard. Lines are at
most 76 characters long, unless one word is longer.
"""

import textwrap
from collections.abc import Callable, Iterable, Sequence
from typing import Any

from loambrief.errors import RenderFault
from loambrief.render.html import readable
from loambrief.report import blocks as b
from loambrief.report import parts as p
from loambrief.report.blocks import Text, plain

WIDTH = 76
UNDERLINES = {1: "=", 2: "-", 3: "."}


def render_plain(model: b.ReportModel) -> bytes:
    """The document as plain text (UTF-8, lines end in a newline).

    Raises RenderFault for a block that no function writes, or a figure without a text alternative.
    """
    page = _TextPage(model.words)
    head = [model.running_head, model.number or model.case_id]
    if model.number and model.revision:
        head.append(model.revision)
    page.line(" · ".join(part for part in head if part))
    word = {b.DocumentStatus.DRAFT: model.words.draft,
            b.DocumentStatus.WITHDRAWN: model.words.withdrawn}.get(model.status)
    if word:
        page.line(f"*** {word} ***")
    page.all(model.blocks)
    return page.text().encode()


class _TextPage:
    """Lines of one document."""

    def __init__(self, words: b.Words):
        self.words = words
        self.level = 0
        self._lines: list[str] = []

    def text(self) -> str:
        return "\n".join(self._lines).strip("\n") + "\n"

    def all(self, blocks: Sequence[b.Block]) -> None:
        for block in blocks:
            try:
                writer = WRITERS[type(block)]
            except KeyError:
                raise RenderFault(f"no way to write a {type(block).__name__}") from None
            writer(self, block)

    def gap(self) -> None:
        """One empty line, never two."""
        if self._lines and self._lines[-1]:
            self._lines.append("")

    def line(self, text: Text, first: str = "", rest: str | None = None) -> None:
        """One text, wrapped; ``first`` starts its first line, ``rest`` the others."""
        rest = " " * len(first) if rest is None else rest
        for index, piece in enumerate(readable(plain(text)).split("\n")):
            start = first if index == 0 else rest
            # a no-break space is no place to break, as on paper
            held = " ".join(w for w in piece.split(" ") if w).replace("\u00a0", "\x00")
            wrapped = [start + held] if 0 < len(held) <= WIDTH - len(start) else textwrap.wrap(
                held, WIDTH, initial_indent=start, subsequent_indent=rest,
                break_long_words=False, break_on_hyphens=False)
            self._lines += [x.replace("\x00", " ").rstrip() for x in wrapped]

    def heading(self, level: int, text: Text) -> None:
        self.gap()
        if level == 1:
            self._lines.append("")
        start = len(self._lines)
        self.line(text)
        longest = max((len(x) for x in self._lines[start:]), default=0)
        self._lines.append(UNDERLINES[min(level, 3)] * longest)
        self.gap()

    def card(self, text: Text) -> None:
        self.heading(min(self.level + 1, 3), text)

    def label(self, word: str, text: Text) -> None:
        """A label and its value on a line, if there is a value."""
        if plain(text).strip():
            self.line(f"{word}: {plain(text)}", rest="  ")

    def items(self, texts: Iterable[Text], start: int | None = None) -> None:
        number = start
        for text in texts:
            if not plain(text).strip():
                continue
            self.line(text, "- " if number is None else f"{number}. ")
            number = None if number is None else number + 1

    def group(self, word: str, texts: Sequence[Text], start: int | None = None) -> None:
        if texts:
            self.line(f"{word}:")
            self.items(texts, start)


def _heading(page: _TextPage, block: b.Heading) -> None:
    page.level = block.level
    page.heading(block.level, block.text)


def _paragraph(page: _TextPage, block: b.Paragraph) -> None:
    page.gap()
    page.line(block.text)
    page.gap()


def _list(page: _TextPage, block: b.Bullets | b.Numbered) -> None:
    page.gap()
    page.items(block.items, block.start if isinstance(block, b.Numbered) else None)
    page.gap()


def _table(page: _TextPage, block: b.Table) -> None:
    page.gap()
    if not block.lines:
        page.line(block.empty)
        page.gap()
        return
    page.line(block.caption)
    for row in block.lines:
        page.gap()
        if row.kind is b.RowKind.GROUP:
            page.line(f"[{plain(row.cells[0])}]")
            continue
        for index, (column, cell) in enumerate(zip(block.columns, row.cells, strict=True)):
            title = plain(column.title)
            value = plain(cell).strip()
            if column.unit and value:
                value = f"{value} {column.unit}"
            if value or block.fill_in:
                page.line(f"{title}: {value or '__________'}", "" if index == 0 else "  ",
                          "    ")
    page.gap()
    page.line(block.note)
    page.gap()


def _figure(page: _TextPage, block: b.Figure) -> None:
    if not block.spec.alt.strip():
        raise RenderFault(f"figure {block.spec.title!r} has no text alternative")
    page.gap()
    page.line(block.spec.alt, "| ", "| ")
    page.line(block.spec.note, "| ", "| ")
    page.gap()


def _photos(page: _TextPage, block: p.Photos) -> None:
    for photo in block.photos:
        page.line(photo.caption, "| ", "| ")
        if photo.alt != plain(photo.caption):
            page.line(photo.alt, "| ", "| ")
    page.gap()


def _callout(page: _TextPage, block: b.Callout) -> None:
    page.gap()
    title = plain(block.title)
    page.line(f"{getattr(page.words, block.kind.value)}{': ' if title else '.'}{title}", "! ")
    page.all(block.blocks)
    page.gap()


def _facts(page: _TextPage, block: b.KeyFacts) -> None:
    page.gap()
    for fact in block.facts:
        page.label(plain(fact.label), fact.value or "–")
    page.gap()


def _summary(page: _TextPage, block: p.Summary) -> None:
    words = page.words
    page.gap()
    if block.logo:
        page.line(block.logo.alt)
    page.line(block.kicker)
    page.heading(1, block.title)
    _facts(page, b.KeyFacts(block.facts))
    _paragraph(page, b.Paragraph(block.message))
    page.heading(2, words.limits)
    page.items([f"{plain(x.text)} {plain(x.detail)}".strip() for x in block.limits], 1)
    if not block.limits:
        page.line(block.no_limits)
    page.heading(2, words.first_actions)
    for action in block.actions:
        page.gap()
        page.line(action.what, f"{action.rank}. ")
        for word, text in ((words.source, action.material), (words.rate, action.rate),
                           (words.area, action.area), (words.total, action.total),
                           (words.cost, action.cost), (words.when, action.when),
                           (words.caution, action.caution)):
            if plain(text).strip():
                page.line(f"{word}: {plain(text)}", "   ", "     ")
    if not block.actions:
        page.line(block.no_actions)
    page.gap()
    for fact in block.foot:
        page.line(f"{plain(fact.label)}: {plain(fact.value)}")
    page.line(block.cost_line)
    for word, texts in ((words.unjudged, block.unjudged), (words.avoid, block.avoid),
                        (words.contact, block.contact)):
        if texts:
            page.heading(2, word)
            page.items(texts)
    if plain(block.valid_until):
        page.heading(2, words.valid_until)
        page.line(block.valid_until)
    for note in (*block.spare, *block.notes):
        _paragraph(page, b.Paragraph(note))


def _finding(page: _TextPage, block: p.FindingBlock) -> None:
    words = page.words
    for one in (block, *block.zones):
        page.card(one.title)
        held = "; ".join(t for t in (plain(one.reading), plain(one.reference)) if t.strip())
        page.line(f"{plain(one.status)}{': ' if held else ''}{held}", rest="  ")
        page.label(words.evidence, one.grade)
        page.label(words.confidence, one.confidence)
    for text in block.body:
        _paragraph(page, b.Paragraph(text))
    for word, lines in ((words.evidence_for, block.support),
                        (words.evidence_against, block.against),
                        (words.evidence_context, block.context)):
        page.group(word, [" ".join(t for t in (
            plain(x.text), f"({plain(x.grade)})" if plain(x.grade) else "", plain(x.sources)) if t)
            for x in lines])
    page.gap()
    if block.blocks:
        page.line(f"{words.worked}:")
        page.all(block.blocks)


def _action(page: _TextPage, block: p.ActionCard) -> None:
    words = page.words
    page.card(f"{block.rank}. {plain(block.title)}")
    page.line(block.tag)
    for word, text in (
        (words.source, block.source), (words.rate, block.rate), (words.range, block.range),
        (words.total, block.total), (words.when, block.time), (words.where, block.place),
        (words.cost, "; ".join(t for t in (plain(block.money), plain(block.cost)) if t)),
        (words.depends, block.depends), (words.caution, block.cautions),
    ):
        page.label(word, text)
    page.group(words.why, block.why)
    page.group(words.how, block.how, 1)
    for note in block.notes:
        page.line(note)
    page.gap()


def _calculations(page: _TextPage, block: p.CalculationList) -> None:
    group: Text = ""
    for number, item in enumerate(block.items, start=1):
        if item.group and item.group != group:
            page.gap()
            page.line(f"{plain(item.group)}:")
        group = item.group
        pieces = [f"{item.number or number} {plain(item.name)}: {plain(item.answer)}",
                  *(plain(t) for t in (item.outside, item.note) if plain(t))]
        page.line("; ".join(pieces), "- ")
        if item.inputs:
            inputs = "; ".join(f"{plain(f.label)} {plain(f.value)}" for f in item.inputs)
            page.line(f"{page.words.inputs}: {inputs}", "  ", "  ")
    page.gap()


def _sources(page: _TextPage, block: p.SourceList) -> None:
    page.gap()
    for item in block.items:
        text = " ".join(t for t in (plain(item.citation), plain(item.note), item.url) if t)
        page.line(text, f"{item.label} ", "    ")
    page.gap()


def _sign_off(page: _TextPage, block: p.SignOff) -> None:
    words = page.words
    page.card(words.adviser)
    for fact in block.adviser:
        page.label(plain(fact.label), fact.value)
    page.label(words.interest, block.interest)
    page.line(block.statement)
    if plain(block.signed):
        page.line(block.signed)
    else:
        _lines(page, block.adviser_name)
    page.card(words.acknowledgement)
    page.line(block.acknowledgement)
    _lines(page, block.grower_name)


def _lines(page: _TextPage, name: str) -> None:
    words = page.words
    page.gap()
    page.line(f"{words.signature}: __________")
    page.line(f"{words.name}: {name or '__________'}")
    page.line(f"{words.date}: __________")


WRITERS: dict[type[b.Block], Callable[[_TextPage, Any], None]] = {
    b.Heading: _heading,
    b.Paragraph: _paragraph,
    b.Bullets: _list,
    b.Numbered: _list,
    b.Table: _table,
    b.Figure: _figure,
    b.FigureRow: lambda page, block: page.all(block.figures),
    b.Callout: _callout,
    b.KeyFacts: _facts,
    b.PageBreak: lambda page, block: page.gap(),
    b.KeepTogether: lambda page, block: page.all(block.blocks),
    b.Beside: lambda page, block: page.all((*block.left, *block.right)),
    b.Annex: lambda page, block: page.all(block.opened),
    p.Summary: _summary,
    p.FindingBlock: _finding,
    p.ActionCard: _action,
    p.CalculationList: _calculations,
    p.SourceList: _sources,
    p.Photos: _photos,
    p.SignOff: _sign_off,
}
"""Which function writes which block."""
