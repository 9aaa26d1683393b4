"""Walks a report model: every block, text and link in it, whatever its kind."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from enum import StrEnum

from loambrief.charts import ChartSpec
from loambrief.report import blocks, parts
from loambrief.report.blocks import Block, Heading, Span
from loambrief.report.parts import ActionCard, FindingBlock, SignOff, Summary

KINDS = {kind for module in (blocks, parts) for kind in vars(module).values()
         if isinstance(kind, type) and issubclass(kind, Block) and kind is not Block}
"""Every kind of block."""
UNSEEN = {"anchor", "link", "bookmark", "mime", "field", "client_field", "align", "url"}
"""Fields that are not printed as text."""
INSTEAD = {(Summary, "no_limits"): "limits", (Summary, "no_actions"): "actions",
           (blocks.Table, "empty"): "rows", (SignOff, "adviser_name"): "signed"}
"""Texts that are printed only where another part is empty."""


def inside(value: object) -> Iterator[object]:
    """A value and everything in it, in order; chart specs stay whole."""
    yield value
    if isinstance(value, tuple):
        for item in value:
            yield from inside(item)
    elif dataclasses.is_dataclass(value) and not isinstance(value, type | ChartSpec):
        for field in dataclasses.fields(value):
            yield from inside(getattr(value, field.name))


def texts(value: object) -> Iterator[str]:
    """Every printed string of a block."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, tuple):
        for item in value:
            yield from texts(item)
    elif isinstance(value, Span):
        yield value.text
    elif dataclasses.is_dataclass(value) and not isinstance(value, ChartSpec):
        for field in dataclasses.fields(value):
            instead = INSTEAD.get((type(value), field.name))
            if field.name in UNSEEN or isinstance(getattr(value, field.name), StrEnum) or (
                    instead and getattr(value, instead)):
                continue
            yield from texts(getattr(value, field.name))


def links(value: object) -> list[str]:
    """Every link in a model's blocks."""
    return [item.link for item in inside(value) if getattr(item, "link", "")]


def headings(model: blocks.ReportModel) -> list[str]:
    """Every heading of a document, in reading order."""
    words, made = model.words, []
    for item in inside(model.blocks):
        match item:
            case Summary():
                made += [item.title, words.limits, words.first_actions]
                made += [word for word, wanted in (
                    (words.unjudged, item.unjudged), (words.avoid, item.avoid),
                    (words.contact, item.contact), (words.valid_until, item.valid_until)) if wanted]
            case blocks.Annex():
                made.append(item.title)
            case Heading():
                made.append(item.text)
            case FindingBlock():
                made.append(item.title)
            case ActionCard():
                made.append((f"{item.rank}. ", *blocks.spans(item.title)))
            case SignOff():
                made += [words.adviser, words.acknowledgement]
    return [blocks.plain(text) for text in made]
