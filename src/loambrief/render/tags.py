"""A tag layer for reportlab: structure tree, marked content, links that are read out.

reportlab draws pages but knows nothing of what the marks mean. Here every piece of content
is drawn inside :meth:`TaggedCanvas.tagged` for an :class:`Element`, or inside
:meth:`TaggedCanvas.artifact` if it is decoration. An element
may be drawn in several pieces, on several pages; it stays one element. Elements are read
in the order in which they were added to the tree, wherever they stand on the page.

Built after ISO 32000-1, 14.6 to 14.8, and ISO 14289-1 (PDF/UA-1).
"""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, NamedTuple

from reportlab.pdfbase.pdfdoc import PDFName, PDFObject, PDFPage
from reportlab.pdfgen.canvas import Canvas

from loambrief.render.lines import Printer, number
from loambrief.render.pdf_file import Stream

ROLES = frozenset((
    "Document", "Sect", "Div", "H1", "H2", "H3", "H4", "H5", "P", "L", "LI", "Lbl", "LBody",
    "Table", "Caption", "THead", "TBody", "TR", "TH", "TD", "Figure", "Link", "Span", "Form",
))
"""Standard structure types in use; none needs a role map."""


Box = tuple[float, float, float, float]
FIELD_FONT = "LoambriefForm"
"""Name of the font that boxes are filled in with; ``form_appearance`` puts it into the file."""
FIELD_LOOK = f"/{FIELD_FONT} 12 Tf 0 g"
NOTHING, NO_TEXT = b"q Q", b"/Tx BMC EMC"
"""Content that shows nothing; a stream of no bytes stops some readers."""
MULTILINE = 4096
"""Field flag, ISO 32000-1, table 228."""


class Element:
    """A node of the structure tree.

    Parameters
    ----------
    role : str
        One of :data:`ROLES`.
    alt : str
        Text alternative (needed for a Figure).
    attributes : str
        Attribute dictionary in PDF syntax, e.g. ``"/O/Table/Scope/Column"``.
    language : str
        Language of what it holds (BCP 47) where it is not the document's.

    Raises
    ------
    ValueError
        Another role.
    """

    __slots__ = ("alt", "attributes", "kids", "language", "number", "parent", "role")

    def __init__(self, role: str, alt: str = "", attributes: str = "", language: str = ""):
        if role not in ROLES:
            raise ValueError(f"structure type {role!r} is not in use here")
        self.role, self.alt, self.attributes, self.language = role, alt, attributes, language
        self.kids: list[Element | Content | Annotation] = []
        self.number = self.parent = 0
        """Numbers of its object and its parent's, once they are written."""

    def add(self, role: str, alt: str = "", attributes: str = "") -> "Element":
        """A new last child; parameters as for the class."""
        child = Element(role, alt, attributes)
        self.kids.append(child)
        return child

    def walk(self) -> "Iterator[Element]":
        """This element and all below it, in reading order."""
        left = [self]
        while left:
            element = left.pop()
            yield element
            left += [kid for kid in reversed(element.kids) if isinstance(kid, Element)]


class Content(NamedTuple):
    """A marked-content sequence: number ``mcid`` on a page (from 0)."""

    page: int
    mcid: int


class Annotation(NamedTuple):
    """A link's or field's area: page (from 0) and number of its object."""

    page: int
    number: int


class Raw(PDFObject):
    """What is already in PDF syntax."""

    def __init__(self, syntax: str):
        self.syntax = syntax

    def format(self, document) -> bytes:
        return self.syntax.encode("latin-1")


def text_string(text: str) -> str:
    """A text as a PDF hexadecimal string (UTF-16BE with byte order mark)."""
    encoded = text.encode("utf-16-be", "replace").hex().upper()
    return f"<FEFF{encoded}>"


def artifact_operator(kind: str = "Layout", subtype: str = "") -> str:
    """The operator that opens decoration; parameters as of ``TaggedCanvas.artifact``."""
    extra = f"/Subtype/{subtype}" if subtype else ""
    return f"/Artifact <</Type/{kind}{extra}>> BDC"


