"""What a language adds to the wording: numbers, dates, money, lists, plurals and names.

English is written out here; every other language takes these from the Unicode locale data and
from its message catalogue (:mod:`loambrief.report.cldr`, the only module that imports Babel),
which is imported only when such an advisory is made.

Wording has two homes. *Sentences* are macros, one per message and language, with the same names
and values (``tests/i18n/test_macros.py``): a sentence has logic, and cut into catalogue entries
its parts would be put together in English word order; as one macro the translator decides on
order, agreement and what to leave out. *Words and names* (crops, weeds, classes, methods,
textures, titles of tables and guides, names of calculations and their inputs) are entries of a
gettext catalogue, ``templates/text/<language>/LC_MESSAGES/loambrief.po``; in English the key is
the word. Codes and keys are never translated before a macro sees them; the macro translates on
output with ``|t``, so that ``{% if p.kind == "gypsum" %}`` is the same in every language.

``python tests/i18n/catalogue.py`` finds every entry, adds the new ones empty, keeps the
translated ones and drops what is gone; it ends with 1 while something lacks a translation, and a
test fails. An entry's context says how it agrees: none (masculine), ``f``, ``mp``, ``fp``;
``the`` is a noun with its article, from which ``|the``, ``|of_the``, ``|to_the`` and ``|agree``
work; ``input`` and ``unit`` are for calculations. All filters: :mod:`loambrief.report.text`.

To add a language, copy ``templates/text/en``, translate the macros, add the tag to
``case.schema.LANGUAGES`` and its locale to ``cldr.LOCALES``, start an empty catalogue, run the
script and fill in what it adds.

::

    language            numbers   dates                   money
    en                  1,234.5   14 October 2026         $1,234
    es (as es-US)       1,234.5   14 de octubre de 2026   $1,234
    es-MX               1,234.5   14 de octubre de 2026   USD 1,234
    es-ES               1.234,5   14 de octubre de 2026   1.234 US$

What the adviser typed, citations, places in a source, market grades, states and universities
stay as they are. Error messages and the data's keys are English in every language.
``governing_language`` in the case says which text counts where an advisory is given in both;
without it, each document's own.
"""

import datetime as dt
from collections.abc import Sequence
from functools import cache
from typing import Protocol

from loambrief.numbers import ENGLISH, NBSP, Signs, figures

MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August",
          "September", "October", "November", "December")
COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
SYMBOLS = {"USD": "$", "CAD": "CA$", "EUR": "€", "GBP": "£", "MXN": "MX$", "AUD": "A$"}


class Language(Protocol):
    """One language as its readers in one country write it."""

    signs: Signs
    months: tuple[str, ...]
    """Short names of the months, as axes print them."""

    @property
    def folder(self) -> str:
        """Folder of the templates: the language without its country."""

    def day(self, date: dt.date, form: str = "long") -> str: ...
    def money_pattern(self, currency: str) -> str: ...
    def count_word(self, count: int, gender: str = "") -> str: ...
    def listed(self, words: Sequence[str], link: str) -> str: ...
    def plural(self, count: float, one: str, many: str) -> str: ...
    def term(self, text: str, context: str) -> str: ...
    def noun(self, text: str) -> tuple[str, str]: ...


class English:
    """English as it is written in the United States, dates with the day first."""

    folder = "en"
    signs = ENGLISH
    months = tuple(name[:3] for name in MONTHS)

    def day(self, date: dt.date, form: str = "long") -> str:
        """Unambiguous date in one form: "14 October 2026"."""
        return f"{date.day}{NBSP}{MONTHS[date.month - 1]}{NBSP}{date.year}"

    def money_pattern(self, currency: str) -> str:
        """Pattern with ``{}`` for the number: "${}", "{} CHF"."""
        sign = SYMBOLS.get(currency)
        return sign + "{}" if sign else "{}" + NBSP + currency

    def count_word(self, count: int, gender: str = "") -> str:
        """Small counts as words ("three"), larger ones as figures."""
        return COUNTS[count] if 0 <= count < len(COUNTS) else figures(count, 0, self.signs)

    def listed(self, words: Sequence[str], link: str = "") -> str:
        """ "a, b and c"."""
        if len(words) < 2:
            return "".join(words)
        return f"{', '.join(words[:-1])} {link or 'and'} {words[-1]}"

    def plural(self, count: float, one: str, many: str) -> str:
        return one if count == 1 else many

    def term(self, text: str, context: str = "") -> str:
        """English terms are their own names."""
        return text

    def noun(self, text: str) -> tuple[str, str]:
        """No article and no gender."""
        return "", text


@cache
def language(tag: str) -> Language:
    """The language of a tag of the case (``"en"``, ``"es-MX"``)."""
    if tag == "en":
        return English()
    from loambrief.report.cldr import Cldr

    return Cldr(tag)
