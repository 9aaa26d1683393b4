"""Words of the charts in the reader's language, and their text alternatives."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields

from loambrief.findings.model import Message, say
from loambrief.report import specs
from loambrief.report.numbers import NBSP, figures, local, percent
from loambrief.report.specs import ChartSpec, Threshold, Words, is_number
from loambrief.report.text import Writer


def chart_words(writer: Writer) -> Words:
    """The fixed words of all charts, from ``charts.j2`` of the writer's language.

    Raises
    ------
    TextFault
        A word is missing in that language.
    """
    words = {f.name: writer.write(say(f"charts.word_{f.name}"))
             for f in fields(Words) if f.name not in ("months", "signs")}
    return Words(months=writer.tongue.months, signs=writer.signs, **words)


def describe(spec: ChartSpec, write: Callable[[Message], str]) -> str:
    """Text alternative: the finding and every number the chart prints.

    Parameters
    ----------
    spec : ChartSpec
        A spec with data; its ``alt`` is not read.
    write : callable
        ``Writer.write`` of the reader's language.

    Returns
    -------
    str
        Sentences; put it into the spec with ``dataclasses.replace(spec, alt=...)``.

    Raises
    ------
    TypeError
        Not a chart spec.
    TextFault
        The language has no text for this kind of chart.
    """
    try:
        name, params = _PARAMS[type(spec)]
    except KeyError:
        raise TypeError(f"{type(spec).__name__} is not a chart spec") from None
    title = spec.title if spec.title.endswith((".", "!", "?")) else f"{spec.title}."
    with local(spec.words.signs):
        return write(say(f"charts.alt_{name}", title=title, **params(spec)))


def _number(value: float | None, digits: int | None = None, unit: str = "",
            censor: str | None = None) -> str | None:
    """A number with its unit, None if there is none."""
    if not is_number(value):
        return None
    if unit == "%":
        return f"{censor or ''}{percent(value, digits)}"
    return f"{censor or ''}{figures(value, digits)}{NBSP if unit else ''}{unit}"


def _thresholds(thresholds: tuple[Threshold, ...]) -> list[dict]:
    return [{"value": figures(t.value), "label": t.label, "practice": t.practice}
            for t in thresholds]


def _penetration(s: specs.PenetrationSpec) -> dict:
    rows = []
    for i, depth in enumerate(s.depths):
        found = s.at(i)
        over = None
        if s.count_from is not None:
            over = str(sum(v > s.count_from for v in found))
        rows.append({
            "depth": _number(depth, None, s.depth_unit),
            "median": _number(s.medians[i], s.pressure_digits),
            "low": _number(min(found), s.pressure_digits) if found else None,
            "high": _number(max(found), s.pressure_digits) if found else None,
            "over": over, "count": len(found),
        })
    return {"unit": s.pressure_unit, "places": len(s.profiles), "moisture": s.moisture,
            "limit": _number(s.count_from, s.pressure_digits), "rows": rows,
            "thresholds": _thresholds(s.thresholds)}


def _layers(s: specs.LayerSpec) -> dict:
    return {"measures": [
        {"label": m.label, "target": m.target_label if is_number(m.target) else None,
         "slabs": [{"depth": f"{figures(x.top)}–{figures(x.bottom)}{NBSP}{s.depth_unit}",
                    "value": _number(x.value, m.digits, m.unit, x.censor),
                    "calculated": x.calculated} for x in m.slabs]}
        for m in s.measures]}


def _sap(s: specs.SapSpec) -> dict:
    return {"unit": s.unit, "thresholds": _thresholds(s.thresholds), "rows": [
        {"label": r.label, "crop": r.is_crop, "mean": _number(r.mean, s.digits), "line": r.line,
         "low": _number(r.low, s.digits), "high": _number(r.high, s.digits),
         "readings": [figures(v, s.digits) for v in r.replicates if is_number(v)]}
        for r in s.rows]}


def _cations(s: specs.CationSpec) -> dict:
    missing = s.words.not_measured
    return {"bars": [
        {"label": b.label, "total": b.total,
         "shares": [f"{x.ion} {_number(x.percent) or missing}" for x in b.shares]}
        for b in s.bars]}


def _salinity(s: specs.SalinitySpec) -> dict:
    return {"ece": s.ece_name, "sodium": s.sodium_name, "crop": s.crop and s.crop.label,
            "ece_limit": _number(s.ece_limit, None, s.ece_unit),
            "sodium_limit": _number(s.sodium_limit, None, s.sodium_unit),
            "points": [{"label": p.label, "ece": _number(p.ece), "sodium": _number(p.sodium),
                        "estimated": p.estimated} for p in s.points]}


def _sufficiency(s: specs.SufficiencySpec) -> dict:
    def ratio(value: float | None, row: specs.SufficiencyRow) -> str | None:
        return _number(value / row.critical) if is_number(value) and row.critical > 0 else None

    return {"rows": [
        {"label": r.label, "verdict": r.verdict, "printed": r.printed,
         "ratio": None if r.censor else ratio(r.value, r),
         "low": ratio(r.low, r), "high": ratio(r.high, r)} for r in s.rows]}


def _weeds(s: specs.WeedSpec) -> dict:
    return {"hints": [
        {"label": h.label, "verdict": h.verdict_text, "measured": h.measured,
         "weeds": [f"{m.name} {_number(m.cover, None, '%') or s.words.cover_unknown}"
                   for m in h.weeds]}
        for h in s.hints if h.weeds]}


def _budget(s: specs.BudgetSpec) -> dict:
    def money(value: float | None) -> str | None:
        return s.money.format(figures(value)) if is_number(value) else None

    total, steps = s.already, []
    for step in s.steps:
        counted = step.included and is_number(step.cost)
        total += step.cost if counted else 0.0
        steps.append({"rank": step.rank, "label": step.label, "cost": money(step.cost),
                      "sum": money(total) if counted else None, "included": step.included})
    return {"budget": money(s.budget), "steps": steps}


def _carbon_nitrogen(s: specs.CarbonNitrogenSpec) -> dict:
    return {"turning": f"{figures(s.turning.value)}:1", "turning_label": s.turning.label,
            "practice": s.turning.practice, "below": s.below, "above": s.above,
            "rows": [{"label": r.label,
                      "ratio": f"{figures(r.ratio)}:1" if is_number(r.ratio) else None}
                     for r in s.rows]}


def _season(s: specs.SeasonSpec) -> dict:
    return {"bars": [{"rank": b.rank, "label": b.label, "start": b.start, "end": b.end}
                     for b in s.bars],
            "marks": [{"label": m.label, "date": m.date} for m in s.marks]}


def _trend(s: specs.TrendSpec) -> dict:
    return {"panels": [
        {"label": p.label, "reference": p.reference and p.reference.label,
         "points": [{"date": x.date, "method": x.method,
                     "value": _number(x.value, p.digits, p.unit, x.censor),
                     "low": _number(x.low, p.digits), "high": _number(x.high, p.digits)}
                    for x in p.points]}
        for p in s.panels]}


def _compare(s: specs.CompareSpec) -> dict:
    missing = s.words.not_measured
    return {"columns": [
        {"label": c.label, "reference": c.reference and c.reference.label,
         "values": [f"{n} {_number(v, c.digits, c.unit) or missing}"
                    for n, v in zip(s.names, c.values, strict=True)]}
        for c in s.columns]}


def _map(s: specs.MapSpec) -> dict:
    return {"areas": [{"number": a.number, "label": a.label, "detail": a.detail,
                       "look": s.looks[a.look]} for a in s.areas]}


def _tally(s: specs.TallySpec) -> dict:
    missing = s.words.not_measured
    return {"rows": [{"label": r.label, "printed": r.printed if is_number(r.value) else missing,
                      "detail": r.detail} for r in s.rows],
            "whole": s.whole_label if s.whole else ""}


_PARAMS = {
    specs.PenetrationSpec: ("penetration", _penetration),
    specs.LayerSpec: ("layers", _layers),
    specs.SapSpec: ("sap", _sap),
    specs.CationSpec: ("cations", _cations),
    specs.SalinitySpec: ("salinity", _salinity),
    specs.SufficiencySpec: ("sufficiency", _sufficiency),
    specs.WeedSpec: ("weeds", _weeds),
    specs.BudgetSpec: ("budget", _budget),
    specs.CarbonNitrogenSpec: ("carbon_nitrogen", _carbon_nitrogen),
    specs.SeasonSpec: ("season", _season),
    specs.TrendSpec: ("trend", _trend),
    specs.CompareSpec: ("compare", _compare),
    specs.MapSpec: ("map", _map),
    specs.TallySpec: ("tally", _tally),
}
"""Macro of each kind of chart and what it is given."""
