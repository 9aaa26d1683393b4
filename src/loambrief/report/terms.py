"""Marks that tell which words of a text are terms of the glossary, by key.

A template writes ``[[buffer pH|buffer_ph]]``: the words as they are printed and the key of their
macro in ``glossary.j2``. The mark stays with the words, through every text they become part of,
until :mod:`loambrief.report.glossary` turns it into a link; what is printed without a glossary
loses it at once (:meth:`loambrief.report.text.Writer.write`). The signs of a mark are of the
private use area: no template and no text of a case holds them. Units and the names of choices
are words of no template; which of them are terms ``tables/wording/terms.csv`` says.
"""

import re
from collections.abc import Iterator
from functools import cache

from jinja2.ext import Extension

from loambrief.tables import load

_TYPED = re.compile(r"\[\[([^\[\]|]+)\|([a-z_]+)\]\]")
_MARKED = re.compile("\ue002([a-z_]+)\ue003([^\ue004]*)\ue004")
_BEFORE = re.compile("(\ue002[a-z_]+\ue003)?(.?)", re.DOTALL)
TERMS = "wording/terms"
END = "\ue004"
"""The last sign of a mark: a text without it has none."""


class Marking(Extension):
    """Reads ``[[words|key]]`` in templates."""

    def preprocess(self, source: str, name: str | None, filename: str | None = None) -> str:
        return _TYPED.sub("\ue002\\2\ue003\\1\ue004", source)


def named(words: str, name: str) -> str:
    """Words that say the unit or name of a choice, as a term if the name is one."""
    key = _terms().get(name.replace(" ", ""))
    return f"\ue002{key}\ue003{words}\ue004" if key else words


@cache
def _terms() -> dict[str, str]:
    return {str(row["name"]).replace(" ", ""): str(row["term"]) for row in load(TERMS)}


def unmarked(text: str) -> str:
    """A text as it is printed."""
    return _MARKED.sub(r"\2", text) if END in text else text


def terms_in(text: str) -> set[str]:
    """Keys of the terms that a text names."""
    return {found[1] for found in _MARKED.finditer(text)} if END in text else set()


def pieces(text: str) -> Iterator[tuple[str, str]]:
    """A text in parts, each with the key of the term that it is, or an empty one."""
    end = 0
    for mark in _MARKED.finditer(text):
        yield text[end:mark.start()], ""
        yield mark[2], mark[1]
        end = mark.end()
    yield text[end:], ""


def capital(text: str) -> str:
    """A text with a capital at its start."""
    return _BEFORE.sub(lambda found: (found[1] or "") + found[2].upper(), text, count=1)


def small(text: str) -> str:
    """A text that may follow others in a sentence: an abbreviation keeps its capitals."""
    plain = unmarked(text[:80])
    if not plain[1:2].islower():
        return text
    return _BEFORE.sub(lambda found: (found[1] or "") + found[2].lower(), text, count=1)
