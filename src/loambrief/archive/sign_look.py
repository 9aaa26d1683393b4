"""What a signature looks like on the page: a few lines of text in the prepared field.

The typeface is embedded as a subset and there is no transparency, so that the file stays
PDF/A (ISO 19005-3, 6.2.11.4 and 6.2.10); every glyph has its Unicode value (6.2.11.7).
"""

import hashlib
from dataclasses import dataclass
from functools import lru_cache
from io import BytesIO

from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.content import AppearanceContent, ResourceType
from pyhanko.pdf_utils.generic import pdf_name
from pyhanko.stamp.base import BaseStampStyle

from loambrief.resources import templates_dir

FACE = "SourceSans3-Regular.ttf"
SIZES, LEADING = (8.0, 7.5, 7.0, 6.5, 6.0), 1.22
UNKNOWN = "\u25a1"
"""Printed for a sign that the typeface lacks."""
CUT = "…"


class _Face:
    """A subset of the typeface that holds the signs of some lines."""

    def __init__(self, lines: tuple[str, ...]):
        from fontTools import subset, ttLib

        font = ttLib.TTFont(BytesIO((templates_dir() / "fonts" / FACE).read_bytes()))
        covered = font.getBestCmap()
        self.lines = tuple("".join(c if ord(c) in covered else UNKNOWN if ord(UNKNOWN) in covered
                                   else "?" for c in line) for line in lines)
        signs = sorted({ord(c) for line in self.lines for c in line} | {0x20, ord(CUT)})
        self.glyph = {c: font.getGlyphID(covered[c]) for c in signs}
        self.units = font["head"].unitsPerEm
        self.advance = {c: font["hmtx"][covered[c]][0] for c in signs}
        head, hhea, os2, post = font["head"], font["hhea"], font["OS/2"], font["post"]
        self.box = (head.xMin, head.yMin, head.xMax, head.yMax)
        self.ascent, self.descent, self.cap = hhea.ascent, hhea.descent, os2.sCapHeight
        self.angle = post.italicAngle
        for table in {"GPOS", "GSUB", "GDEF"} & set(font.keys()):
            del font[table]  # before the subset is made: to read them takes most of its time
        options = subset.Options(retain_gids=True, notdef_outline=True, hinting=False,
                                 name_IDs=[], drop_tables=[])
        maker = subset.Subsetter(options)
        maker.populate(unicodes=signs)
        maker.subset(font)
        font["head"].modified = font["head"].created  # no clock in the file
        font.recalcTimestamp = False
        out = BytesIO()
        font.save(out)
        self.program = out.getvalue()
        digest = hashlib.sha256(self.program).digest()
        self.name = "".join(chr(65 + b % 26) for b in digest[:6]) + "+SourceSans3-Regular"

    def width(self, text: str, size: float) -> float:
        """Width of a text [pt]."""
        return sum(self.advance[ord(c)] for c in text) * size / self.units

    def hexadecimal(self, text: str) -> bytes:
        """The text as glyph numbers."""
        return "".join(f"{self.glyph[ord(c)]:04X}" for c in text).encode()

    def _scaled(self, value: float) -> generic.NumberObject:
        return generic.NumberObject(round(value * 1000 / self.units))

    def embed(self, writer) -> generic.IndirectObject:
        """The composite font as objects of a file."""
        program = generic.StreamObject({pdf_name("/Length1"): generic.NumberObject(
            len(self.program))}, stream_data=self.program)
        program.compress()
        descriptor = generic.DictionaryObject({
            pdf_name("/Type"): pdf_name("/FontDescriptor"),
            pdf_name("/FontName"): pdf_name(f"/{self.name}"),
            pdf_name("/Flags"): generic.NumberObject(4),
            pdf_name("/FontBBox"): generic.ArrayObject(self._scaled(v) for v in self.box),
            pdf_name("/ItalicAngle"): generic.NumberObject(int(self.angle)),
            pdf_name("/Ascent"): self._scaled(self.ascent),
            pdf_name("/Descent"): self._scaled(self.descent),
            pdf_name("/CapHeight"): self._scaled(self.cap),
            pdf_name("/StemV"): generic.NumberObject(80),
            pdf_name("/FontFile2"): writer.add_object(program),
        })
        widths = generic.ArrayObject()
        for code, glyph in sorted(self.glyph.items(), key=lambda pair: pair[1]):
            widths += [generic.NumberObject(glyph),
                       generic.ArrayObject([self._scaled(self.advance[code])])]
        descendant = generic.DictionaryObject({
            pdf_name("/Type"): pdf_name("/Font"),
            pdf_name("/Subtype"): pdf_name("/CIDFontType2"),
            pdf_name("/BaseFont"): pdf_name(f"/{self.name}"),
            pdf_name("/CIDSystemInfo"): generic.DictionaryObject({
                pdf_name("/Registry"): generic.pdf_string("Adobe"),
                pdf_name("/Ordering"): generic.pdf_string("Identity"),
                pdf_name("/Supplement"): generic.NumberObject(0)}),
            pdf_name("/CIDToGIDMap"): pdf_name("/Identity"),
            pdf_name("/FontDescriptor"): writer.add_object(descriptor),
            pdf_name("/DW"): generic.NumberObject(0),
            pdf_name("/W"): widths,
        })
        return writer.add_object(generic.DictionaryObject({
            pdf_name("/Type"): pdf_name("/Font"), pdf_name("/Subtype"): pdf_name("/Type0"),
            pdf_name("/BaseFont"): pdf_name(f"/{self.name}"),
            pdf_name("/Encoding"): pdf_name("/Identity-H"),
            pdf_name("/DescendantFonts"): generic.ArrayObject([writer.add_object(descendant)]),
            pdf_name("/ToUnicode"): writer.add_object(
                generic.StreamObject(stream_data=self._to_unicode())),
        }))

    def _to_unicode(self) -> bytes:
        pairs = sorted((glyph, code) for code, glyph in self.glyph.items())
        blocks = []
        for start in range(0, len(pairs), 100):
            part = pairs[start:start + 100]
            lines = [f"<{g:04X}> <{chr(c).encode('utf-16-be').hex().upper()}>" for g, c in part]
            blocks.append(f"{len(part)} beginbfchar\n" + "\n".join(lines) + "\nendbfchar")
        return ("/CIDInit /ProcSet findresource begin 12 dict begin begincmap\n"
                "/CIDSystemInfo <</Registry (Adobe)/Ordering (UCS)/Supplement 0>> def\n"
                "/CMapName /Adobe-Identity-UCS def /CMapType 2 def\n"
                "1 begincodespacerange\n<0000> <FFFF>\nendcodespacerange\n"
                + "\n".join(blocks)
                + "\nendcmap CMapName currentdict /CMap defineresource pop end end").encode()


