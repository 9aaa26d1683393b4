"""A tag layer for reportlab: structure tree, marked content, links that are read out.

reportlab draws pages but knows nothing of what the marks mean. Here every piece of content
is drawn between :meth:`TaggedCanvas.begin` and :meth:`TaggedCanvas.end` for an
:class:`Element`, or inside :meth:`TaggedCanvas.artifact` if it is decoration. An element
may be drawn in several pieces, on several pages; it stays one element. Elements are read
in the order in which they were added to the tree, wherever they stand on the page.

Built after ISO 32000-1, 14.6 to 14.8, and ISO 14289-1 (PDF/UA-1).
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from reportlab.pdfbase.pdfdoc import (
    PDFArray,
    PDFDictionary,
    PDFName,
    PDFObject,
    PDFPage,
    PDFString,
)
from reportlab.pdfgen.canvas import Canvas

from loambrief.render.lines import Printer

ROLES = frozenset((
    "Document", "Sect", "Div", "H1", "H2", "H3", "H4", "P", "L", "LI", "Lbl", "LBody", "Table",
    "Caption", "THead", "TBody", "TR", "TH", "TD", "Figure", "Link", "Span",
    "Form",
))
"""Standard structure types in use; none needs a role map."""


Box = tuple[float, float, float, float]
FIELD_FONT = "LoambriefForm"
"""Name of the font that boxes are filled in with; ``form_file`` puts it into the file."""
FIELD_LOOK = f"/{FIELD_FONT} 12 Tf 0 g"
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

    Raises
    ------
    ValueError
        Another role.
    """

    __slots__ = ("alt", "attributes", "kids", "number", "role")

    def __init__(self, role: str, alt: str = "", attributes: str = ""):
        if role not in ROLES:
            raise ValueError(f"structure type {role!r} is not in use here")
        self.role, self.alt, self.attributes = role, alt, attributes
        self.kids: list[Element | Content | Annotation] = []
        self.number = 0

    def add(self, role: str, alt: str = "", attributes: str = "") -> Element:
        """A new last child; parameters as for the class."""
        child = Element(role, alt, attributes)
        self.kids.append(child)
        return child

    def walk(self) -> Iterator[Element]:
        """This element and all below it, in reading order."""
        yield self
        for kid in self.kids:
            if isinstance(kid, Element):
                yield from kid.walk()


@dataclass(frozen=True, slots=True)
class Content:
    """A marked-content sequence: number ``mcid`` on a page (from 0)."""

    page: int
    mcid: int


@dataclass(frozen=True, slots=True)
class Annotation:
    """A link's or field's area: name in the file, page, and key in the parent tree."""

    name: str
    page: int
    key: int


