"""The season as a document: the same blocks, charts and pages as every other."""

import datetime as dt
from functools import cached_property

import pandas as pd

from loambrief.batch.cover import Setting
from loambrief.charts.tally import TallyRow, TallySpec
from loambrief.findings.confidence import MAX_AGE_DAYS
from loambrief.findings.model import say
from loambrief.report import blocks as b
from loambrief.report.chart_text import chart_words, described
from loambrief.report.page_text import page_words
from loambrief.report.text import Writer
from loambrief.season.due import AHEAD_DAYS, FOLLOW_UP, SOIL, due
from loambrief.season.files import csv_bytes
from loambrief.season.rows import COVERED
from loambrief.season.soil_part import SoilPart
from loambrief.season.tables import SeasonTables

MOST_ROWS = 200
"""Rows of a table before it points to the data."""
MOST_YEARS = 4
"""Years with a column of their own; earlier ones share one."""
DAYS_PER_YEAR = 365


def setting_of(tables: SeasonTables, *, language: str | None = None, units: str | None = None,
               paper: str | None = None) -> Setting:
    """How the document is written: as most advisories are, unless told."""
    def usual(name: str, otherwise: str) -> str:
        said = tables.advisories[name].dropna().astype(str)
        return said.mode().min() if len(said) else otherwise

    units = units or usual("units", "us")
    writer = Writer(language or usual("language", "en"), units, usual("currency", "USD"))
    return Setting(writer, b.Paper(paper or usual("paper", "letter")), units)


def season_report(tables: SeasonTables, setting: Setting, on: dt.date) -> b.ReportModel:
    """The season, of at least one advisory, as a report model.

    ``on`` is the day by which tests are overdue, and the document's date.
    """
    return _Season(tables, setting, on).model()


