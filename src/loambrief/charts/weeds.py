"""Weeds by what they hint at, each hint beside the measurement that tests it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from loambrief.charts.measure import LEADING, Scale, wrap
from loambrief.charts.model import ChartSpec, is_number, worded
from loambrief.charts.registry import chart
from loambrief.numbers import percent

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from loambrief.charts.sheet import Sheet

BAR = 9.0
SIGN = 13.0


class HintSign(StrEnum):
    """What the measurement says about a hint."""

    AGREES = "agrees"
    DIFFERS = "differs"
    MIXED = "mixed"
    NOT_MEASURED = "not measured"


@dataclass(frozen=True)
class WeedMark:
    """One weed that carries a hint; cover in percent of the ground, None if not estimated."""

    name: str
    cover: float | None


@dataclass(frozen=True)
class Hint:
    """A condition some weeds hint at and what was measured about it."""

    label: str
    weeds: tuple[WeedMark, ...]
    verdict: HintSign
    verdict_text: str
    measured: str = ""


@dataclass(frozen=True, kw_only=True)
class WeedSpec(ChartSpec):
    """Weeds by what they hint at, each hint beside the measurement that tests it."""

    hints: tuple[Hint, ...]

    split = "hints"

    def has_data(self) -> bool:
        return any(h.weeds for h in self.hints)

    def facts(self) -> dict[str, Any]:
        return {"hints": [
            {"label": h.label, "verdict": h.verdict_text, "measured": h.measured,
             "weeds": [f"{m.name} {worded(m.cover, None, '%') or self.words.cover_unknown}"
                       for m in h.weeds]}
            for h in self.hints if h.weeds]}


@chart(WeedSpec, "weeds")
def draw(sheet: Sheet, spec: WeedSpec) -> None:
    """One row per hint: weeds and ground covered on the left, the verdict on the right."""
    w, width = spec.words, sheet.width
    t = sheet.theme
    hints = [h for h in spec.hints if h.weeds]
    wide = width >= 380
    right = width * 0.64 if wide else width
    left = width * 0.20 if wide else 0.0
    totals = [sum(m.cover for m in h.weeds if is_number(m.cover)) for h in hints]
    high = max([*totals, 1.0])
    across = Scale(0, high, left, right - (34 if wide else 40))

    if wide:
        base = sheet.y + t.small * 0.98
        sheet.text(0, base, w.hint_at, t.small, colour="muted")
        sheet.text(left, base, w.ground_covered, t.small, colour="muted")
        sheet.text(right + 8, base, w.measurement_says, t.small, colour="muted")
        sheet.y += t.small * LEADING + 2
    else:
        sheet.y = sheet.paragraph(0, sheet.y, w.ground_covered, width, t.small, colour="muted") + 1
    sheet.line([0, width], [sheet.y, sheet.y], "rule", t.hairline)
    ax = sheet.axes(across)
    for hint, total in zip(hints, totals, strict=True):
        (_wide_row if wide else _narrow_row)(sheet, hint, total, across, ax, right, spec)
        sheet.line([0, width], [sheet.y, sheet.y], "faint", 0.7)


def _names(hint: Hint) -> str:
    return ", ".join(f"{m.name} {percent(m.cover)}" if is_number(m.cover) else m.name
                     for m in hint.weeds)


def _wide_row(sheet: Sheet, hint: Hint, total: float, across: Scale, ax: Axes, right: float,
              spec: WeedSpec) -> None:
    t, width = sheet.theme, sheet.width
    label = wrap(hint.label, across.start - 10, t.text, "bold")
    names = wrap(_names(hint), right - across.start - 4, t.small)
    verdict = wrap(hint.verdict_text, width - right - 8 - SIGN, t.text, "bold")
    measured = wrap(hint.measured, width - right - 8 - SIGN, t.small)
    heights = (len(label) * t.text * LEADING, BAR + 3 + len(names) * t.small * LEADING,
               (len(verdict) * t.text + len(measured) * t.small) * LEADING)
    top = sheet.y + 5
    sheet.lines(0, top, label, weight="bold")
    _bar(sheet, hint, total, across, ax, top + 1, spec)
    sheet.lines(across.start, top + BAR + 3, names, t.small)
    _verdict_sign(sheet, hint.verdict, right + 8 + 4, top + t.text * LEADING / 2)
    y = sheet.lines(right + 8 + SIGN, top, verdict, weight="bold")
    sheet.lines(right + 8 + SIGN, y, measured, t.small)
    sheet.y = top + max(heights) + 5


def _narrow_row(sheet: Sheet, hint: Hint, total: float, across: Scale, ax: Axes, right: float,
                spec: WeedSpec) -> None:
    t, width = sheet.theme, sheet.width
    y = sheet.paragraph(0, sheet.y + 4, hint.label, width, weight="bold")
    _bar(sheet, hint, total, across, ax, y + 1, spec)
    y = sheet.paragraph(0, y + BAR + 3, _names(hint), width, t.small)
    _verdict_sign(sheet, hint.verdict, 4, y + 1 + t.text * LEADING / 2)
    y = sheet.paragraph(SIGN, y + 1, hint.verdict_text, width - SIGN, weight="bold")
    sheet.y = sheet.paragraph(SIGN, y, hint.measured, width - SIGN, t.small) + 4


def _bar(sheet: Sheet, hint: Hint, total: float, across: Scale, ax: Axes, y: float,
         spec: WeedSpec) -> None:
    """Ground covered, one piece per weed, with the sum behind it."""
    t = sheet.theme
    at = 0.0
    covers = [m.cover for m in hint.weeds if is_number(m.cover)]
    for cover in sorted(covers, reverse=True):
        if cover <= 0:
            continue
        size = across(at + cover) - across(at)  # less the gap before the next piece
        share = max(size - 0.9, 0.4) / size
        sheet.rect(at, y, at + share * cover, y + BAR, "second", on=ax)
        at += cover
    covered = any(is_number(m.cover) for m in hint.weeds)
    word = percent(total) if covered else spec.words.cover_unknown
    sheet.middle(across(at) + (3 if covered else 0), y + BAR / 2, word,
                 t.text if covered else t.small, weight="bold" if covered else "regular",
                 colour="ink" if covered else "muted")


def _verdict_sign(sheet: Sheet, verdict: HintSign, x: float, y: float) -> None:
    """Full, half or empty circle, or a cross: told apart without colour."""
    if verdict is HintSign.DIFFERS:
        sheet.marks([x], [y], "x", 6.0, None, "ink", 1.7)
        return
    sheet.marks([x], [y], "o", 7.0, "accent" if verdict is HintSign.AGREES else "paper",
                "muted" if verdict is HintSign.NOT_MEASURED else "accent", 1.1)
    if verdict is HintSign.MIXED:
        sheet.polygon([(x, y - 3.5), (x - 2.5, y - 2.5), (x - 3.5, y), (x - 2.5, y + 2.5),
                       (x, y + 3.5)], "accent")
