"""Words: message keys to sentences, through the jinja2 templates of one language.

Each topic has ``templates/text/<language>/<topic>.j2``; each message is a macro there::

    {% macro title_low(p) %}Soil pH {{ p.ph|num(1) }} is below the {{ p.target|num(1) }}
    that {{ p.crop|t }} wants.{% endmacro %}

Filters: ``num(digits)`` a bare number; ``pct(digits)`` a percentage; ``q(unit, digits)`` a
house-unit number in the reader's units (each with ``within=(low, high)`` the ends of its range,
which limit its digits); ``money`` an amount in the case's currency; ``day`` a
date; ``write`` a message inside a message, ``short`` its short form, ``told`` a conclusion with
its place in brackets; ``listed`` "a, b and c"; ``t`` a term of the
catalogue in the reader's language; ``the``, ``of_the``, ``to_the`` a noun with its article;
``agree`` a form by the noun's gender; ``plural`` a form by a count; ``start`` a capital at the
start; ``each(unit)`` a price of one house unit as the price of one of the reader's. ``si`` is
true for readers of SI units. ``more`` stands in a macro where its short form ends, the one that
page 1 and charts have room for. ``[[buffer pH|buffer_ph]]`` is a word of the glossary with its
key. ``depth`` is a slice between two depths in inches. Undefined
values are errors. A place comes as its label and its depth in the reader's units.
"""

import datetime as dt
import math
import re
from collections.abc import Callable, Iterable, Mapping
from copy import copy
from functools import cache
from pathlib import Path
from typing import Self

from jinja2 import Environment, FileSystemLoader, StrictUndefined, TemplateError

from loambrief import numbers
from loambrief.case.schema import Header
from loambrief.errors import TextFault
from loambrief.findings.model import MORE, Message, Place, Product
from loambrief.report.compiled import ForEveryReader, compiled_templates
from loambrief.report.language import language as language_of
from loambrief.report.own_words import bound
from loambrief.report.terms import Marking, capital, named, unmarked
from loambrief.resources import templates_dir
from loambrief.units import LB_PER_TON

_SPACE = re.compile(r"[ \t\r\n]{2,}|[\t\r\n]")
MELTED = {"de": "del", "a": "al"}
NUTRIENTS = {"P2O5": "P₂O₅", "K2O": "K₂O"}


_MARK = "\ue000"
"""Stands for a place in a sentence that is looked at: no text of a case holds it."""


def _same(given: object, value: object) -> bool:
    if isinstance(given, Place) and isinstance(value, Place):
        return given.id == value.id
    return type(given) is type(value) and given == value


def _other(value: object) -> object:
    if isinstance(value, Place):
        return Place(label=_MARK)
    return 3.7 * value + 11.0 if isinstance(value, float) else value


def nutrient_name(item: str) -> str:
    """Nutrient as printed, with subscripts."""
    return NUTRIENTS.get(item, item)


@cache
def _modules(folder: Path, language: str, system: str, currency: str) -> Callable[[str], object]:
    """Compiled templates of one language, kept for the life of the process."""
    writer = Writer.__new__(Writer)
    writer._set(language, system, currency)
    writer.marks = True
    environment = Environment(
        loader=FileSystemLoader(folder / "text" / writer.tongue.folder),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        autoescape=False,
        optimized=False,
        bytecode_cache=compiled_templates(),
        extensions=[Marking],
    )
    environment.code_generator_class = ForEveryReader

    @cache
    def module(topic: str) -> object:
        return environment.get_template(f"{topic}.j2").module

    writer._modules = module
    environment.filters.update(writer.filters())
    environment.globals.update(si=system == "si", more=MORE)
    return module


def _one_line(text: object) -> str:
    return _SPACE.sub(" ", str(text)).strip()


@cache
def _phrase(modules: Callable[[str], object], topic: str, name: str) -> str:
    """A message without parameters: half of all, and always the same."""
    return _one_line(getattr(modules(topic), name)({}))


