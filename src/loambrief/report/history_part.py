"""What changed since the last visit: differences against their noise, trends, plan against
deeds. A sentence is only said where the two readings may be compared."""

from dataclasses import replace

from loambrief import numbers
from loambrief.agronomy.intervals import COVERAGE_PCT
from loambrief.case.schema import Done
from loambrief.charts.trend import TrendPanel, TrendPoint, TrendSpec
from loambrief.findings.model import WHOLE_FIELD, Place, say
from loambrief.report import blocks as b
from loambrief.report.chart_text import describe
from loambrief.report.context import Context
from loambrief.report.links import calculation_links
from loambrief.report.text import Writer
from loambrief.topics.history.done import Expectation, Review
from loambrief.topics.history.findings import Change, ChangeVerdict, PastReading, Series
from loambrief.units import LB_PER_TON

DIGITS = {"ph": 1, "organic_matter": 1, "phosphorus": 0, "potassium": 0, "calcium": 0, "ec": 1,
          "resistance": 0, "brix": 1}
TONS = ("ton/ac", "t/ha", "mg/ha")
"""Units of a rate that is shown in tons."""
SI_DIGITS = {"resistance": 2}
SOURCES = ("iso-5725-6-1994", "miller-2015-alp", "warrick-1998-variation", "welch-1947")
MOST_PANELS = 9
"""Of one chart; more do not fit a page with their words."""


def history_section(context: Context) -> list[b.Block]:
    """Nothing without earlier cases and without a list of what was done."""
    review = context.diagnosis.history
    if review is None:
        return []
    word = _word(context)
    last = review.cases[-1].case.date if review.cases else None
    title = word("heading", date=last) if last else word("heading_done")
    blocks: list[b.Block] = [context.annex_heading("history", title, "history")]
    if review.cases:
        blocks.append(b.Paragraph(word("intro", dates=[
            context.writer.day(c.case.date) for c in review.cases], **_counts(review))))
        blocks += _changes(context, review)
    blocks += _deeds(context, review)
    blocks += [b.Figure(spec) for spec in _charts(context, review)]
    return blocks


def history_line(context: Context) -> b.Text:
    """For page 1: how much changed, and where it stands; empty without earlier cases."""
    review = context.diagnosis.history
    if review is None or not review.cases:
        return ""
    word = _word(context)
    return (word("page_one", date=review.cases[-1].case.date, **_counts(review)), " ",
            b.Span(word("page_one_link"), link="#history"))


def seen_line(context: Context) -> str:
    """What was seen at the visit, in one sentence; empty if nothing is stated."""
    seen = context.case.observations
    if seen is None or (seen.residue_cover is None and seen.water_table is None):
        return ""
    table = seen.water_table
    return _word(context)("seen", date=seen.date,
                          residue=seen.residue_cover and seen.residue_cover.value,
                          water=table and table.value, deeper=bool(table and table.censor))


def _word(context: Context):
    def word(name: str, /, **params: object) -> str:
        return context.write(say(f"history.{name}", **params))

    return word


def _counts(review: Review) -> dict[str, int]:
    verdicts = [s.change.verdict for s in review.series if s.change]
    return {"compared": sum(v is not ChangeVerdict.UNKNOWN for v in verdicts),
            "more": verdicts.count(ChangeVerdict.MORE),
            "unknown": verdicts.count(ChangeVerdict.UNKNOWN)}


def _digits(context: Context, series: Series) -> int:
    own = SI_DIGITS if context.system == "si" else {}
    return own.get(series.quantity, DIGITS[series.quantity])


def _amount(context: Context, series: Series, value: float, ends: numbers.Ends) -> str:
    digits = _digits(context, series)
    if series.unit in ("pH", "Brix"):
        return context.writer.figures(value, digits, ends)
    return context.writer.quantity(value, series.unit, digits, ends)


def _reading(context: Context, series: Series, reading: PastReading) -> str:
    return (reading.censor or "") + _amount(context, series, reading.value,
                                             (reading.low, reading.high))


def _full_name(context: Context, series: Series) -> str:
    """Quantity and layer, or the one depth of a cone reading."""
    name = context.write(say("history.quantity", name=series.quantity))
    return ", ".join(p for p in (name, _layer(context.writer, series)) if p)


def _layer(writer: Writer, series: Series) -> str:
    """The slice, the one depth of a cone reading, or the part of the plant."""
    if series.ends_in is None:
        return series.part
    if series.ends_in[0] == series.ends_in[1]:
        return writer.quantity(series.ends_in[0], "in", 0)
    return writer.depth(*series.ends_in)


