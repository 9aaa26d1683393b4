"""A filled field sheet, as bytes that anybody may have sent, to the text in each box.

Only a form that carries an unchanged layout of this program is read. Everything that a form
has no need of (passwords, scripts, a second form in XML) is refused before a value is
looked at. Sizes and counts are limited.
"""

import logging
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

from pydantic import ValidationError
from pypdf import PdfReader
from pypdf.generic import ArrayObject, DictionaryObject, IndirectObject

from loambrief.case.problems import Problem, visible
from loambrief.case.reader import UNWANTED, read_bytes
from loambrief.case.sheet_layout import MAP_FILE, Layout, SheetBox, boxes, is_intact
from loambrief.errors import CaseProblems

MAGIC = b"%PDF-"
MAX_BYTES = 16 * 1024 * 1024
MAX_PAGES = 60
MAX_MAP = 100_000
MAX_WIDGETS = 5000
AGAIN = "Fill in the file that loambrief fieldsheet wrote, and save it as it is."
_OFF = ("", "/Off", "Off")


@dataclass(frozen=True)
class Filled:
    """What stands in the boxes."""

    layout: Layout
    values: Mapping[str, str]
    """Name of a box -> its text; of a tick box "yes". Empty boxes are left out."""
    pages: Mapping[str, int]
    """Page of each box, from 1."""
    file: str


def is_pdf(path: Path) -> bool:
    """True for a name that ends in .pdf or a file that starts like one."""
    if path.suffix.lower() == ".pdf":
        return True
    try:
        with path.open("rb") as stream:
            return stream.read(len(MAGIC)) == MAGIC
    except OSError:
        return False


def read_sheet(path: Path | str) -> Filled:
    """Read a filled field sheet.

    Raises
    ------
    CaseProblems
        Too large, not a PDF, encrypted, with scripts, without a form, or another form.
    """
    return read_sheet_bytes(read_bytes(Path(path), MAX_BYTES), str(path))


def read_sheet_bytes(raw: bytes, file: str) -> Filled:
    """A filled field sheet in memory; see :func:`read_sheet`."""
    logger = logging.getLogger("pypdf")
    before = logger.disabled
    logger.disabled = True  # a hostile file makes it talk without end
    try:
        return _read(raw, file)
    except CaseProblems:
        raise
    except RecursionError:
        raise refusal(file, "objects that hold themselves", "a field sheet", AGAIN) from None
    except Exception:  # a reader of broken files fails in more ways than it names
        raise refusal(file, "a file that is not a sound PDF", "a field sheet", AGAIN) from None
    finally:
        logger.disabled = before


def refusal(file: str, found: str, wanted: str, help: str = "") -> CaseProblems:
    """The problem of a file as a whole."""
    return CaseProblems((Problem(file, 0, 0, "CASE069", "file", found, wanted, help=help),))


def _read(raw: bytes, file: str) -> Filled:
    if MAGIC not in raw[:1024]:
        raise refusal(file, "a file that is not a PDF", "a field sheet", AGAIN)
    reader = PdfReader(BytesIO(raw), strict=False)
    if reader.is_encrypted:
        raise refusal(file, "a PDF with a password", "a PDF without one",
                      "Save it again without protection.")
    root = _dictionary(reader.trailer.get("/Root"))
    if len(reader.pages) > MAX_PAGES:
        raise refusal(file, f"{len(reader.pages)} pages", f"at most {MAX_PAGES}", AGAIN)
    form = _dictionary(root.get("/AcroForm"))
    if not form:
        raise refusal(file, "a PDF without a form", "a field sheet with its boxes",
                      "Printing to a new PDF takes the boxes away. " + AGAIN)
    if _has_script(root) or any(_has_script(page) for page in reader.pages):
        raise refusal(file, "a PDF with scripts", "a field sheet", AGAIN)
    if "/XFA" in form:
        raise refusal(file, "a form in XML (XFA)", "a field sheet", AGAIN)
    layout = _layout(reader, file)
    known = {box.name: box for box in boxes(layout)}
    values: dict[str, str] = {}
    pages: dict[str, int] = {}
    strangers: list[str] = []
    for number, widget in _widgets(reader, file):
        if _has_script(widget):
            raise refusal(file, "a box with a script", "a field sheet", AGAIN)
        name = _name(widget)
        box = known.get(name)
        if box is None:
            strangers.append(name)
            continue
        pages.setdefault(name, number)
        text = _value(widget, box)
        if text:
            values[name] = text
    if strangers:
        raise refusal(file, f"{len(strangers)} boxes that are not of this sheet, such as "
                      f"{visible(strangers[0])[:40]!r}", "the boxes of the sheet alone", AGAIN)
    lost = sorted(set(known) - set(pages))
    if lost:
        raise refusal(file, f"{len(lost)} boxes missing, such as {lost[0]!r}",
                      "every box of the sheet, empty or not",
                      "Keep all pages of the sheet together. " + AGAIN)
    return Filled(layout, values, pages, file)


