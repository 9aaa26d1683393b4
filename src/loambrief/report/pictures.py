"""Charts of one case: which to draw, with what title, from which numbers.

A chart's title is its finding. A chart without data is left out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from loambrief.actions.model import Action
from loambrief.agronomy.compaction import threshold_psi
from loambrief.agronomy.registry import Result
from loambrief.case.schema import Sample, SapReading
from loambrief.case.select import main_increment, surface_increment
from loambrief.findings.model import NeedKind
from loambrief.findings.salinity import plane
from loambrief.report import numbers
from loambrief.report.blocks import Figure, FigureRow
from loambrief.report.chart_text import describe
from loambrief.report.context import Context
from loambrief.report.specs import (
    BudgetSpec,
    CationBar,
    CationSpec,
    ChartSpec,
    CostStep,
    LayerSpec,
    Measure,
    PenetrationSpec,
    Profile,
    SalinityPoint,
    SalinitySpec,
    SapRow,
    SapSpec,
    SeasonBar,
    SeasonMark,
    SeasonSpec,
    Share,
    Slab,
    SufficiencyRow,
    SufficiencySpec,
    Threshold,
    has_data,
)
from loambrief.report.specs import Side as LevelSide
from loambrief.report.text import SYMBOLS, nutrient_name
from loambrief.units import CM_PER_INCH, DIMENSIONS, KPA_PER_PSI

LAYER_FIELDS = (("ph", "pH", 1, 4.0), ("phosphorus", "ppm", 0, 0.0), ("potassium", "ppm", 0, 0.0),
                ("calcium", "ppm", 0, 0.0), ("organic_matter", "%", 1, 0.0))


@dataclass(frozen=True)
class Pictures:
    """Charts by where they stand."""

    overview: tuple[Figure | FigureRow, ...] = ()
    by_topic: Mapping[str, tuple[Figure, ...]] = field(default_factory=dict)
    plan: tuple[Figure, ...] = ()


def pictures(context: Context) -> Pictures:
    """All charts that have data."""
    drawn: list[Figure | FigureRow] = []
    halves: list[Figure] = []
    for make, half in ((_penetration, True), (_sufficiency, True), (_salinity, True),
                       (_cations, True), (_sap, True)):
        spec = make(context)
        if spec is not None and has_data(spec):
            halves.append(Figure(_described(context, spec), half=half))
    if len(halves) == 1:
        drawn.append(replace(halves[0], half=False))
    else:
        drawn += [FigureRow(tuple(halves[i:i + 2])) for i in range(0, len(halves), 2)]
    topics: dict[str, tuple[Figure, ...]] = {}
    layers = tuple(
        Figure(_described(context, spec))
        for sample in context.case.samples
        if (spec := _layers(context, sample)) is not None and has_data(spec)
    )
    if layers:
        topics["stratification"] = layers
    plan = tuple(
        Figure(_described(context, spec))
        for spec in (_budget(context), _season(context))
        if spec is not None and has_data(spec)
    )
    return Pictures(tuple(drawn), topics, plan)


def _described(context: Context, spec: ChartSpec) -> ChartSpec:
    return replace(spec, alt=describe(spec, context.write))


def _title(context: Context, topic: str, fallback: str) -> str:
    """The topic's gravest finding as a chart title, or the fallback phrase."""
    found = sorted(context.diagnosis.by_topic(topic), key=lambda f: -f.severity)
    return context.write(found[0].title) if found else context.word(fallback)


def _penetration(context: Context) -> ChartSpec | None:
    cone = context.case.penetrometer
    if cone is None:
        return None
    si = context.system == "si"
    to_psi = DIMENSIONS["pressure"].factors[cone.pressure_unit]
    pressure = to_psi * (KPA_PER_PSI / 1000 if si else 1.0)
    length = {("in", False): 1.0, ("in", True): CM_PER_INCH, ("cm", True): 1.0,
              ("cm", False): 1 / CM_PER_INCH}[cone.depth_unit, si]
    scale = KPA_PER_PSI / 1000 if si else 1.0
    word = context.word
    return PenetrationSpec(
        title=_title(context, "compaction", "chart_penetration"),
        words=context.chart_words,
        subtitle=word("chart_penetration_sub", points=len(cone.points), date=cone.date),
        note=word("chart_penetration_note"),
        depths=tuple(round(d * length, 2) for d in cone.depths),
        profiles=tuple(
            Profile(p.place or p.id,
                    tuple(None if r is None else r * pressure for r in p.readings),
                    p.stopped_by is not None)
            for p in cone.points
        ),
        depth_unit="cm" if si else "in",
        pressure_unit="MPa" if si else "psi",
        pressure_digits=1 if si else 0,
        thresholds=(
            Threshold(threshold_psi("limit") * scale, word("chart_root_limit")),
            Threshold(threshold_psi("no_air") * scale, word("chart_no_air"), practice=True),
        ),
        count_from=threshold_psi("limit") * scale,
        moisture=cone.moisture,
    )


