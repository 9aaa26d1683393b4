"""The month on paper: what was advised, for how much, what recurs, what is due, what runs out.

A document like every other: the same blocks, charts and pages. Its month is asked for or that
of the latest case; the clock is never read. Amounts in different currencies are never added.
"""

import datetime as dt
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import mode

import pandas as pd

from loambrief.batch.case_tables import CaseTables
from loambrief.batch.figures import Figures
from loambrief.charts.tally import TallyRow, TallySpec
from loambrief.findings.confidence import MAX_AGE_DAYS
from loambrief.findings.model import say
from loambrief.report import blocks as b
from loambrief.report.chart_text import chart_words, describe
from loambrief.report.page_text import page_words
from loambrief.report.text import Writer

AHEAD = 3
"""Months after the month of the cover whose dates are listed."""
MOST_ROWS = 400
"""Rows of a table before it points to the spreadsheet."""
MOST_BARS = 12
DAYS_PER_YEAR = 365
SUMMED = ["fields", "area_ac", "spent", "waiting_cost", "waiting", "unpriced"]
"""Columns of the table of clients."""
DATED = ["day", "client", "field", "what"]
"""Columns of the tables of dates, and their order."""


@dataclass(frozen=True)
class Setting:
    """How a document about several cases is written: by most of them, unless told."""

    writer: Writer
    paper: b.Paper
    units: str

    @classmethod
    def of(cls, figures: Sequence[Figures], *, units: str | None = None,
           paper: str | None = None, language: str | None = None) -> "Setting":
        def usual(name: str) -> str:
            return mode(sorted(getattr(f, name) for f in figures))

        units = units or usual("units")
        writer = Writer(language or usual("language"), units, usual("currency"))
        return cls(writer, b.Paper(paper or usual("paper")), units)


def month_cover(figures: Sequence[Figures], month: str, failed: int, summary: bytes,
                setting: Setting) -> b.ReportModel:
    """The cover as a report model.

    Parameters
    ----------
    figures : sequence of Figures
        At least one.
    month : str
        ``"2026-10"``.
    failed : int
        Cases that could not be made.
    summary : bytes
        ``summary.csv``, which travels with the cover.
    """
    ordered = tuple(sorted(figures, key=lambda f: (f.client.casefold(), f.field.casefold(),
                                                   f.case_id)))
    return _Cover(ordered, month, failed, summary, setting).model()


def month_start(month: str, later: int = 0) -> dt.date:
    """First day of a month, or of one that many months later."""
    year, number = map(int, month.split("-"))
    years, rest = divmod(number - 1 + later, 12)
    return dt.date(year + years, rest + 1, 1)


