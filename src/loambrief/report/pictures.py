"""Charts of one case: which to draw, with what title, from which numbers.

A chart's title is its finding. A chart without data is left out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from loambrief import numbers
from loambrief.agronomy.registry import Result
from loambrief.case.schema import Sample
from loambrief.case.select import main_increment, surface_increment
from loambrief.charts import ChartSpec, Threshold, has_data
from loambrief.charts.cations import CationBar, CationSpec, Share
from loambrief.charts.layers import LayerMeasure, LayerSpec, Slab
from loambrief.charts.penetration import PenetrationSpec, Profile
from loambrief.charts.salinity import SalinityPoint, SalinitySpec
from loambrief.charts.sufficiency import LevelSide, SufficiencyRow, SufficiencySpec
from loambrief.findings.places import depth_of, place_of
from loambrief.report import pictures_plan, pictures_signs
from loambrief.report.blocks import Figure, FigureRow
from loambrief.report.chart_text import describe
from loambrief.report.context import Context
from loambrief.report.naming import with_place
from loambrief.report.pictures_map import zone_map
from loambrief.topics.cations.findings import cation_make_up
from loambrief.topics.compaction.formulas import threshold_psi
from loambrief.topics.salinity.findings import plane
from loambrief.topics.stratification.state import layer_state
from loambrief.units import CM_PER_INCH, DIMENSIONS, KPA_PER_PSI

LAYER_FIELDS = (("ph", "pH", 1, 4.0), ("phosphorus", "ppm", 0, 0.0), ("potassium", "ppm", 0, 0.0),
                ("calcium", "ppm", 0, 0.0), ("organic_matter", "%", 1, 0.0))


@dataclass(frozen=True)
class Pictures:
    """Charts by where they stand.

    Attributes
    ----------
    overview : tuple of Figure or FigureRow
        The field in pictures.
    by_topic : mapping of str to str
        Topic to the anchor of its chart in the overview.
    season, money : tuple of Figure
        When each action is done, and what the plan costs; at most one each.
    """

    overview: tuple[Figure | FigureRow, ...] = ()
    by_topic: Mapping[str, str] = field(default_factory=dict)
    season: tuple[Figure, ...] = ()
    money: tuple[Figure, ...] = ()


def pictures(context: Context) -> Pictures:
    """All charts that have data."""
    halves: list[Figure] = []
    topics: dict[str, str] = {}
    for topic, make in (
        ("compaction", _penetration), ("nutrients", _sufficiency), ("salinity", _salinity),
        ("cations", _cations), ("refractometry", pictures_signs.sap),
        ("carbon_nitrogen", pictures_signs.carbon_nitrogen), ("weeds", pictures_signs.weeds),
    ):
        spec = make(context)
        if spec is not None and has_data(spec):
            topics[topic] = f"picture-{topic}"
            halves.append(Figure(_described(context, spec), True, topics[topic]))
    layers = [
        Figure(_described(context, spec))
        for sample in context.case.samples
        if (spec := _layers(context, sample)) is not None and has_data(spec)
    ]
    if layers:
        topics["stratification"] = "picture-stratification"
        layers[0] = replace(layers[0], anchor=topics["stratification"])
    drawn: list[Figure | FigureRow] = []
    if len(halves) == 1:
        drawn.append(replace(halves[0], half=False))
    elif halves:
        drawn.append(FigureRow(tuple(halves)))
    zones = zone_map(context)
    if zones is not None:
        drawn.append(Figure(zones))
    drawn += layers
    season, money = (
        (Figure(_described(context, spec)),) if spec is not None and has_data(spec) else ()
        for spec in (pictures_plan.season(context), pictures_plan.budget(context))
    )
    return Pictures(tuple(drawn), topics, season, money)


def _described(context: Context, spec: ChartSpec) -> ChartSpec:
    return replace(spec, alt=describe(spec, context.write))


def _penetration(context: Context) -> ChartSpec | None:
    cone = context.case.penetrometer
    if cone is None:
        return None
    si = context.system == "si"
    scale = KPA_PER_PSI / 1000 if si else 1.0
    pressure = DIMENSIONS["pressure"].factors[cone.pressure_unit] * scale
    length = DIMENSIONS["depth"].factors[cone.depth_unit] * (CM_PER_INCH if si else 1.0)
    field = [p for p in cone.points if not p.traffic] or list(cone.points)
    word = context.word
    limit = threshold_psi("limit")
    return PenetrationSpec(
        title=context.topic_title("compaction", "chart_penetration"),
        words=context.chart_words,
        subtitle=word("chart_penetration_sub", points=len(field), date=cone.date,
                      apart=len(cone.points) - len(field)),
        note=word("chart_penetration_note", limit=limit, digits=1 if si else 0),
        depths=tuple(round(d * length, 0 if si else 2) for d in cone.depths),
        profiles=tuple(
            Profile(p.place or p.id,
                    tuple(None if r is None else r * pressure for r in p.readings),
                    p.stopped_by is not None)
            for p in field
        ),
        depth_unit="cm" if si else "in",
        pressure_unit="MPa" if si else "psi",
        pressure_digits=1 if si else 0,
        thresholds=(
            Threshold(limit * scale, word("chart_root_limit")),
            Threshold(threshold_psi("no_air") * scale, word("chart_no_air"), practice=True),
        ),
        count_from=limit * scale,
        moisture=context.term(cone.moisture),
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
            spread = float(error) if isinstance(error, int | float) else None
            low, high = (test - spread, test + spread) if spread else (None, None)
            limit = result.details.get("limit_ppm")
            side = LevelSide.BELOW if test < critical else LevelSide.ABOVE
            if low is not None and low < critical < high:
                side = LevelSide.NEAR
            rows.append(
                SufficiencyRow(
                    label=with_place(
                        context.word("chart_test_" + _element(result).lower()),
                        finding.place.label if len(context.case.samples) > 1 else ""),
                    value=float(test), critical=float(critical), side=side,
                    printed=context.word("chart_level", value=float(test),
                                         critical=float(critical)),
                    verdict=context.word(f"chart_side_{side.value}"),
                    low=low, high=high,
                    upper=float(limit) if limit is not None and limit > critical else None,
                )
            )
            break
    if not rows:
        return None

    def named(side: LevelSide) -> list[str]:
        return [r.label.lower() for r in rows if r.side is side]

    return SufficiencySpec(
        title=context.word("chart_sufficiency", below=named(LevelSide.BELOW),
                           near=named(LevelSide.NEAR)),
        words=context.chart_words,
        subtitle=context.word("chart_sufficiency_sub"),
        note=context.word("chart_sufficiency_note", guide=context.case.guide),
        rows=tuple(rows),
    )


def _element(result: Result) -> str:
    return {"P2O5": "P", "K2O": "K"}[str(result.inputs["nutrient"])]


def _salinity(context: Context) -> ChartSpec | None:
    points = plane(context.case)
    if points is None:
        return None
    word = context.word
    crop = None
    if points.crop is not None and points.crop_threshold is not None:
        crop = Threshold(points.crop_threshold, word("chart_crop_threshold", crop=points.crop))
    return SalinitySpec(
        title=context.topic_title("salinity", "chart_salinity"),
        words=context.chart_words,
        subtitle=word("chart_salinity_sub"),
        note=word("chart_salinity_note"),
        points=tuple(SalinityPoint(place.label, *rest) for place, *rest in points.points),
        ece_limit=points.ece_limit,
        sodium_limit=points.esp_limit,
        sodium_name=word("chart_sodium_name"),
        ece_name=word("chart_ece_name"),
        sodium_unit="%",
        classes=tuple(word(f"chart_class_{n}") for n in ("neither", "saline", "sodic", "both")),
        crop=crop,
    )


def _cations(context: Context) -> ChartSpec | None:
    states = cation_make_up(context.case)
    if not states:
        return None
    acid = [
        context.word("chart_acid_share", share=s.shares["H"], name=s.place)
        for s in states if s.shares.get("H") is not None
    ]
    return CationSpec(
        title=context.word("chart_cations", acid=acid),
        words=context.chart_words,
        subtitle=context.word("chart_cations_sub"),
        note=context.word("chart_cations_note"),
        bars=tuple(
            CationBar(s.place.label, tuple(Share(ion, s.shares.get(ion))
                                     for ion in ("Ca", "Mg", "K", "Na", "H")),
                      context.amount(s.cec, "meq/100g", 1))
            for s in states
        ),
    )


def _layers(context: Context, sample: Sample) -> ChartSpec | None:
    top, whole = surface_increment(sample), main_increment(sample)
    if top is None or whole is None:
        return None
    si = context.system == "si"
    bottom, base = (round(i.bottom_in * CM_PER_INCH) if si else i.bottom_in for i in (top, whole))
    state = layer_state(sample)
    measures = []
    for name, unit, digits, low in LAYER_FIELDS:
        upper, full = getattr(top, name), getattr(whole, name)
        if upper is None or full is None:
            continue
        upper_value, full_value = (v if isinstance(v, float) else v.value for v in (upper, full))
        layer = state.layer(name) if state is not None else None
        if layer is not None and layer.below_by == "balance" and layer.below >= 0:
            lower = Slab(bottom, base, layer.below, True)
        else:
            lower = Slab(0.0, base, full_value)
        measures.append(
            LayerMeasure(context.word(f"result_{name}"), "" if unit == "pH" else numbers.shown(
                1.0, unit, context.system)[1],
                (Slab(0.0, bottom, upper_value), lower), digits, low)
        )
    if not measures:
        return None
    place = place_of(sample)
    found = next((f for f in context.diagnosis.by_topic("stratification")
                  if f.place.id == place.id), None)
    return LayerSpec(
        title=context.write(found.title) if found else context.word("chart_layers", name=place),
        words=context.chart_words,
        subtitle=context.word("chart_layers_sub", top=depth_of(top), whole=depth_of(whole)),
        note=context.word("chart_layers_note"),
        measures=tuple(measures),
        depth_unit="cm" if si else "in",
    )


