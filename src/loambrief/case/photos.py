"""Photos of a case: checked, turned upright, made small, and stripped of everything but pixels.

A camera writes place, time, owner and serial number into its files (Exif). None of that is
kept: the picture is decoded and written anew. A JPEG file that is small enough and holds
nothing but a picture is kept as it is, so that a photo taken from an advisory's attachments
gives the same bytes again.
"""

import hashlib
import io
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from loambrief.case.problems import DataPath, Fault
from loambrief.case.profiles import locate
from loambrief.case.quantities import show
from loambrief.case.schema import PhotoEntry

MOST_BYTES = 25 * 1024 * 1024
"""Of a photo as it comes from the camera."""
MOST_PIXELS = 80_000_000
"""A larger picture is not opened: a small file can hold a huge one."""
LONGEST_SIDE = 1000
"""Pixels of the longer side that are printed: 290 dpi on half the width of a page."""
QUALITY = 80
KEPT_BYTES = 400_000
"""A plain JPEG of the right size is kept as it is up to this many bytes."""
SMALLEST_SIDE = 80
FORMATS = ("JPEG", "PNG")


@dataclass(frozen=True)
class Photo:
    """A photo ready to be printed."""

    name: str
    """As the case names it."""
    jpeg: bytes
    """Upright, RGB or grey, without any metadata."""
    width: int
    height: int
    """``width``, ``height``: pixels."""

    file_sha256: str = ""
    """Of the file it was made from, in hexadecimal."""

    @property
    def sha256(self) -> str:
        """Of the bytes that are printed, in hexadecimal."""
        return hashlib.sha256(self.jpeg).hexdigest()


T = TypeVar("T")


class NotAPhoto(Exception):
    """Why a file cannot be used: (what was found, what is wanted)."""

    def __init__(self, found: str, wanted: str):
        super().__init__(found, wanted)
        self.found, self.wanted = found, wanted


def load_photos(entries: Sequence[PhotoEntry],
                folder: Path | None) -> tuple[tuple[Photo, ...], list[Fault]]:
    """The photos a case names that can be printed, and the faults of the others.

    Without a folder, where the case stands, no file can be named.
    """
    faults: list[Fault] = []
    made = [read_or_fault(entry.file, folder, ("photos", number, "file"), "CASE072", MOST_BYTES,
                          lambda content, name=entry.file: photo_from(name, content),  # type: ignore[misc]
                          faults) for number, entry in enumerate(entries)]
    return tuple(photo for photo in made if photo is not None), faults


def read_or_fault(name: str, folder: Path | None, path: DataPath, code: str, most: int,
                  make: Callable[[bytes], T], faults: list[Fault]) -> T | None:
    """What is made of a picture file; None, and a fault more, if it cannot be used.

    Parameters
    ----------
    path : tuple
        Where the name stands in the case.
    code : str
        Of a picture that is not fit to print.
    most : int
        Longest file [byte].
    make : callable
        Takes the bytes of the file; may raise :class:`NotAPhoto`.
    """
    try:
        return make(read_picture(locate(folder, name), most))
    except NotAPhoto as fault:
        faults.append(Fault(code, path, fault.found, fault.wanted))
    except ValueError as fault:
        faults.append(Fault("CASE067", path, show(name), str(fault)))
    except OSError as error:
        faults.append(Fault("CASE067", path, show(name), "a file that can be read",
                            f"{error.strerror or 'It cannot be read'}."))
    return None


def read_picture(path: Path, most: int) -> bytes:
    """The bytes of a picture file; a regular one of at most ``most`` bytes."""
    if not path.is_file():
        if path.exists():
            raise NotAPhoto("not a regular file", "a JPEG or PNG file")
        raise FileNotFoundError(2, "No such file or directory", str(path))
    with path.open("rb") as stream:
        content = stream.read(most + 1)
    if len(content) > most:
        raise NotAPhoto(f"more than {most // 2**20} MiB", "a smaller picture")
    return content