class _Cover:
    def __init__(self, figures: tuple[Figures, ...], month: str, failed: int, summary: bytes,
                 setting: Setting):
        self.tables = CaseTables.of(figures)
        self.cases = self.tables.cases
        self.month, self.failed = month, failed
        self.summary, self.setting, self.writer = summary, setting, setting.writer
        self.words = chart_words(self.writer)
        self.first = month_start(month)
        self.last = month_start(month, 1 + AHEAD) - dt.timedelta(days=1)
        self.farms = self.cases["farm_no"].nunique()
        self.advisers = self.writer.listed(sorted(self.cases["adviser"].unique()))

    def word(self, name: str, /, **params: object) -> str:
        return self.writer.write(say(f"batch.{name}", **params))

    def month_word(self, day: dt.date) -> str:
        return self.word("month", month=day.month, year=day.year)

    def money(self, amount: float, currency: str) -> str:
        return Writer(self.writer.language, self.writer.system, currency).money(amount)

    def sums(self, name: str) -> list[str]:
        """An amount over all cases, one text for each currency."""
        return [self.money(total, str(currency))
                for currency, total in self.cases.groupby("currency")[name].sum().items()]

    def model(self) -> b.ReportModel:
        count, clients = len(self.cases), self.cases["client"].nunique()
        title = self.word("title", month=self.month_word(self.first), count=count,
                          clients=clients)
        blocks: list[b.Block] = [
            b.Heading(1, title, anchor="month"),
            b.Paragraph(self.lead(), b.Style.LEAD),
            *([b.Callout(b.CalloutKind.NOTE,
                         (b.Paragraph(self.word("failed", count=self.failed)),))]
              if self.failed else []),
            b.KeyFacts(self.facts(clients)),
            *self.problems(), *self.work(), *self.clients(), *self.due(), *self.ends(),
        ]
        return b.ReportModel(
            title=title,
            case_id=f"month-{self.month}",
            date=self.cases["date"].max().date(),
            words=page_words(self.writer),
            blocks=tuple(blocks),
            author=self.advisers,
            status=b.DocumentStatus.ISSUED,
            language=self.writer.language,
            paper=self.setting.paper,
            running_head=self.word("short_title", month=self.month_word(self.first)),
            units=self.setting.units,
            attachments=(b.Attachment("summary.csv", self.summary, "text/csv", b.Relationship.DATA,
                                      self.word("attached_summary")),),
        )

    def lead(self) -> str:
        return self.word(
            "lead", count=len(self.cases), spent=self.sums("spent"),
            waiting=int(self.cases["waiting"].sum()), waiting_cost=self.sums("waiting_cost"),
            unpriced=int(self.cases["unpriced"].sum()))

    def facts(self, clients: int) -> tuple[b.Fact, ...]:
        cases = self.cases
        in_month = int((cases["date"].dt.strftime("%Y-%m") == self.month).sum())
        fields = cases.groupby(["farm_no", "field"]).ngroups
        return (
            b.Fact(self.word("fact_month"), self.month_word(self.first)),
            b.Fact(self.word("fact_adviser"), self.advisers),
            b.Fact(self.word("fact_in_month"),
                   self.word("in_month_value", count=in_month, total=len(cases))),
            b.Fact(self.word("fact_clients"), f"{clients}, {self.farms}, {fields}"),
            b.Fact(self.word("fact_area"), self.writer.quantity(cases["area_ac"].sum(), "ac")),
            b.Fact(self.word("fact_actions"),
                   self.word("actions_value", chosen=int(cases["chosen"].sum()),
                             waiting=int(cases["waiting"].sum()))),
        )

    # -- charts ------------------------------------------------------------------------

    def figure(self, spec: TallySpec) -> b.Figure:
        return b.Figure(replace(spec, alt=describe(spec, self.writer.write)))

    def problems(self) -> list[b.Block]:
        """Problems that limit fields on two farms or more."""
        shared = self.tables.limits.groupby(["subject", "excess"], as_index=False).agg(
            farms=("farm_no", "nunique"), fields=("case", "nunique"), topic=("topic", "last"))
        shared = shared[shared["farms"] > 1].sort_values(
            ["farms", "fields", "subject", "excess"], ascending=[False, False, True, True])
        heading = b.Heading(2, self.word("heading_problems"), anchor="problems")
        if shared.empty:
            return [heading, b.Paragraph(self.word("problems_none"))]
        rows = tuple(
            TallyRow(self.word("problem", subject=row["subject"], excess=bool(row["excess"]),
                               topic=say(f"report.topic_{row['topic']}")), row["farms"],
                     self.word("farms_count", count=row["farms"]),
                     self.word("fields_count", count=row["fields"]))
            for row in shared.head(MOST_BARS).to_dict("records"))
        return [heading, self.figure(TallySpec(
            title=self.word("problems_title", problem=rows[0].label, total=self.farms,
                            farms=int(shared["farms"].iloc[0])),
            subtitle=self.word("problems_sub"), note=self.word("problems_note"),
            words=self.words, rows=rows, whole=self.farms,
            whole_label=self.word("problems_whole", count=self.farms),
        ))]

    def work(self) -> list[b.Block]:
        """Kinds of work on how many fields, and where the money goes."""
        kinds = self.tables.work.groupby("kind", as_index=False).agg(
            fields=("case", "size"), actions=("actions", "sum"), cost=("cost", "sum")
        ).sort_values(["fields", "actions", "kind"], ascending=[False, False, True])
        if kinds.empty:
            return []
        count, first = len(self.cases), kinds.iloc[0]
        blocks: list[b.Block] = [
            b.Heading(2, self.word("heading_work"), anchor="work"),
            self.figure(TallySpec(
                title=self.word("kinds_title", kind=self.word("kind", kind=first["kind"]),
                                fields=int(first["fields"]), total=count),
                subtitle=self.word("kinds_sub"), words=self.words,
                rows=tuple(TallyRow(self.word("kind", kind=row["kind"]), row["fields"],
                                    self.word("fields_count", count=row["fields"]),
                                    self.word("actions_count", count=row["actions"]))
                           for row in kinds.to_dict("records")),
                whole=count, whole_label=self.word("kinds_whole", count=count),
            ))]
        paid = kinds[kinds["cost"] > 0].sort_values(["cost", "kind"], ascending=[False, True])
        currencies = self.cases["currency"].unique()
        if len(currencies) == 1 and len(paid) > 1:
            currency, most = str(currencies[0]), paid.iloc[0]
            blocks.append(self.figure(TallySpec(
                title=self.word("money_title", kind=self.word("kind", kind=most["kind"]),
                                cost=self.money(most["cost"], currency),
                                total=self.money(kinds["cost"].sum(), currency)),
                subtitle=self.word("money_sub"), words=self.words,
                rows=tuple(TallyRow(self.word("kind", kind=row["kind"]), row["cost"],
                                    self.money(row["cost"], currency))
                           for row in paid.to_dict("records")),
            )))
        return blocks

    # -- tables ------------------------------------------------------------------------

    def clients(self) -> list[b.Block]:
        """Fields, area and money of each client; a total for each currency."""
        rows: list[b.Row] = []
        for currency, own in self.cases.groupby("currency"):
            counted = own.assign(fields=1)
            sums = counted.groupby("client", sort=False)[SUMMED].sum()
            rows += [self._money_row(str(client), row, str(currency))
                     for client, row in sums.to_dict("index").items()]
            rows.append(self._money_row(self.word("total"), counted[SUMMED].sum().to_dict(),
                                        str(currency), b.RowKind.TOTAL))
        return [
            b.Heading(2, self.word("heading_money"), anchor="money"),
            self.table(
                (b.Column(self.word("column_client"), weight=3.4),
                 b.Column(self.word("column_fields"), "right", weight=0.9),
                 b.Column(self.word("column_area"), "right", weight=1.3),
                 b.Column(self.word("column_plan"), "right", weight=1.4),
                 b.Column(self.word("column_waiting"), "right", weight=1.5),
                 b.Column(self.word("column_unpriced"), "right", weight=1.3)),
                rows, self.word("clients_caption")),
        ]

    def _money_row(self, name: str, total: Mapping[Hashable, float], currency: str,
                   kind: b.RowKind = b.RowKind.BODY) -> b.Row:
        return b.Row((
            name, str(int(total["fields"])),
            self.writer.quantity(total["area_ac"], "ac"),
            self.money(total["spent"], currency),
            self.money(total["waiting_cost"], currency) if total["waiting"] else "–",
            self.word("actions_count", count=int(total["unpriced"])) if total["unpriced"] else "–",
        ), kind)

    def due(self) -> list[b.Block]:
        """Follow-ups of the month and the three after it, and the year that follows."""
        checks = self.tables.checks.dropna(subset="day").sort_values(DATED)
        last = pd.Timestamp(self.last)
        now = checks[checks["day"].between(pd.Timestamp(self.first), last)]
        later = checks.loc[checks["day"] > last, "day"]
        heading = b.Heading(2, self.word("heading_due"), anchor="due")
        span = {"first": self.first, "last": self.last}
        if len(now):
            blocks: list[b.Block] = [heading, b.Paragraph(self.word("due_intro", **span)),
                                     self._dates(now)]
        else:
            following = later.min().date() if len(later) else None
            blocks = [heading, b.Paragraph(self.word("due_none", **span, next=following))]
        later = later[later < pd.Timestamp(month_start(self.month, 1 + AHEAD + 12))]
        months = later.groupby(later.dt.to_period("M")).size()
        if len(months) > 1:
            rows = tuple(
                TallyRow(self.month_word(pd.Timestamp(str(month)).date()), int(count), str(count))
                for month, count in months.items())
            blocks.append(self.figure(TallySpec(
                title=self.word("due_title", count=len(later),
                                month=rows[int(months.argmax())].label),
                subtitle=self.word("due_sub"), words=self.words, rows=rows,
            )))
        return blocks

    def ends(self) -> list[b.Block]:
        """Tests and advisories that run out up to three months after the month."""
        advice = self.cases.rename(columns={"valid_until": "day"}).assign(
            what=[self.word("ends_advisory", case_id=name) for name in self.cases["case_id"]])
        tests = self.tables.tests.rename(columns={"ends": "day"})
        tests["what"] = [self.word("ends_test", kind=row["kind"], where=row["where"],
                                   taken=row["taken"].date()) for row in tests.to_dict("records")]
        every = pd.concat([advice[DATED], tests[DATED]])
        every = every[every["day"] <= pd.Timestamp(self.last)].sort_values(DATED)
        heading = b.Heading(2, self.word("heading_ends"), anchor="ends")
        if every.empty:
            return [heading, b.Paragraph(self.word("ends_none", last=self.last))]
        return [heading,
                b.Paragraph(self.word("ends_intro", last=self.last,
                                      years=MAX_AGE_DAYS / DAYS_PER_YEAR)),
                self._dates(every)]

    def _dates(self, rows: pd.DataFrame) -> b.Table:
        return self.table(
            (b.Column(self.word("column_day"), weight=2.1),
             b.Column(self.word("column_client"), weight=2.2),
             b.Column(self.word("column_field"), weight=1.6),
             b.Column(self.word("column_what"), weight=3.6)),
            [b.Row((self.writer.day(row["day"].date()), row["client"], row["field"], row["what"]))
             for row in rows.to_dict("records")])

    def table(self, columns: tuple[b.Column, ...], rows: Sequence[b.Row],
              caption: b.Text = "") -> b.Table:
        """A table, cut where it would fill a book."""
        over = len(rows) - MOST_ROWS
        note = self.word("more_rows", count=over) if over > 0 else ""
        return b.Table(columns, tuple(rows[:MOST_ROWS]), caption=caption, note=note)

