"""Carbon to nitrogen of soil, residues and materials as a chart."""

from loambrief.charts.carbon_nitrogen import CarbonNitrogenSpec, RatioRow
from loambrief.charts.model import Threshold
from loambrief.findings.model import Place
from loambrief.report.chart_text import captions
from loambrief.report.context import Context
from loambrief.topics.carbon_nitrogen.findings import RatioPoint, ratios, turning_ratio


def chart(context: Context) -> CarbonNitrogenSpec | None:
    """C:N of soil, residues and materials against the ratio where nitrogen turns."""
    points = ratios(context.case)
    if not points:
        return None
    turn = turning_ratio()
    own = [p for p in points if p.kind != "soil"]
    return CarbonNitrogenSpec(
        title=context.word("chart_ratio", above=[_about(context, p) for p in own if p.ratio > turn],
                           below=[_about(context, p) for p in own if p.ratio <= turn]),
        **captions(context, "ratio"),
        rows=tuple(RatioRow(_about(context, p), p.ratio) for p in points),
        turning=Threshold(turn, context.word("chart_ratio_turn")),
        below=context.word("chart_ratio_below"),
        above=context.word("chart_ratio_above"),
    )


def _about(context: Context, point: RatioPoint) -> str:
    return point.about.label if isinstance(point.about, Place) else context.term(point.about)
