"""How much of each nutrient a zone may get from all sources together, and what sets it.

Manure is chosen for one nutrient and brings them all, so phosphorus and nitrogen have a limit
wherever something is fed:

* none of what an excess forbids, of what is not needed, or of what is left out this year;
* else the guide's rate (with the error of the test), or what the harvest takes where that is
  more; near water the guide's rate is the most;
* where no rate is known: what the harvest takes; near water, or without a known harvest, none;
* what the zone's stated phosphorus index allows, and beside it what the region's class of the
  phosphorus test allows, where it asks for less;
* nitrogen: what the adviser's line leaves to apply and a little more, since phosphorus brings
  some; without a line what the harvest takes, where a table gives it.

The setback from water is said with each source (``interactions``), since the case does not map
which part of a zone lies inside it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from loambrief.actions.gather import NeedFor
from loambrief.agronomy.intervals import Z
from loambrief.agronomy.registry import Result
from loambrief.case.schema import CaseFile, NearWater
from loambrief.findings.model import WHOLE_FIELD, Finding, Judgement, Need, Verdict
from loambrief.topics.carbon_nitrogen.line import LINE, RATE
from loambrief.topics.nutrients.crop import removed

LINE_SLACK_LB_AC = 20.0
"""Nitrogen above the adviser's line that may come with phosphorus (our own cut)."""
LEFT_OUT = "maintenance_left_out"
INDEX_BASIS = {"low": "nitrogen", "medium": "nitrogen", "high": "removal", "very high": "none"}
"""What a stated phosphorus index lets manure follow (unl-passel-p-index: nitrogen need at low and
medium, phosphorus removal at high, none at very high); a state's own index may differ."""


@dataclass(frozen=True)
class Limit:
    """Most of a nutrient from all sources, and the key of what sets it.

    ``reason``: ``excess``, ``not_needed``, ``left_out``, ``left_out_water``, ``guide_rate``,
    ``guide_rate_water``, ``harvest``, ``class``, ``index``, ``unknown``, ``unknown_water``,
    ``cap``, ``nitrogen`` or ``nitrogen_line`` (macro ``limited_by``).
    """

    amount: float
    reason: str
    results: tuple[Result, ...] = ()


def zone_limits(case: CaseFile, zones: Mapping[str, tuple[NeedFor, ...]],
                findings: tuple[Finding, ...], judged: Sequence[Judgement]
                ) -> dict[str, dict[str, Limit]]:
    """Limits of each zone that is fed, from its needs: zone id -> nutrient -> limit [lb/ac]."""
    taken = {n: removed(case, n) for n in ("N", "P2O5")}
    return {zone_id: _zone(case, zone_id, needs, findings, judged, taken)
            for zone_id, needs in zones.items()}


def _zone(case: CaseFile, zone_id: str, needs: tuple[NeedFor, ...],
          findings: tuple[Finding, ...], judged: Sequence[Judgement],
          taken: Mapping[str, Result | None]) -> dict[str, Limit]:
    found: dict[str, Limit] = {}

    def keep(nutrient: str, limit: Limit) -> None:
        if nutrient not in found or limit.amount < found[nutrient].amount:
            found[nutrient] = limit

    here = [f for f in findings if f.place.id in (WHOLE_FIELD.id, zone_id)]
    for result in (r for f in here for r in f.results):
        upper, item = result.details.get("upper_lb_ac"), result.details.get("nutrient")
        if upper is not None and item:
            keep(str(item), Limit(float(upper), "excess", (result,)))
    for need in (n.need for n in needs):
        if need.cap is not None:
            keep(need.item, Limit(need.cap, "cap", need.results))
    keep("P2O5", _phosphorus(case, zone_id, needs, judged, taken["P2O5"]))
    removal = taken["P2O5"]
    risk = stated_index(case, zone_id)
    bases: list[tuple[str, object, tuple[Result, ...]]] = [
        ("class", r.details.get("basis"), (r,)) for f in here for r in f.results
        if r.formula == "phosphorus_runoff_level"]
    if risk is not None:
        unknown = INDEX_BASIS[risk] == "removal" and removal is None
        bases.insert(0, ("index", "none" if unknown else INDEX_BASIS[risk], ()))
    for reason, basis, results in bases:
        if basis == "none":
            keep("P2O5", Limit(0.0, reason, results))
        elif basis == "removal" and removal is not None:
            keep("P2O5", Limit(float(removal.value), reason, (*results, removal)))
    nitrogen = taken["N"]
    line = next((f for f in here if f.subject == LINE), None)
    rate = next((f for f in here if f.subject == RATE), None)
    if line is not None and line.value is not None:
        keep("N", Limit(line.value + LINE_SLACK_LB_AC, "nitrogen_line"))
    elif nitrogen is not None or rate is not None:
        most = 0.0 if nitrogen is None else float(nitrogen.value)
        if rate is not None and rate.value is not None and rate.value + LINE_SLACK_LB_AC > most:
            keep("N", Limit(rate.value + LINE_SLACK_LB_AC, "nitrogen_rate", rate.results))
        elif nitrogen is not None:
            keep("N", Limit(most, "nitrogen", (nitrogen,)))
    return found


def _phosphorus(case: CaseFile, zone_id: str, needs: tuple[NeedFor, ...],
                judged: Sequence[Judgement], removal: Result | None) -> Limit:
    """P2O5 that may come from all sources."""
    water = bool(case.field.sensitive_areas or waters(case, zone_id))
    near = "_water" if water else ""
    verdict = next((j for j in judged if j.key == "P2O5"
                    and j.place.id in (zone_id, WHOLE_FIELD.id)), None)
    fed = next((n.need for n in needs if n.need.item == "P2O5"), None)
    rate = None if fed is None or fed.amount is None else max(
        fed.amount, fed.cap or 0.0, 0.0 if water else _error_above(fed))
    taken = None if removal is None else float(removal.value)
    if rate is None and verdict is not None and verdict.reason == LEFT_OUT:
        return Limit(0.0, f"left_out{near}")
    if rate is None and verdict is not None and verdict.verdict is Verdict.NOT_NEEDED:
        return Limit(0.0, "not_needed")
    if rate is not None:
        if water or taken is None or taken <= rate:
            return Limit(rate, f"guide_rate{near}")
        return Limit(taken, "harvest", (removal,) if removal is not None else ())
    if water or taken is None:
        return Limit(0.0, f"unknown{near}")
    return Limit(taken, "harvest", (removal,) if removal is not None else ())


def _error_above(need: Need) -> float:
    """One standard error above a need: a limit that far up, not at the end of its range."""
    if need.amount is None or need.high is None:
        return 0.0
    return need.amount + (need.high - need.amount) / (1.0 if need.printed_span else Z)


def waters(case: CaseFile, zone_id: str) -> list[NearWater]:
    """Water beside a zone: its own where it names any, else the field's."""
    own = [w for s in case.samples if s.id == zone_id for w in s.near_water]
    return own or list(case.field.near_water)


def stated_index(case: CaseFile, zone_id: str) -> str | None:
    """Risk by the state's index: the zone's own, else the field's."""
    own = next((s.p_index for s in case.samples if s.id == zone_id and s.p_index), None)
    index = own or case.field.p_index
    return None if index is None else index.risk