class TaggedCanvas(Canvas):
    """A canvas that writes tags; otherwise used as reportlab's own."""

    _doc: Any
    """reportlab's document; its types do not know what it holds."""
    _annotationrefs: list[PDFObject]

    def __init__(self, *args: Any, **kwargs: Any):
        self.root = Element("Document")
        self.owners: list[list[Element]] = []
        """For each page the elements its marks belong to, in order of their numbers."""
        self.area_owners: list[Element] = []
        """For each link and field the element it belongs to."""
        self.written: dict[int, str] = {}
        """Objects by number, in PDF syntax."""
        self.outline: list[tuple[int, str, str]] = []
        """Bookmarks: depth from 0, title, name of the place."""
        self.catalog = {"MarkInfo": "<</Marked true>>",
                        "ViewerPreferences": "<</DisplayDocTitle true>>"}
        """Entries of the document catalog in PDF syntax."""
        self.boxes = False
        """There are fields to fill in, not only to sign."""
        self._areas: list[tuple[int, int, Box, str, str]] = []
        self._places: dict[str, tuple[int, float]] = {}
        self._fields: list[str] = []
        self._open = False
        super().__init__(*args, **kwargs)
        self.printer = Printer(self._doc)

    # Marking --------------------------------------------------------------------------

    def operator(self, element: Element) -> str:
        """The operator that opens a piece of ``element`` on the current page."""
        page = self.page_count()
        while len(self.owners) <= page:
            self.owners.append([])
        owners = self.owners[page]
        mark = len(owners)
        element.kids.append(Content(page, mark))
        owners.append(element)
        return f"/{element.role} <</MCID {mark}>> BDC"

    def put(self, *operators: str) -> None:
        """Operators as they are, their marks among them."""
        for operator in operators:
            self.addLiteral(operator)

    @contextmanager
    def tagged(self, element: Element | None) -> Iterator[None]:
        """What is drawn inside belongs to an element; None marks it as decoration.

        Raises ValueError if another piece is open: marked content is never nested here.
        """
        with self._marked(self.operator(element) if element else artifact_operator()):
            yield

    @contextmanager
    def artifact(self, kind: str = "Layout", subtype: str = "") -> Iterator[None]:
        """What is drawn inside is decoration, not content.

        Parameters
        ----------
        kind : str
            "Layout", "Page" or "Pagination".
        subtype : str
            "Header", "Footer" or "Watermark" with "Pagination".
        """
        with self._marked(artifact_operator(kind, subtype)):
            yield

    @contextmanager
    def _marked(self, operator: str) -> Iterator[None]:
        if self._open:
            raise ValueError("marked content inside marked content")
        self._open = True
        self.addLiteral(operator)
        yield
        self._open = False
        self.addLiteral("EMC")

    def add_link(self, element: Element, target: str, contents: str, box) -> None:
        """A clickable area that belongs to a Link element.

        Parameters
        ----------
        element : Element
            Role Link.
        target : str
            ``"#name"`` of a bookmark in this file, or an address.
        contents : str
            What a screen reader says.
        box : tuple of float
            x0, y0, x1, y1 in the current coordinates.
        """
        entries = f"/Subtype/Link/Border[0 0 0]/Contents{text_string(contents)}"
        if not target.startswith("#"):
            entries += f"/A<</Type/Action/S/URI/URI{text_literal(target)}>>"
        self._area(element, box, entries, target[1:] if target.startswith("#") else "")

    def _area(self, element: Element, box: Box, entries: str, place: str = "") -> int:
        """A new link or field on this page, entered below its element."""
        new, page = self.reserve(), self.page_count()
        self._annotationrefs.append(Raw(f"{new} 0 R"))
        element.kids.append(Annotation(page, new))
        self.area_owners.append(element)
        x0, y0 = self.absolutePosition(box[0], box[1])
        x1, y1 = self.absolutePosition(box[2], box[3])
        self._areas.append((new, page, (x0, y0, x1, y1), entries, place))
        return new

    def add_signature_field(self, element: Element, name: str, label: str, box: Box,
                            last: bool = False) -> None:
        """An empty digital signature field that belongs to a Form element.

        Parameters
        ----------
        element : Element
            Role Form.
        name : str
            Field name, for the program that signs.
        label : str
            What a screen reader says.
        box : tuple of float
            x0, y0, x1, y1 in the current coordinates.
        last : bool
            Once this field is signed nothing may change any more (a lock on all fields,
            ISO 32000-1, 12.7.4.5, with the permission of ISO 32000-2).
        """
        lock = "/Lock<</Type/SigFieldLock/Action/All/P 1>>" if last else ""
        self._field(element, name, label, box, f"/FT/Sig{self._empty(box, NOTHING)}{lock}")

    def add_text_field(self, element: Element, name: str, label: str, box: Box, *,
                       lines: bool = False, longest: int = 0) -> None:
        """An empty box to type in that belongs to a Form element.

        Parameters
        ----------
        element, name, label, box
            As of :meth:`add_signature_field`.
        lines : bool
            More than one line may be typed.
        longest : int
            Characters that may be typed; 0 for any number.
        """
        self.boxes = True
        entries = f"/FT/Tx/DA({FIELD_LOOK}){self._empty(box, NO_TEXT)}"
        if lines:
            entries += f"/Ff {MULTILINE}"
        if longest:
            entries += f"/MaxLen {longest}"
        self._field(element, name, label, box, entries)

    def add_tick_field(self, element: Element, name: str, label: str, box: Box) -> None:
        """An empty square to tick that belongs to a Form element.

        Parameters as of :meth:`add_signature_field`.
        """
        self.boxes = True
        self._field(element, name, label, box, "/FT/Btn/V/Off/AS/Off")

    def _empty(self, box: Box, content: bytes) -> str:
        """An appearance of a field that shows nothing, as ISO 19005-3, 6.3.3 wants one."""
        size = f"{number(box[2] - box[0])} {number(box[3] - box[1])}"
        made = self.reserve_stream(
            content, f"/Type/XObject/Subtype/Form/Resources<<>>/BBox[0 0 {size}]")
        return f"/AP<</N {made} 0 R>>"

    def _field(self, element: Element, name: str, label: str, box: Box, entries: str) -> None:
        """A form field with its one area."""
        new = self._area(element, box, f"/Subtype/Widget/T{text_string(name)}"
                                       f"/TU{text_string(label)}{entries}")
        self._fields.append(f"{new} 0 R")
        self.catalog["AcroForm"] = (  # fields exist; append only
            f"<</Fields[{' '.join(self._fields)}]/SigFlags 3>>")

    # Places ---------------------------------------------------------------------------

    def bookmark(self, name: str, top: float) -> None:
        """Name a place: this page, with a height at the top of the window."""
        self._places[name] = (self.page_count(), top)

    def destination(self, name: str) -> str:
        """A named place in PDF syntax, once all pages are there."""
        page, top = self._places[name]
        return f"[{self._page_number(page)} 0 R/FitH {number(top)}]"

    # Writing --------------------------------------------------------------------------

    def showPage(self) -> None:
        if self._open:
            raise ValueError("a page ends inside marked content")
        index = self.page_count()
        while len(self.owners) <= index:
            self.owners.append([])
        super().showPage()
        page = self._doc.idToObject[f"Page{index + 1}"]
        page.__NoDefault__ = [*PDFPage.__NoDefault__, "StructParents", "Tabs"]
        page.StructParents, page.Tabs = 0, PDFName("S")  # ``write_tree`` numbers them
        page.Trans = None

    @property
    def document(self) -> Any:
        """reportlab's document, which holds the numbered objects."""
        return self._doc

    def page_count(self) -> int:
        """Pages finished so far."""
        return self.getPageNumber() - 1

    def page_numbers(self) -> list[int]:
        """Object numbers of the finished pages."""
        return [self._page_number(page) for page in range(self.page_count())]

    def _page_number(self, page: int) -> int:
        return self._doc.idToObjectNumberAndVersion[f"Page{page + 1}"][0]

    def finished_pages(self) -> list[Any]:
        return [self._doc.idToObject[f"Page{n + 1}"] for n in range(self.page_count())]

    def reserve(self) -> int:
        """Number of an object that will stand in :attr:`written`."""
        self._doc.objectcounter += 1
        return self._doc.objectcounter

    def reserve_stream(self, data: bytes, entries: str, packed: bool = True) -> int:
        """Number of a new stream; parameters as of ``pdf_file.Stream``."""
        reference = self._doc.Reference(Stream(data, entries, packed))
        return self._doc.idToObjectNumberAndVersion[reference.name][0]

    def write_areas(self) -> None:
        """Write the links and fields, now that the place of each page is known."""
        pages = self.page_numbers()
        for key, (new, page, box, entries, place) in enumerate(self._areas):
            goes = f"/Dest{self.destination(place)}" if place else ""
            self.written[new] = (f"<</Type/Annot/Rect{rectangle(box)}/F 4/StructParent {key}"
                                 f"/P {pages[page]} 0 R{entries}{goes}>>")


def text_literal(text: str) -> str:
    """ASCII text as a PDF string."""
    return "(" + re.sub(r"([()\\\\])", r"\\\1", text) + ")"


def rectangle(box: Box) -> str:
    """A rectangle in PDF syntax."""
    return f"[{' '.join(map(number, box))}]"
