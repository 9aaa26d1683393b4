"""Anchors and numbered sources: how findings, actions, calculations and sources point at
each other."""

import re
from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass, field, fields, is_dataclass, replace
from functools import cache
from types import MappingProxyType
from typing import Any
from urllib.parse import quote

from loambrief.agronomy.registry import Result
from loambrief.report.blocks import Span, Text

FEWEST_DIGITS = 7
"""A shorter number cannot be dialled from elsewhere."""
_UNSAFE = re.compile(r"[^A-Za-z0-9._-]+")
_PLAIN = (str, bool, float, int, type(None))
"""What a text or a block is made of in the end; nothing is in it."""
NUMBERS = (bool, int, float, "bool", "int", "float")
"""Kinds of fields, as their classes declare them, in which no text is."""
_ADDRESS = re.compile(r"(https?://|mailto:|tel:\+?\d)[^\s<>\"]+", re.IGNORECASE)


def anchor(kind: str, name: str) -> str:
    """Anchor of a finding (``f``), action (``a``), calculation (``c``) or source (``s``)."""
    return f"{kind}-{_UNSAFE.sub('-', name)}"


def web_address(link: str) -> str:
    """A web, mail or telephone address that is safe to open, or nothing."""
    link = link.strip()
    return quote(link, safe=":/?#[]@!$&'()*+,;=%-._~") if _ADDRESS.fullmatch(link) else ""


def telephone(text: str) -> Text:
    """A telephone number to tap on; text without enough digits stays as it is."""
    digits = re.sub(r"\D", "", re.split(r"[^\d\s()+./-]", text.strip(), maxsplit=1)[0])
    if len(digits) < FEWEST_DIGITS:
        return text
    return Span(text, link=f"tel:{'+' if text.strip().startswith('+') else ''}{digits}")


@dataclass
class SourceNumbers:
    """Numbers sources in the order they are first cited; the list prints only these."""

    numbers: dict[str, int] = field(default_factory=dict)

    def cite(self, keys: Iterable[str]) -> tuple[Span, ...]:
        """Links such as "[3] [7]", each source once."""
        links: list[Span] = []
        for key in dict.fromkeys(keys):
            number = self.numbers.setdefault(key, len(self.numbers) + 1)
            if links:
                links.append(Span(" ", small=True))
            links.append(Span(f"[{number}]", small=True, link=f"#{anchor('s', key)}"))
        return tuple(links)

    def label(self, key: str) -> str:
        return f"[{self.numbers[key]}]"


@dataclass(frozen=True)
class Worked:
    """One line of the list of calculations: recorded once or oftener, inputs and answer equal."""

    result: Result
    """The first of them."""
    ids: tuple[str, ...]
    """All their numbers ("c018", "c021")."""
    subjects: tuple[tuple[Hashable, ...], ...]
    """What they are about, each once; empty for the field."""


def distinct(calculations: Iterable[Result]) -> tuple[Worked, ...]:
    """Calculations in order; one with the formula, inputs and answer of an earlier one joins it."""
    alike: dict[str, list[Result]] = {}
    for result in calculations:
        key = repr((result.formula, sorted(result.inputs.items()), result.value, result.source,
                    result.locator, result.how))
        alike.setdefault(key, []).append(result)
    return tuple(
        Worked(same[0], tuple(r.calculation for r in same),
               tuple(dict.fromkeys(r.subject for r in same)))
        for same in alike.values()
    )


def calculation_links(results: Iterable[Result],
                      printed: Mapping[str, str] = MappingProxyType({})) -> tuple[Span, ...]:
    """Links such as "c012 c013" to the calculations that were recorded.

    ``printed``: number of a calculation to the number it is listed under, where that is another.
    """
    links: list[Span] = []
    names = (printed.get(r.calculation, r.calculation) for r in results if r.calculation)
    for name in dict.fromkeys(names):
        if links:
            links.append(Span(" ", small=True))
        links.append(Span(name, small=True, link=f"#{anchor('c', name)}"))
    return tuple(links)


@cache
def parts_of(kind: Any) -> tuple[str, ...]:
    """Names of the fields of a kind of block that are no numbers; none if it has no parts."""
    return tuple(item.name for item in (fields(kind) if is_dataclass(kind) else ())
                 if item.type not in NUMBERS)


@cache
def _linking(kind: Any) -> tuple[str, ...]:
    """Names of those that hold an anchor, a link, or what may hold some in turn."""
    return tuple(item.name for item in (fields(kind) if is_dataclass(kind) else ())
                 if item.name in ("anchor", "link") or item.type not in (str, "str", *NUMBERS))


def anchors(value: object) -> set[str]:
    """Every anchor in a block."""
    found: set[str] = set()
    left = [value]
    while left:
        item = left.pop()
        if isinstance(item, tuple):
            left += [inner for inner in item if not isinstance(inner, str)]
            continue
        kind: Any = type(item)
        for name in _linking(kind):
            inner = getattr(item, name)
            if name == "anchor":
                found.add(inner)
            elif not isinstance(inner, _PLAIN):
                left.append(inner)
    return found - {""}


def prefixed(value, prefix: str):
    """A block with its anchors, and the links to them, under a prefix of their own."""
    if isinstance(value, tuple):
        made = [item if isinstance(item, _PLAIN) else prefixed(item, prefix) for item in value]
        same = all(new is old for new, old in zip(made, value, strict=True))
        return value if same else tuple(made)
    changes = {}
    kind: Any = type(value)
    for name in _linking(kind):
        old = getattr(value, name)
        if name == "anchor" and old:
            new = prefix + old
        elif name == "link" and isinstance(old, str) and old.startswith("#"):
            new = f"#{prefix}{old[1:]}"
        elif isinstance(old, _PLAIN):
            continue
        else:
            new = prefixed(old, prefix)
        if new is not old:
            changes[name] = new
    return replace(value, **changes) if changes else value
