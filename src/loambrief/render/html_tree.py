"""Elements of the HTML twin: texts, headings, lists, links and their targets.

The page is built as a tree, never from strings, so whatever a client types is text.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from xml.etree import ElementTree as ET

from loambrief.errors import RenderFault
from loambrief.report.blocks import Span, Text, Words, plain, spans
from loambrief.report.links import web_address

Element = ET.Element
_ID = re.compile(r"[A-Za-z][A-Za-z0-9._-]*")
BLOCKS = frozenset((
    "body", "caption", "dd", "details", "div", "dl", "dt", "figure", "h1", "h2", "h3", "h4", "h5",
    "h6", "head", "header", "html", "li", "main", "meta", "nav", "ol", "p", "section", "style",
    "summary", "table", "tbody", "td", "th", "thead", "title", "tr", "ul"))
"""Elements after which a line may end without showing."""


def readable(text: str) -> str:
    """Text without what shows nothing: controls, zero-width and direction marks.

    Line ends stay as a newline. What no character set can hold becomes U+FFFD. Unlike on
    paper, letters of other scripts stay: the reader's device has type for them.
    """
    if text.isascii() and text.isprintable():
        return text
    kept = []
    for char in unicodedata.normalize("NFC", text.replace("\r\n", "\n")):
        kind = unicodedata.category(char)
        if char in "\n\r\u2028\u2029\v\f":
            kept.append("\n")
        elif char == "\t":
            kept.append(" ")
        elif kind in ("Cc", "Cf"):
            continue
        else:
            kept.append("\ufffd" if kind in ("Cs", "Cn") else char)
    return "".join(kept)


def add(parent: Element, tag: str, text: str = "", **attributes: str) -> Element:
    """A new element below another; ``class_`` is the class, ``_`` in a name is a hyphen."""
    named = {("class" if k == "class_" else k.replace("_", "-")): readable(v).replace("\n", " ")
             for k, v in attributes.items() if v}
    made = ET.SubElement(parent, tag, named)
    if text:
        append(made, text)
    return made


def append(parent: Element, text: str) -> None:
    """Text after everything that an element holds already; a newline starts a new line."""
    for index, line in enumerate(readable(text).split("\n")):
        if index:
            ET.SubElement(parent, "br")
        if not line:
            continue
        if len(parent):
            parent[-1].tail = (parent[-1].tail or "") + line
        else:
            parent.text = (parent.text or "") + line


class Tree:
    """Makes the elements of one page and keeps what belongs to the whole of it.

    Parameters
    ----------
    words : Words
    shift : int
        How many levels the model's headings stand below the page's own.
    """

    def __init__(self, words: Words, shift: int = 0):
        self.words, self.shift = words, shift
        self.level = 0
        """Level of the last heading of the model, 1 to 3; 0 before the first."""
        self.contents: list[tuple[int, str, str]] = []
        """Level in the page, id and text of each main heading."""
        self.figures = 0
        self._ids: dict[str, str] = {}
        self._placed: set[str] = set()
        self._linked: set[str] = set()

    # Targets --------------------------------------------------------------------------

    def id(self, anchor: str) -> str:
        """Id of an anchor, whatever is in its name."""
        if anchor not in self._ids:
            safe = _ID.fullmatch(anchor) and not anchor.startswith("doc-")
            self._ids[anchor] = anchor if safe else f"doc-to{len(self._ids)}"
        return self._ids[anchor]

    def place(self, element: Element, anchor: str) -> None:
        """Make an element the target of an anchor.

        Raises
        ------
        RenderFault
            Another element is.
        """
        if not anchor:
            return
        if anchor in self._placed:
            raise RenderFault(f"two blocks with the anchor {anchor!r}")
        self._placed.add(anchor)
        element.set("id", self.id(anchor))

    def check_links(self) -> None:
        """Raise RenderFault, naming every link target that no block has."""
        lost = sorted(self._linked - self._placed)
        if lost:
            raise RenderFault(f"links to nowhere: {', '.join(lost)}")

    def target(self, span: Span) -> str:
        """Where a link goes: a place on this page, a safe address, or nowhere."""
        link = span.link.strip()
        if link.startswith("#") and len(link) > 1:
            self._linked.add(link[1:])
            return f"#{self.id(link[1:])}"
        return web_address(link)

    # Texts ----------------------------------------------------------------------------

    def inline(self, parent: Element, text: Text, link: str = "") -> Element:
        """A text with its looks and links, inside an element; ``link`` where it has none."""
        for span in spans(text):
            inner = parent
            target = self.target(Span("", link=span.link or link))
            if target:
                inner = add(inner, "a", href=target, aria_label=span.describe)
                if not target.startswith("#"):
                    inner.set("rel", "noreferrer")
            for wanted, tag in ((span.bold, "b"), (span.italic, "i"), (span.small, "small")):
                if wanted:
                    inner = add(inner, tag)
            if span.muted:
                inner = add(inner, "span", class_="muted")
            append(inner, span.text)
        return parent

    def paragraph(self, parent: Element, text: Text, look: str = "") -> Element:
        """One paragraph; its class is its look."""
        return self.inline(add(parent, "p", class_=look), text)

    def items(self, parent: Element, texts: Iterable[Text], *, start: int | None = None,
              look: str = "") -> Element | None:
        """A list, numbered from ``start`` on if there is one; empty texts are left out."""
        texts = [text for text in texts if plain(text).strip()]
        if not texts:
            return None
        made = add(parent, "ul" if start is None else "ol", class_=look)
        if start not in (None, 1):
            made.set("start", str(start))
        for text in texts:
            self.inline(add(made, "li"), text)
        return made

    def facts(self, parent: Element, pairs: Iterable[tuple[Text, Text]], look: str) -> None:
        """Labels and their values; a pair without value is left out."""
        pairs = [(label, value) for label, value in pairs if plain(value).strip()]
        if not pairs:
            return
        made = add(parent, "dl", class_=look)
        for label, value in pairs:
            pair = add(made, "div")
            self.inline(add(pair, "dt"), label)
            self.inline(add(pair, "dd"), value)

    # Headings -------------------------------------------------------------------------

    def heading(self, parent: Element, level: int, text: Text, anchor: str = "",
                bookmark: str = "") -> Element:
        """A heading of the model.

        Raises
        ------
        RenderFault
            It skips a level.
        """
        if level > self.level + 1:
            raise RenderFault(f"heading {plain(text)!r} of level {level} after {self.level}")
        self.level = level
        made = self.inline(add(parent, f"h{min(level + self.shift, 6)}"), text)
        if level == 1:
            anchor = self.enter(level + self.shift, anchor, bookmark or plain(text))
        self.place(made, anchor)
        return made

    def enter(self, level: int, anchor: str, text: str) -> str:
        """Put a heading into the contents; returns its anchor, made up if it had none."""
        anchor = anchor or f"\0{len(self.contents)}"
        self.contents.append((level, self.id(anchor), readable(text)))
        return anchor

    def title(self, parent: Element, text: Text, anchor: str) -> Element:
        """The heading of a title part."""
        made = self.inline(add(parent, f"h{self.shift}", class_="title"), text)
        self.place(made, self.enter(self.shift, anchor, plain(text)))
        return made

    def card_title(self, parent: Element, text: Text, anchor: str) -> Element:
        """A heading one level below the section's, which stays as it is for the next card."""
        level = self.level
        made = self.heading(parent, min(level + 1, 3), text, anchor)
        self.level = level
        return made

    def sub(self, parent: Element, text: Text) -> Element:
        """A heading inside a title part; not in the contents."""
        return self.inline(add(parent, f"h{self.shift + 1}"), text)


def markup(top: Element) -> str:
    """A tree as HTML, a line for each block; the same tree gives the same text."""
    for element in top.iter():
        if element.tag in BLOCKS:
            if element.tag not in ("html", "p", "li", "dt", "dd", "td", "th", "style", "title"):
                element.text = (element.text or "") + ("\n" if len(element) else "")
            element.tail = (element.tail or "") + "\n"
    return ET.tostring(top, encoding="unicode", method="html")
