"""Words of the charts in the reader's language, and their text alternatives."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, TypedDict, TypeVar

from loambrief.charts import KINDS, ChartSpec, ChartWords
from loambrief.findings.model import Message, say
from loambrief.numbers import local
from loambrief.report.text import Writer

if TYPE_CHECKING:
    from loambrief.report.context import Context

S = TypeVar("S", bound=ChartSpec)


class Captions(TypedDict):
    """What stands over and under a chart, and its fixed words."""

    words: ChartWords
    subtitle: str
    note: str


def captions(context: Context, name: str, **params: object) -> Captions:
    """Texts of one chart: ``report.chart_<name>_sub`` and ``report.chart_<name>_note``."""
    return {"words": context.chart_words,
            "subtitle": context.word(f"chart_{name}_sub", **params),
            "note": context.word(f"chart_{name}_note", **params)}


def chart_words(writer: Writer) -> ChartWords:
    """The fixed words of all charts."""
    return ChartWords(writer.fixed("charts"), writer.tongue.months, writer.signs)


def described(spec: S, write: Callable[[Message], str]) -> S:
    """The chart with its title as a sentence begins and with its text alternative."""
    if spec.title[1:2].islower():  # "pH" stays as it is
        spec = replace(spec, title=spec.title[:1].upper() + spec.title[1:])
    return replace(spec, alt=describe(spec, write))


def describe(spec: ChartSpec, write: Callable[[Message], str]) -> str:
    """Text alternative: the finding and every number that a chart with data prints.

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
