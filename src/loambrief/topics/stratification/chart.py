"""The shallow slice against the layer it is part of as a chart."""

from collections.abc import Iterator

from loambrief import numbers
from loambrief.case.measurements import PH, SLICE, layered, of_part
from loambrief.case.schema import Sample
from loambrief.case.select import main_increment, surface_increment
from loambrief.charts.layers import LayerMeasure, LayerSpec, Slab
from loambrief.findings.places import depth_of, place_of
from loambrief.report.chart_text import captions
from loambrief.report.context import Context
from loambrief.topics.stratification.state import layer_state
from loambrief.units import CM_PER_INCH, Quantity

LOWEST_PH = 4.0
"""Where the scale of pH begins: its zero means nothing (our choice)."""


def charts(context: Context) -> Iterator[LayerSpec]:
    """One for each sample that was split by depth."""
    for sample in context.case.samples:
        spec = _layers(context, sample)
        if spec is not None:
            yield spec


def _layers(context: Context, sample: Sample) -> LayerSpec | None:
    top, whole = surface_increment(sample), main_increment(sample)
    if top is None or whole is None:
        return None
    si = context.system == "si"
    bottom, base = (round(i.bottom_in * CM_PER_INCH) if si else i.bottom_in for i in (top, whole))
    state = layer_state(sample)
    measures = []
    for result in (*(m for m in of_part(SLICE) if m.field == "ph"), *layered()):
        upper, full = getattr(top, result.field), getattr(whole, result.field)
        if upper is None or full is None:
            continue
        layer = state.layer(result.field) if state is not None else None
        lower = _slab(0.0, base, full)
        if layer is not None and layer.below is not None and layer.below >= 0:
            lower = Slab(bottom, base, layer.below, layer.below_by == "balance")
        acid = result.unit == PH
        measures.append(LayerMeasure(
            context.word(f"result_{result.field}"),
            "" if acid else numbers.shown(1.0, result.unit, context.system)[1],
            (_slab(0.0, bottom, upper), lower), 1 if acid or result.quantity == "percent" else 0,
            LOWEST_PH if acid else 0.0))
    if not measures:
        return None
    place = place_of(sample)
    found = next((f for f in context.diagnosis.by_topic("stratification")
                  if f.place.id == place.id), None)
    return LayerSpec(
        title=context.write(found.title) if found else context.word("chart_layers", name=place),
        **captions(context, "layers", top=depth_of(top), whole=depth_of(whole)),
        measures=tuple(measures),
        depth_unit="cm" if si else "in",
    )


def _slab(top: float, bottom: float, found: float | Quantity) -> Slab:
    if isinstance(found, Quantity):
        return Slab(top, bottom, found.value, censor=found.censor)
    return Slab(top, bottom, found)