def _changes(context: Context, review: Review) -> list[b.Block]:
    """One row for each quantity and layer, grouped by zone."""
    word = _word(context)
    rows: list[b.Row] = []
    group = None
    for series in review.series:
        change = series.change
        if change is None:
            continue
        visits = (series.place.id, series.plant, change.before.date, change.after.date)
        if visits != group:
            group = visits
            rows.append(b.Row((word("group", where=series.plant or series.place,
                                    before=change.before.date, after=change.after.date),),
                              b.RowKind.GROUP))
        verdict: list[b.Span] = [b.Span(word(f"verdict_{change.verdict.value}"),
                                        bold=change.verdict is ChangeVerdict.MORE)]
        if change.reason is not None:
            verdict.append(b.Span(f": {context.write(change.reason)}"))
        rows.append(b.Row((
            _full_name(context, series),
            _reading(context, series, change.before), _reading(context, series, change.after),
            _signed(context, series, change),
            "–" if change.limit is None else _gap(context, series, change.limit, change),
            tuple(verdict),
        )))
    if not rows:
        return [b.Paragraph(word("no_pairs"))]
    columns = (b.Column(word("column_what")), b.Column(word("column_before"), "right"),
               b.Column(word("column_now"), "right"), b.Column(word("column_change"), "right"),
               b.Column(word("column_noise"), "right"), b.Column(word("column_verdict")))
    note: b.Text = (b.Span(word("noise_note", beyond=100 - COVERAGE_PCT)), b.Span(" "),
                    *context.sources.cite(SOURCES))
    return [b.Table(columns, tuple(rows), caption=word("changes_caption"), note=note,
                    row_headers=True)]


def _gap(context: Context, series: Series, value: float, change: Change) -> str:
    """A difference; of percentages in points, so that nobody takes it for a share."""
    if series.unit == "%":
        return _word(context)("points", value=value, digits=_digits(context, series),
                              noise=change.limit)
    noise = change.limit
    return _amount(context, series, value, (None if noise is None else -noise, noise))


def _signed(context: Context, series: Series, change: Change) -> str:
    if change.difference is None:
        return "–"
    text = _gap(context, series, change.difference, change)
    rounded = round(change.difference, 6)
    return f"+{text}" if rounded > 0 else text


# Charts -----------------------------------------------------------------------------------


def _charts(context: Context, review: Review) -> list[TrendSpec]:
    """One chart for each zone, one for the field's own readings."""
    places: dict[Place, list[Series]] = {}
    for series in review.series:
        field_wide = series.quantity in ("resistance", "brix")
        places.setdefault(WHOLE_FIELD if field_wide else series.place, []).append(series)
    specs: list[TrendSpec] = []
    for place, listed in places.items():
        panels = tuple(_panel(context, s) for s in listed[:MOST_PANELS])
        spec = TrendSpec(
            title=_chart_title(context, place, listed), words=context.chart_words,
            subtitle="" if specs else _word(context)("chart_sub", coverage=COVERAGE_PCT),
            panels=panels)
        if spec.has_data():
            specs.append(replace(spec, alt=describe(spec, context.write)))
    return specs


def _chart_title(context: Context, place: Place, listed: list[Series]) -> str:
    word = _word(context)
    moved = list(dict.fromkeys(
        context.write(say("history.quantity_in_sentence", name=s.quantity)) for s in listed
        if s.change and s.change.verdict is ChangeVerdict.MORE))
    return word("chart_title", place=place if place.label else context.case.field.name, moved=moved)


def _panel(context: Context, series: Series) -> TrendPanel:
    unit = "" if series.unit == "pH" else series.unit

    def shown(value: float | None) -> float | None:
        return None if value is None else numbers.shown(value, series.unit, context.system)[0]

    name = "" if not unit else numbers.shown(1.0, series.unit, context.system)[1]
    return TrendPanel(_full_name(context, series), name, tuple(
        TrendPoint(r.date, shown(r.value), _method(context, r.method), shown(r.low), shown(r.high),
                   r.censor)
        for r in series.readings), _digits(context, series))


def _method(context: Context, method: str) -> str:
    return "; ".join(context.writer.term(part) for part in method.split("; ") if part)


# Plan and deeds ---------------------------------------------------------------------------