def _sufficiency(context: Context) -> ChartSpec | None:
    rows: list[SufficiencyRow] = []
    for finding in context.diagnosis.by_topic("nutrients"):
        for result in finding.results:
            critical = result.details.get("critical_ppm")
            test = result.inputs.get("test_ppm")
            if critical is None or not isinstance(test, int | float) or finding.value is None:
                continue
            error = next((r.value for r in finding.results if r.formula == "soil_test_error"), None)
            spread = float(test) * float(error) / 100 if isinstance(error, int | float) else None
            low, high = (test - spread, test + spread) if spread else (None, None)
            limit = result.details.get("limit_ppm")
            side = LevelSide.BELOW if test < critical else LevelSide.ABOVE
            if low is not None and low < critical < high:
                side = LevelSide.NEAR
            rows.append(
                SufficiencyRow(
                    label=f"{nutrient_name(_element(str(result.inputs.get('nutrient'))))} "
                          f"{finding.where.split(' ')[0].rstrip(',')}",
                    value=float(test), critical=float(critical), side=side,
                    printed=context.word("chart_level", value=float(test), critical=float(critical)),
                    verdict=context.word(f"chart_side_{side.value}"),
                    low=low, high=high,
                    upper=float(limit) if limit is not None and limit > critical else None,
                )
            )
            break
    if not rows:
        return None
    below = [r.label for r in rows if r.side is LevelSide.BELOW]
    return SufficiencySpec(
        title=context.word("chart_sufficiency", below=below),
        words=context.chart_words,
        subtitle=context.word("chart_sufficiency_sub"),
        note=context.word("chart_sufficiency_note", guide=context.case.guide),
        rows=tuple(rows),
    )


def _element(nutrient: str) -> str:
    return {"P2O5": "P", "K2O": "K"}.get(nutrient, nutrient)


def _salinity(context: Context) -> ChartSpec | None:
    points = plane(context.case)
    if points is None:
        return None
    word = context.word
    crop = None
    if points.crop is not None and points.crop_threshold is not None:
        crop = Threshold(points.crop_threshold, word("chart_crop_threshold", crop=points.crop))
    return SalinitySpec(
        title=_title(context, "salinity", "chart_salinity"),
        words=context.chart_words,
        subtitle=word("chart_salinity_sub"),
        note=word("chart_salinity_note"),
        points=tuple(SalinityPoint(*point) for point in points.points),
        ece_limit=points.ece_limit,
        sodium_limit=points.esp_limit,
        sodium_name="ESP",
        sodium_unit="%",
        classes=tuple(word(f"chart_class_{n}") for n in ("neither", "saline", "sodic", "both")),
        crop=crop,
    )


def _cations(context: Context) -> ChartSpec | None:
    by_subject: dict[str, dict[str, float]] = {}
    for result in context.calculations:
        if result.formula == "cation_saturation" and isinstance(result.value, int | float):
            ion = str(result.inputs["cation"])
            by_subject.setdefault(result.subject, {})[ion] = float(result.value)
    bars = tuple(
        CationBar(name, tuple(Share(ion, shares.get(ion)) for ion in ("Ca", "Mg", "K", "Na", "H")))
        for name, shares in by_subject.items()
    )
    if not bars:
        return None
    return CationSpec(
        title=context.word("chart_cations"),
        words=context.chart_words,
        subtitle=context.word("chart_cations_sub"),
        note=context.word("chart_cations_note"),
        bars=bars,
    )


