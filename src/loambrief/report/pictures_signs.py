"""Charts of what plants and residues show: sap, weeds, carbon to nitrogen."""

from __future__ import annotations

from loambrief.charts import ChartSpec, Threshold
from loambrief.charts.carbon_nitrogen import CarbonNitrogenSpec, RatioRow
from loambrief.charts.sap import SapRow, SapSpec
from loambrief.charts.weeds import Hint, HintVerdict, WeedMark, WeedSpec
from loambrief.findings.model import Place
from loambrief.report.context import Context
from loambrief.topics.carbon_nitrogen.findings import RatioPoint, ratios, turning_ratio
from loambrief.topics.refractometry.formulas import constant
from loambrief.topics.refractometry.state import Sap, sap_state
from loambrief.topics.weeds.findings import hints


def sap(context: Context) -> ChartSpec | None:
    state = sap_state(context.case)
    if state is None:
        return None
    rows = tuple(_sap_row(context, one) for one in state.all)
    return SapSpec(
        title=context.topic_title("refractometry", "chart_sap"),
        words=context.chart_words,
        subtitle=context.word("chart_sap_sub", date=state.part.date),
        note=context.word("chart_sap_note"),
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


def weeds(context: Context) -> ChartSpec | None:
    """Weeds by what they hint at, each hint beside the measurement that tests it."""
    rows = tuple(
        Hint(
            label=context.write(hint.label),
            weeds=tuple(WeedMark(context.term(name), cover) for name, cover in hint.weeds),
            verdict=HintVerdict(hint.verdict),
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
        words=context.chart_words,
        subtitle=context.word("chart_weeds_sub"),
        note=context.word("chart_weeds_note"),
        hints=rows,
    )


def carbon_nitrogen(context: Context) -> ChartSpec | None:
    """C:N of soil, residues and materials against the ratio where nitrogen turns."""
    rows = tuple(
        RatioRow(_about(context, point), point.ratio)
        for point in ratios(context.case)
    )
    if not rows:
        return None
    turn = turning_ratio()
    own = [p for p in ratios(context.case) if p.kind != "soil"]
    return CarbonNitrogenSpec(
        title=context.word("chart_ratio", above=[_about(context, p) for p in own if p.ratio > turn],
                           below=[_about(context, p) for p in own if p.ratio <= turn]),
        words=context.chart_words,
        subtitle=context.word("chart_ratio_sub"),
        note=context.word("chart_ratio_note"),
        rows=rows,
        turning=Threshold(turn, context.word("chart_ratio_turn")),
        below=context.word("chart_ratio_below"),
        above=context.word("chart_ratio_above"),
    )


def _about(context: Context, point: RatioPoint) -> str:
    return point.about.label if isinstance(point.about, Place) else context.term(point.about)
