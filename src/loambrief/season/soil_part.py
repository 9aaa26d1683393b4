"""What the soil tests show: distributions by client and year, and trends with their noise."""

from functools import cached_property

import pandas as pd

from loambrief import numbers
from loambrief.agronomy.intervals import COVERAGE_PCT
from loambrief.charts.model import ChartWords
from loambrief.charts.spread import LEAST_BOX, SpreadRow, SpreadSpec
from loambrief.charts.trend import TrendPanel, TrendPoint, TrendSpec
from loambrief.findings.model import say
from loambrief.report import blocks as b
from loambrief.report.chart_text import described
from loambrief.report.history_part import DIGITS, MOST_PANELS
from loambrief.report.text import Writer
from loambrief.season.change import CHANGES, ChangeSummary, changes, readings_of, summaries
from loambrief.season.spread import COLUMNS, MEASURES, distributions, tilled
from loambrief.season.tables import SeasonTables
from loambrief.topics.history.findings import ChangeVerdict

MOST_GROUPS = 14
"""Groups of client and year in a chart; those with most samples."""
MOST_METHODS = 2
"""Methods of one quantity with a chart of their own."""
CHANCE = 1.0 - COVERAGE_PCT / 100.0
"""Share of unchanged zones that pass the limit by chance."""


class SoilPart:
    """Blocks about soil tests.

    Attributes
    ----------
    written, changes_written : DataFrame
        The numbers behind, as attached.
    """

    def __init__(self, tables: SeasonTables, writer: Writer, words: ChartWords):
        self.tables, self.writer, self.words = tables, writer, words
        names = tables.advisories.drop_duplicates("field_no", keep="last")
        self.names = names.set_index("field_no")[["client", "field"]].astype(object)
        self.clients = tables.advisories.drop_duplicates("client_no", keep="last").set_index(
            "client_no")["client"].astype(object)

    def word(self, name: str, /, **params: object) -> str:
        return self.writer.write(say(f"season.{name}", **params))

    def named(self, quantity: str) -> str:
        return self.writer.write(say("history.quantity", name=quantity))

    def client(self, number: int) -> str:
        name = self.clients[number]
        return self.word("no_client") if pd.isna(name) else str(name)

    def shown(self, value: float, unit: str) -> float:
        return numbers.shown(value, unit, self.writer.system)[0]

    def unit(self, unit: str) -> str:
        return "" if unit == "pH" else numbers.shown(1.0, unit, self.writer.system)[1]

    def amount(self, quantity: str, value: float, unit: str) -> str:
        if unit == "pH":
            return self.writer.figures(value, DIGITS[quantity])
        return self.writer.quantity(value, unit, DIGITS[quantity])

    # -- distributions -----------------------------------------------------------------

    @cached_property
    def soil(self) -> pd.DataFrame:
        return tilled(self.tables.results)

    @cached_property
    def by_year(self) -> pd.DataFrame:
        return distributions(self.soil, ["year"])

    @cached_property
    def by_client(self) -> pd.DataFrame:
        return distributions(self.soil, ["client_no", "year"])

    @cached_property
    def written(self) -> pd.DataFrame:
        """Groups of all clients and of each, with quarters, in house units."""
        own = self.by_client.assign(client=[self.client(n) for n in self.by_client["client_no"]])
        every = self.by_year.assign(client="*")
        made = pd.concat([every, own.drop(columns="client_no")], ignore_index=True)
        return made[["quantity", "method", "unit", "client", "year", "samples", "limits",
                     "below", *COLUMNS]]

    def blocks(self) -> list[b.Block]:
        """A chart for each quantity and method, and what has none."""
        blocks: list[b.Block] = [b.Heading(2, self.word("heading_spread"), anchor="spread")]
        if self.soil.empty:
            return [*blocks, b.Paragraph(self.word("spread_none"))]
        blocks.append(b.Paragraph(self.word("spread_intro")))
        for quantity in MEASURES:
            own = self.soil[self.soil["quantity"] == quantity]
            counts = own.groupby(["method", "unit"]).size().sort_index()
            methods = [(str(method), str(unit)) for method, unit in counts.sort_values(
                ascending=False, kind="stable").index]
            blocks += [self.figure(quantity, *key) for key in methods[:MOST_METHODS]]
            others = [self.method(method) for method, _ in methods[MOST_METHODS:]]
            if others:
                blocks.append(b.Paragraph(self.word("spread_others", what=self.named(quantity),
                                                    methods=others)))
        return blocks

    def method(self, method: str) -> str:
        return method or self.word("spread_no_method")

    def figure(self, quantity: str, method: str, unit: str) -> b.Figure:
        """Years of all clients, then each client's."""
        def own(table: pd.DataFrame) -> pd.DataFrame:
            return table[(table["quantity"] == quantity) & (table["method"] == method)
                         & (table["unit"] == unit)]

        years = {int(group["year"]): group
                 for _, group in own(self.by_year).dropna(subset="year").iterrows()}
        first, last = min(years), max(years)
        rows = []
        for year in range(first, last + 1):
            label = self.word("spread_all", year=year)
            rows.append(self.row(label, years[year], quantity, unit,
                                 self.soil_of(quantity, method, unit, year=year))
                        if year in years
                        else SpreadRow(label, self.word("spread_empty")))
        groups = own(self.by_client).dropna(subset="year")
        more = 0
        if groups["client_no"].nunique() > 1:
            largest = groups.sort_values("samples", ascending=False, kind="stable")
            more = max(len(largest) - MOST_GROUPS, 0)
            kept = largest.head(MOST_GROUPS).assign(
                client=lambda t: [self.client(n) for n in t["client_no"]])
            rows += [self.row(self.word("spread_group", client=g["client"], year=int(g["year"])),
                              g, quantity, unit, self.soil_of(
                                  quantity, method, unit, year=g["year"],
                                  client_no=g["client_no"]))
                     for _, g in kept.sort_values(["client", "year"]).iterrows()]
        latest = years[last]
        limits = sum(int(group["limits"]) for group in years.values())
        spec = SpreadSpec(
            title=self.word("spread_title", what=self.named(quantity), year=last,
                            count=int(latest["samples"]), **self.parts(latest, quantity, unit)),
            subtitle=self.word("spread_sub", method=self.method(method), unit=self.unit(unit)),
            note=self.word("spread_note", limits=limits, more=more),
            words=self.words, rows=tuple(rows), unit=self.unit(unit), digits=DIGITS[quantity])
        return b.Figure(described(spec, self.writer.write))

    def soil_of(self, quantity: str, method: str, unit: str, **group: int) -> pd.Series:
        """Single values of a group, if they are few."""
        soil = self.soil
        wanted = (soil["quantity"] == quantity) & (soil["method"] == method) & (
            soil["unit"] == unit)
        for name, value in group.items():
            wanted &= soil[name] == value
        return soil.loc[wanted, "value"]

    def row(self, label: str, group: pd.Series, quantity: str, unit: str,
            values: pd.Series) -> SpreadRow:
        low, lower, median, upper, high = (self.shown(float(group[c]), unit) for c in COLUMNS)
        few = len(values) < LEAST_BOX
        return SpreadRow(
            label, self.word("spread_detail", count=int(group["samples"]),
                             **self.parts(group, quantity, unit)),
            int(group["samples"]), (low, lower, median, upper, high),
            tuple(self.shown(v, unit) for v in sorted(values)) if few else (),
            None if pd.isna(group["below"]) else self.shown(float(group["below"]), unit))

    def parts(self, group: pd.Series, quantity: str, unit: str) -> dict[str, str]:
        """Median and quarters in words."""
        def said(column: str, with_unit: bool = True) -> str:
            value = float(group[column])
            sign = "<" if value <= group["below"] else ""
            if with_unit:
                return sign + self.amount(quantity, value, unit)
            return sign + self.writer.figures(self.shown(value, unit), DIGITS[quantity])

        return {"median": said("median"), "lower": said("lower_quarter", with_unit=False),
                "upper": said("upper_quarter")}

    # -- trends ------------------------------------------------------------------------

    @cached_property
    def changes(self) -> pd.DataFrame:
        return changes(self.tables.results)

    @cached_property
    def changes_written(self) -> pd.DataFrame:
        found = self.changes.join(self.names, on="field_no")
        return found[["client", "field", *(c for c in CHANGES if c != "field_no")]]

    def trends(self) -> list[b.Block]:
        """How many zones changed by more than the noise, and the clearest of them."""
        blocks: list[b.Block] = [b.Heading(2, self.word("heading_trend"), anchor="trends")]
        found = summaries(self.changes)
        if not found:
            return [*blocks, b.Paragraph(self.word("trend_none"))]
        told = sum(s.told for s in found)
        columns = (b.Column(self.word("column_quantity")), *(
            b.Column(self.word(f"column_{name}"), "right")
            for name in ("zones", "risen", "fallen", "within", "unknown", "mean")))
        blocks += [
            b.Paragraph(self.word("trend_intro", coverage=COVERAGE_PCT)),
            b.Table(columns, tuple(b.Row(self.summary(s)) for s in found),
                    caption=self.word("trend_caption"), row_headers=True,
                    note=self.word("trend_note", told=told, chance=CHANCE * told,
                                   coverage=COVERAGE_PCT))]
        more = self.changes[self.changes["verdict"] == ChangeVerdict.MORE.value]
        if len(more):
            blocks.append(self.clearest(more))
        return blocks

    def summary(self, s: ChangeSummary) -> tuple[b.Text, ...]:
        mean: b.Text = "–"
        if s.mean is not None and s.half_width is not None:
            digits = DIGITS[s.quantity] + 1
            value, half = (self.writer.figures(self.shown(v, s.unit), digits)
                           for v in (s.mean, s.half_width))
            unit = self.unit(s.unit)
            mean = self.word("mean_change", mean=value, half=f"{half} {unit}".strip())
        return (f"{self.named(s.quantity)}\n{self.writer.term(self.method(s.method))}",
                str(s.zones), str(s.risen), str(s.fallen), str(s.within), str(s.unknown), mean)

    def clearest(self, more: pd.DataFrame) -> b.Figure:
        """Readings of the zones whose change is largest against its noise."""
        ratio = (more["change"].abs() / more["noise"]).astype(float)
        kept = more.loc[ratio.sort_values(ascending=False, kind="stable").index[:MOST_PANELS]]
        spec = TrendSpec(
            title=self.word("trend_title", count=len(more), shown=len(kept)),
            subtitle=self.word("trend_sub", coverage=COVERAGE_PCT), words=self.words,
            panels=tuple(self.panel(row) for _, row in kept.iterrows()))
        return b.Figure(described(spec, self.writer.write))

    def panel(self, row: pd.Series) -> TrendPanel:
        client, field = self.names.loc[row["field_no"]]
        label = row["label"]
        points = tuple(
            TrendPoint(r.taken.date(), self.shown(r.value, r.unit),
                       self.writer.term(self.method(r.method)),
                       None if r.low is None else self.shown(r.low, r.unit),
                       None if r.high is None else self.shown(r.high, r.unit),
                       r.censor)
            for r in readings_of(self.tables.results, row))
        return TrendPanel(
            self.word("trend_panel", what=self.named(row["quantity"]),
                      client=self.word("no_client") if pd.isna(client) else client, field=field,
                      label="" if pd.isna(label) else label),
            self.unit(row["unit"]), points, DIGITS[row["quantity"]])
