"""Words: message keys to sentences, through the jinja2 templates of one language.

Each topic has ``templates/text/<language>/<topic>.j2``; each message is a macro there::

    {% macro title_low(p) %}Soil pH {{ p.ph|num(1) }} is below the {{ p.target|num(1) }}
    that {{ p.crop }} wants.{% endmacro %}

Filters: ``num(digits)`` a bare number; ``q(unit, digits)`` a house-unit number in the
reader's units; ``money`` an amount in the case's currency; ``day`` a date; ``write`` a
message inside a message; ``listed`` "a, b and c". Undefined values are errors.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterable
from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined, TemplateError

from loambrief.errors import TextFault
from loambrief.findings.model import Message
from loambrief.report import numbers
from loambrief.resources import templates_dir

_SPACE = re.compile(r"[ \t\r\n]+")
MONTHS = {
    "en": ("January", "February", "March", "April", "May", "June", "July", "August",
           "September", "October", "November", "December"),
    "es": ("enero", "febrero", "marzo", "abril", "mayo", "junio", "julio", "agosto",
           "septiembre", "octubre", "noviembre", "diciembre"),
}
COUNTS = {
    "en": ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"),
    "es": ("ninguna", "una", "dos", "tres", "cuatro", "cinco", "seis", "siete", "ocho", "nueve",
           "diez"),
}
AND = {"en": "and", "es": "y"}
SYMBOLS = {"USD": "$", "CAD": "CA$", "EUR": "€", "GBP": "£", "MXN": "MX$", "AUD": "A$"}


NUTRIENTS = {"P2O5": "P₂O₅", "K2O": "K₂O"}


def nutrient_name(item: str) -> str:
    """Nutrient as printed, with subscripts."""
    return NUTRIENTS.get(item, item)


@cache
def _modules(folder: Path, language: str, system: str, currency: str) -> Callable[[str], object]:
    """Compiled templates of one language, kept for the life of the process."""
    environment = Environment(
        loader=FileSystemLoader(folder / "text" / language),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        autoescape=False,
    )

    @cache
    def module(topic: str) -> object:
        return environment.get_template(f"{topic}.j2").module

    writer = Writer.__new__(Writer)
    writer.language, writer.system, writer.currency = language, system, currency
    writer._modules = module
    environment.filters.update(writer.filters())
    return module


class Writer:
    """Turns messages into text in one language, unit system and currency."""

    def __init__(self, language: str = "en", system: str = "us", currency: str = "USD",
                 folder: Path | None = None):
        self.language, self.system, self.currency = language, system, currency
        self._modules = _modules(folder or templates_dir(), language, system, currency)

    def filters(self) -> dict[str, Callable]:
        """What templates may call."""
        return {
            "num": numbers.figures,
            "q": lambda value, unit, digits=None: numbers.quantity(value, unit, self.system,
                                                                   digits),
            "money": self.money,
            "day": self.day,
            "write": self.write,
            "listed": self.listed,
            "nutrient": nutrient_name,
            "count_word": self.count_word,
        }

    def write(self, message: Message) -> str:
        """The sentence(s) of a message.

        Raises
        ------
        TextFault
            No such template or macro, or a value it needs is missing.
        """
        try:
            macro = getattr(self._modules(message.topic), message.name)
            text = macro(dict(message.params))
        except (TemplateError, AttributeError, TypeError, ValueError) as error:
            raise TextFault(f"message {message.key} ({self.language}): {error}") from error
        return _SPACE.sub(" ", str(text)).strip()

    def money(self, amount: float, digits: int | None = None) -> str:
        """Amount with the currency sign; whole units from 100 up, else two decimals."""
        if digits is None:
            digits = 0 if abs(amount) >= 100 or float(amount).is_integer() else 2
        sign = SYMBOLS.get(self.currency)
        text = numbers.figures(amount, digits)
        return f"{sign}{text}" if sign else f"{text}{numbers.NBSP}{self.currency}"

    def day(self, date: dt.date) -> str:
        """Unambiguous date: "14 October 2026"."""
        month = MONTHS[self.language][date.month - 1]
        link = f"{numbers.NBSP}de{numbers.NBSP}" if self.language == "es" else numbers.NBSP
        return f"{date.day}{link}{month}{link}{date.year}"

    def count_word(self, count: int) -> str:
        """Small counts as words ("three"), larger ones as figures."""
        words = COUNTS[self.language]
        return words[count] if 0 <= count < len(words) else str(count)

    def listed(self, items: Iterable[str]) -> str:
        """ "a, b and c"."""
        words = [str(item) for item in items]
        if len(words) < 2:
            return "".join(words)
        return f"{', '.join(words[:-1])} {AND[self.language]} {words[-1]}"
