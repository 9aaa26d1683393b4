"""Two plans side by side: what differs in findings, rates and money."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from loambrief import numbers
from loambrief.actions.model import Action, Plan, PlanDifference
from loambrief.case.schema import CaseFile
from loambrief.findings.model import Finding, say
from loambrief.report.data import plain
from loambrief.report.money import money_of
from loambrief.report.own_part import changes_named
from loambrief.report.text import Writer
from loambrief.topics.assess import Diagnosis

WIDEST = 44
"""Characters of a cell of the text table; longer ones are cut with an ellipsis."""
NONE = "–"
PARTS = ("findings", "actions", "money", "adviser")
KEYS = {"all": "all actions", "left": "left over of loads"}
"""Names of sums in the data, where they differ from those of their messages."""


@dataclass(frozen=True)
class ComparedSide:
    """One of the two plans."""

    label: str
    case: CaseFile
    diagnosis: Diagnosis
    plan: Plan

    @property
    def writer(self) -> Writer:
        return Writer.of(self.case.case)


@dataclass(frozen=True)
class ComparedLine:
    """One difference: what, and how each side has it (as text and as data)."""

    what: str
    first: str
    second: str
    data: Mapping[str, object]


@dataclass(frozen=True)
class Comparison:
    """What differs between two plans; equal parts are left out."""

    first: str
    second: str
    findings: tuple[ComparedLine, ...]
    actions: tuple[ComparedLine, ...]
    money: tuple[ComparedLine, ...]
    adviser: tuple[ComparedLine, ...]
    same: str
    headings: Mapping[str, str]
    """Heading of each part of the table."""

    def as_json(self) -> dict:
        """Differences as data."""
        return {
            "first": self.first, "second": self.second,
            **{name: [dict(line.data) for line in getattr(self, name)] for name in PARTS},
        }

    def as_text(self) -> str:
        """Differences as a table for the terminal."""
        rows: list[tuple[str, str, str]] = [("", self.first, self.second)]
        for name in PARTS:
            lines = getattr(self, name)
            if lines:
                rows.append((self.headings[name].upper(), "", ""))
                rows += [(line.what, line.first, line.second) for line in lines]
        if len(rows) == 1:
            return self.same
        cut = [tuple(_cut(cell) for cell in row) for row in rows]
        widths = [max(len(row[i]) for row in cut) for i in range(3)]
        return "\n".join(
            "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
            for row in cut)


def _cut(text: str) -> str:
    text = text.replace(numbers.NBSP, " ")
    return text if len(text) <= WIDEST else text[: WIDEST - 1] + "…"


def compare_plans(first: ComparedSide, second: ComparedSide) -> Comparison:
    """Compare two plans, in the words and units of the first side."""
    return Comparison(
        first.label, second.label,
        findings=_lines({f.id: f for f in first.diagnosis.findings},
                        {f.id: f for f in second.diagnosis.findings},
                        lambda f: _finding(f, first.writer), _finding_data),
        actions=_lines(_by_key(first), _by_key(second),
                       lambda pair: _action(pair[0], pair[1], first.writer),
                       lambda pair: _action_data(*pair)),
        money=_money(first, second),
        same=first.writer.write(say("actions.compare_same")),
        headings={name: first.writer.write(say(f"report.compare_{name}"))
                  for name in PARTS},
        adviser=_lines({d.action_id: d for d in first.plan.differences},
                       {d.action_id: d for d in second.plan.differences},
                       lambda d: _set(d, first.writer), _set_data),
    )


def _lines(one: Mapping, other: Mapping, words: Callable,
           data: Callable) -> tuple[ComparedLine, ...]:
    """Entries that differ, in order of their names."""
    found = []
    for key in sorted({*one, *other}):
        pair = [source.get(key) for source in (one, other)]
        values = [None if entry is None else data(entry) for entry in pair]
        if values[0] != values[1]:
            before, after = (NONE if entry is None else words(entry) for entry in pair)
            found.append(ComparedLine(key, before, after, {"id": key, "first": values[0],
                                            "second": values[1]}))
    return tuple(found)


def _set(difference: PlanDifference, writer: Writer) -> str:
    """What the adviser did, and why."""
    done = changes_named(writer, difference)
    return f"{done}: {'; '.join(difference.reasons)}" if difference.reasons else done


def _set_data(difference: PlanDifference) -> dict:
    return {"kinds": list(difference.kinds), "reasons": list(difference.reasons),
            **{side: [{"id": f.action_id, "rank": f.rank, "rate": plain(f.rate),
                       "rate_unit": f.rate_unit, "cost_total": plain(f.cost)}
                      for f in getattr(difference, side)] for side in ("own", "program")}}


def _finding(finding: Finding, writer: Writer) -> str:
    value = ""
    if finding.value is not None:
        value = " " + writer.quantity(finding.value, "" if finding.unit in ("1", "pH")
                                      else finding.unit)
    return writer.write(say(f"report.status_{finding.status.value}")) + value


def _finding_data(finding: Finding) -> dict:
    return {"status": finding.status.value, "severity": finding.severity,
            "value": plain(finding.value), "unit": finding.unit,
            "confidence": finding.confidence.value}


def _by_key(side: ComparedSide) -> dict[str, tuple[Action, bool]]:
    return {a.id: (a, a.id in side.plan.budget.chosen) for a in side.plan.actions}


def _action(action: Action, covered: bool, writer: Writer) -> str:
    parts = []
    if action.rate is not None:
        parts.append(writer.quantity(action.rate, action.rate_unit))
    if action.cost_total is not None:
        parts.append(writer.money(action.cost_total))
    return writer.write(say("report.compare_action", rank=action.rank, parts=parts,
                            waits=not covered))


def _action_data(action: Action, covered: bool) -> dict:
    return {"rank": action.rank, "material": action.material_id, "rate": plain(action.rate),
            "rate_unit": action.rate_unit, "total": plain(action.total),
            "cost_total": plain(action.cost_total), "in_budget": covered}


def _money(first: ComparedSide, second: ComparedSide) -> tuple[ComparedLine, ...]:
    def figures(side: ComparedSide) -> dict[str, float | None]:
        budget = side.plan.budget
        known = [a.cost_total for a in side.plan.actions if a.cost_total is not None]
        return {
            "budget": budget.limit,
            "spent": money_of(side.plan).total,
            "all": sum(known) if known else None,
            "left": sum(o.extra_cost or 0.0 for o in side.plan.orders),
        }

    def words(amount: float | None) -> str:
        return NONE if amount is None else first.writer.money(amount, 0)

    one, other = figures(first), figures(second)
    found = []
    for name in one:
        if plain(one[name]) != plain(other[name]):
            difference = None
            before, after = one[name], other[name]
            if before is not None and after is not None:
                difference = plain(after - before)
            found.append(ComparedLine(first.writer.write(say(f"report.compare_{name}")),
                              words(one[name]), words(other[name]),
                              {"id": KEYS.get(name, name), "first": plain(one[name]),
                               "second": plain(other[name]), "difference": difference}))
    return tuple(found)
