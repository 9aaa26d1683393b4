"""The thin top layer against the soil below: a cut through the ground per soil test."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from loambrief.charts.measure import HATCHED, Scale, clear_right, text_width
from loambrief.charts.model import ChartSpec, any_number, is_number, worded
from loambrief.charts.registry import chart
from loambrief.numbers import NBSP, figures, symbol

if TYPE_CHECKING:
    from loambrief.charts.sheet import Sheet

PANEL = 66.0
"""Least width of a panel [pt]."""
GAP = 12.0


@dataclass(frozen=True)
class Slab:
    """One soil layer with its value. ``censor`` is "<" or ">" where the value is a limit."""

    top: float
    bottom: float
    value: float | None
    calculated: bool = False
    censor: str | None = None


@dataclass(frozen=True)
class LayerMeasure:
    """One soil test over the layers; ``low`` and ``high`` fix its scale if given."""

    label: str
    unit: str
    slabs: tuple[Slab, ...]
    digits: int | None = None
    low: float = 0.0
    high: float | None = None
    target: float | None = None
    target_label: str = ""
    remark: str = ""


@dataclass(frozen=True, kw_only=True)
class LayerSpec(ChartSpec):
    """The thin top layer against the soil below it, one panel per measure."""

    measures: tuple[LayerMeasure, ...]
    depth_unit: str

    split = "measures"

    def has_data(self) -> bool:
        return any_number(s.value for m in self.measures for s in m.slabs)

    def facts(self) -> dict[str, Any]:
        unit = symbol(self.depth_unit)
        return {"measures": [
            {"label": m.label, "target": m.target_label if is_number(m.target) else None,
             "slabs": [{"depth": f"{figures(x.top)}–{figures(x.bottom)}{NBSP}{unit}",
                        "value": worded(x.value, m.digits, m.unit, x.censor),
                        "calculated": x.calculated} for x in m.slabs]}
            for m in self.measures]}


@chart(LayerSpec, "layers")
def draw(sheet: Sheet, spec: LayerSpec) -> None:
    """Panels in rows; slabs are as thick as the layers, bars as long as the values."""
    w = spec.words
    t = sheet.theme
    measures = [m for m in spec.measures if any(is_number(s.value) for s in m.slabs)]
    edges = sorted({e for m in measures for s in m.slabs for e in (s.top, s.bottom)})
    names = {(s.top, s.bottom): f"{figures(s.top)}–{figures(s.bottom)} {symbol(spec.depth_unit)}"
             for m in measures for s in m.slabs}
    gutter = max(text_width(n, t.small) for n in names.values()) + 6
    if any(s.calculated and is_number(s.value) for m in measures for s in m.slabs):
        sheet.key([sheet.swatch(w.measured, fill="second"), sheet.swatch(w.calculated, **HATCHED)])

    thinnest = min(b - a for a, b in names)
    height = min(max(72.0, 15.0 * (edges[-1] - edges[0]) / thinnest), 130.0)
    for top, size, row in sheet.panels(measures, PANEL, GAP, gutter):
        down = Scale(edges[0], edges[-1], top, top + height)
        for (a, b), name in names.items():
            if down(b) - down(a) >= t.small:
                sheet.middle(gutter - 6, (down(a) + down(b)) / 2, name, t.small, align="right",
                             colour="muted")
        bottoms = []
        for measure, x in row:
            _panel(sheet, measure, x, x + size, down, w.not_measured)
            bottoms.append(_under(sheet, measure, x, size, down.end + 2))
        sheet.line([0, gutter + len(row) * (size + GAP) - GAP], [top, top], "ink", 1.2)
        sheet.y = max(bottoms) + 6


def _panel(sheet: Sheet, measure: LayerMeasure, left: float, right: float, down: Scale,
           missing: str) -> None:
    t = sheet.theme
    values = [s.value for s in measure.slabs if is_number(s.value)]
    target = measure.target if is_number(measure.target) else None
    words = [_value(measure, s, s.value) for s in measure.slabs if is_number(s.value)]
    room = max(text_width(word, t.text, "bold") for word in words) + 5
    high = measure.high
    if high is None or high < max(values):
        high = max([*values, *([target] if target is not None else [])])
    low = min(measure.low, *values) if len(values) > 1 else min(measure.low, values[0])
    if high <= low:
        high = low + 1.0
    across = Scale(low, high, left, right - room)
    sheet.rect(left, down.start, right, down.end, "faint")
    ax = sheet.axes(across, down)
    for index, slab in enumerate(measure.slabs):
        y0, y1 = down.value(down(slab.top) + (0.8 if index else 0.0)), slab.bottom
        if not is_number(slab.value):
            sheet.middle(left + 4, (down(y0) + down(y1)) / 2, missing, t.small, colour="muted")
            continue
        colour = "accent" if index == 0 else "second"
        if low != 0:  # a scale that does not start at zero gets an edge, not a bar
            x = across(slab.value)
            sheet.rect(across.value(max(left, x - 1.6)), y0, across.value(x + 1.6), y1, colour,
                       on=ax)
        else:
            looks: dict[str, Any] = (
                {**HATCHED, "edge": colour} if slab.calculated else {"fill": colour})
            sheet.rect(0.0, y0, slab.value, y1, **looks, on=ax)
    if target is not None:
        held = across.held(target)
        sheet.verticals([held], down.low, down.high, "paper", 2.4, on=ax)
        sheet.verticals([held], down.low, down.high, "ink", t.line, "dash", on=ax)
    lines = [across(target)] if target is not None else []
    for slab in measure.slabs:
        if is_number(slab.value):
            word = _value(measure, slab, slab.value)
            x = clear_right(across(slab.value) + 4, text_width(word, t.text, "bold"), lines, right)
            sheet.middle(x, (down(slab.top) + down(slab.bottom)) / 2, word, weight="bold",
                         behind="faint")


def _value(measure: LayerMeasure, slab: Slab, value: float) -> str:
    return (slab.censor or "") + figures(value, measure.digits)


def _under(sheet: Sheet, measure: LayerMeasure, x: float, width: float, y: float) -> float:
    """Target and remark under a panel."""
    t = sheet.theme
    if is_number(measure.target) and measure.target_label:
        y = sheet.meaning(x, y, width, "dash", measure.target_label)
    if measure.remark:
        y = sheet.paragraph(x, y, measure.remark, width, t.small)
    return y
