"""The advisory as data: ``<case id>.json``, versioned, the same bytes for the same case."""

import datetime as dt
import json
from collections.abc import Mapping

from loambrief.actions.model import Action, Plan
from loambrief.agronomy.intervals import COVERAGE_PCT
from loambrief.agronomy.registry import Result
from loambrief.case.schema import CaseFile
from loambrief.findings.model import Finding, Judgement, Message, Place
from loambrief.report.answer import CaseAnswer, answer
from loambrief.report.blocks import AnnexFile
from loambrief.report.farm_part import farm_data
from loambrief.report.history_part import history_data
from loambrief.report.money import money_of
from loambrief.report.own_part import own_data
from loambrief.report.results_data import field_data, measured_data
from loambrief.report.text import Writer
from loambrief.topics.assess import Diagnosis

SCHEMA_VERSION = 1
"""Within a version keys may be added (``history`` and ``tests`` were), but none is dropped or
changes meaning."""


def plain(value: object) -> object:
    """Anything that occurs in results as JSON-ready data, floats at 10 significant digits."""
    if isinstance(value, float):
        return float(f"{value:.10g}")
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple | set):
        return [plain(v) for v in value]
    if value is None or isinstance(value, bool | int | str):
        return value
    return str(value)


def _given(thing: object, *names: str) -> dict[str, object]:
    """Fields under their own names."""
    return {name: plain(getattr(thing, name)) for name in names}


def advisory_data(
    case: CaseFile,
    diagnosis: Diagnosis,
    plan: Plan,
    calculations: tuple[Result, ...],
    writer: Writer,
    *,
    inputs_sha256: str,
    tables_sha256: str,
    version: str,
    status: str = "draft",
    number: str | None = None,
    revision: int | None = None,
    issued: dt.date | None = None,
    made_with: Mapping[str, str] | None = None,
    changes: Mapping | None = None,
    annex: AnnexFile | None = None,
) -> dict:
    """The output contract of ``<case id>.json``."""
    write = writer.write
    costs = money_of(plan)
    return {
        "schema_version": SCHEMA_VERSION,
        "case_id": case.case.id,
        "generated_for": case.case.date.isoformat(),
        "valid_until": plain(case.case.valid_until),
        "inputs_sha256": inputs_sha256,
        "tables_sha256": tables_sha256,
        "loambrief_version": version,
        "made_with": dict(made_with or {}),
        "printed": {"language": case.case.language,
                    "governing_language": (case.case.governing_language
                                           or case.case.language.split("-")[0]),
                    "units": case.case.units, "paper": case.case.paper},
        "parties": {"adviser": case.adviser.name, "client": case.client.name,
                    "contact": case.client.contact},
        "field": field_data(case),
        "status": status,
        "number": number,
        "revision": revision,
        "issued": plain(issued),
        "changes": plain(changes),
        "annex": None if annex is None else {"file": annex.name, "sha256": annex.sha256},
        "question": _question(answer(case, diagnosis, plan), write),
        "ranges": {"coverage_pct": COVERAGE_PCT,
                   "holds_for": "low and high, rate_low and rate_high where range_of is errors"},
        "findings": [_finding(f, writer) for f in diagnosis.findings],
        "actions": [_action(a, case, writer) for a in plan.actions],
        "not_advised": [
            {"what": write(n.what), "why": write(n.why), "saved": _write_or_none(n.saved, write),
             "material": n.material_id, "material_id": n.material_id, "key": n.key}
            for n in plan.not_advised
        ],
        "verdicts": [_verdict(v, write) for v in plan.verdicts],
        "calculations": [_calculation(r, writer) for r in calculations],
        "tests": measured_data(case),
        "missing": [
            {"what": write(m.what), "consequence": write(m.consequence), "topic": m.topic,
             "place": place_data(m.place)}
            for m in diagnosis.missing
        ],
        "monitoring": [
            {"due": plain(f.due), "what": write(f.what), "success": write(f.success),
             "action": f.action_id}
            for f in plan.followups
        ],
        "budget": {
            "printed": {"total": costs.total, "actions": dict(costs.costs),
                        "whole_packages": costs.packages, "saved_together": costs.saved + 0.0,
                        "optional": costs.optional},
            "limit": plan.budget.limit,
            "currency": case.case.currency,
            **_given(plan.budget, "chosen", "left_out", "undecided", "deferred", "spent"),
            "without_price": list(plan.budget.unpriced),
            "next_action": plan.budget.next_use,
            "next_action_needs": plain(plan.budget.next_money),
        },
        "orders": [
            {"material": o.material_id, "pass": o.pass_number, "needed_lb": plain(o.needed_lb),
             "ordered_lb": plain(o.ordered_lb), "left_over_cost": plain(o.extra_cost)}
            for o in plan.orders
        ],
        "alternatives": [
            {"name": write(a.name), "cost": plain(a.cost), "note": write(a.note)}
            for a in plan.alternatives
        ],
        **{key: plain(value) for key, value in farm_data(case, plan).items()},
        "adviser_set": plain(own_data(plan, writer)),
        "history": plain(history_data(diagnosis.history, writer)),
    }


