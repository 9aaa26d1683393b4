"""Charts of what plants and residues show: sap, weeds, carbon to nitrogen."""

from __future__ import annotations

from loambrief.agronomy.registry import Result
from loambrief.case.schema import SapReading
from loambrief.report.context import Context
from loambrief.report.specs import (
    CarbonNitrogenSpec,
    ChartSpec,
    Hint,
    RatioRow,
    SapRow,
    SapSpec,
    Threshold,
    Verdict,
    WeedMark,
    WeedSpec,
)
from loambrief.topics.carbon_nitrogen.findings import ratios, turning_ratio
from loambrief.topics.refractometry.formulas import constant
from loambrief.topics.weeds.findings import hints


def sap(context: Context) -> ChartSpec | None:
    sap = context.case.refractometer
    if sap is None:
        return None
    rows = tuple(_sap_row(context, reading) for reading in sap.readings)
    return SapSpec(
        title=context.topic_title("refractometry", "chart_sap"),
        words=context.chart_words,
        subtitle=context.word("chart_sap_sub", date=sap.date),
        note=context.word("chart_sap_note"),
        rows=rows,
        thresholds=(Threshold(constant("practice_level"), context.word("chart_sap_rule"),
                              practice=True),),
    )


def _sap_row(context: Context, reading: SapReading) -> SapRow:
    corrected = _corrected(context.calculations, reading)
    interval = next(
        (r for r in context.calculations
         if r.formula == "mean_interval" and _same(r.inputs.get("values"), corrected)),
        None,
    )
    mean = sum(corrected) / len(corrected)
    return SapRow(
        label=context.term(_plant(context, reading)),
        is_crop=reading.role == "crop",
        replicates=tuple(round(v, 2) for v in corrected),
        mean=mean,
        low=interval.details.get("low") if interval else None,
        high=interval.details.get("high") if interval else None,
        line=context.word("chart_line", line=reading.line) if reading.line else "",
    )


def _plant(context: Context, reading: SapReading) -> str:
    """The local name of a weed where the case gives one."""
    return next((w.local_name for w in context.case.weeds
                 if w.local_name and w.species.lower() == reading.plant.lower()), reading.plant)


def _same(values: object, wanted: list[float]) -> bool:
    return isinstance(values, list | tuple) and len(values) == len(wanted) and all(
        abs(a - b) < 1e-9 for a, b in zip(values, wanted, strict=True)
    )


def _corrected(calculations: tuple[Result, ...], reading: SapReading) -> list[float]:
    """Replicates at 20 °C as the diagnosis used them; as read where it corrected nothing."""
    if reading.temperature is None:
        return list(reading.replicates)
    at = reading.temperature.value
    found = {
        r.inputs["reading"]: r.value
        for r in calculations
        if r.formula == "brix_at_20c" and r.inputs.get("temperature_c") == at
    }
    return [float(found.get(v, v)) for v in reading.replicates]


def weeds(context: Context) -> ChartSpec | None:
    """Weeds by what they hint at, each hint beside the measurement that tests it."""
    rows = tuple(
        Hint(
            label=context.write(hint.label),
            weeds=tuple(WeedMark(context.term(name), cover) for name, cover in hint.weeds),
            verdict=Verdict(hint.verdict),
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
        RatioRow(context.term(context.place(point.label)), point.ratio)
        for point in ratios(context.case)
    )
    if not rows:
        return None
    turn = turning_ratio()
    own = [p for p in ratios(context.case) if p.kind != "soil"]
    return CarbonNitrogenSpec(
        title=context.word("chart_ratio", above=[p.label for p in own if p.ratio > turn],
                           below=[p.label for p in own if p.ratio <= turn]),
        words=context.chart_words,
        subtitle=context.word("chart_ratio_sub"),
        note=context.word("chart_ratio_note"),
        rows=rows,
        turning=Threshold(turn, context.word("chart_ratio_turn")),
        below=context.word("chart_ratio_below"),
        above=context.word("chart_ratio_above"),
    )
