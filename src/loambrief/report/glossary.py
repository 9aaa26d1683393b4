"""The words of the trade that a document uses, explained once at its end.

A word is listed only if it stands in what is read through (the list of sources and the
calculations do not count), and its first use in a finding or a paragraph leads to it.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from loambrief.findings.model import say
from loambrief.numbers import NBSP
from loambrief.report.blocks import (
    Block,
    Callout,
    Column,
    Heading,
    KeepTogether,
    Paragraph,
    Row,
    Span,
    Table,
    Text,
)
from loambrief.report.links import anchor, parts_of
from loambrief.report.parts import CalculationList, EvidenceLine, FindingBlock, SourceList
from loambrief.report.text import Writer

TERMS = (
    "adf", "base_saturation", "brix", "buffer_ph", "bulk_density", "carbon_nitrogen", "cce",
    "cec", "critical_level", "ece", "esp", "field_capacity", "free_lime", "leaching", "mehlich",
    "meq", "ndf", "no_till", "penetration", "ppm", "rfq", "rfv", "sar", "saturation_extract",
    "sodic", "split_depth", "tdn", "tie_up",
)
"""Macros of ``glossary.j2``; each gives its name, what to look for, and what it means."""
UNREAD = (SourceList, CalculationList)
SILENT = frozenset({"words", "anchor", "link", "bookmark", "describe"})
"""Fields that are not read as text."""


@dataclass(frozen=True)
class Term:
    """One word of the trade in the reader's language."""

    key: str
    name: str
    meaning: str
    finds: tuple[str, ...]
    """Spellings; one in small letters is found in capitals too."""

    @property
    def anchor(self) -> str:
        return anchor("g", self.key)

    def find(self, text: str, lowered: str = "") -> slice | None:
        """The first place where the word stands by itself; ``lowered`` saves lowering again."""
        lowered = lowered or text.lower()
        if len(lowered) != len(text):  # a letter that grows in small letters
            lowered = text
        for spelling in self.finds:
            found = _place(lowered if spelling.islower() else text, spelling)
            if found is not None:
                return slice(found, found + len(spelling))
        return None


def _place(text: str, word: str) -> int | None:
    """Where a word stands that is not part of a longer one."""
    start = text.find(word)
    while start >= 0:
        before, after = text[start - 1:start], text[start + len(word):start + len(word) + 1]
        if not (before.isalnum() or before == "-" or after.isalnum()):
            return start
        start = text.find(word, start + 1)
    return None


def all_terms(writer: Writer) -> tuple[Term, ...]:
    """Every term, in the order of the reader's alphabet.

    Raises
    ------
    TextFault
        A term is missing in that language.
    """
    def part(key: str, name: str) -> str:
        return writer.write(say(f"glossary.{key}", part=name))

    made = [Term(key, part(key, "name"), part(key, "meaning"), tuple(part(key, "find").split(";")))
            for key in TERMS]
    return tuple(sorted(made, key=lambda term: (_sortable(term.name), term.key)))


def _sortable(name: str) -> str:
    """A name without accents and capitals."""
    parted = unicodedata.normalize("NFD", name.casefold())
    return "".join(c for c in parted if not unicodedata.combining(c))


def with_glossary(blocks: Sequence[Block], section: Sequence[Block], writer: Writer,
                  elsewhere: Sequence[Block] = (), number: str = "") -> list[Block]:
    """Blocks of a document with a glossary of the terms they use.

    Parameters
    ----------
    blocks : sequence of Block
        What is read through; the first use of each term in a finding or paragraph is linked.
    section : sequence of Block
        What follows them, for reference; its terms count, without links.
    writer : Writer
    elsewhere : sequence of Block
        Another part whose terms count; it is not returned.
    number : str
        Stands before the heading.

    Returns
    -------
    list of Block
        ``blocks``, ``section``, the glossary if any term is used.
    """
    text = "\n".join(_strings((*elsewhere, *blocks, *section)))
    lowered = text.lower()
    used = [term for term in all_terms(writer) if term.find(text, lowered)]
    if not used:
        return [*blocks, *section]
    linker = _Linker(used)
    word = {name: writer.write(say(f"glossary.{name}"))
            for name in ("heading", "column_term", "column_meaning")}
    return [
        *(linker.block(block) for block in blocks),
        *section,
        Heading(2, f"{number}{NBSP * 2}{word['heading']}" if number else word["heading"],
                anchor="glossary"),
        Table(
            (Column(word["column_term"], weight=1), Column(word["column_meaning"], weight=3)),
            tuple(Row((term.name, term.meaning), anchor=term.anchor) for term in used),
            row_headers=True,
        ),
    ]


def _strings(value: object) -> Iterator[str]:
    """Every text in a value that is read through."""
    left = [value]
    while left:
        item = left.pop()
        if isinstance(item, str):
            yield item
        elif isinstance(item, tuple):
            left += reversed(item)
        elif not isinstance(item, UNREAD):
            kind: Any = type(item)
            left += [getattr(item, name) for name in reversed(parts_of(kind))
                     if name not in SILENT]


class _Linker:
    """Links the first use of each term."""

    def __init__(self, terms: Sequence[Term]):
        self.left = list(terms)

    def block(self, block: Block) -> Block:
        match block:
            case Paragraph():
                return replace(block, text=self.text(block.text))
            case FindingBlock():
                return replace(
                    block,
                    body=tuple(self.text(t) for t in block.body),
                    support=self._lines(block.support),
                    against=self._lines(block.against),
                    context=self._lines(block.context),
                )
            case KeepTogether() | Callout():
                return replace(block, blocks=tuple(self.block(b) for b in block.blocks))
        return block

    def _lines(self, lines: tuple[EvidenceLine, ...]) -> tuple[EvidenceLine, ...]:
        return tuple(replace(line, text=self.text(line.text)) for line in lines)

    def text(self, text: Text) -> Text:
        """A plain text with its first unexplained term as a link; other texts as they are."""
        if not isinstance(text, str):
            return text
        lowered = text.lower()
        for term in self.left:
            found = term.find(text, lowered)
            if found:
                self.left.remove(term)
                pieces = (text[:found.start], Span(text[found], link=f"#{term.anchor}"),
                          text[found.stop:])
                return tuple(p for p in pieces if p)
        return text
