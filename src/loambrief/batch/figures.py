"""What the summary, the cover and the letters say of one case: plain values that keep.

They travel from the worker to the run and are remembered in the ledger, so that a case which
has not changed is summed up without being made again.
"""

import datetime as dt
from dataclasses import dataclass

from loambrief.case.schema import CaseFile
from loambrief.findings.confidence import MAX_AGE_DAYS
from loambrief.findings.model import Status
from loambrief.pipeline import Advice
from loambrief.report.money import money_of
from loambrief.report.text import Writer


@dataclass(frozen=True)
class LimitingFactor:
    """Something that limits the field.

    ``subject`` is what it is about (``"acidity.ph"``); ``excess``: too much of it.
    """

    topic: str
    subject: str
    title: str
    severity: int
    excess: bool = False


@dataclass(frozen=True)
class DueCheck:
    """Something to look at on a day; ``kind`` is the kind of work it follows up."""

    day: str
    what: str
    kind: str


@dataclass(frozen=True)
class LabTest:
    """A test and the day from which it no longer counts as fresh.

    ``kind`` is ``soil``, ``forage`` or ``water``.
    """

    kind: str
    where: str
    taken: str
    ends: str


@dataclass(frozen=True)
class Figures:
    """Key figures of one advisory. Dates are ISO text, money in ``currency``, area in acres."""

    case_id: str
    date: str
    valid_until: str
    client: str
    contact: str
    client_email: str
    farm: str
    region: str
    field: str
    crop: str
    area_ac: float
    units: str
    paper: str
    language: str
    currency: str
    adviser: str
    business: str
    adviser_email: str
    adviser_phone: str
    adviser_address: str
    credential: str
    interest: str
    limits: tuple[LimitingFactor, ...]
    first_action: str
    actions: int
    chosen: int
    kinds: tuple[tuple[str, int, float], ...]
    """Kinds of work that the money covers: name, number of actions, cost as far as priced."""
    spent: float
    budget: float | None
    waiting: int
    waiting_cost: float
    unpriced: int
    missing: int
    followups: tuple[DueCheck, ...]
    tests: tuple[LabTest, ...]


def figures_of(advice: Advice) -> Figures:
    """Key figures of an advice."""
    case, plan, money = advice.loaded.case, advice.plan, money_of(advice.plan)
    writer = Writer.of(case.case)
    chosen = [a for a in plan.actions if a.id in plan.budget.chosen]
    waiting = [a for a in plan.actions if a.id in plan.budget.left_out]
    kinds: dict[str, tuple[int, float]] = {}
    for action in chosen:
        count, cost = kinds.get(action.kind.value, (0, 0.0))
        kinds[action.kind.value] = (count + 1, cost + money.costs.get(action.id, 0.0))
    kind_of = {a.id: a.kind.value for a in plan.actions}
    return Figures(
        case_id=case.case.id,
        date=case.case.date.isoformat(),
        valid_until=_iso(case.case.valid_until),
        client=case.client.name,
        contact=case.client.contact or "",
        client_email=case.client.email or "",
        farm=case.farm.name,
        region=case.farm.region or "",
        field=case.field.name,
        crop=case.field.crop,
        area_ac=case.field.area.value,
        units=case.case.units,
        paper=case.case.paper,
        language=case.case.language,
        currency=case.case.currency,
        adviser=case.adviser.name,
        business=case.adviser.business or "",
        adviser_email=case.adviser.email or "",
        adviser_phone=case.adviser.phone or "",
        adviser_address=case.adviser.address or "",
        credential=f"{case.adviser.credential.scheme} {case.adviser.credential.number}",
        interest=case.adviser.interest,
        limits=tuple(
            LimitingFactor(f.topic, f.subject, writer.write(f.title),
                           f.severity, f.status is Status.EXCESS)
            for f in advice.diagnosis.worst(len(advice.diagnosis.findings))
        ),
        first_action=writer.write(chosen[0].title) if chosen else "",
        actions=len(plan.actions),
        chosen=len(chosen),
        kinds=tuple((kind, *sums) for kind, sums in sorted(kinds.items())),
        spent=money.total,
        budget=plan.budget.limit,
        waiting=len(waiting),
        waiting_cost=sum(a.cost_total for a in waiting if a.cost_total is not None),
        unpriced=len(plan.budget.unpriced),
        missing=len(advice.diagnosis.missing),
        followups=tuple(
            DueCheck(_iso(f.due), writer.write(f.what), kind_of.get(f.action_id or "", ""))
            for f in plan.followups
        ),
        tests=tests_of(case),
    )


def tests_of(case: CaseFile) -> tuple[LabTest, ...]:
    """Soil, forage and water tests with the day on which confidence in them falls for age."""
    found = [("soil", s.place or s.id, s.date) for s in case.samples]
    found += [("forage", f.cutting or f.id, f.date) for f in case.forage]
    if case.water is not None:
        found.append(("water", case.water.source, case.water.date))
    limit = dt.timedelta(days=MAX_AGE_DAYS)
    return tuple(LabTest(kind, where, day.isoformat(), (day + limit).isoformat())
                 for kind, where, day in found)


def _iso(day: dt.date | None) -> str:
    return day.isoformat() if day is not None else ""
