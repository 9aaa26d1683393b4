"""Water held by depth, and what of it may be used, as a chart."""

import math
from itertools import pairwise

from loambrief.charts.layers import LayerMeasure, LayerSpec, Slab
from loambrief.report.chart_text import captions
from loambrief.report.context import Context
from loambrief.topics.soil_water.state import ZoneWater, asked, crop_water, zone_water
from loambrief.units import CM_PER_INCH

FOOT_IN = 12
LEAST_IN = 4.0
"""Thinnest slab that is cut off a layer [in]."""


def chart(context: Context) -> LayerSpec | None:
    case = context.case
    crop = crop_water(case) if asked(case) else None
    if crop is None:
        return None
    zones = [z for s in case.samples if (z := zone_water(s, crop)) is not None]
    if not zones:
        return None
    scale = CM_PER_INCH if context.system == "si" else 1.0
    unit = "cm" if context.system == "si" else "in"
    share = crop.share.number
    held = [_slabs(z, scale, 1.0) for z in zones]
    most = max(slab.value or 0.0 for slabs in held for slab in slabs)
    return LayerSpec(
        title=context.topic_title("soil_water", "chart_water"),
        **captions(context, "water", share=share),
        measures=tuple(
            LayerMeasure(context.word(f"chart_water_{name}",
                                      name=z.place if len(zones) > 1 else None),
                         unit, _slabs(z, scale, part), 1, 0.0, most)
            for z in zones for name, part in (("held", 1.0), ("allowed", share))),
        depth_unit=unit)


def _slabs(zone: ZoneWater, scale: float, part: float) -> tuple[Slab, ...]:
    """The layers, cut at each foot, each with its share of the water."""
    slabs, top = [], 0.0
    for bottom, water in zone.layers:
        cuts = [c for c in range(FOOT_IN, math.ceil(bottom), FOOT_IN)
                if top + LEAST_IN <= c <= bottom - LEAST_IN]
        for start, end in pairwise([top, *cuts, bottom]):
            share = (end - start) / (bottom - top)
            slabs.append(Slab(round(start * scale), round(end * scale),
                              water * share * part * scale))
        top = bottom
    return tuple(slabs)
