"""Carbon to nitrogen of residues and mixes against the ratio where nitrogen turns."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from loambrief.charts.measure import LEADING, Scale, log_ticks, wrap
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
                          "ratio": f"{figures(r.ratio, 0)}:1" if is_number(r.ratio) else None}
                         for r in self.rows]}


@chart(CarbonNitrogenSpec, "carbon_nitrogen")
def draw(sheet: Sheet, spec: CarbonNitrogenSpec) -> None:
    """One row per material on a ratio scale; the mix is the accent."""
    w, width = spec.words, sheet.width
    t = sheet.theme
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
    style = "dot" if spec.turning.practice else ""
    for row in spec.rows:
        top = sheet.y
        _, at = sheet.row(row.label, row.detail, left - 8 if wide else width, wide, 13.0,
                          weight="bold" if row.mix else "regular")
        span = (top, sheet.y) if wide else (at - 7, at + 7)
        sheet.verticals([turning], *span, "ink", 1.3, style, on=ax)
        _row(sheet, row, across, ax, at, turning, w.not_measured)
        sheet.line([0, width], [sheet.y, sheet.y], "faint", 0.7)
    sheet.scale_below(across, [(v, figures(v)) for v in log_ticks(low, high) if v != turning],
                      [(turning, f"{figures(turning)}:1")])
    sheet.y = sheet.meaning(0.0, sheet.y + 1, width, style, spec.turning.named(w.practice), 14.0)


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
    sheet.middle(x - 6 if left else x + 6, y, f"{figures(row.ratio, 0)}:1", weight="bold",
                 align="right" if left else "left", colour="accent" if row.mix else "ink")