class _Season:
    def __init__(self, tables: SeasonTables, setting: Setting, on: dt.date):
        self.tables, self.setting, self.on = tables, setting, on
        self.writer = setting.writer
        self.advisories = tables.advisories
        self.chart_words = chart_words(self.writer)
        self.soil = SoilPart(tables, self.writer, self.chart_words)

    def word(self, name: str, /, **params: object) -> str:
        return self.writer.write(say(f"season.{name}", **params))

    def money(self, amount: float, currency: str) -> str:
        return Writer(self.writer.language, self.writer.system, currency).money(amount)

    @cached_property
    def years(self) -> list[int]:
        """Every year from the first to the last advisory."""
        found = self.advisories["year"].dropna().astype(int)
        return list(range(found.min(), found.max() + 1)) if len(found) else []

    @cached_property
    def due(self) -> pd.DataFrame:
        return due(self.tables, self.on)

    def model(self) -> b.ReportModel:
        span = self.word("years", first=self.years[0], last=self.years[-1]) if self.years else ""
        title = self.word("title", years=span)
        return b.ReportModel(
            title=title,
            case_id="-".join(dict.fromkeys(
                ["season", *(str(y) for y in (self.years[:1] + self.years[-1:]))])),
            date=self.on,
            words=page_words(self.writer),
            blocks=(b.Heading(1, title, anchor="season"), *self.opening(span), *self.soil.blocks(),
                    *self.work(), *self.spend(), *self.due_part(), *self.soil.trends()),
            author=self.advisers,
            status=b.DocumentStatus.ISSUED,
            language=self.writer.language,
            paper=self.setting.paper,
            running_head=title,
            units=self.setting.units,
            attachments=tuple(
                b.Attachment(f"season-{name}.csv", csv_bytes(table), "text/csv",
                             b.Relationship.DATA, self.word(f"attached_{name}"))
                for name, table in (("distributions", self.soil.written),
                                    ("changes", self.soil.changes_written),
                                    ("due", self.due.drop(columns="field_no")))),
        )

    @cached_property
    def advisers(self) -> str:
        return self.writer.listed(sorted(self.advisories["adviser"].dropna().astype(str).unique()))

    # -- what was counted --------------------------------------------------------------

    def opening(self, span: str) -> list[b.Block]:
        ads = self.advisories
        days = ads["date"].dropna()
        blocks: list[b.Block] = [b.Paragraph(self.word(
            "lead", count=len(ads), clients=ads["client_no"].nunique(),
            fields=ads["field_no"].nunique(), first=days.min().date(), last=days.max().date()),
            b.Style.LEAD)]
        said = []
        if self.tables.left_aside:
            said.append(self.word("left_aside", parts=[
                self.word("left_part", reason=reason, count=count)
                for reason, count in sorted(self.tables.left_aside.items())]))
        if self.tables.damaged:
            said.append(self.word("damaged", count=len(self.tables.damaged)))
        without = int((~ads["has_results"]).sum())
        if without:
            said.append(self.word("no_results", count=without, total=len(ads)))
        if said:
            blocks.append(b.Callout(b.CalloutKind.NOTE, tuple(b.Paragraph(text) for text in said)))
        blocks.append(b.KeyFacts(self.facts(span)))
        return blocks

    def facts(self, span: str) -> tuple[b.Fact, ...]:
        ads, soil = self.advisories, self.tables.results
        fields = ads.drop_duplicates("field_no", keep="last")
        known = fields["area_ac"].dropna()
        area = self.writer.quantity(known.sum(), "ac") if len(known) else self.word("area_unknown")
        if 0 < len(known) < len(fields):
            area = self.word("area_part", area=area, count=len(known), total=len(fields))
        tests = soil[soil["kind"] == SOIL].drop_duplicates(["field_no", "test", "taken"])
        return (
            b.Fact(self.word("fact_years"), span or self.word("no_year")),
            b.Fact(self.word("fact_advisers"), self.advisers or "–"),
            b.Fact(self.word("fact_fields"),
                   f"{ads['client_no'].nunique()}, {ads['field_no'].nunique()}"),
            b.Fact(self.word("fact_area"), area),
            b.Fact(self.word("fact_tests"), self.writer.figures(len(tests), 0)),
            b.Fact(self.word("fact_money"), self.writer.listed([
                self.money(total, str(currency)) for currency, total in
                ads.groupby("currency", observed=True)["plan_cost"].sum().items()])),
        )

    # -- work and money ----------------------------------------------------------------

    def work(self) -> list[b.Block]:
        """Kinds of work in how many advisories, and what became of earlier plans."""
        blocks: list[b.Block] = [b.Heading(2, self.word("heading_work"), anchor="work")]
        actions, total = self.tables.actions, len(self.advisories)
        kinds = actions.assign(covered=actions["state"] == COVERED).groupby(
            "kind", observed=True).agg(of=("advisory", "nunique"), actions=("advisory", "size"),
                                       covered=("covered", "sum")).reset_index()
        kinds = kinds.astype({"kind": object}).sort_values(["of", "actions", "kind"],
                                                           ascending=[False, False, True])
        if kinds.empty:
            blocks.append(b.Paragraph(self.word("work_none")))
        else:
            rows = tuple(
                TallyRow(self.word("kind", kind=k["kind"]), k["of"],
                         self.word("advisories_count", count=int(k["of"])),
                         self.word("work_detail", count=int(k["actions"]),
                                   covered=int(k["covered"])))
                for k in kinds.to_dict("records"))
            blocks.append(self.figure(TallySpec(
                title=self.word("work_title", kind=rows[0].label, count=int(kinds["of"].iloc[0]),
                                total=total),
                subtitle=self.word("work_sub"), words=self.chart_words, rows=rows, whole=total,
                whole_label=self.word("work_whole", count=total))))
        return [*blocks, *self.done()]

    def figure(self, spec: TallySpec) -> b.Figure:
        return b.Figure(described(spec, self.writer.write))

    def done(self) -> list[b.Block]:
        done = self.tables.about(self.tables.done)
        if done.empty:
            return [b.Paragraph(self.word("done_none"))]
        done = done.assign(undone=done["not_done"].notna())
        rows: list[b.Row] = []
        for (currency, year), own in done.groupby(["currency", "year"], observed=True):
            sums = [self.money(own[name].sum(), str(currency)) if own[name].notna().any() else "–"
                    for name in ("planned_cost", "cost")]
            undone = int(own["undone"].sum())
            counts = (str(n) for n in (year, len(own), len(own) - undone, undone))
            rows.append(b.Row((*counts, *sums)))
        columns = (b.Column(self.word("column_year")), *(
            b.Column(self.word(f"column_{name}"), "right")
            for name in ("listed", "done", "not_done", "planned", "spent")))
        return [b.Table(columns, tuple(rows), caption=self.word("done_caption"),
                        note=self.word("done_note"), row_headers=True)]

    def spend(self) -> list[b.Block]:
        """Planned cost of what the money covers: by kind, by client, by year."""
        blocks: list[b.Block] = [b.Heading(2, self.word("heading_money"), anchor="money")]
        money = self.tables.about(self.tables.money)
        covered = money[money["state"] == COVERED]
        priced = covered[covered["cost"].notna() & (covered["cost"] != 0)]
        if priced.empty:
            return [*blocks, b.Paragraph(self.word("money_none"))]
        priced = priced.assign(
            kind=priced["kind"].astype(object), year=priced["year"].astype("Int64"),
            client=priced["client"].astype(object).fillna(self.word("no_client")))
        currencies = sorted(map(str, priced["currency"].unique()))
        for currency in currencies:
            own = priced[priced["currency"] == currency]
            sums = own.groupby("kind")["cost"].sum()
            sums = sums[sums > 0].sort_index().sort_values(ascending=False, kind="stable")
            rows = tuple(TallyRow(self.word("kind", kind=kind), float(cost),
                                  self.money(float(cost), currency))
                         for kind, cost in sums.items())
            blocks.append(self.figure(TallySpec(
                title=self.word("money_title", kind=rows[0].label, cost=rows[0].printed,
                                total=self.money(float(own["cost"].sum()), currency)),
                subtitle=self.word("money_sub"), words=self.chart_words, rows=rows)))
            unpriced = int(covered.loc[covered["currency"] == currency, "without_price"].sum())
            blocks.append(self.by_year(own, "kind", currency, 0, len(currencies)))
            if own["client_no"].nunique() > 1:
                blocks.append(self.by_year(own, "client", currency, unpriced, len(currencies)))
        return blocks

    def by_year(self, own: pd.DataFrame, by: str, currency: str, unpriced: int,
                currencies: int) -> b.Table:
        """Sums with a column for each of the last years, and one for all before."""
        shown = sorted(own["year"].dropna().unique())[-MOST_YEARS:]
        column = own["year"].where(own["year"].isin(shown), -1)
        sums = own.assign(column=column).pivot_table(index=by, columns="column", values="cost",
                                                     aggfunc="sum")
        early = -1 in sums.columns
        order = ([-1] if early else []) + shown
        totals = sums.sum(axis=1)
        if by == "kind":
            sums = sums.loc[totals.sort_index().sort_values(ascending=False, kind="stable").index]

        def cells(values: pd.Series, total: float) -> list[str]:
            return [*(self.money(float(values[y]), currency) if not pd.isna(values[y]) else "–"
                      for y in order),
                    *([self.money(total, currency)] if len(order) > 1 else [])]

        rows = [b.Row((self.word("kind", kind=name) if by == "kind" else str(name),
                       *cells(sums.loc[name], float(totals[name])))) for name in sums.index]
        over = len(rows) - MOST_ROWS
        rows = rows[:MOST_ROWS]
        rows.append(b.Row((self.word("total"), *cells(sums.sum(), float(totals.sum()))),
                          b.RowKind.TOTAL))
        heads = [self.word("column_before", year=int(shown[0])) if y == -1 else str(y)
                 for y in order]
        if len(order) > 1:
            heads.append(self.word("column_all"))
        note = self.word("money_note", unpriced=unpriced, currencies=currencies,
                         more=max(over, 0)).strip()
        columns = (b.Column(self.word(f"column_{by}")), *(b.Column(h, "right") for h in heads))
        return b.Table(columns, tuple(rows), caption=self.word(f"{by}s_caption", currency=currency),
                       note=note, row_headers=True)

    # -- what falls due ----------------------------------------------------------------

    def due_part(self) -> list[b.Block]:
        found = self.due
        span = {"day": self.on, "last": self.on + dt.timedelta(days=AHEAD_DAYS)}
        heading = b.Heading(2, self.word("heading_due"), anchor="due")
        if found.empty:
            return [heading, b.Paragraph(self.word("due_none", **span))]
        rows = [b.Row((self.due_day(row), row["client"] or self.word("no_client"), row["field"],
                       self.due_what(row)))
                for row in found.head(MOST_ROWS).fillna({"client": ""}).to_dict("records")]
        over = len(found) - len(rows)
        return [heading, b.Paragraph(self.word("due_intro", **span,
                                               years=MAX_AGE_DAYS / DAYS_PER_YEAR)),
                b.Table((b.Column(self.word("column_due"), weight=1.9),
                         b.Column(self.word("column_client"), weight=2.0),
                         b.Column(self.word("column_field"), weight=1.6),
                         b.Column(self.word("column_what"), weight=3.8)), tuple(rows),
                        note=self.word("due_more", count=over) if over else "")]

    def due_day(self, row: dict) -> b.Text:
        if pd.isna(row["due"]):
            return "–"
        day = self.writer.day(row["due"].date(), "medium")
        return f"{day}\n{self.word('due_now')}" if row["due"].date() <= self.on else day

    def due_what(self, row: dict) -> str:
        if row["kind"] == FOLLOW_UP:
            return row["what"]
        if pd.isna(row["taken"]):
            return self.word("due_no_soil")
        return self.word(f"due_{row['kind']}", taken=row["taken"].date(), label=row["what"])
