"""Sap readings of the crop and its weeds as a chart."""

from loambrief.charts.model import Threshold
from loambrief.charts.sap import SapRow, SapSpec
from loambrief.report.chart_text import captions
from loambrief.report.context import Context
from loambrief.topics.refractometry.formulas import constant
from loambrief.topics.refractometry.state import Sap, sap_state


def chart(context: Context) -> SapSpec | None:
    state = sap_state(context.case)
    if state is None:
        return None
    rows = tuple(_sap_row(context, one) for one in state.all)
    return SapSpec(
        title=context.topic_title("refractometry", "chart_sap"),
        **captions(context, "sap", date=state.part.date),
        rows=rows,
        thresholds=(Threshold(constant("practice_level"), context.word("chart_sap_rule"),
                              practice=True),),
    )


def _sap_row(context: Context, one: Sap) -> SapRow:
    line = one.reading.line
    interval = one.interval.details if one.interval is not None else {}
    return SapRow(
        label=context.term(one.name),
        is_crop=one.reading.role == "crop",
        replicates=tuple(round(v, 2) for v in one.brix),
        mean=one.mean,
        low=interval.get("low"),
        high=interval.get("high"),
        line=context.word("chart_line", line=line) if line else "",
    )
