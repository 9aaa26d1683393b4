"""Words of the charts in the reader's language, and their text alternatives."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields

from loambrief.charts import KINDS, ChartSpec, ChartWords
from loambrief.findings.model import Message, say
from loambrief.numbers import local
from loambrief.report.text import Writer


def chart_words(writer: Writer) -> ChartWords:
    """The fixed words of all charts, from ``charts.j2`` of the writer's language.

    Raises
    ------
    TextFault
        A word is missing in that language.
    """
    words = {f.name: writer.write(say(f"charts.word_{f.name}"))
             for f in fields(ChartWords) if f.name not in ("months", "signs")}
    return ChartWords(months=writer.tongue.months, signs=writer.signs, **words)


def describe(spec: ChartSpec, write: Callable[[Message], str]) -> str:
    """Text alternative: the finding and every number the chart prints.

    Parameters
    ----------
    spec : ChartSpec
        A spec with data; its ``alt`` is not read.
    write : callable
        ``Writer.write`` of the reader's language.

    Returns
    -------
    str
        Sentences; put it into the spec with ``dataclasses.replace(spec, alt=...)``.

    Raises
    ------
    TypeError
        Not a chart spec.
    TextFault
        The language has no text for this kind of chart.
    """
    title = spec.title if spec.title.endswith((".", "!", "?")) else f"{spec.title}."
    with local(spec.words.signs):
        facts = spec.facts()
        return write(say(f"charts.alt_{KINDS[type(spec)].name}", title=title, **facts))
