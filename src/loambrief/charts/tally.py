"""How often or how much: one bar a row from zero, each with its number."""

from __future__ import annotations

from loambrief.charts.drawing import Drawing
from loambrief.charts.sheet import LEADING, Scale, Sheet, text_width, wrap
from loambrief.report.specs import TallySpec, is_number

BAR = 11.0


def draw(spec: TallySpec, width: float) -> Drawing:
    """Rows as given; where the bars are part of a whole, a frame shows the whole."""
    sheet, w = Sheet(width), spec.words
    t = sheet.theme
    sheet.header(spec)
    wide = width >= 380
    left = width * 0.36 if wide else 0.0
    printed = [row.printed if is_number(row.value) else w.not_measured for row in spec.rows]
    room = max(text_width(text, t.text, "bold") for text in printed) + 8
    values = [row.value for row in spec.rows if is_number(row.value)]
    high = max([spec.whole, *values]) or 1.0
    across = Scale(0.0, high, left, max(width - room, left + 20.0))
    for row, text in zip(spec.rows, printed, strict=True):
        size = (left - 8) if wide else width
        name = wrap(row.label, size, t.text)
        detail = wrap(row.detail, size, t.small) if row.detail else []
        block = (len(name) * t.text + len(detail) * t.small) * LEADING
        height = max(block, BAR) + 6 if wide else block + BAR + 9
        y = sheet.y + (height - block) / 2 if wide else sheet.y + 3
        sheet.lines(0, sheet.lines(0, y, name), detail, t.small, colour="muted")
        middle = sheet.y + height / 2 if wide else sheet.y + block + 4 + BAR / 2
        end = across.start
        if spec.whole:
            end = across(spec.whole)
            sheet.rect(across.start, middle - BAR / 2, end, middle + BAR / 2, None, "rule")
        if is_number(row.value):
            reach = across(row.value)
            end = max(end, reach)
            if reach > across.start:
                sheet.rect(across.start, middle - BAR / 2, reach, middle + BAR / 2, "accent")
        sheet.middle(min(end + 5, width - text_width(text, t.text, "bold")), middle, text,
                     weight="bold", colour="ink" if is_number(row.value) else "muted")
        sheet.y += height
        sheet.line([0, width], [sheet.y, sheet.y], "faint", 0.7)
    if spec.whole and spec.whole_label:
        sheet.y += 4
        sheet.key([(lambda x, y: sheet.rect(x, y - 3.5, x + 14, y + 3.5, None, "rule"), 14.0,
                    spec.whole_label)])
    sheet.footer(spec)
    return sheet.finish()