class Writer:
    """Turns messages into text in one language, unit system and currency."""

    marks = False
    """Whether words of the glossary keep their marks (:mod:`loambrief.report.terms`)."""
    decided: str
    """Units in which amounts were rounded; others are converted from them."""

    def __init__(self, language: str = "en", system: str = "us", currency: str = "USD",
                 folder: Path | None = None):
        self._set(language, system, currency)
        self._modules = _modules(folder or templates_dir(), language, system, currency)

    def marking(self) -> Self:
        """The same writer for a document that ends with a glossary."""
        writer = copy(self)
        writer.marks = True
        return writer

    def _set(self, language: str, system: str, currency: str) -> None:
        self.language, self.system, self.currency = language, system, currency
        self.decided = system
        self.tongue = language_of(language)

    @classmethod
    def of(cls, head: Header) -> Self:
        """The writer of a case's documents."""
        made = cls(head.language, head.units, head.currency)
        made.decided = head.decided_in
        return made

    def filters(self) -> dict[str, Callable]:
        """What templates may call."""
        return {
            "num": self.figures,
            "pct": lambda value, digits=None, within=None: numbers.percent(
                value, digits, self.signs, within),
            "q": self.quantity,
            "money": self.money,
            "day": self.day,
            "each": lambda price, unit: price / numbers.shown(1.0, unit, system=self.system)[0],
            "write": self.write,
            "short": self.short,
            "told": self.told,
            "listed": self.listed,
            "nutrient": nutrient_name,
            "count_word": lambda count, *gender: self.tongue.count_word(count, *gender),
            "t": self.term,
            "the": lambda text: " ".join(filter(None, self.tongue.noun(text))),
            "of_the": lambda text: self._joined("de", text),
            "to_the": lambda text: self._joined("a", text),
            "gender": self.gender,
            "agree": lambda text, *forms: forms[("m", "f", "mp", "fp").index(self.gender(text))
                                                % len(forms)],
            "plural": lambda count, one, many: self.tongue.plural(count, one, many),
            "depth": self.depth,
            "start": capital,
        }

    @property
    def signs(self) -> numbers.Signs:
        """Decimal, grouping and percent signs."""
        return self.tongue.signs

    def write(self, message: Message) -> str:
        """The sentence(s) of a message, whole.

        Raises TextFault if there is no such template or macro, or a value it needs is missing.
        """
        return self._kept(self._written(message).replace(MORE, ""))

    def short(self, message: Message) -> str:
        """A message as far as its template says that the short form goes."""
        return self._kept(self._written(message).partition(MORE)[0].rstrip())

    def _kept(self, text: str) -> str:
        return text if self.marks else unmarked(text)

    def told(self, message: Message, bare: bool = False) -> str:
        """A conclusion as a sentence, the place that it ends with in brackets or left out."""
        text = self.write(message)
        for value in message.params.values():
            ending = f": {self.place(value)}" if isinstance(value, Place) else ""
            if ending and text.endswith(ending):
                start = text.removesuffix(ending)
                return start if bare else f"{start} ({ending.removeprefix(': ')})"
        return text

    def fixed(self, topic: str) -> tuple[tuple[str, str], ...]:
        """The fixed words of a topic: name and text of every macro ``word_<name>``."""
        return tuple((name.removeprefix("word_"), self.write(Message(f"{topic}.{name}")))
                     for name in vars(self._modules(topic)) if name.startswith("word_"))

    def _written(self, message: Message) -> str:
        try:
            if not message.params and bound() is None:
                return _phrase(self._modules, message.topic, message.name)
            macro = self._own_macro(message) or getattr(self._modules(message.topic),
                                                        message.name)
            return _one_line(macro({name: self._shown(value)
                                    for name, value in message.params.items()}))
        except (TemplateError, AttributeError, TypeError, ValueError) as error:
            raise TextFault(f"message {message.key} ({self.language}): {error}") from error

    def _own_macro(self, message: Message) -> Callable | None:
        """The user's own macro of a message, if there is one."""
        own = bound()
        if own is None:
            return None
        return own.macro(self.tongue.folder, message.topic, message.name, self.filters(),
                         self.system, (self.language, self.system, self.currency, self.marks))

    def _shown(self, value: object) -> object:
        """A parameter with the places in it as text."""
        if isinstance(value, str | float):  # most are
            return value
        if isinstance(value, Place):
            return self.place(value)
        if isinstance(value, Product):
            return value.name
        if isinstance(value, list | tuple) and type(value) in (list, tuple):
            return [self._shown(inner) for inner in value]
        if isinstance(value, Mapping):
            return {key: self._shown(inner) for key, inner in value.items()}
        return value

    def figures(self, value: float, digits: int | None = None,
                within: numbers.Ends | None = None) -> str:
        """A bare number."""
        return numbers.figures(value, digits, self.signs, within)

    def quantity(self, value: float, unit: str, digits: int | None = None,
                 within: numbers.Ends | None = None) -> str:
        """A house-unit number in the reader's units, with the unit."""
        text = numbers.quantity(value, unit, self.system, digits, self.signs, within)
        name = numbers.shown(value, unit, self.system)[1]
        own = numbers.symbol(name, self.signs)
        return text.removesuffix(own) + self.named(own, name) if self.marks else text

    def named(self, words: str, name: str) -> str:
        """Words with the mark of the term that a unit or the name of a choice is."""
        return named(words, name) if self.marks else words

    def order(self, value: float, unit: str) -> str:
        """An amount to order or to spread, never rounded down; from a ton up in tons."""
        if unit == "lb" and value >= LB_PER_TON:
            value, unit = value / LB_PER_TON, "ton"
        number, name = numbers.shown(value, unit, self.decided)
        step = 100.0 if unit == "gal" else 1.0 if unit == "lb" else 0.05 if number < 20 else 0.5
        number = math.ceil(number / step - 1e-6) * step
        if self.decided != self.system:
            number, name = numbers.shown(number / numbers.shown(1.0, unit, self.decided)[0], unit,
                                         self.system)
        return f"{self.figures(number)}{numbers.NBSP}{numbers.symbol(name, self.signs)}"

    def rate(self, value: float, unit: str, within: numbers.Ends | None = None) -> str:
        """A rate with the other unit system in brackets, and which of the two was set."""
        other = "us" if self.system == "si" else "si"
        return self.write(Message("report.rate_both", {
            "shown": self.quantity(value, unit, within=within), "set": self.decided == other,
            "other": numbers.quantity(value, unit, other, signs=self.signs, within=within)}))

    def place(self, place: Place, signs: numbers.Signs | None = None) -> str:
        """A place as typed, then its depth in the reader's units."""
        said = [place.label] if place.label else []
        if place.depth is not None:
            said.append(numbers.depth(*place.depth, self.system, signs or self.signs))
        return ", ".join(said)

    def depth(self, top_in: float, bottom_in: float) -> str:
        """A slice of soil in the reader's units ("0-2 in", "0-5 cm")."""
        return numbers.depth(top_in, bottom_in, self.system, self.signs)

    def tells(self, message: Message, value: object) -> bool:
        """Whether the sentence says a place or number that it was given.

        Asked by writing it once more with something else in that place: what stands in the
        words by chance does not count.
        """
        other = {name: _other(value) for name, given in message.params.items()
                 if _same(given, value)}
        return bool(other) and self.write(message) != self.write(
            Message(message.key, {**message.params, **other}))

    def without(self, message: Message, place: Place) -> str:
        """The sentence without the place that it ends with, which stands beside it."""
        marked = {name: Place(label=_MARK) if _same(given, place) else given
                  for name, given in message.params.items()}
        text = self.write(Message(message.key, marked))
        ending = f": {_MARK}"
        return text.removesuffix(ending) if text.endswith(ending) else self.write(message)

    def about(self, subject: Iterable[object], translated: bool = True) -> str:
        """What a calculation is about: its places and names, the names as terms or as they are."""
        named = self.term if translated else str
        signs = self.signs if translated else numbers.ENGLISH
        return ", ".join(
            self.place(piece, signs) if isinstance(piece, Place) else named(str(piece))
            for piece in subject)

    def term(self, text: str, context: str = "") -> str:
        """A term in the reader's language; other text passes unchanged."""
        return self.named(self.tongue.term(text, context), text)

    def gender(self, text: str) -> str:
        """ "m", "f", "mp" or "fp" of a noun in the reader's language; "m" if unknown."""
        return {"la": "f", "los": "mp", "las": "fp"}.get(self.tongue.noun(text)[0], "m")

    def _joined(self, link: str, text: str) -> str:
        """A noun after "de" or "a", which melt with "el"."""
        article, name = self.tongue.noun(text)
        if article == "el":
            return f"{MELTED[link]} {name}"
        return " ".join(part for part in (link, article, name) if part)

    def money(self, amount: float, digits: int | None = None) -> str:
        """Amount with the currency sign; whole units from 100 up, else two decimals."""
        if digits is None:
            digits = 0 if abs(amount) >= 100 or float(amount).is_integer() else 2
        return self.money_pattern.format(self.figures(amount, digits))

    @property
    def money_pattern(self) -> str:
        """Pattern of an amount with ``{}`` for the number."""
        return self.tongue.money_pattern(self.currency)

    def day(self, date: dt.date, form: str = "long") -> str:
        """Unambiguous date: "14 October 2026", "14 de octubre de 2026"; "medium" may be shorter."""
        return self.tongue.day(date, form)

    def listed(self, items: Iterable[object], link: str = "") -> str:
        """ "a, b and c"."""
        return self.tongue.listed([str(item) for item in items], link)
