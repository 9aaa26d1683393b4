"""Several finished documents as one: pages, tags, bookmarks, links and form fields kept.

The first document lends its metadata, so the whole is the kind of file it is. Every tag of
the others is taken over below one tag of its own, with the numbers that tie page content to
tags counted on (ISO 32000-1, 14.7.4.4); files attached to the others stay with them.
"""

import warnings
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from io import BytesIO

import pikepdf
from pikepdf import Array, Dictionary, Name, NumberTree, OutlineItem, Pdf, String
from pikepdf.pdfa import resolve_save_kwargs

from loambrief.errors import RenderFault
from loambrief.render.pdfa import FLAVOUR, SAVING
from loambrief.render.tags import NOTHING


@dataclass(frozen=True)
class BookPart:
    """One document to be joined."""

    title: str
    """Its bookmark; its own bookmarks go below."""
    pdf: Callable[[], bytes]
    """Gives its bytes, when its turn comes."""
    label: str = ""
    """Printed by readers before the page number, which then starts at 1 for each part; "": pages
    are counted on through all parts."""


def page_count(pdf: bytes) -> int:
    """Pages of a document."""
    with pikepdf.open(BytesIO(pdf)) as opened:
        return len(opened.pages)


def join(front: bytes, parts: Sequence[BookPart], *, right_hand: bool = False) -> bytes:
    """The front and all parts as one tagged document; raises RenderFault for one without tags.

    Parameters
    ----------
    front : bytes
        Tagged PDF whose pages come first, labelled i, ii, iii.
    right_hand : bool
        For printing on both sides: each part starts on an odd page, after a blank one if
        need be; so does the first after the front.
    """
    with ExitStack() as opened:
        book = opened.enter_context(pikepdf.open(BytesIO(front)))
        joined = _Joined(book)
        if right_hand:
            joined.even()
        labels: list[tuple[int, Dictionary]] = [(0, Dictionary(S=Name.r))]
        body = len(book.pages)
        for number, part in enumerate(parts, 1):
            if right_hand:
                joined.even()
            start = len(book.pages)
            source = opened.enter_context(pikepdf.open(BytesIO(part.pdf())))
            joined.take(source, part.title, number)
            if part.label:
                labels.append((start, Dictionary(S=Name.D, P=String(f"{part.label} "))))
            elif number == 1:
                labels.append((body, Dictionary(S=Name.D)))
        joined.finish(labels)
        out = BytesIO()
        book.save(out, **resolve_save_kwargs(FLAVOUR, **SAVING))
        return out.getvalue()


class _Joined:
    def __init__(self, book: Pdf):
        self.book = book
        self.top = _document(book)
        self.ties = dict(NumberTree(book.Root.StructTreeRoot.ParentTree).items())
        self.next = max(self.ties, default=-1) + 1
        self.kids = list(self.top.K) if isinstance(self.top.K, Array) else [self.top.K]
        self.marks: list[OutlineItem] = []

    def even(self) -> None:
        """A blank page if the last one is odd."""
        if len(self.book.pages) % 2:
            box = [float(x) for x in self.book.pages[-1].mediabox]
            page = self.book.add_blank_page(page_size=(box[2] - box[0], box[3] - box[1]))
            page.obj.Contents = self.book.make_stream(NOTHING)

    def take(self, source: Pdf, title: str, number: int) -> None:
        """All pages of a document with what belongs to them."""
        _document(source)
        start = len(self.book.pages)
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", "Copying pages")  # form fields are taken below
            self.book.pages.extend(source.pages)
        self._tags(source, range(start, len(self.book.pages)), title)
        self._marks(source, start, title)
        self._fields(source, number)

    def _tags(self, source: Pdf, pages: range, title: str) -> None:
        tree = self.book.copy_foreign(source.Root.StructTreeRoot)
        ties = dict(NumberTree(tree.ParentTree).items())
        offset = self.next
        for index in pages:
            _count_on(self.book.pages[index].obj, offset)
        for key, value in ties.items():
            self.ties[key + offset] = value
        self.next = offset + max(ties, default=-1) + 1
        root = tree.K[0] if isinstance(tree.K, Array) else tree.K
        root.S, root.P, root.T = Name.Part, self.top, String(title)
        self.kids.append(root)

    def _marks(self, source: Pdf, start: int, title: str) -> None:
        places = {page.obj.objgen: start + index for index, page in enumerate(source.pages)}

        def moved(item: OutlineItem) -> OutlineItem | None:
            target: object = item.destination
            if target is None and item.action is not None:
                target = item.action.get("/D")
            if not isinstance(target, Array) or target[0].objgen not in places:
                return None
            page = self.book.pages[places[target[0].objgen]].obj
            new = OutlineItem(item.title, Array([page, *list(target)[1:]]))
            new.is_closed = item.is_closed
            new.children.extend(filter(None, map(moved, item.children)))
            return new

        mark = OutlineItem(title, start, "Fit")
        mark.is_closed = True
        with source.open_outline() as outline:
            mark.children.extend(filter(None, map(moved, outline.root)))
        self.marks.append(mark)

    def _fields(self, source: Pdf, number: int) -> None:
        """Form fields under names of their own."""
        form = source.Root.get("/AcroForm")
        if form is None or not form.get("/Fields"):
            return
        taken = self.book.copy_foreign(source.make_indirect(form))
        own = self.book.Root.get("/AcroForm")
        if own is None:
            own = self.book.Root.AcroForm = self.book.make_indirect(Dictionary(Fields=Array()))
        for field in taken.Fields:
            field.T = String(f"{number}-{field.get('/T', '')}")
            own.Fields.append(field)
        for key in ("/DA", "/DR", "/SigFlags"):
            if key in taken and key not in own:
                own[key] = taken[key]

    def finish(self, labels: Sequence[tuple[int, Dictionary]]) -> None:
        book, tree = self.book, self.book.Root.StructTreeRoot
        self.top.K = Array(self.kids)
        nums = Array()
        for key in sorted(self.ties):
            nums.append(key)
            nums.append(self.ties[key])
        tree.ParentTree = book.make_indirect(Dictionary(Nums=nums))
        tree.ParentTreeNextKey = self.next
        with book.open_outline() as outline:
            outline.root.extend(self.marks)
        listed = Array()
        for index, label in labels:
            listed.append(index)
            listed.append(label)
        book.Root.PageLabels = Dictionary(Nums=listed)


def _document(pdf: Pdf):
    """The top tag of a document."""
    tree = pdf.Root.get("/StructTreeRoot")
    if tree is None:
        raise RenderFault("a document without tags cannot be joined to others")
    return tree.K[0] if isinstance(tree.K, Array) else tree.K


def _count_on(page: Dictionary, offset: int) -> None:
    """Move the numbers that tie a page, its annotations and its forms to the tags."""
    if "/StructParents" in page:
        page.StructParents = int(page.StructParents) + offset
    inner = page.get("/Resources", Dictionary()).get("/XObject", Dictionary())
    for item in (*page.get("/Annots", Array()), *dict(inner.items()).values()):
        for key in ("/StructParent", "/StructParents"):
            if key in item:
                item[key] = int(item[key]) + offset
