"""Forage and water tests exactly as typed: beside the soil samples, nothing averaged."""

from collections.abc import Sequence

from loambrief.case.intake_kinds import fields_of
from loambrief.case.measurements import path_of
from loambrief.case.part import Part
from loambrief.report.blocks import Block, Column, Heading, Paragraph, Row, Style, Table
from loambrief.report.context import Context

MOST_COLUMNS = 4
"""Tests side by side in one table."""


def other_tests(context: Context) -> list[Block]:
    """A table for the forage tests and one for the water test, if there are any."""
    case, word = context.case, context.word
    blocks: list[Block] = []
    forage = case.forage
    for start in range(0, len(forage), MOST_COLUMNS):
        tests = forage[start:start + MOST_COLUMNS]
        blocks += _table(context, "forage", word("heading_forage"), tests,
                         [f"{t.id} ({t.cutting})" if t.cutting else t.id for t in tests],
                         [t.lab for t in tests])
    if case.water is not None:
        blocks += _table(context, "water", word("heading_water"), [case.water],
                         [case.water.source], [case.water.lab])
    return blocks


def _table(context: Context, kind: str, heading: str, tests: Sequence, names: Sequence[str],
           labs: Sequence[str | None]) -> list[Block]:
    word = context.word
    fields = [path_of(name)[-1] for name in fields_of(kind)]
    rows = [Row((word(f"{kind}_{field}"), *(_typed(context, test, field) for test in tests)))
            for field in fields if any(getattr(test, field) is not None for test in tests)]
    if not rows:
        return []
    told = "; ".join(
        ", ".join(part for part in (name, context.writer.day(test.date), lab) if part)
        for name, test, lab in zip(names, tests, labs, strict=True))
    return [Heading(3, heading), Paragraph(told, Style.SMALL),
            Table((Column(word("column_result"), weight=3),
                   *(Column(name, "right", weight=2) for name in names)), tuple(rows),
                  row_headers=True)]


def _typed(context: Context, test: Part, field: str) -> str:
    value = getattr(test, field)
    told = context.typed(value)
    form = getattr(test, "nitrate_as", None) if field == "nitrate" and value is not None else None
    return context.word("nitrate_form", value=told, form=form) if form else told
