"""The month on paper: what was advised, for how much, what recurs, what is due, what runs out.

A document like every other: the same blocks, charts and pages. Its month is asked for or that
of the latest case; the clock is never read. Amounts in different currencies are never added.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import mode

from loambrief.batch.figures import Figures
from loambrief.findings.confidence import MAX_AGE_DAYS
from loambrief.findings.model import say
from loambrief.report.blocks import (
    Attachment,
    Block,
    Callout,
    CalloutKind,
    Column,
    DocumentStatus,
    Fact,
    Figure,
    Heading,
    KeyFacts,
    Paper,
    Paragraph,
    Relationship,
    ReportModel,
    Row,
    RowKind,
    Style,
    Table,
    Text,
)
from loambrief.report.chart_text import chart_words, describe
from loambrief.report.page_text import page_words
from loambrief.report.specs import TallyRow, TallySpec
from loambrief.report.text import Writer

AHEAD = 3
"""Months after the month of the cover whose dates are listed."""
MOST_ROWS = 400
"""Rows of a table before it points to the spreadsheet."""
MOST_BARS = 12
DAYS_PER_YEAR = 365


@dataclass(frozen=True)
class Setting:
    """How a document about several cases is written: by most of them, unless told."""

    writer: Writer
    paper: Paper
    units: str

    @classmethod
    def of(cls, figures: Sequence[Figures], *, units: str | None = None,
           paper: str | None = None, language: str | None = None) -> Setting:
        def usual(name: str) -> str:
            return mode(sorted(getattr(f, name) for f in figures))

        units = units or usual("units")
        writer = Writer(language or usual("language"), units, usual("currency"))
        return cls(writer, Paper(paper or usual("paper")), units)


def latest_month(figures: Sequence[Figures]) -> str:
    """Month of the latest case, ``"2026-10"``."""
    return max(f.date for f in figures)[:7]


def month_cover(figures: Sequence[Figures], month: str, failed: int, summary: bytes,
                setting: Setting) -> ReportModel:
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
    setting : Setting

    Returns
    -------
    ReportModel
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
        self.figures, self.month, self.failed = figures, month, failed
        self.summary, self.setting, self.writer = summary, setting, setting.writer
        self.words = chart_words(self.writer)
        self.first = month_start(month)
        self.last = month_start(month, 1 + AHEAD) - dt.timedelta(days=1)
        self.farms = {(f.client, f.farm) for f in figures}

    def word(self, name: str, /, **params: object) -> str:
        return self.writer.write(say(f"batch.{name}", **params))

    def month_word(self, day: dt.date) -> str:
        return self.word("month", month=day.month, year=day.year)

    def money(self, amount: float, currency: str) -> str:
        return Writer(self.writer.language, self.writer.system, currency).money(amount)

    def sums(self, name: str) -> list[str]:
        """An amount over all cases, one text for each currency."""
        totals: dict[str, float] = defaultdict(float)
        for f in self.figures:
            totals[f.currency] += getattr(f, name)
        return [self.money(totals[c], c) for c in sorted(totals)]

    def model(self) -> ReportModel:
        count, clients = len(self.figures), len({f.client for f in self.figures})
        title = self.word("title", month=self.month_word(self.first), count=count,
                          clients=clients)
        blocks: list[Block] = [
            Heading(1, title, anchor="month"),
            Paragraph(self.lead(), Style.LEAD),
            *([Callout(CalloutKind.NOTE, (Paragraph(self.word("failed", count=self.failed)),))]
              if self.failed else []),
            KeyFacts(self.facts(clients)),
            *self.problems(), *self.work(), *self.clients(), *self.due(), *self.ends(),
        ]
        advisers = sorted({f.adviser for f in self.figures})
        return ReportModel(
            title=title,
            case_id=f"month-{self.month}",
            date=max(dt.date.fromisoformat(f.date) for f in self.figures),
            words=page_words(self.writer),
            blocks=tuple(blocks),
            author=self.writer.listed(advisers),
            status=DocumentStatus.ISSUED,
            language=self.writer.language,
            paper=self.setting.paper,
            running_head=self.word("short_title", month=self.month_word(self.first)),
            units=self.setting.units,
            attachments=(Attachment("summary.csv", self.summary, "text/csv", Relationship.DATA,
                                    self.word("attached_summary")),),
        )

    def lead(self) -> str:
        return self.word(
            "lead", count=len(self.figures), spent=self.sums("spent"),
            waiting=sum(f.waiting for f in self.figures), waiting_cost=self.sums("waiting_cost"),
            unpriced=sum(f.unpriced for f in self.figures))

    def facts(self, clients: int) -> tuple[Fact, ...]:
        in_month = sum(1 for f in self.figures if f.date.startswith(self.month))
        fields = {(f.client, f.farm, f.field) for f in self.figures}
        return (
            Fact(self.word("fact_month"), self.month_word(self.first)),
            Fact(self.word("fact_adviser"),
                 self.writer.listed(sorted({f.adviser for f in self.figures}))),
            Fact(self.word("fact_in_month"),
                 self.word("in_month_value", count=in_month, total=len(self.figures))),
            Fact(self.word("fact_clients"), f"{clients}, {len(self.farms)}, {len(fields)}"),
            Fact(self.word("fact_area"),
                 self.writer.quantity(sum(f.area_ac for f in self.figures), "ac")),
            Fact(self.word("fact_actions"),
                 self.word("actions_value", chosen=sum(f.chosen for f in self.figures),
                           waiting=sum(f.waiting for f in self.figures))),
        )

    # -- charts ------------------------------------------------------------------------

    def figure(self, spec: TallySpec) -> Figure:
        return Figure(replace(spec, alt=describe(spec, self.writer.write)))

    def problems(self) -> list[Block]:
        """Problems that limit fields on two farms or more."""
        farms: dict[tuple[str, bool], set] = defaultdict(set)
        fields: dict[tuple[str, bool], set] = defaultdict(set)
        topics: dict[tuple[str, bool], str] = {}
        for f in self.figures:
            for limit in f.limits:
                key = (limit.subject, limit.excess)
                farms[key].add((f.client, f.farm))
                fields[key].add(f.case_id)
                topics[key] = limit.topic
        heading = Heading(2, self.word("heading_problems"), anchor="problems")
        shared = [key for key in farms if len(farms[key]) > 1]
        shared.sort(key=lambda k: (-len(farms[k]), -len(fields[k]), k))
        if not shared:
            return [heading, Paragraph(self.word("problems_none"))]

        def name(key: tuple[str, bool]) -> str:
            return self.word("problem", subject=key[0], excess=key[1],
                             topic=say(f"report.topic_{topics[key]}"))

        top = shared[0]
        return [heading, self.figure(TallySpec(
            title=self.word("problems_title", problem=name(top), farms=len(farms[top]),
                            total=len(self.farms)),
            subtitle=self.word("problems_sub"), note=self.word("problems_note"),
            words=self.words,
            rows=tuple(TallyRow(name(k), len(farms[k]),
                                self.word("farms_count", count=len(farms[k])),
                                self.word("fields_count", count=len(fields[k])))
                       for k in shared[:MOST_BARS]),
            whole=len(self.farms),
            whole_label=self.word("problems_whole", count=len(self.farms)),
        ))]

    def work(self) -> list[Block]:
        """Kinds of work on how many fields, and where the money goes."""
        fields, actions = Counter(), Counter()
        cost: dict[str, float] = defaultdict(float)
        for f in self.figures:
            for kind, count, money in f.kinds:
                fields[kind] += 1
                actions[kind] += count
                cost[kind] += money
        if not fields:
            return []
        kinds = sorted(fields, key=lambda k: (-fields[k], -actions[k], k))
        blocks: list[Block] = [
            Heading(2, self.word("heading_work"), anchor="work"),
            self.figure(TallySpec(
                title=self.word("kinds_title", kind=self.word("kind", kind=kinds[0]),
                                fields=fields[kinds[0]], total=len(self.figures)),
                subtitle=self.word("kinds_sub"), words=self.words,
                rows=tuple(TallyRow(self.word("kind", kind=k), fields[k],
                                    self.word("fields_count", count=fields[k]),
                                    self.word("actions_count", count=actions[k]))
                           for k in kinds),
                whole=len(self.figures),
                whole_label=self.word("kinds_whole", count=len(self.figures)),
            ))]
        currencies = {f.currency for f in self.figures}
        paid = sorted((k for k in cost if cost[k] > 0), key=lambda k: (-cost[k], k))
        if len(currencies) == 1 and len(paid) > 1:
            currency = currencies.pop()
            blocks.append(self.figure(TallySpec(
                title=self.word("money_title", kind=self.word("kind", kind=paid[0]),
                                cost=self.money(cost[paid[0]], currency),
                                total=self.money(sum(cost.values()), currency)),
                subtitle=self.word("money_sub"), words=self.words,
                rows=tuple(TallyRow(self.word("kind", kind=k), cost[k],
                                    self.money(cost[k], currency)) for k in paid),
            )))
        return blocks

    # -- tables ------------------------------------------------------------------------

    def clients(self) -> list[Block]:
        """Fields, area and money of each client; a total for each currency."""
        groups: dict[tuple[str, str], list[Figures]] = defaultdict(list)
        for f in self.figures:
            groups[f.currency, f.client].append(f)
        rows: list[Row] = []
        for currency in sorted({c for c, _ in groups}):
            own = [(client, groups[c, client]) for c, client in groups if c == currency]
            rows += [self._money_row(client, fs, currency) for client, fs in own]
            everyone = [f for _, fs in own for f in fs]
            rows.append(self._money_row(self.word("total"), everyone, currency, RowKind.TOTAL))
        return [
            Heading(2, self.word("heading_money"), anchor="money"),
            self.table(
                (Column(self.word("column_client"), weight=3.4),
                 Column(self.word("column_fields"), "right", weight=0.9),
                 Column(self.word("column_area"), "right", weight=1.3),
                 Column(self.word("column_plan"), "right", weight=1.4),
                 Column(self.word("column_waiting"), "right", weight=1.5),
                 Column(self.word("column_unpriced"), "right", weight=1.3)),
                rows, self.word("clients_caption")),
        ]

    def _money_row(self, name: str, figures: Sequence[Figures], currency: str,
                   kind: RowKind = RowKind.BODY) -> Row:
        unpriced = sum(f.unpriced for f in figures)
        waiting = sum(f.waiting for f in figures)
        return Row((
            name, str(len(figures)),
            self.writer.quantity(sum(f.area_ac for f in figures), "ac"),
            self.money(sum(f.spent for f in figures), currency),
            self.money(sum(f.waiting_cost for f in figures), currency) if waiting else "–",
            self.word("actions_count", count=unpriced) if unpriced else "–",
        ), kind)

    def due(self) -> list[Block]:
        """Follow-ups of the month and the three after it, and the year that follows."""
        every = sorted((dt.date.fromisoformat(d.day), f.client, f.field, d.what)
                       for f in self.figures for d in f.followups if d.day)
        now = [row for row in every if self.first <= row[0] <= self.last]
        later = [row[0] for row in every if row[0] > self.last]
        heading = Heading(2, self.word("heading_due"), anchor="due")
        span = {"first": self.first, "last": self.last}
        if now:
            blocks: list[Block] = [heading, Paragraph(self.word("due_intro", **span)),
                                   self._dates(now)]
        else:
            blocks = [heading, Paragraph(self.word("due_none", **span,
                                                   next=later[0] if later else None))]
        end = month_start(self.month, 1 + AHEAD + 12)
        months = Counter(day.replace(day=1) for day in later if day < end)
        if len(months) > 1:
            most = max(months, key=lambda m: (months[m], -m.toordinal()))
            blocks.append(self.figure(TallySpec(
                title=self.word("due_title", count=sum(months.values()),
                                month=self.month_word(most)),
                subtitle=self.word("due_sub"), words=self.words,
                rows=tuple(TallyRow(self.month_word(m), months[m], str(months[m]))
                           for m in sorted(months)),
            )))
        return blocks

    def ends(self) -> list[Block]:
        """Tests and advisories that run out up to three months after the month."""
        rows = []
        for f in self.figures:
            if f.valid_until:
                rows.append((dt.date.fromisoformat(f.valid_until), f.client, f.field,
                             self.word("ends_advisory", case_id=f.case_id)))
            rows += [(dt.date.fromisoformat(t.ends), f.client, f.field,
                      self.word("ends_test", kind=t.kind, where=t.where,
                                taken=dt.date.fromisoformat(t.taken))) for t in f.tests]
        rows = sorted(row for row in rows if row[0] <= self.last)
        heading = Heading(2, self.word("heading_ends"), anchor="ends")
        if not rows:
            return [heading, Paragraph(self.word("ends_none", last=self.last))]
        return [heading,
                Paragraph(self.word("ends_intro", last=self.last,
                                    years=MAX_AGE_DAYS / DAYS_PER_YEAR)),
                self._dates(rows)]

    def _dates(self, rows: Sequence[tuple[dt.date, str, str, str]]) -> Table:
        return self.table(
            (Column(self.word("column_day"), weight=2.1),
             Column(self.word("column_client"), weight=2.2),
             Column(self.word("column_field"), weight=1.6),
             Column(self.word("column_what"), weight=3.6)),
            [Row((self.writer.day(day), client, field, what))
             for day, client, field, what in rows])

    def table(self, columns: tuple[Column, ...], rows: Sequence[Row],
              caption: Text = "") -> Table:
        """A table, cut where it would fill a book."""
        over = len(rows) - MOST_ROWS
        note = self.word("more_rows", count=over) if over > 0 else ""
        return Table(columns, tuple(rows[:MOST_ROWS]), caption=caption, note=note)

