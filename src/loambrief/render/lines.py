"""Texts to lines: widths of words, line breaks, and the operators that print a line.

A text is a row of pieces, each of one look. Lines break at ordinary spaces only; a word wider
than a line is parted after a hyphen or slash, else between letters. Widths of words are kept,
because a report says the same words again and again.
"""

from collections.abc import Sequence
from functools import cache, lru_cache
from typing import NamedTuple

from reportlab.lib.colors import Color
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.pdfdoc import PDFDocument
from reportlab.pdfbase.ttfonts import TTFont

MOST_WORDS = 12_000
"""Words whose widths are kept for each typeface; more than any document has."""
SLACK = 1e-6


class Piece(NamedTuple):
    """A stretch of text with one look.

    ``link`` is the number of the link it belongs to, -1 for none. A piece whose text is a
    newline is a line break.
    """

    text: str
    font: str
    size: float
    colour: Color
    link: int = -1


class Run(NamedTuple):
    """What one piece gives to one line, and its width [pt]."""

    piece: Piece
    text: str
    width: float


class TextLine(NamedTuple):
    """One line: its runs from left to right and its width [pt]."""

    runs: tuple[Run, ...]
    width: float


def typeface(name: str) -> TTFont:
    """A registered typeface; every one in use is TrueType."""
    found = pdfmetrics.getFont(name)
    assert isinstance(found, TTFont)
    return found


class _Widths(dict[str, float]):
    """Word to its width at size 1."""

    def __init__(self, font: str):
        super().__init__()
        face = typeface(font).face
        self._known, self._otherwise = face.charWidths, face.defaultWidth

    def __missing__(self, word: str) -> float:
        known, otherwise = self._known, self._otherwise
        width = sum([known.get(ord(sign), otherwise) for sign in word]) * 0.001
        if len(self) >= MOST_WORDS:
            self.clear()
        self[word] = width
        return width


@cache
def widths(font: str) -> _Widths:
    """Widths of words in a registered typeface at size 1; kept for the process."""
    return _Widths(font)


def text_width(text: str, style) -> float:
    """Width of a line of text in a style [pt]."""
    return widths(style.fontName)[text] * style.fontSize


_Part = tuple[int, str, float]
"""What one piece gives to a word: number of the piece, text, width."""
_Word = tuple[int, float, float, tuple[_Part, ...] | list[_Part]]
"""Piece and width of the space before it, its own width, its parts."""


def break_lines(pieces: Sequence[Piece], first: float, others: float) -> list[TextLine]:
    """Lines that fill the width of the first line and of the others [pt] as far as they go.

    At least one, which may be empty.
    """
    if len(pieces) == 1 and pieces[0].text != "\n" and (
            made := _plain_lines(pieces[0], first, others)):
        return made
    lines: list[TextLine] = []
    limit = first + SLACK
    row: list[_Word] = []
    used = 0.0
    for word in _words(pieces):
        if word is None:
            lines.append(_line(pieces, row))
            row, used, limit = [], 0.0, others + SLACK
            continue
        _, gap, width, _ = word
        if row:
            if used + gap + width <= limit:
                used += gap + width
                row.append(word)
                continue
            lines.append(_line(pieces, row))
            row, limit = [], others + SLACK
        while word[2] > limit:
            head, word = _part(pieces, word, limit)
            lines.append(_line(pieces, [head]))
            limit = others + SLACK
        used = word[2]
        row.append(word)
    lines.append(_line(pieces, row))
    return lines


def _plain_lines(piece: Piece, first: float, others: float) -> list[TextLine]:
    """Lines of a text of one look, as most are; none if a word is wider than a line."""
    known, size = widths(piece.font), piece.size
    space = known[" "] * size
    lines: list[TextLine] = []
    row: list[str] = []
    used = total = 0.0
    limit = first + SLACK
    for word in piece.text.split(" "):
        if not word:
            continue
        width = known[word] * size
        if row:
            if used + space + width <= limit:
                used += space + width
                total += space
                total += width
                row.append(word)
                continue
            lines.append(TextLine((Run(piece, " ".join(row), total),), total))
            limit = others + SLACK
        if width > limit:
            return []
        row, used, total = [word], width, width
    if row or not lines:
        lines.append(TextLine((Run(piece, " ".join(row), total),) if row else (), total))
    return lines


def _words(pieces: Sequence[Piece]) -> list[_Word | None]:
    """Words in order, None for each line break."""
    words: list[_Word | None] = []
    gap_of, gap = 0, 0.0
    parts: list[_Part] = []  # of a word that may go on in the next piece
    for number, (text, font, size, _, _) in enumerate(pieces):
        if text == "\n":
            if parts:
                words.append((gap_of, gap, sum([part[2] for part in parts]), parts))
                parts = []
            words.append(None)
            continue
        known = widths(font)
        space = known[" "] * size
        first, *rest = text.split(" ")
        if first:
            parts.append((number, first, known[first] * size))
        if not rest:
            continue
        if parts:
            words.append((gap_of, gap, sum([part[2] for part in parts]), parts))
            parts = []
        gap_of, gap = number, space
        last = rest.pop()
        for word in rest:
            if word:
                width = known[word] * size
                words.append((number, space, width, ((number, word, width),)))
        if last:
            parts.append((number, last, known[last] * size))
    if parts:
        words.append((gap_of, gap, sum([part[2] for part in parts]), parts))
    return words


