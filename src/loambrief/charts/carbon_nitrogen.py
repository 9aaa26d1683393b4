"""Carbon to nitrogen of residues and mixes against the ratio where nitrogen turns."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from loambrief.charts.measure import LEADING, Scale, log_ticks, text_width, wrap
from loambrief.charts.model import ChartSpec, Threshold, is_number
from loambrief.charts.registry import chart
from loambrief.numbers import figures

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from loambrief.charts.sheet import Sheet




@dataclass(frozen=True)
class RatioRow:
    """Carbon to nitrogen ratio of one material, residue or mix."""

    label: str
    ratio: float | None
    detail: str = ""
    mix: bool = False


@dataclass(frozen=True, kw_only=True)
class CarbonNitrogenSpec(ChartSpec):
    """Carbon to nitrogen of residues and the mix against the ratio where nitrogen turns.

    ``below`` and ``above`` say what happens on either side of ``turning``.
    """

    rows: tuple[RatioRow, ...]
    turning: Threshold
    below: str
    above: str

    split = "rows"

    def has_data(self) -> bool:
        return any(is_number(r.ratio) and r.ratio > 0 for r in self.rows)

    def facts(self) -> dict[str, Any]:
        return {"turning": f"{figures(self.turning.value)}:1", "turning_label": self.turning.label,
                "practice": self.turning.practice, "below": self.below, "above": self.above,
                "rows": [{"label": r.label,
                          "ratio": f"{figures(r.ratio)}:1" if is_number(r.ratio) else None}
                         for r in self.rows]}


@chart(CarbonNitrogenSpec, "carbon_nitrogen")
def draw(sheet: Sheet, spec: CarbonNitrogenSpec) -> None:
    """One row per material on a ratio scale; the mix is the accent."""
    w, width = spec.words, sheet.width
    t = sheet.theme
    sheet.header(spec)
    wide = width >= 380
    turning = spec.turning.value
    ratios = [r.ratio for r in spec.rows if is_number(r.ratio) and r.ratio > 0]
    low = min([turning / 3, *(r / 1.2 for r in ratios)])
    high = max([turning * 3, *(r * 1.2 for r in ratios)])
    left = width * 0.32 if wide else 0.0
    across = Scale(low, high, left + 46, width - 46, log=True)
    middle = across(turning)

    below = wrap("← " + spec.below, max(middle - left - 8, 40), t.small)
    above = wrap(spec.above + " →", max(width - middle - 8, 40), t.small)
    sheet.lines(max(middle - 8, 40), sheet.y, below, t.small, colour="muted", align="right")
    sheet.lines(middle + 8, sheet.y, above, t.small, colour="muted")
    sheet.y += max(len(below), len(above)) * t.small * LEADING + 3
    ax = sheet.axes(across)
    for row in spec.rows:
        size = (left - 8) if wide else width
        name = wrap(row.label, size, t.text, "bold" if row.mix else "regular")
        detail = wrap(row.detail, size, t.small) if row.detail else []
        block = (len(name) * t.text + len(detail) * t.small) * LEADING
        height = max(block, 13.0) + 6 if wide else block + 19
        y = sheet.y + (height - block) / 2 if wide else sheet.y + 3
        below_y = sheet.lines(0, y, name, weight="bold" if row.mix else "regular")
        sheet.lines(0, below_y, detail, t.small, colour="muted")
        at = sheet.y + height / 2 if wide else sheet.y + block + 10
        span = (sheet.y, sheet.y + height) if wide else (at - 7, at + 7)
        style = "dot" if spec.turning.practice else ""
        sheet.verticals([turning], *span, "ink", 1.3, style, on=ax)
        _row(sheet, row, across, ax, at, turning, w.not_measured)
        sheet.y += height
        sheet.line([0, width], [sheet.y, sheet.y], "faint", 0.7)
    _scale(sheet, across, turning)
    label = f"{spec.turning.label} ({w.practice})" if spec.turning.practice else spec.turning.label
    sheet.key([(lambda x, y: sheet.line([x, x + 14], [y, y], "ink", 1.3,
                                        "dot" if spec.turning.practice else ""), 14.0, label)])
    sheet.footer(spec)


def _row(sheet: Sheet, row: RatioRow, across: Scale, ax: Axes, y: float, turning: float,
         missing: str) -> None:
    t = sheet.theme
    if not is_number(row.ratio) or row.ratio <= 0:
        sheet.middle(across.start - 40, y, missing, t.small, colour="muted")
        return
    x = across(row.ratio)
    colour = "accent" if row.mix else "second"
    sheet.line([turning, row.ratio], [y, y], colour, t.strong, on=ax)
    sheet.marks([row.ratio], [y], "D" if row.mix else "o", 6.0 if row.mix else 6.6, colour,
                "paper", 0.8, on=ax)
    left = row.ratio < turning
    sheet.middle(x - 6 if left else x + 6, y, f"{figures(row.ratio)}:1", weight="bold",
                 align="right" if left else "left", colour="accent" if row.mix else "ink")


def _scale(sheet: Sheet, across: Scale, turning: float) -> None:
    t, bottom = sheet.theme, sheet.y
    middle, word = across(turning), f"{figures(turning)}:1"
    half = text_width(word, t.small, "bold") / 2
    sheet.text(middle, bottom + 9.5, word, t.small, "bold", align="center")
    reach = -1.0
    for value in log_ticks(across.low, across.high):
        name = figures(value)
        x, size = across(value), text_width(name, t.small) / 2
        sheet.line([x, x], [bottom, bottom + 2.5], "rule", t.hairline)
        if x - size > reach and abs(x - middle) > half + size + 3 and x >= size:
            sheet.text(x, bottom + 9.5, name, t.small, colour="muted", align="center")
            reach = x + size + 4
    sheet.y = bottom + 14