@lru_cache(maxsize=8)
def _face(lines: tuple[str, ...]) -> _Face:
    """Files that are signed in one go share the subset: it takes longer than their signature."""
    return _Face(lines)


@dataclass(frozen=True)
class SignatureLook(BaseStampStyle):
    """Lines of text, as large as fits, flush left, in the middle of the box's height."""

    lines: tuple[str, ...] = ()

    def create_stamp(self, writer, box, text_params):
        return _Drawn(writer, box, self.lines)


class _Drawn(AppearanceContent):
    """The lines as a form XObject."""

    def __init__(self, writer, box, lines: tuple[str, ...]):
        super().__init__(writer=writer, box=box)
        self._face = _face(tuple(" ".join(line.split()) for line in lines))

    def render(self) -> bytes:
        face, box = self._face, self.box
        width, height = box.width - 4, box.height
        for size in SIZES:
            lines = [piece for line in face.lines for piece in self._wrap(line, size, width)]
            if LEADING * size * len(lines) <= height:
                break
        lines = [self._cut(line, size, width) for line in lines[:int(height / LEADING / size)]]
        self.set_resource(ResourceType.FONT, pdf_name("/F1"), face.embed(self.writer))
        top = (box.height + LEADING * size * len(lines)) / 2
        code = [b"q 0 0 0 rg BT /F1 %.2f Tf" % size]
        for number, line in enumerate(lines):
            baseline = top - LEADING * size * number - 0.95 * size
            code.append(b"1 0 0 1 2 %.2f Tm <%s> Tj" % (baseline, face.hexadecimal(line)))
        return b"\n".join([*code, b"ET Q"])

    def _wrap(self, text: str, size: float, width: float) -> list[str]:
        """A line in as many pieces as it needs; a word is not parted."""
        pieces = [""]
        for word in text.split():
            longer = f"{pieces[-1]} {word}".lstrip()
            if pieces[-1] and self._face.width(longer, size) > width:
                pieces.append(word)
            else:
                pieces[-1] = longer
        return pieces

    def _cut(self, text: str, size: float, width: float) -> str:
        if self._face.width(text, size) <= width:
            return text
        while text and self._face.width(text + CUT, size) > width:
            text = text[:-1]
        return text.rstrip() + CUT
