"""The advisory as plain data: what is printed, in which order, and nothing about how.

``report.build`` makes these; ``render`` prints them. No block holds markup: text from the
case is printed letter by letter. A text is a ``str`` or a tuple of ``str`` and
:class:`Span`; a newline in it starts a new line. Empty parts of a block are left out.
Block kinds that belong to the advisory alone (summary, findings, actions) are in
``report.parts``.
"""

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from enum import StrEnum
from typing import cast

from loambrief.charts import ChartSpec
from loambrief.charts.model import FixedWords


@dataclass(frozen=True)
class Span:
    """A piece of text with one look."""

    text: str
    bold: bool = False
    italic: bool = False
    small: bool = False
    muted: bool = False
    """``bold``, ``italic``, ``small``, ``muted``: ``small`` is the note size; ``muted`` the second
    voice."""
    link: str = ""
    """``"#anchor"`` of a block in this file, or an ``http:``, ``https:`` or ``mailto:`` address.
    Anything else is printed without a link. An anchor that no block has is an error when the file
    is made."""
    describe: str = ""
    """What a reader hears for the link; the text itself if empty."""
    language: str = ""
    """Language of the piece (BCP 47) where it is not the document's."""


Text = str | Span | tuple[str | Span, ...]


def spans(text: Text) -> Iterator[Span]:
    """The pieces of a text, all as spans; empty ones left out."""
    pieces = text if isinstance(text, tuple) else (text,)
    for piece in pieces:
        span = piece if isinstance(piece, Span) else Span(piece)
        if span.text:
            yield span


def plain(text: Text) -> str:
    """A text without its looks."""
    if isinstance(text, str):
        return text
    pieces = text if isinstance(text, tuple) else (text,)
    return "".join([p if isinstance(p, str) else p.text for p in pieces])


@dataclass(frozen=True)
class Block:
    """Root of everything that can stand in a document."""


@dataclass(frozen=True)
class Heading(Block):
    """A section title; it becomes a bookmark.

    ``level`` is 1 to 3 and may not skip one. ``anchor`` is what links name (unique in the
    document). ``bookmark`` is a shorter text for the outline. ``new_page`` starts a page.
    """

    level: int
    text: Text
    anchor: str = ""
    bookmark: str = ""
    new_page: bool = False

    def __post_init__(self) -> None:
        if self.level not in (1, 2, 3):
            raise ValueError(f"heading level {self.level}; 1 to 3")


class Style(StrEnum):
    """Looks of a paragraph: body text, the opening of a section, and the small note."""

    BODY = "body"
    LEAD = "lead"
    NOTE = "note"
    SMALL = "small"
    """As small as the note, in the first voice."""
    BIG = "big"
    """For sheets that are read at arm's length."""


@dataclass(frozen=True)
class Paragraph(Block):
    """One paragraph; ``anchor`` if something links to it."""

    text: Text
    style: Style = Style.BODY
    anchor: str = ""


@dataclass(frozen=True)
class Bullets(Block):
    """An unordered list."""

    items: tuple[Text, ...]


@dataclass(frozen=True)
class Numbered(Block):
    """An ordered list; ``start`` is the first number."""

    items: tuple[Text, ...]
    start: int = 1


@dataclass(frozen=True)
class Column:
    """A table column.

    ``align`` is "left", "right" (numbers) or "center". ``weight`` is its share of the
    width, counted only where every column has one; else the renderer chooses by content.
    ``unit`` is printed under the title.
    """

    title: Text
    align: str = "left"
    weight: float = 0.0
    unit: str = ""

    def __post_init__(self) -> None:
        if self.align not in ("left", "right", "center"):
            raise ValueError(f"alignment {self.align!r}")


class RowKind(StrEnum):
    """A body row; a total with a rule above; a one-cell row that names the rows after it."""

    BODY = "body"
    TOTAL = "total"
    GROUP = "group"


@dataclass(frozen=True)
class Row:
    """Cells from left to right. A GROUP row has one cell, which spans the table."""

    cells: tuple[Text, ...]
    kind: RowKind = RowKind.BODY
    anchor: str = ""


@dataclass(frozen=True)
class Table(Block):
    """A table with column titles, repeated where it goes on over a page."""

    columns: tuple[Column, ...]
    rows: tuple[Row | tuple[Text, ...], ...]
    """Plain tuples of texts are taken as body rows."""
    caption: Text = ""
    """Printed above and tagged as the caption; says what the table shows."""
    note: Text = ""
    """Small print under the table (sources, meaning of signs)."""
    row_headers: bool = False
    """The first cell of each row names the row (screen readers repeat it); a table of few cells
    gets none."""
    fill_in: bool = False
    """To be written in by hand: full grid, rows at least 9 mm high."""
    empty: Text = ""
    """Printed in place of a table without rows; nothing is printed if it is empty too."""
    anchor: str = ""

    def __post_init__(self) -> None:
        if not self.columns:
            raise ValueError("a table needs columns")
        rows = tuple(r if isinstance(r, Row) else Row(tuple(r)) for r in self.rows)
        for row in rows:
            wanted = 1 if row.kind is RowKind.GROUP else len(self.columns)
            if len(row.cells) != wanted:
                raise ValueError(f"{row.kind} row with {len(row.cells)} cells, wanted {wanted}")
        object.__setattr__(self, "rows", rows)

    @property
    def lines(self) -> tuple[Row, ...]:
        """The rows, every one of them a :class:`Row`."""
        return cast(tuple[Row, ...], self.rows)


@dataclass(frozen=True)
class Figure(Block):
    """A chart. Its title, note and text alternative are in the spec (``spec.alt`` is needed).

    ``half`` takes half the text width; put two of them into a :class:`FigureRow`. A spec
    without data (``spec.has_data()``) must be left out by the builder.
    """

    spec: ChartSpec
    half: bool = False
    anchor: str = ""


