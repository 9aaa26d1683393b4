"""What sign and verify both read from a file: its size limits, attachments and revisions."""

import json
import re
from io import BytesIO

from pyhanko.pdf_utils.reader import PdfFileReader

from loambrief.archive.errors import SignFault

LARGEST_FILE = 64 * 1024 * 1024
MOST_REVISIONS = 40
MOST_OBJECTS = 300_000
MOST_ATTACHMENTS = 200
LARGEST_ATTACHMENTS = 32 * 1024 * 1024
"""All attached files together [byte]."""
STATED = ("issued", "status", "number", "revision", "loambrief_version", "inputs_sha256",
          "tables_sha256", "case_id", "made_with", "printed", "changes", "parties", "annex")
"""Members of the attached data that speak of the advisory as a whole."""
_MARK = re.compile(rb"startxref")
_OBJECT = re.compile(rb"\bobj\b")


def too_much(data: bytes) -> str:
    """Why a file is not even looked into; empty if it is.

    Reading a revision costs time in proportion to those before it, so their number is
    bounded before anything is parsed.
    """
    if len(data) > LARGEST_FILE:
        return f"larger than {LARGEST_FILE // 2**20} MiB"
    if not data.startswith(b"%PDF-"):
        return "not a PDF file"
    if len(_MARK.findall(data)) > MOST_REVISIONS:
        return f"more than {MOST_REVISIONS} revisions"
    if len(_OBJECT.findall(data)) > MOST_OBJECTS:
        return f"more than {MOST_OBJECTS} objects"
    return ""


def open_pdf(data: bytes) -> PdfFileReader:
    """A reader with the limits for files of unknown origin.

    Raises
    ------
    SignFault
        Too large, too many revisions, not a PDF, or encrypted.
    """
    why = too_much(data)
    if why:
        raise SignFault(f"not read: {why}")
    try:
        reader = PdfFileReader(BytesIO(data), strict=True)
        encrypted = reader.encrypted
        reader.root  # noqa: B018 - finds the catalog
    except Exception as error:  # what a parser raises on a hostile file is beyond listing
        raise SignFault(f"not a readable PDF ({type(error).__name__})") from None
    if encrypted:
        raise SignFault("the file is encrypted; an archive file never is")
    return reader


def look(start, *keys: str):
    """A value below dictionaries, references followed; None where a key is missing."""
    for key in keys:
        if start is None or key not in start:
            return None
        start = start[key]
    return start


def attachments(root) -> dict[str, tuple[bytes, str, str]]:
    """Attached files by name: content, description, and the MD5 the file itself states.

    In the order of the document's list of associated files (ISO 19005-3, 6.8).

    Parameters
    ----------
    root : DictionaryObject
        Catalog of the revision to look at.

    Raises
    ------
    SignFault
        Too many, too large, or two of one name.
    """
    found: dict[str, tuple[bytes, str, str]] = {}
    names = look(root, "/Names", "/EmbeddedFiles")
    pending, seen, size = ([names] if names is not None else []), 0, 0
    while pending:
        node = pending.pop()
        seen += 1
        if seen > MOST_ATTACHMENTS:
            raise SignFault("too many attached files")
        pending += [kid.get_object() for kid in look(node, "/Kids") or ()]
        pairs = [item.get_object() for item in look(node, "/Names") or ()]
        for key, spec in zip(pairs[::2], pairs[1::2], strict=True):
            stream = spec["/EF"]["/F"]
            content = stream.data
            size += len(content)
            if size > LARGEST_ATTACHMENTS:
                raise SignFault("the attached files are too large")
            name = str(look(spec, "/UF") or look(spec, "/F") or key)
            if name in found or len(found) >= MOST_ATTACHMENTS:
                raise SignFault(f"attached file {name!r} stands twice, or there are too many")
            checksum = look(stream, "/Params", "/CheckSum")
            stated = "" if checksum is None else checksum.original_bytes.hex()
            found[name] = (content, str(look(spec, "/Desc") or ""), stated)
    listed = [str(look(s.get_object(), "/UF") or "") for s in look(root, "/AF") or ()]
    return dict(sorted(found.items(), key=lambda item: listed.index(item[0])
                       if item[0] in listed else len(listed)))


def stated_in(files: dict[str, tuple[bytes, str, str]]) -> dict:
    """What the attached data say of the advisory, with their file's name; empty if there are none.

    Parameters
    ----------
    files : dict
        From :func:`attachments`.
    """
    for name, (content, _, _) in files.items():
        if not name.endswith(".json"):
            continue
        try:
            data = json.loads(content)
        except (ValueError, RecursionError):
            continue
        if isinstance(data, dict) and "loambrief_version" in data:
            return {key: data[key] for key in STATED if key in data} | {"file": name}
    return {}