def _layout(reader: PdfReader, file: str) -> Layout:
    found = [name for name in reader.attachments if name == MAP_FILE]
    if not found:
        raise refusal(file, "a form without the plan of its boxes",
                      "a field sheet of this program", AGAIN)
    content = reader.attachments[MAP_FILE]
    raw = content if isinstance(content, bytes) else content[0]
    if len(raw) > MAX_MAP:
        raise refusal(file, f"a plan of boxes of {len(raw):,} bytes", f"at most {MAX_MAP:,}", AGAIN)
    try:
        layout = Layout.model_validate_json(raw)
    except ValidationError:
        raise refusal(file, "a plan of boxes that cannot be read", "the plan as it was printed",
                      "The sheet may be of another version of the program. " + AGAIN) from None
    if not is_intact(layout):
        raise refusal(file, "a plan of boxes that was changed", "the plan as it was printed",
                      AGAIN)
    return layout


def _dictionary(value: object) -> Mapping:
    value = value.get_object() if isinstance(value, IndirectObject) else value
    return value if isinstance(value, DictionaryObject) else {}


def _list(value: object) -> list:
    value = value.get_object() if isinstance(value, IndirectObject) else value
    return list(value) if isinstance(value, ArrayObject) else []


def _has_script(holder: Mapping) -> bool:
    """True if something runs when the file or a page is opened or a box is touched."""
    if _list(_dictionary(_dictionary(holder.get("/Names")).get("/JavaScript")).get("/Names")):
        return True
    if _dictionary(holder.get("/AA")):
        return True
    for key in ("/OpenAction", "/A"):
        if str(_dictionary(holder.get(key)).get("/S")) in ("/JavaScript", "/Launch", "/SubmitForm",
                                                           "/ImportData", "/Rendition"):
            return True
    return False


def _widgets(reader: PdfReader, file: str) -> Iterator[tuple[int, Mapping]]:
    count = 0
    for number, page in enumerate(reader.pages, start=1):
        for entry in _list(page.get("/Annots")):
            widget = _dictionary(entry)
            if str(widget.get("/Subtype")) != "/Widget":
                continue
            count += 1
            if count > MAX_WIDGETS:
                raise refusal(file, f"more than {MAX_WIDGETS} boxes", "a field sheet", AGAIN)
            yield number, widget


def _name(widget: Mapping) -> str:
    """Full name of a box; the sheet's own names have one part."""
    parts = []
    here: Mapping = widget
    for _ in range(8):
        if "/T" in here:
            parts.append(str(here["/T"]))
        here = _dictionary(here.get("/Parent"))
        if not here:
            break
    return ".".join(reversed(parts))


def _value(widget: Mapping, box: SheetBox) -> str:
    value = widget.get("/V")
    if value is None:
        value = _dictionary(widget.get("/Parent")).get("/V")
    value = value.get_object() if isinstance(value, IndirectObject) else value
    if box.kind == "tick":
        state = str(widget.get("/AS", "") if value is None else value)
        return "" if state in _OFF else "yes"
    if value is None:
        return ""
    if isinstance(value, bytes):
        value = value.decode("latin-1")
    text = UNWANTED.sub(" ", str(value).replace("\r\n", "\n").replace("\r", "\n"))
    text = text.replace("\u00a0", " ").strip()
    return text if box.kind == "lines" else " ".join(text.split())
