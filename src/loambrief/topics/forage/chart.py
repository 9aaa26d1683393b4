"""What the stock need against what there is, as bars: the hay, or else the pasture."""

from loambrief.charts.tally import TallyRow, TallySpec
from loambrief.report.chart_text import captions
from loambrief.report.context import Context

OF = {"forage.hay_supply": ("hay", "ton"), "forage.stocking": ("pasture", "ac")}
"""Findings that can be drawn, the first that the case has, with what they are of and its unit."""


def chart(context: Context) -> TallySpec | None:
    found = {f.id: f for f in context.diagnosis.by_topic("forage")}
    finding = next((found[key] for key in OF if key in found), None)
    if finding is None or finding.reference is None:
        return None
    of, unit = OF[finding.id]
    needed = finding.reference.params
    values = [("least", needed["low"]), ("most", needed["high"])]
    if finding.title.params.get("held", finding.value) is not None:
        values.append(("there", finding.value))
    return TallySpec(
        title=context.word("chart_feed"), **captions(context, "feed"),
        rows=tuple(TallyRow(context.word("chart_feed_row", of=of, what=what), float(str(value)),
                            context.writer.quantity(float(str(value)), unit, 0))
                   for what, value in values))
