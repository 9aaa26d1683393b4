"""The words of the trade that a document uses, explained once at its end.

A word is listed only if it stands in what is read through (the list of sources and the
calculations do not count), and its first use in a finding or a paragraph leads to it. Which
words are terms the templates say, by key (:mod:`loambrief.report.terms`).
"""

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, replace
from operator import is_
from typing import Any

from loambrief.findings.model import say
from loambrief.numbers import NBSP
from loambrief.report import blocks as b
from loambrief.report.links import anchor, parts_of
from loambrief.report.parts import CalculationList, EvidenceLine, FindingBlock, SourceList
from loambrief.report.terms import END, pieces, terms_in, unmarked
from loambrief.report.text import Writer

TERMS = (
    "adf", "base_saturation", "brix", "buffer_ph", "bulk_density", "carbon_nitrogen", "cce",
    "cec", "critical_level", "ece", "esp", "field_capacity", "free_lime", "leaching", "mehlich",
    "meq", "ndf", "no_till", "penetration", "ppm", "rfq", "rfv", "sar", "saturation_extract",
    "sodic", "split_depth", "tdn", "tie_up",
)
"""Macros of ``glossary.j2``; each gives its name and what it means."""
UNREAD = (SourceList, CalculationList)
SILENT = frozenset({"words", "anchor", "link", "bookmark", "describe"})
"""Fields that are not read as text."""


@dataclass(frozen=True)
class Term:
    """One word of the trade in the reader's language."""

    key: str
    name: str
    meaning: str

    @property
    def anchor(self) -> str:
        return anchor("g", self.key)


def all_terms(writer: Writer) -> tuple[Term, ...]:
    """Every term, in the order of the reader's alphabet; raises TextFault where one is missing."""
    def part(key: str, name: str) -> str:
        return writer.write(say(f"glossary.{key}", part=name))

    made = [Term(key, part(key, "name"), part(key, "meaning")) for key in TERMS]
    return tuple(sorted(made, key=lambda term: (_sortable(term.name), term.key)))


def _sortable(name: str) -> str:
    """A name without accents and capitals."""
    parted = unicodedata.normalize("NFD", name.casefold())
    return "".join(c for c in parted if not unicodedata.combining(c))


def with_glossary(first: Sequence[b.Block], read: Sequence[b.Block], section: Sequence[b.Block],
                  writer: Writer, number: str = "") -> tuple[list[b.Block], list[b.Block]]:
    """Both parts of a document, the second with a glossary of the terms they use, if any.

    The marks of the terms are gone from all of them.

    Parameters
    ----------
    first, section : sequence of Block
        The first part, and what follows the second for reference: their terms count, without links.
    read : sequence of Block
        What is read through; the first use of each term in a finding or paragraph is linked.
    number : str
        Stands before the heading.

    Raises
    ------
    ValueError
        A text has a term that is not in the glossary.
    """
    reader = _Reader()
    before = [reader.bare(block) for block in first]
    after = [*(reader.bare(reader.linked(block)) for block in read),
             *(reader.bare(block) for block in section)]
    if not reader.used:
        return before, after
    if unknown := reader.used - {*TERMS}:
        raise ValueError(f"terms that are not in the glossary: {', '.join(sorted(unknown))}")
    word = {name: writer.write(say(f"glossary.{name}"))
            for name in ("heading", "column_term", "column_meaning")}
    return before, [
        *after,
        b.Heading(2, f"{number}{NBSP * 2}{word['heading']}" if number else word["heading"],
                  anchor="glossary"),
        b.Table(
            (b.Column(word["column_term"], weight=1), b.Column(word["column_meaning"], weight=3)),
            tuple(b.Row((term.name, term.meaning), anchor=term.anchor)
                  for term in all_terms(writer) if term.key in reader.used),
            row_headers=True,
        ),
    ]


def printed(part: Any) -> Any:
    """A block, or a part of one, as it is printed: without the marks of terms."""
    return _Reader().bare(part)


class _Reader:
    """Takes the marks of terms out of blocks, and keeps which terms there were."""

    def __init__(self) -> None:
        self.used: set[str] = set()
        self.led: set[str] = set()

    def bare(self, value: Any, read: bool = True) -> Any:
        """A block, or a part of one, without marks; ``read`` if what stands there counts."""
        if isinstance(value, str):
            if END not in value:
                return value
            if read:
                self.used |= terms_in(value)
            return unmarked(value)
        if isinstance(value, tuple):
            new = tuple([item if isinstance(item, str) and END not in item
                         else self.bare(item, read) for item in value])
            return value if all(map(is_, new, value)) else new
        changes = {}
        read = read and not isinstance(value, UNREAD)
        kind: Any = type(value)
        for name in parts_of(kind):
            old = getattr(value, name)
            if isinstance(old, str) and END not in old:  # nearly all are
                continue
            if (part := self.bare(old, read and name not in SILENT)) is not old:
                changes[name] = part
        return replace(value, **changes) if changes else value

    def linked(self, block: b.Block) -> b.Block:
        """A block whose terms lead to the glossary where they are used first."""
        match block:
            case b.Paragraph():
                return replace(block, text=self._text(block.text))
            case FindingBlock():
                return replace(
                    block,
                    body=tuple(self._text(t) for t in block.body),
                    support=self._lines(block.support),
                    against=self._lines(block.against),
                    context=self._lines(block.context),
                )
            case b.KeepTogether() | b.Callout():
                return replace(block, blocks=tuple(self.linked(x) for x in block.blocks))
        return block

    def _lines(self, lines: tuple[EvidenceLine, ...]) -> tuple[EvidenceLine, ...]:
        return tuple(replace(line, text=self._text(line.text)) for line in lines)

    def _text(self, text: b.Text) -> b.Text:
        """A plain text with links where it names terms first; other texts as they are."""
        if not isinstance(text, str) or terms_in(text) <= self.led:
            return text
        parts: list[str | b.Span] = []
        for words, key in pieces(text):
            if key and key not in self.led:
                parts.append(b.Span(words, link=f"#{anchor('g', key)}"))
            elif words and parts and isinstance(parts[-1], str):
                parts[-1] += words
            elif words:
                parts.append(words)
            self.used |= {key} - {""}
            self.led |= {key}
        return tuple(parts)
