"""Texts to paragraphs with their tags, links, bookmarks and anchors.

No text ever passes through a markup parser, so what a client types is printed letter by
letter.
"""

from collections.abc import Callable, Set
from typing import Any

from reportlab.lib.styles import ParagraphStyle

from loambrief.charts.fonts import REGULAR, printable
from loambrief.errors import RenderFault
from loambrief.render.flowables import LinkTag, ParagraphTag, TaggedParagraph
from loambrief.render.lines import Piece, text_width
from loambrief.render.styles import Look, face
from loambrief.render.tags import Element, TaggedCanvas
from loambrief.report.blocks import Span, Text, Words, plain
from loambrief.report.links import web_address

_NARROW = str.maketrans({"\u202f": "\u00a0", "\u2007": "\u00a0", "\u2060": None})
HEADINGS = ("H1", "H2", "H3", "H4", "H5")


def _printed(text: str) -> str:
    if text.isascii() and text.isprintable():
        return text
    text = printable(text)
    if "\u202f" in text or "\u2007" in text or "\u2060" in text:
        return text.translate(_NARROW)
    return text


def clean(text: str) -> str:
    """One text as it will be printed, without line ends."""
    return _printed(text).replace("\n", " ")


def _break(pieces: list[Piece], text: str, *look: Any) -> None:
    """Append a text, its lines parted by line breaks; ``look`` as of a piece."""
    first, *others = text.split("\n") if "\n" in text else (text,)
    pieces.append(Piece(first, *look))
    for line in others:
        pieces += Piece("\n", *look[:3]), Piece(line, *look)


