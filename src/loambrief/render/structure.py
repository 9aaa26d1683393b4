"""The structure tree and the bookmarks of a document in PDF syntax.

ISO 32000-1, 14.7 (logical structure) and 12.3.3 (document outline).
"""

from dataclasses import dataclass

from loambrief.render.tags import Annotation, Element, TaggedCanvas, text_string


def write_tree(canvas: TaggedCanvas) -> None:
    """Write the elements, and which of them each area and each mark of a page belongs to."""
    pages = canvas.page_numbers()
    top = canvas.reserve()
    canvas.root.parent = top
    elements = []
    for element in canvas.root.walk():
        element.number = canvas.reserve()
        elements.append(element)
        for kid in element.kids:
            if isinstance(kid, Element):
                kid.parent = element.number
    for element in elements:
        canvas.written[element.number] = _dictionary(element, pages)
    entries = [f"{key} {element.number} 0 R" for key, element in enumerate(canvas.area_owners)]
    for page, owners in zip(canvas.finished_pages(), canvas.owners, strict=True):
        page.StructParents = len(entries)
        entries.append(f"{len(entries)}[{' '.join([f'{e.number} 0 R' for e in owners])}]")
    tree = canvas.reserve()
    canvas.written[tree] = f"<</Nums[{' '.join(entries)}]>>"
    canvas.written[top] = (
        f"<</Type/StructTreeRoot/K {canvas.root.number} 0 R/ParentTree {tree} 0 R"
        f"/ParentTreeNextKey {len(entries)}>>")
    canvas.catalog["StructTreeRoot"] = f"{top} 0 R"


def _dictionary(element: Element, pages: list[int]) -> str:
    """One structure element in PDF syntax."""
    home = -1
    kids = []
    for kid in element.kids:
        if isinstance(kid, Element):
            kids.append(f"{kid.number} 0 R")
            continue
        if home < 0:
            home = kid.page
        if isinstance(kid, Annotation):
            kids.append(f"<</Type/OBJR/Obj {kid.number} 0 R/Pg {pages[kid.page]} 0 R>>")
        elif kid.page == home:
            kids.append(str(kid.mcid))
        else:
            kids.append(f"<</Type/MCR/Pg {pages[kid.page]} 0 R/MCID {kid.mcid}>>")
    parts = [f"<</Type/StructElem/S/{element.role}/P {element.parent} 0 R"]
    if home >= 0:
        parts.append(f"/Pg {pages[home]} 0 R")
    if kids:  # an only kid of a form field stands bare: programs that compare revisions
        bare = element.role == "Form" and len(kids) == 1  # look for it there
        parts.append(f"/K{kids[0]}" if bare else f"/K[{' '.join(kids)}]")
    if element.alt:
        parts.append(f"/Alt{text_string(element.alt)}")
    if element.language:
        parts.append(f"/Lang({element.language})")
    if element.attributes:
        parts.append(f"/A<<{element.attributes}>>")
    return "".join(parts) + ">>"


@dataclass(slots=True)
class _Entry:
    """One bookmark in the tree of them."""

    number: int
    title: str
    target: str
    kids: "list[_Entry]"


def write_outline(canvas: TaggedCanvas) -> None:
    """Write the bookmarks, those below the first level closed."""
    if not canvas.outline:
        return
    root = _Entry(canvas.reserve(), "", "", [])
    path = [root]
    for depth, title, key in canvas.outline:
        entry = _Entry(canvas.reserve(), title, canvas.destination(key), [])
        del path[depth + 1:]
        path[-1].kids.append(entry)
        path.append(entry)
    canvas.written[root.number] = (
        f"<</Type/Outlines/First {root.kids[0].number} 0 R/Last {root.kids[-1].number} 0 R"
        f"/Count {len(root.kids)}>>")
    _write_entries(canvas, root)
    canvas.catalog["Outlines"] = f"{root.number} 0 R"
    canvas.catalog["PageMode"] = "/UseOutlines"


def _write_entries(canvas: TaggedCanvas, parent: _Entry) -> None:
    for index, entry in enumerate(parent.kids):
        parts = [f"<</Title{text_string(entry.title)}/Parent {parent.number} 0 R"
                 f"/Dest{entry.target}"]
        if index:
            parts.append(f"/Prev {parent.kids[index - 1].number} 0 R")
        if index + 1 < len(parent.kids):
            parts.append(f"/Next {parent.kids[index + 1].number} 0 R")
        if entry.kids:
            parts.append(f"/First {entry.kids[0].number} 0 R/Last {entry.kids[-1].number} 0 R"
                         f"/Count {-len(entry.kids)}")  # of those that show when it is opened
        canvas.written[entry.number] = "".join(parts) + ">>"
        _write_entries(canvas, entry)