def place_data(place: Place) -> dict:
    """A place as data: what it is known by, what was typed, the depth [in]."""
    return {"id": place.id, "label": place.label, "depth": plain(place.depth)}


def _write_or_none(message: Message | None, write) -> str | None:
    return None if message is None else write(message)


def _question(said: CaseAnswer, write) -> dict:
    return {
        **_given(said, "asked", "key", "answered"),
        "answer": " ".join(write(m) for m in said.messages),
        "basis": list(said.basis),
    }


def _finding(finding: Finding, writer: Writer) -> dict:
    write = writer.write
    evidence_results = [r for e in finding.evidence for r in e.results]
    return {
        "id": finding.id,
        "topic": finding.topic,
        "title": write(finding.title),
        "where": writer.place(finding.place),
        "place": place_data(finding.place),
        **_given(finding, "value", "low", "high"),
        "range_printed": finding.printed_span,
        "unit": finding.unit,
        "reference": _write_or_none(finding.reference, write),
        "status": finding.status.value,
        "severity": finding.severity,
        "confidence": finding.confidence.value,
        "evidence_grade": finding.grade.value,
        "evidence": [
            {"side": e.side.value, "text": write(e.text), "grade": e.grade.value,
             "published_as": list(e.kinds),
             "sources": list(e.sources)}
            for e in finding.evidence
        ],
        "sources": sorted({*finding.sources, *(s for e in finding.evidence for s in e.sources)}),
        "calculations": _ids((*finding.results, *evidence_results)),
    }


def _verdict(verdict: Judgement, write) -> dict:
    return {
        "id": verdict.id,
        "kind": verdict.kind.value,
        "key": verdict.key,
        "place": place_data(verdict.place),
        "verdict": verdict.verdict.value,
        **_given(verdict, "amount", "unit", "reason"),
        "why": write(verdict.why),
        "settled_by": _write_or_none(verdict.settle, write),
        "findings": list(verdict.finding_ids),
    }


def _ids(results) -> list[str]:
    return list(dict.fromkeys(r.calculation for r in results if r.calculation))


def _action(action: Action, case: CaseFile, writer: Writer) -> dict:
    write = writer.write
    when = action.window
    return {
        "id": action.id,
        "rank": action.rank,
        "kind": action.kind.value,
        "title": write(action.title),
        "optional": action.optional,
        "material": action.material_name,
        **_given(action, "rate", "rate_low", "rate_high"),
        "range_of": None if action.rate_low is None else (
            "printed span" if action.range_printed else "errors"),
        **_given(action, "rate_unit", "exact_rate", "cap", "computed_rate"),
        "own_rate_reason": action.own_reason,
        "own": action.own or None,
        "changed": list(action.changed),
        "own_reasons": list(action.reasons),
        "split_from": action.split_from or None,
        "deferred": _write_or_none(action.deferred, write),
        "area": plain(action.area_ac),
        "area_unit": "ac",
        **_given(action, "total", "total_unit", "years_at_once", "owner_pays"),
        "cost_per_area": plain(action.cost_per_ac),
        "cost_total": plain(action.cost_total),
        "currency": case.case.currency,
        "price_date": plain(action.price_date),
        "when": None if when is None else {
            "start": plain(when.start), "end": plain(when.end), "text": write(when.text)
        },
        "where": writer.place(action.place),
        "place": place_data(action.place),
        "why": list(action.finding_ids),
        "rank_reason": _write_or_none(action.rank_reason, write),
        "benefit": _write_or_none(action.benefit, write),
        "response_chance_pct": plain(action.response_chance_pct),
        "uncertain": _write_or_none(action.uncertain, write),
        "limits": [write(m) for m in action.limits],
        "cost_of_waiting": [write(m) for m in action.waiting],
        "depends_on": list(action.depends_on),
        "cautions": [write(c) for c in action.cautions],
        "supplies_lb_ac": {k: plain(v) for k, v in action.supplies.items()},
        "calculations": _ids(action.results),
    }


def _calculation(result: Result, writer: Writer) -> dict:
    return {
        "id": result.calculation,
        "formula": result.formula,
        "for": writer.about(result.subject, translated=False),
        **_given(result, "inputs", "value", "unit", "source", "locator", "how", "evidence",
                 "within_range", "notes"),
    }


def as_bytes(data: dict) -> bytes:
    """Readable JSON, stable key order, UTF-8, one newline at the end."""
    return (json.dumps(data, indent=2, ensure_ascii=False) + "\n").encode("utf-8")
