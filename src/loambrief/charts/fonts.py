"""The one typeface of the advisory: Source Sans 3, embedded, four faces.

Pages and charts use the same faces, so a file never holds more than four fonts. The files
are the published TrueType files, unchanged (SIL Open Font License 1.1, text beside them).
"""

import unicodedata
from functools import cache
from pathlib import Path

from reportlab.lib.fonts import addMapping
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from loambrief.errors import ResourceMissing
from loambrief.resources import templates_dir

FAMILY, TYPEFACE = "LoambriefSans", "Source Sans 3"
REGULAR, ITALIC = f"{FAMILY}-Regular", f"{FAMILY}-Italic"
BOLD, BOLD_ITALIC = f"{FAMILY}-Semibold", f"{FAMILY}-SemiboldItalic"
FILES = {
    REGULAR: "SourceSans3-Regular.ttf",
    ITALIC: "SourceSans3-It.ttf",
    BOLD: "SourceSans3-Semibold.ttf",
    BOLD_ITALIC: "SourceSans3-SemiboldIt.ttf",
}
"""Name a canvas knows the face by, and its file in ``templates/fonts``."""
REPLACEMENT = "\u25a1"
"""Printed where the typeface has no such character: an open square."""


def font_path(name: str) -> Path:
    """File of one of the faces in :data:`FILES`; raises ResourceMissing if it is not there."""
    path = templates_dir() / "fonts" / FILES[name]
    if not path.is_file():
        raise ResourceMissing(f"typeface {path} not found")
    return path


@cache
def register_fonts() -> None:
    """Make the four faces known to reportlab; does nothing the second time.

    Raises ResourceMissing if a font file is not there.
    """
    for name in FILES:
        pdfmetrics.registerFont(TTFont(name, str(font_path(name))))
    addMapping(FAMILY, 0, 0, REGULAR)
    addMapping(FAMILY, 0, 1, ITALIC)
    addMapping(FAMILY, 1, 0, BOLD)
    addMapping(FAMILY, 1, 1, BOLD_ITALIC)


@cache
def covered() -> frozenset[int]:
    """Code points that all four faces can print."""
    register_fonts()
    fonts = (pdfmetrics.getFont(name) for name in FILES)
    return frozenset.intersection(
        *(frozenset(font.face.charToGlyph) for font in fonts if isinstance(font, TTFont)))


@cache
def _plain() -> frozenset[str]:
    """Signs that are printed as they are, whatever stands beside them."""
    return frozenset(
        sign for sign in map(chr, covered())
        if unicodedata.normalize("NFC", sign) == sign
        and unicodedata.category(sign)[0] not in "CM" and not _selects_a_variant(sign)
        and sign not in "\u2028\u2029")


def printable(text: str) -> str:
    """Text as this typeface can print it.

    Composed first (NFC); what shows nothing (controls, zero-width and direction marks) is
    dropped, tab becomes a space, line ends stay as a newline; each other character without a
    glyph becomes an open square, so that nothing disappears unseen.
    """
    if (text.isascii() and text.isprintable()) or _plain().issuperset(text):
        return text
    glyphs = covered()
    kept = []
    for char in unicodedata.normalize("NFC", text.replace("\r\n", "\n")):
        if char in "\n\r\u2028\u2029\v\f":
            kept.append("\n")
        elif char == "\t":
            kept.append(" ")
        elif unicodedata.category(char) in ("Cc", "Cf") or _selects_a_variant(char):
            continue
        elif ord(char) in glyphs:
            kept.append(char)
        else:
            kept.append(" " if unicodedata.category(char) == "Zs" else REPLACEMENT)
    return "".join(kept)


def _selects_a_variant(char: str) -> bool:
    return "\ufe00" <= char <= "\ufe0f" or "\U000e0100" <= char <= "\U000e01ef"


WEIGHTS = {"regular": REGULAR, "bold": BOLD, "italic": ITALIC}
"""Weights the charts use, and the face of each."""


@cache
def pdf_name(weight: str) -> str:
    """Name of a weight's face on a reportlab canvas; the faces are registered by then."""
    register_fonts()
    return WEIGHTS[weight]


def advance(text: str, size: float, weight: str = "regular") -> float:
    """Width of a line of text that can be printed as it is [pt]."""
    return pdfmetrics.stringWidth(text, pdf_name(weight), size)


def one_line(text: str) -> str:
    """Text as the typeface can print it, on one line."""
    return printable(text).replace("\n", " ")