@dataclass(frozen=True)
class FigureRow(Block):
    """Half-width charts in two columns: each goes under the shorter column so far."""

    figures: tuple[Figure, ...]

    def __post_init__(self) -> None:
        if not self.figures:
            raise ValueError("a figure row holds at least one figure")


class CalloutKind(StrEnum):
    """Why something is set apart; the renderer prints the word and a mark, never colour alone."""

    CAUTION = "caution"
    PRACTICE = "practice"
    NOTE = "note"
    UNCERTAIN = "uncertain"


@dataclass(frozen=True)
class Callout(Block):
    """A passage set apart: a caution, a rule of the trade, a note, a doubt.

    The word for the kind comes from ``Words``; ``title`` follows it. ``blocks`` may be
    paragraphs, lists and tables.
    """

    kind: CalloutKind
    blocks: tuple[Block, ...]
    title: Text = ""


@dataclass(frozen=True)
class Fact:
    """A label and its value."""

    label: Text
    value: Text


@dataclass(frozen=True)
class KeyFacts(Block):
    """Short facts (grower, field, crop, area...) in ``columns`` columns, read row by row."""

    facts: tuple[Fact, ...]
    columns: int = 2


@dataclass(frozen=True)
class PageBreak(Block):
    """Start a new page, unless the page is still empty."""


@dataclass(frozen=True)
class KeepTogether(Block):
    """Blocks that should not be parted by a page break (they are, if longer than a page)."""

    blocks: tuple[Block, ...]


@dataclass(frozen=True)
class Beside(Block):
    """Two groups of blocks side by side on paper, one after the other on a screen.

    ``share`` is what the left one takes of the width.
    """

    left: tuple[Block, ...]
    right: tuple[Block, ...]
    share: float = 0.5


@dataclass(frozen=True)
class Annex(Block):
    """The second part of a document: what its advice rests on.

    A file of its own on paper, or the end of the first; folded on a screen. It stands last.
    Headings in it are of level 2 and 3.
    """

    title: Text
    blocks: tuple[Block, ...]
    anchor: str = "annex"

    @property
    def opened(self) -> tuple[Block, ...]:
        """Its heading on a new page, and what follows it."""
        return (Heading(1, self.title, self.anchor, new_page=True), *self.blocks)


def opened(blocks: Iterable[Block]) -> tuple[Block, ...]:
    """Blocks with those of an annex in its place."""
    return tuple(inner for block in blocks
                 for inner in (block.opened if isinstance(block, Annex) else (block,)))


@dataclass(frozen=True)
class AnnexFile:
    """The annex as a file of its own: its name and what binds it to the first part."""

    name: str
    sha256: str


class Paper(StrEnum):
    LETTER = "letter"
    A4 = "a4"


class DocumentStatus(StrEnum):
    """Where the document is in its life. Everything but ISSUED prints its word on each page."""

    DRAFT = "draft"
    ISSUED = "issued"
    SUPERSEDED = "superseded"
    WITHDRAWN = "withdrawn"
    REDACTED = "redacted"


@dataclass(frozen=True)
class LogoPrint:
    """A logo: an opaque PNG, its size in pixels, and what is said in its place."""

    png: bytes = field(repr=False)
    width: int
    height: int
    alt: str


class Relationship(StrEnum):
    """What an attached file is to the document (PDF/A-3, associated files)."""

    SOURCE = "Source"
    DATA = "Data"
    ALTERNATIVE = "Alternative"


@dataclass(frozen=True)
class Attachment:
    """A file inside the file: the case (SOURCE), a lab file (DATA), the actions (ALTERNATIVE)."""

    name: str
    content: bytes = field(repr=False)
    mime: str
    relationship: Relationship
    description: str = ""


class Words(FixedWords):
    """Those that the renderer prints itself, in ``page.j2``.

    Patterns hold ``{}`` for what is put in, in the order of their names.
    """


@dataclass(frozen=True)
class ReportModel:
    """Everything ``render_pdf`` needs; equal models give equal bytes."""

    title: str
    """Document title (window title, metadata)."""
    case_id: str
    date: dt.date
    """The case's date. It is the only date in the file; the clock is never read."""
    words: Words
    blocks: tuple[Block, ...]
    """The first may be a ``parts.Summary``, which takes page 1 alone."""
    author: str = ""
    subject: str = ""
    """``author``, ``subject`` (metadata): the adviser, and what the advisory is about."""
    number: str | None = None
    revision: str | None = None
    """``number``, ``revision``: advisory number and revision, once issued."""
    status: DocumentStatus = DocumentStatus.DRAFT
    language: str = "en"
    """Language tag ("en", "es")."""
    paper: Paper = Paper.LETTER
    running_head: str = ""
    """Left side of the line on top of each page: the business, or the field."""
    units: str = "us"
    """``us`` or ``si``, kept for the metadata."""
    attachments: tuple[Attachment, ...] = ()
    accent: str = ""
    """``#RRGGBB`` in place of the theme's accent on pages; charts keep the theme's colours."""
    logo: LogoPrint | None = None
    """Beside the running head of every page but the first."""
    scale: float = 1.0
    """1 is the normal type size; up to 1.6 for large print."""
    elsewhere: frozenset[str] = frozenset()
    """Anchors of the other file of the document: links to them are printed as text."""

    def __post_init__(self) -> None:
        if not 1.0 <= self.scale <= 1.6:
            raise ValueError(f"type scale {self.scale:g}; 1 to 1.6")
        if len({a.name for a in self.attachments}) != len(self.attachments):
            raise ValueError("two attachments of one name")
