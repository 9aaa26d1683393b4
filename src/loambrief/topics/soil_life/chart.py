"""Tests of soil life and structure beside what others call low and high, as a chart."""

from __future__ import annotations

from loambrief.agronomy.registry import Result
from loambrief.charts.ranges import PublishedRange, RangesSpec, RangeTest
from loambrief.findings.model import say
from loambrief.report.chart_text import captions
from loambrief.report.context import Context


def chart(context: Context) -> RangesSpec | None:
    """One test after the other; None where no range is held for any of them."""
    tests = []
    for finding in context.diagnosis.by_topic("soil_life"):
        read = [r for r in finding.results if r.formula == "soil_life_reading"]
        if read and finding.value is not None:
            about = finding.title.params
            tests.append(RangeTest(
                context.write(say("soil_life.chart_test", **about)), finding.value,
                tuple(_range(context, r, str(about["unit"])) for r in read)))
    if not tests:
        return None
    return RangesSpec(title=context.word("chart_life"), **captions(context, "life"),
                      tests=tuple(tests))


def _range(context: Context, read: Result, unit: str) -> PublishedRange:
    low, high = float(read.details["low"]), read.details["high"]
    return PublishedRange(
        context.write(say("soil_life.chart_scheme", scheme=read.inputs["scheme"],
                          name=read.value)), low, high,
        context.write(say("soil_life.chart_range", low=low, high=high, unit=unit)))