class Composer:
    """Makes paragraphs for one document and keeps what belongs to the whole of it.

    Parameters
    ----------
    root : Element
        Top of the structure tree.
    below : int
        How many levels headings stand below those of the document from the first summary on:
        1 if its title is the document's own heading, 2 if the document has a cover.
    elsewhere : set of str
        Anchors that no link leads to.
    """

    def __init__(self, look: Look, words: Words, root: Element, below: int = 1,
                 elsewhere: Set[str] = frozenset()):
        self.look, self.words, self.root, self.elsewhere = look, words, root, elsewhere
        self.below, self.shift = below, 0
        self.level = 0
        """Level of the last heading, 1 to 3; 0 before the first."""
        self.outline = -1
        self._anchors: dict[str, str] = {}
        self._targets: dict[str, str] = {}

    def draft(self, look: Look) -> "Composer":
        """A composer for a trial in some look: nothing it makes is part of the document."""
        made = Composer(look, self.words, Element("Document"), self.below, self.elsewhere)
        made.shift = self.shift
        return made

    # Text -----------------------------------------------------------------------------

    def paragraph(
        self,
        text: Text,
        style: ParagraphStyle,
        element: Element | None,
        *,
        anchor: str = "",
        bold: bool = False,
        bookmark: Callable[[TaggedCanvas, float], None] | None = None,
    ) -> TaggedParagraph:
        """A paragraph of a text; raises RenderFault if the anchor is there already.

        Parameters
        ----------
        element : Element or None
            What it is in the structure tree; None for decoration.
        anchor : str
            Name that links may use.
        bookmark : callable
            Called when it is drawn; in place of what ``anchor`` gives.
        """
        tag = ParagraphTag(element, bookmark=bookmark or self.mark(anchor))
        pieces: list[Piece] = []
        bold = bold or style.fontName != REGULAR
        for part in text if isinstance(text, tuple) else (text,):
            if isinstance(part, Span):
                self._add(pieces, part, style, tag, bold)
            elif part:
                _break(pieces, _printed(part), face(bold, False), style.fontSize, style.textColor)
        return TaggedParagraph(pieces, style, tag)

    def _add(self, pieces: list[Piece], span: Span, style: ParagraphStyle, tag: ParagraphTag,
             bold: bool) -> None:
        """Append what a span becomes."""
        if not span.text:
            return
        target = self._target(span) if span.link else ""
        size = style.fontSize
        if span.small:
            size = min(self.look.style("small").fontSize, size)
        colour, link = self.look.colours["muted"] if span.muted else style.textColor, -1
        if target:
            colour, link = self.look.colours["accent"], len(tag.links)
            heard = span.describe or (
                self.words.opens if target.startswith("#") else self.words.site
            ).replace("{}", clean(span.text).strip())
            tag.links.append(LinkTag(Element("Link", language=span.language), target,
                                     clean(heard)))
        elif span.language:
            link = len(tag.links)
            tag.links.append(LinkTag(Element("Span", language=span.language), "", ""))
        _break(pieces, _printed(span.text), face(span.bold or bold, span.italic), size, colour,
               link)

    def _target(self, span: Span) -> str:
        """Where a link goes: a place in this file, a safe address, or nowhere."""
        link = span.link.strip()
        if link[1:] in self.elsewhere and link.startswith("#"):
            return ""
        if link.startswith("#") and len(link) > 1:
            return "#" + self._targets.setdefault(link[1:], f"to{len(self._targets)}")
        return web_address(link)

    # Anchors and headings -------------------------------------------------------------

    def mark(self, anchor: str) -> Callable[[TaggedCanvas, float], None] | None:
        """What to call where an anchor is drawn; None for no anchor.

        Raises RenderFault if another block has this anchor.
        """
        if not anchor:
            return None
        if anchor in self._anchors:
            raise RenderFault(f"two blocks with the anchor {anchor!r}")
        key = self._anchors[anchor] = self._targets.setdefault(anchor, f"to{len(self._targets)}")

        def place(canvas: TaggedCanvas, height: float) -> None:
            canvas.bookmark(key, height + 4)

        return place

    def check_links(self) -> None:
        """Raise RenderFault, naming every link target that no block has."""
        lost = sorted(set(self._targets) - set(self._anchors))
        if lost:
            raise RenderFault(f"links to nowhere: {', '.join(lost)}")

    def heading(self, level: int, text: Text, element: Element, *, anchor: str = "",
                bookmark: str = "", style: str = "") -> TaggedParagraph:
        """A heading, entered in the outline; parameters as of ``blocks.Heading``.

        Raises RenderFault if it skips a level.
        """
        if level > self.level + 1:
            raise RenderFault(f"heading {plain(text)!r} of level {level} after {self.level}")
        self.level = level
        return self._heading(level - 1, HEADINGS[level - 1 + self.shift], text, element, anchor,
                             bookmark, self.look.style(style or f"h{level}"))

    def heading_in(self, cell: Element, level: int, text: Text, anchor: str, bookmark: str,
                   style: str) -> TaggedParagraph:
        """A heading in a cell of a table: in the outline, of no effect on those that follow."""
        return self._heading(level - 1, HEADINGS[level - 1 + self.shift], text, cell, anchor,
                             bookmark, self.look.style(style))

    def title(self, text: Text, element: Element, anchor: str) -> TaggedParagraph:
        """The heading of a summary, with which those below it are numbered anew."""
        self.shift = self.below
        return self._heading(0, HEADINGS[self.shift - 1], text, element, anchor, "",
                             self.look.style("title"))

    def sub(self, text: Text, element: Element, style: str = "h3") -> TaggedParagraph:
        """A heading inside the title page; not in the outline."""
        paragraph = self.paragraph(text, self.look.style(style),
                                   element.add(HEADINGS[self.shift]))
        paragraph.keep_next = True
        return paragraph

    def _heading(self, depth: int, role: str, text: Text, element: Element, anchor: str,
                 bookmark: str, style: ParagraphStyle) -> TaggedParagraph:
        title = clean(bookmark or plain(text))
        anchor = anchor or f"\0{len(self._anchors)}"
        place = self.mark(anchor)
        key = self._anchors[anchor]

        def enter(canvas: TaggedCanvas, height: float) -> None:
            if place is not None:
                place(canvas, height)
            canvas.outline.append((depth, title, key))

        paragraph = self.paragraph(text, style, element.add(role), bookmark=enter)
        paragraph.keep_next = True
        return paragraph

    # Short forms ----------------------------------------------------------------------

    def text(self, text: Text, element: Element, style: str = "body", **kwargs) -> TaggedParagraph:
        """An ordinary paragraph below an element."""
        return self.paragraph(text, self.look.style(style), element.add("P"), **kwargs)

    def items(self, texts, element: Element, *, numbered: int | None = None,
              style: str = "item", labels: tuple[str, ...] = ()) -> list[TaggedParagraph]:
        """A list: bullets, numbers from ``numbered`` on, or ready labels.

        Parameters
        ----------
        element : Element
            Parent of the list.
        labels : tuple of str
            One for each text.
        """
        if not labels:
            texts = tuple(text for text in texts if plain(text).strip())
        if not texts:
            return []
        kind = "Disc" if numbered is None and not labels else "Decimal"
        top = element.add("L", attributes=f"/O/List/ListNumbering/{kind}")
        base = self.look.style(style)
        if not labels:
            labels = tuple(
                "•" if numbered is None else f"{numbered + i}." for i in range(len(texts))
            )
        indent = max(self.look.lengths["indent"], max(text_width(x, base) for x in labels) + 5)
        hanging = ParagraphStyle(f"{style}.hanging", base, leftIndent=indent)
        made = []
        for text, label in zip(texts, labels, strict=True):
            item = top.add("LI")
            tagged = item.add("Lbl")
            paragraph = self.paragraph(text, hanging, item.add("LBody"))
            paragraph.tag.label, paragraph.tag.label_element = label, tagged
            paragraph.tag.label_style = base
            made.append(paragraph)
        return made
