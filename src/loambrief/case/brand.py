"""Logo and colour of a business: checked, made small, stripped of everything but pixels.

A client's own stand before the adviser's. A logo is named like a profile, in the case's folder
or below it, or in ``../profiles``, so that it cannot be read from anywhere else. It is decoded
and written anew, flat on white, without what the file says beside the picture.
"""

import hashlib
import io
from dataclasses import dataclass, replace
from pathlib import Path

from loambrief.case.photos import NotAPhoto, on_white, opened, read_or_fault
from loambrief.case.problems import DataPath, Fault
from loambrief.case.quantities import show
from loambrief.case.schema import Brand as BrandKeys
from loambrief.case.schema import CaseFile
from loambrief.case.schema import Logo as LogoKeys
from loambrief.colours import contrast, theme_colours

MOST_BYTES = 2 * 1024 * 1024
MOST_PIXELS = 16_000_000
"""A larger picture is not opened: a small file can hold a huge one."""
SMALLEST_SIDE = 24
LONGEST_SIDES = (900, 300)
"""Pixels across and up that are kept: 300 dpi and more at the size it is printed."""
KEPT_BYTES = 200_000
"""A plain PNG of the right size is kept as it is up to this many bytes."""
LEAST_CONTRAST = 4.5
"""Of text in the accent against what it stands on (WCAG 2.2, 1.4.3 level AA)."""
GROUNDS = ("paper", "faint")


@dataclass(frozen=True)
class PrintedBrand:
    """What the pages show of a business."""

    accent: str = ""
    """``#RRGGBB`` in place of the theme's accent; "" for the theme's."""
    name: str = ""
    """The logo's file as the case names it; "" without a logo."""
    png: bytes = b""
    """The logo, opaque, RGB, without metadata."""
    width: int = 0
    height: int = 0
    """``width``, ``height``: pixels."""
    alt: str = ""
    """What is said in place of the logo."""
    file_sha256: str = ""
    """Of the file it was made from, in hexadecimal."""

    @property
    def sha256(self) -> str:
        """Of the bytes that are printed, in hexadecimal."""
        return hashlib.sha256(self.png).hexdigest()


def load_brand(case: CaseFile, folder: Path | None) -> tuple[PrintedBrand | None, list[Fault]]:
    """Logo and colour of a case, None if it names neither; every fault of both businesses.

    Without a folder, where the case stands, no file can be named.
    """
    faults: list[Fault] = []
    accent, logo = "", PrintedBrand()
    for part, keys in (("client", case.client.brand), ("adviser", case.adviser.brand)):
        if keys is None:
            continue
        faults += _colour_faults(keys, (part, "brand"))
        accent = accent or keys.accent or ""
        if keys.logo is not None:
            place: DataPath = (part, "brand", "logo", "file")
            if keys.logo.file in {photo.file for photo in case.photos}:
                faults.append(Fault("CASE076", place, f"the photo {show(keys.logo.file)}",
                                    "a picture that is not a photo of the case too"))
                continue
            made = _logo(keys.logo, folder, place, faults)
            if made is not None and not logo.name:
                logo = made
    if not accent and not logo.name:
        return None, faults
    return replace(logo, accent=accent), faults


def _colour_faults(keys: BrandKeys, path: DataPath) -> list[Fault]:
    if keys.accent is None:
        if keys.logo is None:
            return [Fault("CASE021", path, "nothing", "a logo or an accent",
                          'A colour is written in quotes: accent: "#225544".')]
        return []
    theme = theme_colours()
    found = min((contrast(keys.accent, theme[ground]), ground) for ground in GROUNDS)
    if found[0] < LEAST_CONTRAST:
        where = "white" if found[1] == "paper" else "the grey of table bands"
        return [Fault(
            "CASE075", (*path, "accent"),
            f"{show(keys.accent)}, {_ratio(found[0])} against {where} ({theme[found[1]]})",
            f"at least {LEAST_CONTRAST}:1",
            "Titles and links are printed in it. Take a darker shade of the colour.")]
    return []


def _ratio(value: float) -> str:
    """A ratio, cut and not rounded up, so that 4.499 is never printed as 4.5."""
    return f"{int(value * 100) / 100:.2f}:1"


def _logo(keys: LogoKeys, folder: Path | None, path: DataPath,
          faults: list[Fault]) -> PrintedBrand | None:
    def made(content: bytes) -> PrintedBrand:
        return PrintedBrand("", keys.file, *flat_png(content), keys.alt,
                           hashlib.sha256(content).hexdigest())

    return read_or_fault(keys.file, folder, path, "CASE076", MOST_BYTES, made, faults)


def flat_png(content: bytes) -> tuple[bytes, int, int]:
    """A logo as an opaque PNG without metadata, with its width and height in pixels.

    Raises
    ------
    NotAPhoto
        Neither JPEG nor PNG by its content, damaged, too large, too small or too long.
    """
    from PIL import Image, ImageOps

    with opened(content, SMALLEST_SIDE, MOST_PIXELS, "picture") as picture:
        width, height = picture.size
        if max(width, height) > 12 * min(width, height):
            raise NotAPhoto(f"a picture of {width} by {height} pixels",
                            "at most 12 times as long as wide")
        picture.load()
        if _is_bare(picture, content):
            return content, width, height
        upright = ImageOps.exif_transpose(picture)
    plain = on_white(upright).convert("RGB")
    plain.thumbnail(LONGEST_SIDES, Image.Resampling.LANCZOS)
    out = io.BytesIO()
    plain.save(out, "PNG", optimize=True)
    return out.getvalue(), *plain.size


def _is_bare(picture, content: bytes) -> bool:
    """Whether a PNG may be kept: small, opaque, nothing in it but the picture. So a logo taken
    from an advisory's attachments gives the same bytes again."""
    return (picture.format == "PNG" and picture.mode == "RGB" and len(content) <= KEPT_BYTES
            and picture.width <= LONGEST_SIDES[0] and picture.height <= LONGEST_SIDES[1]
            and set(chunks(content)) == {b"IHDR", b"IDAT", b"IEND"})


def chunks(content: bytes) -> list[bytes]:
    """Names of the chunks of a PNG file (ISO/IEC 15948, 5.3); empty if it is not built so."""
    found: list[bytes] = []
    at = 8
    while at + 12 <= len(content):
        found.append(content[at + 4:at + 8])
        at += 12 + int.from_bytes(content[at:at + 4], "big")
    return found if at == len(content) else []
