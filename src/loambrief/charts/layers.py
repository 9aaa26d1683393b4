"""The thin top layer against the soil below: a cut through the ground per soil test."""

from __future__ import annotations

from loambrief.charts.drawing import Drawing
from loambrief.charts.sheet import LEADING, Scale, Sheet, clear_right, text_width, wrap
from loambrief.report.numbers import figures
from loambrief.report.specs import LayerSpec, Measure, Slab, is_number

PANEL = 76.0
"""Least width of a panel [pt]."""
GAP = 12.0


def draw(spec: LayerSpec, width: float) -> Drawing:
    """Panels in rows; slabs are as thick as the layers, bars as long as the values."""
    sheet, w = Sheet(width), spec.words
    t = sheet.theme
    sheet.header(spec)
    measures = [m for m in spec.measures if any(is_number(s.value) for s in m.slabs)]
    edges = sorted({e for m in measures for s in m.slabs for e in (s.top, s.bottom)})
    names = {(s.top, s.bottom): f"{figures(s.top)}–{figures(s.bottom)} {spec.depth_unit}"
             for m in measures for s in m.slabs}
    gutter = max(text_width(n, t.small) for n in names.values()) + 6
    columns = max(1, min(len(measures), int((sheet.width - gutter + GAP) / (PANEL + GAP))))
    size = (sheet.width - gutter + GAP) / columns - GAP
    _signs(sheet, measures, w.measured, w.calculated)

    thinnest = min(b - a for a, b in names)
    height = min(max(72.0, 15.0 * (edges[-1] - edges[0]) / thinnest), 130.0)
    for start in range(0, len(measures), columns):
        row = measures[start : start + columns]
        heads = [wrap(_heading(m), size, t.text, "bold") for m in row]
        top = sheet.y + max(map(len, heads)) * t.text * LEADING + 3
        down = Scale(edges[0], edges[-1], top, top + height)
        for (a, b), name in names.items():
            if down(b) - down(a) >= t.small:
                sheet.middle(gutter - 6, (down(a) + down(b)) / 2, name, t.small, align="right",
                             colour="muted")
        bottoms = []
        for n, (measure, lines) in enumerate(zip(row, heads, strict=True)):
            x = gutter + n * (size + GAP)
            sheet.lines(x, top - 3 - len(lines) * t.text * LEADING, lines, weight="bold")
            _panel(sheet, measure, x, x + size, down, w.not_measured)
            bottoms.append(_under(sheet, measure, x, size, down.end + 2))
        sheet.line([0, gutter + len(row) * (size + GAP) - GAP], [top, top], "ink", 1.2)
        sheet.y = max(bottoms) + 6
    sheet.footer(spec)
    return sheet.finish()


def _heading(measure: Measure) -> str:
    return f"{measure.label}, {measure.unit}" if measure.unit else measure.label


def _signs(sheet: Sheet, measures: list[Measure], measured: str, calculated: str) -> None:
    slabs = [s for m in measures for s in m.slabs if is_number(s.value)]

    def solid(x: float, y: float) -> None:
        sheet.rect(x, y - 3.5, x + 14, y + 3.5, "second")

    def hatched(x: float, y: float) -> None:
        sheet.rect(x, y - 3.5, x + 14, y + 3.5, "paper", "second", 0.7, "/", "second")

    if any(s.calculated for s in slabs):
        sheet.key([(solid, 14.0, measured), (hatched, 14.0, calculated)])


def _panel(sheet: Sheet, measure: Measure, left: float, right: float, down: Scale,
           missing: str) -> None:
    t = sheet.theme
    values = [s.value for s in measure.slabs if is_number(s.value)]
    target = measure.target if is_number(measure.target) else None
    words = [_value(measure, s) for s in measure.slabs if is_number(s.value)]
    room = max(text_width(word, t.text, "bold") for word in words) + 5
    high = measure.high
    if high is None or high < max(values):
        high = max([*values, *([target] if target is not None else [])])
    low = min(measure.low, *values) if len(values) > 1 else min(measure.low, values[0])
    if high <= low:
        high = low + 1.0
    across = Scale(low, high, left, right - room)
    sheet.rect(left, down.start, right, down.end, "faint")
    for index, slab in enumerate(measure.slabs):
        y0, y1 = down(slab.top) + (0.8 if index else 0.0), down(slab.bottom)
        if not is_number(slab.value):
            sheet.middle(left + 4, (y0 + y1) / 2, missing, t.small, colour="muted")
            continue
        x = across(slab.value)
        colour = "accent" if index == 0 else "second"
        if low != 0:  # a scale that does not start at zero gets an edge, not a bar
            sheet.rect(max(left, x - 1.6), y0, x + 1.6, y1, colour)
        elif slab.calculated:
            sheet.rect(left, y0, x, y1, "paper", colour, 0.7, "/", colour)
        else:
            sheet.rect(left, y0, x, y1, colour)
    if target is not None:
        sheet.verticals([across(target)], down.start, down.end, "paper", 2.4)
        sheet.verticals([across(target)], down.start, down.end, "ink", t.line, "dash")
    lines = [across(target)] if target is not None else []
    for slab in measure.slabs:
        if is_number(slab.value):
            word = _value(measure, slab)
            x = clear_right(across(slab.value) + 4, text_width(word, t.text, "bold"), lines, right)
            sheet.middle(x, (down(slab.top) + down(slab.bottom)) / 2, word, weight="bold",
                         behind="faint")


def _value(measure: Measure, slab: Slab) -> str:
    return (slab.censor or "") + figures(slab.value, measure.digits)


def _under(sheet: Sheet, measure: Measure, x: float, width: float, y: float) -> float:
    """Target and remark under a panel."""
    t = sheet.theme
    if is_number(measure.target) and measure.target_label:
        mid = y + t.small * LEADING / 2
        sheet.line([x, x + 10], [mid, mid], "ink", t.line, "dash")
        y = sheet.paragraph(x + 13, y, measure.target_label, width - 13, t.small)
    if measure.remark:
        y = sheet.paragraph(x, y, measure.remark, width, t.small)
    return y