@contextmanager
def opened(content: bytes, smallest: int, most: int, kind: str) -> Iterator[Any]:
    """A JPEG or PNG picture of a fit size, to be loaded inside.

    ``smallest`` is the least width and height [pixel], ``most`` the most pixels in all, ``kind``
    what it is to be, for the message.

    Raises
    ------
    NotAPhoto
        Neither JPEG nor PNG by its content, damaged, too large or too small.
    """
    from PIL import Image, UnidentifiedImageError

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            picture = Image.open(io.BytesIO(content), formats=FORMATS)
            width, height = picture.size
            if width * height > most:
                raise NotAPhoto(f"a picture of {width} by {height} pixels",
                                f"at most {most // 1_000_000} million pixels")
            if min(width, height) < smallest:
                raise NotAPhoto(f"a picture of {width} by {height} pixels",
                                f"at least {smallest} pixels each way")
            yield picture
    except Image.DecompressionBombError as error:
        raise NotAPhoto("a picture far larger than its file",
                        f"at most {most // 1_000_000} million pixels") from error
    except UnidentifiedImageError as error:
        raise NotAPhoto("a file that is neither", f"a JPEG or PNG {kind}") from error
    except (OSError, SyntaxError, ValueError, EOFError) as error:
        raise NotAPhoto(f"a damaged picture ({type(error).__name__})",
                        f"a whole JPEG or PNG {kind}") from error


def photo_from(name: str, content: bytes) -> Photo:
    """A printable photo from the bytes of a file; may raise :class:`NotAPhoto`."""
    from PIL import Image, ImageOps

    digest = hashlib.sha256(content).hexdigest()
    with opened(content, SMALLEST_SIDE, MOST_PIXELS, "photo") as picture:
        if picture.format == "JPEG" and _is_bare(picture, content):
            picture.load()
            return Photo(name, content, picture.width, picture.height, digest)
        picture.draft("RGB", (2 * LONGEST_SIDE, 2 * LONGEST_SIDE))
        picture.load()
        upright = ImageOps.exif_transpose(picture)
    plain = on_white(upright)
    plain.thumbnail((LONGEST_SIDE, LONGEST_SIDE), Image.Resampling.LANCZOS)
    out = io.BytesIO()
    plain.save(out, "JPEG", quality=QUALITY, optimize=True)
    width, height = plain.size
    return Photo(name, out.getvalue(), width, height, digest)


def _is_bare(picture, content: bytes) -> bool:
    """Whether a JPEG may be kept: small, and nothing in it but the picture."""
    return (max(picture.size) <= LONGEST_SIDE and picture.mode in ("RGB", "L")
            and len(content) <= KEPT_BYTES and not set(picture.info) - BARE
            and content.endswith(b"\xff\xd9") and set(markers(content)) <= PLAIN_MARKERS)


BARE = {"jfif", "jfif_version", "jfif_unit", "jfif_density", "dpi"}
PLAIN_MARKERS = {0xE0, 0xDB, 0xC0, 0xC2, 0xC4, 0xDA, 0xDD}
"""JFIF header, tables, frames, scans (ITU-T T.81, table B.1); no comments, no other data."""


def markers(content: bytes) -> list[int]:
    """Second bytes of the markers of a JPEG file up to its first scan (ITU-T T.81, annex B).

    ``[0]``, which is no marker, if the file is not built so.
    """
    found: list[int] = []
    at = 2
    while at + 4 <= len(content) and content[at] == 0xFF:
        kind = content[at + 1]
        found.append(kind)
        if kind == 0xDA:
            return found
        at += 2 + int.from_bytes(content[at + 2:at + 4], "big")
    return [0]


def on_white(picture):
    """A picture without transparency and metadata: grey or RGB, what is clear made white."""
    from PIL import Image

    if picture.mode in ("RGB", "L"):
        plain = picture.copy()
        plain.info.clear()
        return plain
    if picture.mode.startswith("I") or picture.mode == "F":  # deep grey
        return picture.convert("I").point(lambda v: v / 257).convert("L")
    clear = picture.convert("RGBA")
    paper = Image.new("RGB", clear.size, "white")
    paper.paste(clear, mask=clear.getchannel("A"))
    return paper
