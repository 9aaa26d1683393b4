"""Numbered objects to a PDF file, small and always the same bytes.

Objects that are no streams go into compressed object streams, and the cross-reference table
is a stream too (ISO 32000-1, 7.5.7 and 7.5.8). The file identifier is a digest of the file.
"""

import hashlib
import struct
import zlib
from collections.abc import Mapping, Sequence
from typing import Any

from reportlab.pdfbase import pdfdoc

IN_ONE = 100
"""Objects in one object stream. A reader that looks up each object in the stream's list again
(as the check of a signature does) takes the square of it; 250 saves 2 % of the file's size."""
LEVEL = 5
ENTRY = struct.Struct(">BIH")
"""One object in the cross-reference table."""
HEAD = b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n"


class Stream(pdfdoc.PDFObject):
    """A stream object.

    Parameters
    ----------
    entries : str
        Its dictionary in PDF syntax, without brackets, length and filter.
    packed : bool
        Compress it; else it stays as it is.
    """

    def __init__(self, data: bytes, entries: str = "", packed: bool = True):
        self.data, self.entries, self.packed = data, entries, packed

    def format(self, document) -> bytes:
        return stream(self.data, self.entries, self.packed)


def stream(data: bytes, entries: str, packed: bool = True) -> bytes:
    """A stream in PDF syntax; parameters as of :class:`Stream`."""
    if packed:
        data = zlib.compress(data, LEVEL)
        entries = f"{entries}/Filter/FlateDecode"
    return b"<<%s/Length %d>>\nstream\n%s\nendstream" % (entries.encode("ascii"), len(data), data)


def write_file(document: Any, written: Mapping[int, str],
               catalog: Mapping[str, str], info: int) -> bytes:
    """All objects of a document as a file.

    Parameters
    ----------
    document : PDFDocument
        Of reportlab; all its pages are finished.
    written : mapping of int to str
        Objects that reportlab does not know, by number, in PDF syntax.
    catalog : mapping of str to str
        Entries of the catalog in PDF syntax, but for the pages.
    info : int
        Number of the information dictionary.
    """
    for font in list(document.delayedFonts):
        font.addObjects(document)
    pages = document.Reference(document.Pages).format(document).decode("ascii")
    entries = "".join(f"/{name} {value}" for name, value in sorted(catalog.items()))
    document.objectcounter += 1
    root = document.objectcounter
    written = {**written, root: f"<</Type/Catalog/Pages {pages}{entries}>>"}
    plain: list[tuple[int, bytes]] = []
    streams: list[tuple[int, bytes]] = []
    number = 0
    while True:  # formatting an object may register more of them
        number += 1
        if number in written:
            plain.append((number, written[number].encode("latin-1")))
            continue
        name = document.numberToId.get(number)
        if name is None:
            if number > document.objectcounter:
                break
            raise ValueError(f"object {number} was promised and never written")
        thing = document.idToObject[name]
        if isinstance(thing, pdfdoc.PDFFormXObject):
            thing.format(document)  # makes its stream
            thing = thing.Contents
        if isinstance(thing, pdfdoc.PDFStream):
            streams.append((number, _stream_of(thing, document)))
        elif isinstance(thing, Stream):
            streams.append((number, thing.format(document)))
        else:
            made = pdfdoc.format(thing, document, toplevel=1)
            if made.rstrip().endswith(b"endstream"):
                streams.append((number, _ended(made)))
            else:
                plain.append((number, made.strip(b"\n")))
    return _put_together(plain, streams, number, f"/Root {root} 0 R/Info {info} 0 R")


def _stream_of(thing: pdfdoc.PDFStream, document: pdfdoc.PDFDocument) -> bytes:
    """A stream of reportlab, compressed unless it has filters of its own."""
    if "Filter" in thing.dictionary.dict or thing.filters:
        return _ended(pdfdoc.format(thing, document, toplevel=1))
    content = thing.content
    data = content.encode("latin-1") if isinstance(content, str) else content
    entries = pdfdoc.format(pdfdoc.PDFDictionary(thing.dictionary.dict.copy()), document)
    inner = entries.strip()
    return stream(data, inner[2:-2].decode("latin-1").strip())


def _ended(made: bytes) -> bytes:
    """A stream of reportlab with the end of line before ``endstream`` that ISO 19005-3, 6.1.7.1
    asks for and that it leaves out."""
    return made.strip(b"\n").removesuffix(b"endstream") + b"\nendstream"


def _put_together(plain: Sequence[tuple[int, bytes]], streams: Sequence[tuple[int, bytes]],
                  following: int, trailer: str) -> bytes:
    """Header, streams, object streams, cross-reference stream; ``following``: next number."""
    places: dict[int, tuple[int, int, int]] = {0: (0, 0, 65535)}
    parts, at = [HEAD], len(HEAD)

    def put(number: int, body: bytes) -> None:
        nonlocal at
        whole = b"%d 0 obj\n%s\nendobj\n" % (number, body)
        places[number] = (1, at, 0)
        parts.append(whole)
        at += len(whole)

    for number, body in streams:
        put(number, body)
    for start in range(0, len(plain), IN_ONE):
        chosen = plain[start : start + IN_ONE]
        offset, heads = 0, []
        for index, (number, body) in enumerate(chosen):
            heads.append(b"%d %d" % (number, offset))
            places[number] = (2, following, index)
            offset += len(body) + 1
        head = b" ".join(heads) + b"\n"
        put(following, stream(head + b"\n".join(body for _, body in chosen),
                              f"/Type/ObjStm/N {len(chosen)}/First {len(head)}"))
        following += 1
    places[following] = (1, at, 0)
    table = b"".join([ENTRY.pack(*places[n]) for n in range(following + 1)])
    digest = hashlib.sha256(b"".join(parts)).hexdigest()[:32].upper()
    entries = (f"/Type/XRef/Size {following + 1}/W[1 4 2]{trailer}"
               f"/ID[<{digest}><{digest}>]")
    start = at
    put(following, stream(table, entries))
    return b"".join([*parts, b"startxref\n%d\n%%%%EOF\n" % start])