def _part(pieces: Sequence[Piece], word: _Word, limit: float) -> tuple[_Word, _Word]:
    """A word wider than a line as what fits (one letter at least) and the rest."""
    gap_of, gap, _, parts = word
    used = 0.0
    for index, (number, text, _) in enumerate(parts):
        known, size = widths(pieces[number].font), pieces[number].size
        for place, sign in enumerate(text):
            width = known[sign] * size
            if used + width > limit and (index or place):
                # where a reader expects a long word to be parted, if there is such a place
                place = max((text.rfind(sign, 0, place) + 1 for sign in "-/–_"), default=0) or place
                head = [*parts[:index], (number, text[:place], known[text[:place]] * size)]
                head = [part for part in head if part[1]]
                rest = [(number, text[place:], known[text[place:]] * size), *parts[index + 1:]]
                return ((gap_of, gap, sum([part[2] for part in head]), head),
                        (gap_of, gap, sum([part[2] for part in rest]), rest))
            used += width
    raise AssertionError("the word fits")


def _line(pieces: Sequence[Piece], row: Sequence[_Word]) -> TextLine:
    """Words to runs: what stands next to each other in one piece becomes one text."""
    runs: list[Run] = []
    texts: list[str] = []
    at, width, total = -1, 0.0, 0.0
    for index, (gap_of, gap, wide, parts) in enumerate(row):
        if index:
            if gap_of != at:
                runs.append(Run(pieces[at], "".join(texts), width))
                texts, width, at = [], 0.0, gap_of
            texts.append(" ")
            width += gap
            total += gap
        total += wide
        for number, text, own in parts:
            if number != at:
                if texts:
                    runs.append(Run(pieces[at], "".join(texts), width))
                texts, width, at = [], 0.0, number
            texts.append(text)
            width += own
    if texts:
        runs.append(Run(pieces[at], "".join(texts), width))
    return TextLine(tuple(runs), total)


# Operators --------------------------------------------------------------------------------


class _CodedSigns(dict):
    """Code point to its sign in the first subset of a font, escaped; for ``str.translate``."""

    def __init__(self, font, document):
        super().__init__()
        self._font, self._document = font, document
        self.name = font.getSubsetInternalName(0, document)
        self.more = False
        """A sign has gone to another subset."""

    def __missing__(self, code: int) -> str:
        (subset, coded), = self._font.splitString(chr(code), self._document)
        if subset:
            self.more = True
            return ""  # not kept: the text is printed piece by piece
        byte = coded[0] if isinstance(coded, bytes) else ord(coded)
        sign = chr(byte)
        if sign in "()\\":
            sign = f"\\{sign}"
        elif not 32 <= byte < 127:
            sign = f"\\{byte:03o}"
        self[code] = sign
        return sign


class Printer:
    """Operators for text on the pages of one document."""

    def __init__(self, document: PDFDocument):
        self._document = document
        self._tables: dict[str, _CodedSigns] = {}

    def show(self, text: str, font: str, size: float, chosen: bool = False) -> str:
        """Operators that choose a font and show a text, inside a text object.

        ``chosen``: the font is in force at this size already.
        """
        table = self._tables.get(font)
        if table is None:
            table = self._tables[font] = _CodedSigns(typeface(font), self._document)
        table.more = False
        shown = text.translate(table)
        if table.more:
            return self._in_subsets(text, font, size)
        return f"({shown}) Tj" if chosen else f"{table.name} {number(size)} Tf ({shown}) Tj"

    def _in_subsets(self, text: str, name: str, size: float) -> str:
        """The same for a text whose signs are in several subsets of the font."""
        font, shown = typeface(name), []
        for subset, coded in font.splitString(text, self._document):
            digits = (coded if isinstance(coded, bytes) else coded.encode("latin-1")).hex()
            internal = font.getSubsetInternalName(subset, self._document)
            shown.append(f"{internal} {number(size)} Tf <{digits}> Tj")
        shown.append(f"{self._tables[name].name} {number(size)} Tf")
        return " ".join(shown)


@lru_cache(maxsize=16_384)
def number(value: float) -> str:
    """A number in PDF syntax, to a hundredth of a point."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


@cache
def fill(red: float, green: float, blue: float) -> str:
    """Operator that sets the colour of what is filled, letters among it."""
    return f"{red:.4g} {green:.4g} {blue:.4g} rg"