def _sap(context: Context) -> ChartSpec | None:
    sap = context.case.refractometer
    if sap is None:
        return None
    rows = tuple(_sap_row(context, reading) for reading in sap.readings)
    return SapSpec(
        title=_title(context, "refractometry", "chart_sap"),
        words=context.chart_words,
        subtitle=context.word("chart_sap_sub", date=sap.date),
        note=context.word("chart_sap_note"),
        rows=rows,
        thresholds=(Threshold(10.0, context.word("chart_sap_rule"), practice=True),),
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
        label=reading.plant,
        is_crop=reading.role == "crop",
        replicates=tuple(round(v, 2) for v in corrected),
        mean=mean,
        low=interval.details.get("low") if interval else None,
        high=interval.details.get("high") if interval else None,
        line=context.word("chart_line", line=reading.line) if reading.line else "",
    )


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


def _layers(context: Context, sample: Sample) -> ChartSpec | None:
    top, whole = surface_increment(sample), main_increment(sample)
    if top is None or whole is None:
        return None
    si = context.system == "si"
    scale = CM_PER_INCH if si else 1.0
    measures = []
    for name, unit, digits, low in LAYER_FIELDS:
        upper, full = getattr(top, name), getattr(whole, name)
        if upper is None or full is None:
            continue
        upper_value, full_value = (v if isinstance(v, float) else v.value for v in (upper, full))
        below = next(
            (r.value for r in context.calculations
             if r.formula == "lower_layer_value" and r.inputs["top_value"] == upper_value
             and r.inputs["whole_value"] == full_value),
            None,
        )
        if below is not None and below >= 0:
            lower = Slab(top.bottom_in * scale, whole.bottom_in * scale, float(below), True)
        else:
            lower = Slab(0.0, whole.bottom_in * scale, full_value)
        measures.append(
            Measure(context.word(f"result_{name}"), "" if unit == "pH" else numbers.shown(
                1.0, unit, context.system)[1],
                (Slab(0.0, top.bottom_in * scale, upper_value), lower), digits, low)
        )
    if not measures:
        return None
    name = f"{sample.id} ({sample.place})" if sample.place else sample.id
    return LayerSpec(
        title=context.word("chart_layers", name=name),
        words=context.chart_words,
        subtitle=context.word("chart_layers_sub", top=top.depth[2], whole=whole.depth[2]),
        note=context.word("chart_layers_note"),
        measures=tuple(measures),
        depth_unit="cm" if si else "in",
    )


def _budget(context: Context) -> ChartSpec | None:
    plan = context.plan
    priced = [a for a in plan.actions if a.cost_total is not None]
    if not priced:
        return None
    sign = SYMBOLS.get(context.writer.currency)
    return BudgetSpec(
        title=context.word("chart_budget", spent=plan.budget.spent, limit=plan.budget.limit,
                           left_out=len(plan.budget.left_out)),
        words=context.chart_words,
        subtitle=context.word("chart_budget_sub"),
        steps=tuple(
            CostStep(a.rank, _action_label(context, a), a.cost_total, context.in_budget(a))
            for a in plan.actions
        ),
        budget=plan.budget.limit,
        money=sign + "{}" if sign else "{} " + context.writer.currency,
    )


def _action_label(context: Context, action: Action) -> str:
    name = action.material_name or context.write(action.title)
    place = action.where.split(" ")[0].rstrip(",")
    return f"{name}, {place}" if place else name


def _season(context: Context) -> ChartSpec | None:
    bars = tuple(
        SeasonBar(a.rank, _action_label(context, a), a.window.start, a.window.end,
                  context.write(a.window.text), a.kind is NeedKind.MEASURE)
        for a in context.plan.actions
        if a.window is not None and (a.window.start or a.window.end) and context.in_budget(a)
        and a.pass_number == 1
    )
    if not bars:
        return None
    dates = context.case.field.dates
    marks = tuple(
        SeasonMark(getattr(dates, name), context.word(f"mark_{name}"))
        for name in ("planting", "next_cut", "harvest")
        if dates is not None and getattr(dates, name) is not None
    )
    return SeasonSpec(
        title=context.word("chart_season"),
        words=context.chart_words,
        bars=bars,
        marks=marks,
        today=context.case.case.date,
    )
