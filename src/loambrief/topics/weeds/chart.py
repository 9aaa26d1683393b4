"""Weeds by what they hint at as a chart."""

from loambrief.charts.weeds import Hint, HintSign, WeedMark, WeedSpec
from loambrief.report.chart_text import captions
from loambrief.report.context import Context
from loambrief.topics.weeds.hints import hints


def chart(context: Context) -> WeedSpec | None:
    """Weeds by what they hint at, each hint beside the measurement that tests it."""
    rows = tuple(
        Hint(
            label=context.write(hint.label),
            weeds=tuple(WeedMark(context.term(name), cover) for name, cover in hint.weeds),
            verdict=HintSign(hint.verdict),
            verdict_text=context.write(hint.verdict_text),
            measured=context.write(hint.measured) if hint.measured else "",
        )
        for hint in hints(context.case)
    )
    if not rows:
        return None
    return WeedSpec(
        title=next((context.write(f.title) for f in context.diagnosis.by_topic("weeds")
                    if f.id == "weeds.hints"), context.word("chart_weeds")),
        **captions(context, "weeds"),
        hints=rows,
    )