class Raw(PDFObject):
    """An indirect object whose PDF syntax is already written."""

    def __init__(self) -> None:
        self.syntax = ""

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

    def __init__(self, *args, **kwargs):
        self.root = Element("Document")
        self._owners: list[list[Element]] = []
        self._annotations: list[tuple[Annotation, Element]] = []
        self._fields: list[PDFObject] = []
        self._nesting = 0
        super().__init__(*args, **kwargs)
        self.printer = Printer(self)
        self.setCatalogEntry("MarkInfo", PDFDictionary({"Marked": "true"}))
        self.setViewerPreference("DisplayDocTitle", "true")

    # Marking --------------------------------------------------------------------------

    def operator(self, element: Element) -> str:
        """The operator that opens a piece of ``element`` on the current page."""
        page = self._pageNumber - 1
        while len(self._owners) <= page:
            self._owners.append([])
        owners = self._owners[page]
        element.kids.append(Content(page, len(owners)))
        owners.append(element)
        return f"/{element.role} <</MCID {len(owners) - 1}>> BDC"

    def put(self, *operators: str) -> None:
        """Operators as they are, their marks among them."""
        self._code.extend(operators)

    def begin(self, element: Element) -> None:
        """Open a piece of an element; what is drawn until :meth:`end` belongs to it.

        Raises
        ------
        ValueError
            Another piece is open: marked content is never nested here.
        """
        self._open()
        self._code.append(self.operator(element))

    def end(self) -> None:
        """Close what :meth:`begin` opened."""
        self._nesting -= 1
        self._code.append("EMC")

    @contextmanager
    def tagged(self, element: Element | None) -> Iterator[None]:
        """``begin`` and ``end`` around a block; None marks it as decoration."""
        if element is None:
            with self.artifact():
                yield
            return
        self.begin(element)
        yield
        self.end()

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
        self.open_artifact(kind, subtype)
        yield
        self.end()

    def open_artifact(self, kind: str = "Layout", subtype: str = "") -> None:
        """Start of decoration, up to :meth:`end`; parameters as of :meth:`artifact`."""
        self._open()
        self._code.append(artifact_operator(kind, subtype))

    def _open(self) -> None:
        if self._nesting:
            raise ValueError("marked content inside marked content")
        self._nesting += 1

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
        entries = {"Border": PDFArray([0, 0, 0]), "Contents": HexText(contents)}
        if target.startswith("#"):
            entries["Dest"] = self._bookmarkReference(target[1:])
        else:
            entries["A"] = PDFDictionary(
                {"Type": PDFName("Action"), "S": PDFName("URI"), "URI": PDFString(target)}
            )
        self._annotate(element, "Link", box, entries)

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
        entries = {"FT": PDFName("Sig")}
        if last:
            entries["Lock"] = PDFDictionary({"Type": PDFName("SigFieldLock"),
                                             "Action": PDFName("All"), "P": 1})
        self._field(element, name, label, box, entries)

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
        entries = {"FT": PDFName("Tx"), "DA": PDFString(FIELD_LOOK)}
        if lines:
            entries["Ff"] = MULTILINE
        if longest:
            entries["MaxLen"] = longest
        self._field(element, name, label, box, entries)

    def add_tick_field(self, element: Element, name: str, label: str, box: Box) -> None:
        """An empty square to tick that belongs to a Form element.

        Parameters as of :meth:`add_signature_field`.
        """
        entries = {"FT": PDFName("Btn"), "V": PDFName("Off"), "AS": PDFName("Off")}
        self._field(element, name, label, box, entries)

    def _field(self, element: Element, name: str, label: str, box: Box, entries: dict) -> None:
        """A form field with its one area."""
        common = {"T": HexText(name), "TU": HexText(label), "P": self._doc.thisPageRef()}
        self._annotate(element, "Widget", box, {**common, **entries})
        self._fields.append(self._annotationrefs[-1])
        self.setCatalogEntry("AcroForm", PDFDictionary(
            {"Fields": PDFArray(self._fields), "SigFlags": 3}))  # fields exist; append only

    def _annotate(self, element: Element, subtype: str, box: Box, entries: dict) -> None:
        """An annotation, entered below its element and in the parent tree."""
        key = len(self._annotations)
        common = {
            "Type": PDFName("Annot"),
            "Subtype": PDFName(subtype),
            "Rect": PDFArray(self._absRect(box, relative=1)),
            "F": 4,
            "StructParent": _Key(self, key),
        }
        name = f"area{key}"
        self._addAnnotation(PDFDictionary({**common, **entries}), name)
        where = Annotation(f"Annot.{name}", self._pageNumber - 1, key)
        element.kids.append(where)
        self._annotations.append((where, element))

    # Writing --------------------------------------------------------------------------

    def showPage(self) -> None:
        if self._nesting:
            raise ValueError("a page ends inside marked content")
        index = self._pageNumber - 1
        while len(self._owners) <= index:
            self._owners.append([])
        super().showPage()
        page = self._doc.idToObject[f"Page{index + 1}"]
        page.__NoDefault__ = [*PDFPage.__NoDefault__, "StructParents", "Tabs"]
        page.StructParents, page.Tabs = index, PDFName("S")
        page.Trans = None

    def save(self) -> None:
        if len(self._code):
            self.showPage()
        self._write_tree()
        super().save()

    def page_count(self) -> int:
        """Pages finished so far."""
        return self._pageNumber - 1

    def _number(self, name: str) -> int:
        return self._doc.idToObjectNumberAndVersion[name][0]

    def _indirect(self) -> Raw:
        raw = Raw()
        self._doc.Reference(raw)
        return raw

    def _write_tree(self) -> None:
        document = self._doc
        top = self._indirect()
        elements = list(self.root.walk())
        objects = [self._indirect() for _ in elements]
        for element, raw in zip(elements, objects, strict=True):
            element.number = self._number(raw.__InternalName__)
        parents = {id(kid): element.number for element in elements for kid in element.kids
                   if isinstance(kid, Element)}
        parents[id(self.root)] = self._number(top.__InternalName__)
        pages = [self._number(f"Page{i + 1}") for i in range(self.page_count())]
        for element, raw in zip(elements, objects, strict=True):
            raw.syntax = self._dictionary(element, parents[id(element)], pages)
        numbers = [f"{i}[{' '.join(f'{e.number} 0 R' for e in owners)}]"
                   for i, owners in enumerate(self._owners)]
        numbers += [f"{len(pages) + a.key} {e.number} 0 R" for a, e in self._annotations]
        tree = self._indirect()
        tree.syntax = f"<</Nums[{' '.join(numbers)}]>>"
        top.syntax = (
            f"<</Type/StructTreeRoot/K {self.root.number} 0 R"
            f"/ParentTree {self._number(tree.__InternalName__)} 0 R"
            f"/ParentTreeNextKey {len(pages) + len(self._annotations)}>>"
        )
        document.Catalog.StructTreeRoot = top

    def _dictionary(self, element: Element, parent: int, pages: list[int]) -> str:
        """One structure element in PDF syntax."""
        home = next((k.page for k in element.kids if not isinstance(k, Element)), None)
        kids = []
        for kid in element.kids:
            if isinstance(kid, Element):
                kids.append(f"{kid.number} 0 R")
            elif isinstance(kid, Annotation):
                kids.append(f"<</Type/OBJR/Obj {self._number(kid.name)} 0 R"
                            f"/Pg {pages[kid.page]} 0 R>>")
            elif kid.page == home:
                kids.append(str(kid.mcid))
            else:
                kids.append(f"<</Type/MCR/Pg {pages[kid.page]} 0 R/MCID {kid.mcid}>>")
        parts = [f"<</Type/StructElem/S/{element.role}/P {parent} 0 R"]
        if home is not None:
            parts.append(f"/Pg {pages[home]} 0 R")
        if kids:  # an only kid of a form field stands bare: programs that compare revisions
            bare = element.role == "Form" and len(kids) == 1  # look for it there
            parts.append(f"/K{kids[0]}" if bare else f"/K[{' '.join(kids)}]")
        if element.alt:
            parts.append(f"/Alt{text_string(element.alt)}")
        if element.attributes:
            parts.append(f"/A<<{element.attributes}>>")
        return "".join(parts) + ">>"


class _Key(PDFObject):
    """The key of a link in the parent tree; it follows the pages, so it is known last."""

    def __init__(self, canvas: TaggedCanvas, key: int):
        self._canvas, self._key = canvas, key

    def format(self, document) -> bytes:
        return str(self._canvas.page_count() + self._key).encode("ascii")


class HexText(PDFObject):
    """A text string written as hexadecimal."""

    def __init__(self, text: str):
        self._text = text

    def format(self, document) -> bytes:
        return text_string(self._text).encode("ascii")
