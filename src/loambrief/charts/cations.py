"""Cation make-up with hydrogen: one bar per sample, every share printed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from loambrief.charts.measure import LEADING, Scale, text_width, wrap
from loambrief.charts.model import ChartSpec, any_number, is_number, worded
from loambrief.charts.place import spread
from loambrief.charts.registry import chart
from loambrief.colours import contrast
from loambrief.numbers import NBSP, percent

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from loambrief.charts.sheet import Sheet

LOOK = {"Ca": (0, ""), "Mg": (1, "/"), "K": (2, ""), "Na": (3, ".")}
REST = (4, "")
"""Hydrogen, with or without aluminium: whatever is not a base."""
BAR = 19.0


@dataclass(frozen=True)
class Share:
    """One cation's share of the exchange capacity, percent; None if not measured."""

    ion: str
    percent: float | None


@dataclass(frozen=True)
class CationBar:
    """Cation make-up of one sample. ``total`` is the exchange capacity in words."""

    label: str
    shares: tuple[Share, ...]
    total: str = ""
    reference: bool = False
    """A bar to compare with (a rule of the trade), drawn in outline."""


@dataclass(frozen=True, kw_only=True)
class CationSpec(ChartSpec):
    """Cation make-up, hydrogen included: one bar per sample, every share printed."""

    bars: tuple[CationBar, ...]

    split = "bars"

    def has_data(self) -> bool:
        return any_number(s.percent for b in self.bars if not b.reference for s in b.shares)

    def facts(self) -> dict[str, Any]:
        missing = self.words.not_measured
        return {"bars": [
            {"label": b.label, "total": b.total,
             "shares": [f"{x.ion} {worded(x.percent, _digits(x.percent)) or missing}"
                        for x in b.shares]}
            for b in self.bars]}


def _digits(share: float | None) -> int:
    """Decimals of a share: each test in it is good to a twentieth or so."""
    return 0 if share is not None and share >= 10 else 1


@chart(CationSpec, "cations")
def draw(sheet: Sheet, spec: CationSpec) -> None:
    """Bars on one scale from 0 to 100 percent of the exchange capacity."""
    known: dict[Scale, Axes] = {}
    for bar in spec.bars:
        if any(is_number(s.percent) for s in bar.shares):
            _bar(sheet, bar, spec, known)
    sheet.y -= 2


def _bar(sheet: Sheet, bar: CationBar, spec: CationSpec, axes: dict[Scale, Axes]) -> None:
    t, w, width = sheet.theme, spec.words, sheet.width
    total = text_width(bar.total, t.small) if bar.total else 0.0
    beside = total + 8 < width * 0.5
    name = wrap(bar.label, width - (total + 8 if beside else 0), t.text, "bold")
    top = sheet.y
    sheet.y = sheet.lines(0, top, name, weight="regular" if bar.reference else "bold")
    if bar.total and beside:
        sheet.text(width, top + t.text * 0.98, bar.total, t.small, colour="muted", align="right")
    elif bar.total:
        sheet.y = sheet.paragraph(0, sheet.y, bar.total, width, t.small, colour="muted")
    known = [(s.ion, s.percent) for s in bar.shares if is_number(s.percent) and s.percent >= 0]
    whole = max(100.0, sum(p for _, p in known))
    across = Scale(0, whole, 0.5, width - 0.5)
    y0, y1 = sheet.y + 1.5, sheet.y + 1.5 + (BAR * 0.7 if bar.reference else BAR)
    if across not in axes:
        axes[across] = sheet.axes(across)
    ax = axes[across]
    at = 0.0
    outside: list[tuple[float, str]] = []
    for ion, share in known:
        span = (at, at + share)
        x0, x1 = (across(v) for v in span)
        at += share
        word = f"{ion}{NBSP}{percent(share, _digits(share))}"
        if not _segment(sheet, ax, ion, span, x1 - x0, (y0, y1), word, bar.reference):
            outside.append(((x0 + x1) / 2, word))
        else:
            _inside(sheet, ax, ion, (x0 + x1) / 2, (y0 + y1) / 2, word, bar.reference)
    if whole - at > 0.6 and any(s.percent is None for s in bar.shares):
        sheet.line([at, whole, whole, at, at], [y0, y0, y1, y1, y0], "muted", t.hairline, "dash",
                   on=ax)
        rest = percent(whole - at, _digits(whole - at))
        outside.append((across((at + whole) / 2), w.rest_unmeasured.format(rest)))
    sheet.y = _outside(sheet, outside, y1) + 9


def _fill(sheet: Sheet, ion: str, outline: bool) -> tuple[str, str]:
    """Fill and pattern of a share; a bar to compare with has neither."""
    index, hatch = LOOK.get(ion, REST)
    return ("paper", "") if outline else (sheet.theme.series[index], hatch)


def _segment(sheet: Sheet, ax: Axes, ion: str, span: tuple[float, float], size: float,
             ys: tuple[float, float], word: str, outline: bool) -> bool:
    """Draw one share; True if its words fit inside its ``size`` [pt]."""
    t = sheet.theme
    fill, hatch = _fill(sheet, ion, outline)
    if size > 0.05:
        (x0, x1), (y0, y1) = span, ys
        sheet.rect(x0, y0, x1, y1, fill, "muted" if outline else "ink", t.hairline, hatch,
                   "ink" if ion == "Na" else "paper", on=ax)
    return text_width(word, t.text, "bold") + 7 <= size


def _inside(sheet: Sheet, ax: Axes, ion: str, x: float, y: float, word: str, outline: bool) -> None:
    """The words of a share in its middle, in whichever of ink and paper reads better."""
    t = sheet.theme
    fill, hatch = _fill(sheet, ion, outline)
    dark = contrast(t.colour(fill), t.paper) > contrast(t.colour(fill), t.ink)
    sheet.middle(x, y, word, weight="regular" if outline else "bold",
                 colour="paper" if dark else "ink", align="center",
                 behind=fill if hatch else None, on=ax)


def _outside(sheet: Sheet, labels: list[tuple[float, str]], y: float) -> float:
    """Words of narrow shares under the bar, each tied to its share; returns the bottom."""
    t = sheet.theme
    if not labels:
        return y
    sizes = [text_width(word, t.text) for _, word in labels]
    if sum(sizes) + 6 * len(sizes) > sheet.width:  # too many for one line: say them in a row
        return sheet.paragraph(0, y + 2, ", ".join(word for _, word in labels), sheet.width)
    centres = spread([x for x, _ in labels], sizes, 0, sheet.width, 6)
    for (x, word), centre in zip(labels, centres, strict=True):
        sheet.line([x, x, centre], [y, y + 2.5, y + 5.5], "muted", t.hairline)
        sheet.text(centre, y + 6 + t.text * 0.86, word, align="center")
    return y + 6 + t.text * LEADING
