"""The page's typeface for a screen: only the characters a page uses, as data in the page.

The Open Font License keeps the typeface's own name for unchanged files, so the parts carry
another one.
"""

import base64
from collections.abc import Iterable
from functools import lru_cache
from io import BytesIO

from fontTools import subset
from fontTools.ttLib import TTFont

from loambrief.charts.fonts import BOLD, FAMILY, ITALIC, REGULAR, font_path

LAYOUT = ("DSIG", "GDEF", "GPOS", "GSUB", "STAT")
"""Tables that a page needs none of."""
FACES = {REGULAR: ("normal", 400), BOLD: ("normal", 600), ITALIC: ("italic", 400)}
"""Style and weight of each face in CSS."""


def font_faces(characters: Iterable[str]) -> str:
    """CSS rules, one for each face, with the font itself in it (WOFF 1.0).

    Only the characters that the page prints, as far as the typeface has them.
    """
    used = "".join(sorted(set("".join(characters))))
    rules = []
    for name, (style, weight) in FACES.items():
        data = base64.b64encode(_part(name, used)).decode("ascii")
        rules.append(f"@font-face{{font-family:{FAMILY};font-style:{style};font-weight:{weight};"
                     f"src:url(data:font/woff;base64,{data}) format('woff')}}")
    return "\n".join(rules)


@lru_cache(maxsize=12)
def _part(name: str, characters: str) -> bytes:
    """One face with only some characters."""
    options = subset.Options(
        flavor="woff", hinting=False, layout_features=[], name_IDs=[], notdef_outline=True,
        recalc_timestamp=False)
    font = TTFont(font_path(name), recalcTimestamp=False)
    for tag in LAYOUT:  # the subsetter would read them whole before it drops them
        if tag in font:
            del font[tag]
    subsetter = subset.Subsetter(options)
    subsetter.populate(text=characters)
    subsetter.subset(font)
    font["name"].names = []
    for number, text in ((1, FAMILY), (2, "Regular"), (4, name), (6, name)):
        font["name"].setName(text, number, 3, 1, 0x409)
    made = BytesIO()
    subset.save_font(font, made, options)
    return made.getvalue()
