"""How often or how much: one bar a row from zero, each with its number."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from loambrief.charts.measure import Scale, text_width
from loambrief.charts.model import ChartSpec, any_number, is_number
from loambrief.charts.registry import chart

if TYPE_CHECKING:
    from loambrief.charts.sheet import Sheet

BAR = 11.0


@dataclass(frozen=True)
class TallyRow:
    """One bar: its name, its length, and the number as printed."""

    label: str
    value: float | None
    printed: str
    detail: str = ""


@dataclass(frozen=True, kw_only=True)
class TallySpec(ChartSpec):
    """How often or how much, over several cases; ``whole`` is what each bar is a part of."""

    rows: tuple[TallyRow, ...]
    whole: float = 0.0
    whole_label: str = ""

    split = "rows"

    def has_data(self) -> bool:
        return any_number(r.value for r in self.rows)

    def facts(self) -> dict[str, Any]:
        missing = self.words.not_measured
        return {"rows": [{"label": r.label, "printed": r.printed if is_number(r.value) else missing,
                          "detail": r.detail} for r in self.rows],
                "whole": self.whole_label if self.whole else ""}


@chart(TallySpec, "tally")
def draw(sheet: Sheet, spec: TallySpec) -> None:
    """Rows as given; where the bars are part of a whole, a frame shows the whole."""
    w, width = spec.words, sheet.width
    t = sheet.theme
    wide = width >= 380
    left = width * 0.36 if wide else 0.0
    printed = [row.printed if is_number(row.value) else w.not_measured for row in spec.rows]
    room = max(text_width(text, t.text, "bold") for text in printed) + 8
    values = [row.value for row in spec.rows if is_number(row.value)]
    high = max([spec.whole, *values]) or 1.0
    across = Scale(0.0, high, left, max(width - room, left + 20.0))
    ax = sheet.axes(across)
    for row, text in zip(spec.rows, printed, strict=True):
        _, middle = sheet.row(row.label, row.detail, left - 8 if wide else width, wide, BAR)
        end = across.start
        if spec.whole:
            end = across(spec.whole)
            sheet.rect(0.0, middle - BAR / 2, spec.whole, middle + BAR / 2, None, "rule", on=ax)
        if is_number(row.value):
            reach = across(row.value)
            end = max(end, reach)
            if reach > across.start:
                sheet.rect(0.0, middle - BAR / 2, row.value, middle + BAR / 2, "accent", on=ax)
        sheet.middle(min(end + 5, width - text_width(text, t.text, "bold")), middle, text,
                     weight="bold", colour="ink" if is_number(row.value) else "muted")
        sheet.line([0, width], [sheet.y, sheet.y], "faint", 0.7)
    if spec.whole and spec.whole_label:
        sheet.y += 4
        sheet.key([sheet.swatch(spec.whole_label, edge="rule")])