def _deeds(context: Context, review: Review) -> list[b.Block]:
    """Planned against done, the money, and whether the soil answered."""
    if not review.done:
        return []
    word = _word(context)
    rows = [b.Row(_deed(context, d)) for d in review.done]
    planned = sum(d.planned.cost for d in review.done if d.planned and d.planned.cost is not None)
    spent = sum(d.cost for d in review.done if d.cost is not None)
    rows.append(b.Row((word("total"), context.money(planned), context.money(spent), "", ""),
                      b.RowKind.TOTAL))
    columns = (b.Column(word("column_action")), b.Column(word("column_planned"), "right"),
               b.Column(word("column_done"), "right"), b.Column(word("column_when")),
               b.Column(word("column_remark")))
    blocks: list[b.Block] = [
        b.Heading(3, word("heading_deeds"), anchor="history-done"),
        b.Table(columns, tuple(rows), caption=word("deeds_caption"), note=word("deeds_note",
              unpriced=sum(d.cost is None and d.not_done is None for d in review.done))),
    ]
    if review.expectations:
        blocks += [b.Bullets(tuple(_expectation(context, e) for e in review.expectations)),
                   b.Paragraph(word("expectation_note"), b.Style.NOTE)]
    return blocks


def _deed(context: Context, done: Done) -> tuple[b.Text, ...]:
    word = _word(context)
    about = [x for x in (done.material, done.where) if x]
    what: b.Text = (b.Span(done.action, bold=True), *((b.Span(f"\n{'; '.join(about)}", small=True),)
                                                      if about else ()))
    planned = done.planned
    asked = _lines(context, planned.rate, planned.area, planned.cost) if planned else "–"
    if done.not_done is not None:
        return (what, asked, (b.Span(word("not_done"), bold=True),), "–", done.not_done)
    remark = [done.note] if done.note else []
    if planned and planned.rate and done.rate and planned.rate.plain and done.rate.plain:
        share = 100.0 * done.rate.value / planned.rate.value
        if abs(share - 100.0) >= 0.5:
            remark.insert(0, word("share", share=share))
    return (what, asked, _lines(context, done.rate, done.area, done.cost),
            context.writer.day(done.date, "medium") if done.date else "–", " ".join(remark))


def _lines(context: Context, rate, area, cost: float | None) -> str:
    parts = []
    if rate is not None:
        tons = rate.typed_unit in TONS
        value, unit = (rate.value / LB_PER_TON, "ton/ac") if tons else (rate.value, "lb/ac")
        parts.append(context.writer.quantity(value, unit))
    if area is not None:
        parts.append(context.writer.quantity(area.value, "ac"))
    if cost is not None:
        parts.append(context.money(cost))
    return "\n".join(parts) or "–"


def _expectation(context: Context, one: Expectation) -> b.Text:
    word = _word(context)
    if one.verdict == "unknown":
        return word("expect_unknown", where=one.place, reason=one.reason)
    said = word(f"expect_{one.verdict}", where=one.place, expected=one.expected,
                measured=one.measured, limit=one.limit, early=one.early)
    return (b.Span(said), b.Span(" "), *calculation_links(one.results))


def history_data(review: Review | None, writer: Writer) -> dict | None:
    """The same as data; None without earlier cases."""
    if review is None:
        return None
    write = writer.write
    return {
        "cases": [{"case_id": c.case.id, "date": c.case.date.isoformat()} for c in review.cases],
        "series": [{
            "quantity": s.quantity, "where": s.plant or writer.place(s.place),
            "place": s.place.id, "layer": _layer(writer, s), "unit": s.unit,
            "readings": [{"date": r.date.isoformat(), "value": r.value, "censor": r.censor,
                          "method": r.method, "case_id": r.case_id, "standard_error": r.error}
                         for r in s.readings],
            "change": None if s.change is None else {
                "from": s.change.before.date.isoformat(), "to": s.change.after.date.isoformat(),
                "difference": s.change.difference,
                "least_significant_change": s.change.limit, "verdict": s.change.verdict.value,
                "reason": None if s.change.reason is None else write(s.change.reason),
            },
        } for s in review.series],
        "done": [{
            "action": d.action, "material": d.material, "kind": d.kind, "where": d.where,
            "planned_rate": d.planned and d.planned.rate and d.planned.rate.typed,
            "planned_cost": d.planned and d.planned.cost,
            "rate": d.rate and d.rate.typed, "area": d.area and d.area.typed,
            "date": d.date and d.date.isoformat(), "cost": d.cost, "not_done": d.not_done,
        } for d in review.done],
        "expectations": [{
            "where": writer.place(e.place), "place": e.place.id, "quantity": "ph",
            "expected": e.expected, "measured": e.measured,
            "least_significant_change": e.limit, "verdict": e.verdict,
            "reason": None if e.reason is None else write(e.reason),
        } for e in review.expectations],
    }
