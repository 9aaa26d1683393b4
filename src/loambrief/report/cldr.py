"""Languages other than English: the Unicode locale data (CLDR) through Babel, and the
message catalogue of words and names.

A catalogue is ``templates/text/<language>/LC_MESSAGES/loambrief.po``. Its entries are words
and names; sentences are macros. The context of an entry says how it must agree (``m``, ``f``,
``mp``, ``fp``) or, for nouns, is ``the``: the name with its article.
"""

import datetime as dt
import re
from collections.abc import Sequence
from pathlib import Path

from babel import Locale
from babel.dates import format_date
from babel.messages.pofile import read_po
from babel.numbers import get_currency_symbol

from loambrief.errors import TextFault
from loambrief.numbers import NBSP, Signs, figures
from loambrief.resources import templates_dir

DOMAIN = "loambrief"
_POINT = re.compile(r"(?<=\d)\.(?=\d)")
LOCALES = {"es": "es_US", "es-US": "es_US", "es-MX": "es_MX", "es-ES": "es_ES"}
"""Locale of each language tag of a case. Plain "es" is Spanish as the United States write
it, with the decimal point."""
UNITS = {"es": (("in", "pulg"), ("ft", "pies"))}
"""Symbols of inch and foot as extension texts in the language print them."""
COUNTS = {
    "es": ("cero", "una", "dos", "tres", "cuatro", "cinco", "seis", "siete", "ocho", "nueve",
           "diez"),
}
ONES = {"es": {"f": ("ninguna", "una"), "m": ("ninguno", "uno"), "un": ("ningún", "un")}}
LINKS = {"es": {"y": ("e", ("i", "í", "hi", "hí")), "o": ("u", ("o", "ó", "ho", "hó", "8"))}}
"""Each joining word with the one that takes its place before a like sound."""
DIPHTHONGS = ("hie", "ia", "ie", "io")
"""Beginnings before which "y" stays "y"."""


def catalogue_path(language: str) -> Path:
    """Message catalogue of a language."""
    return templates_dir() / "text" / language / "LC_MESSAGES" / f"{DOMAIN}.po"


class Cldr:
    """A language with its country; see :class:`loambrief.report.language.Language`.

    Raises TextFault for a tag that is not known, or a language without its catalogue.
    """

    def __init__(self, tag: str):
        if tag not in LOCALES:
            raise TextFault(f"no language {tag}; known are en, {', '.join(LOCALES)}")
        self.locale = Locale.parse(LOCALES[tag])
        self.folder = self.locale.language
        symbols = self.locale.number_symbols["latn"]
        percent = str(self.locale.percent_formats[None].pattern)
        self.signs = Signs(symbols["decimal"], symbols["group"],
                           NBSP + "%" if percent[-2:-1] in (" ", NBSP) else "%",
                           UNITS.get(self.folder, ()))
        names = self.locale.months["format"]["abbreviated"]
        self.months = tuple(names[i].rstrip(".").capitalize() for i in range(1, 13))
        path = catalogue_path(self.folder)
        try:
            with path.open("rb") as stream:
                self._catalogue = read_po(stream, locale=self.folder)
        except FileNotFoundError:
            raise TextFault(f"no message catalogue for {tag}") from None

    def day(self, date: dt.date, form: str = "long") -> str:
        """The locale's date, held together: "14 de octubre de 2026", medium "14 oct 2026"."""
        return format_date(date, form, self.locale).replace(" ", NBSP)

    def money_pattern(self, currency: str) -> str:
        """The locale's currency pattern with ``{}`` for the number.

        A code such as "MXN" is set off by a blank, as the currency spacing rule of CLDR asks.
        """
        pattern = str(self.locale.currency_formats["standard"].pattern).split(";")[0]
        sign = get_currency_symbol(currency, self.locale)
        before, after = pattern.split("¤", 1)
        if before:
            return "{}" + NBSP + sign
        return sign + (NBSP if sign[-1].isalpha() or after[:1] in (" ", NBSP) else "") + "{}"

    def count_word(self, count: int, gender: str = "f") -> str:
        """Small counts as words; "no" and "one" agree with what is counted."""
        if count in (0, 1):
            return ONES[self.folder][gender][count]
        words = COUNTS[self.folder]
        return words[count] if 0 <= count < len(words) else figures(count, 0, self.signs)

    def listed(self, words: Sequence[str], link: str = "") -> str:
        """ "a, b y c", with the locale's patterns; "y" and "o" give way to like sounds."""
        if len(words) < 2:
            return "".join(words)
        patterns = self.locale.list_patterns["or" if link == "o" else "standard"]
        joined = words[0]
        for middle in words[1:-1]:
            joined = patterns["middle"].format(joined, middle)
        pattern = patterns["2" if len(words) == 2 else "end"]
        for word, (other, before) in LINKS[self.folder].items():
            last = words[-1].lower()
            if last.startswith(before) and not (word == "y" and last.startswith(DIPHTHONGS)):
                pattern = pattern.replace(f" {word} ", f" {other} ")
        return pattern.format(joined, words[-1])

    def plural(self, count: float, one: str, many: str) -> str:
        """``one`` where the locale's plural rule says so."""
        return one if self.locale.plural_form(abs(count)) == "one" else many

    def term(self, text: str, context: str = "") -> str:
        """The term in this language; text that is no term passes unchanged.

        ``context`` "f", "mp" or "fp" asks for the form that agrees with such a noun. Of a
        name with an addition ("corn, top leaf") each part is looked up by itself.
        """
        found = self._found(text, context) or self._found(text, "")
        if found is not None:
            return found
        parts = text.split(", ")
        return text if len(parts) == 1 else ", ".join(self._found(p, "") or p for p in parts)

    def _found(self, text: str, context: str) -> str | None:
        """Entry of the catalogue, its numbers with the locale's decimal sign."""
        entry = self._catalogue.get(text, context or None)
        if entry is None or not entry.string:
            return None
        return _POINT.sub(self.signs.decimal, str(entry.string))

    def noun(self, text: str) -> tuple[str, str]:
        """Article and name of a noun; no article where the catalogue has none."""
        found = self._found(text, "the")
        if found is None:
            return "", self.term(text)
        article, _, name = found.partition(" ")
        return article, name
