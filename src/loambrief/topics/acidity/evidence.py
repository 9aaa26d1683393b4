"""What speaks for and against an acidity finding, and lime that is not to be bought."""

from collections.abc import Mapping
from dataclasses import replace

from loambrief.agronomy.registry import subject
from loambrief.case.schema import CaseFile
from loambrief.findings.model import Evidence, Finding, Side, on_side, say, stated
from loambrief.findings.places import depth_of, place_of
from loambrief.topics.acidity.formulas import constant, exchange_acidity, lime_from_nitrogen
from loambrief.topics.acidity.formulas_lime import lime_table
from loambrief.topics.acidity.need import LimeNeed
from loambrief.topics.acidity.state import AcidState, untilled

PLAIN_PH = 7.3
"""From here up a liming point says nothing more (the Kansas limit of high pH)."""
TWOFOLD = 1.6
"""Printed rates this many times apart are called about twice: our own step."""
NITROGEN_LB = 100.0
RESPONSE_CROPS = ("corn", "soybean")
"""Crops of the Iowa liming trials."""


def ph_evidence(case: CaseFile, state: AcidState, lime: LimeNeed | None) -> tuple[Evidence, ...]:
    """Readings, the guide, other tables, and the doubts."""
    lines = [_reading(state)]
    if state.method == "cacl2":
        lines.append(stated("acidity.context_cacl2", offset=constant("cacl2_offset")))
    lines += _guide(case, state)
    if lime is not None and lime.best is not None:
        lines += _acidity(state)
        lines += _tables(state, lime)
        lines += _doubts(case, state, lime)
    elif not state.below_trigger:
        lines.append(_maintenance(state))
    return tuple(lines)


def _reading(state: AcidState) -> Evidence:
    return stated("acidity.for_reading", *((state.error_result,) if state.error_result else ()),
                  ph=state.layer.ph, depth=depth_of(state.layer), buffer=state.layer.buffer_ph,
                  method=state.sample.methods.buffer, error=state.ph_error,
                  cores=state.sample.cores)


def _guide(case: CaseFile, state: AcidState) -> list[Evidence]:
    target = state.aim
    if target.result is None:
        return []
    result = target.result
    found = [stated("acidity.context_guide", result, crop=target.crop, target=result.value,
                    trigger=result.details["trigger"], context=result.details["context"],
                    own_guide=target.own_guide, memory=result.how == "memory", own=target.own)]
    if target.other_value is not None and not target.own:
        found.append(on_side(Side.AGAINST if state.below_trigger else Side.CONTEXT,
                             "acidity.against_subsoil", result, other=target.other_value,
                             other_trigger=target.other_trigger, target=target.value, ph=state.ph))
    return found


def _acidity(state: AcidState) -> list[Evidence]:
    method = state.sample.methods.buffer
    with subject(place_of(state.sample, state.main)):
        acid = exchange_acidity.evaluate(buffer_method=method, buffer_ph=state.layer.buffer_ph)
    if acid.value is None:
        return []
    return [stated("acidity.for_acidity", acid, acidity=acid.value, unit=acid.unit, method=method)]


def _tables(state: AcidState, lime: LimeNeed) -> list[Evidence]:
    """Other tables for the same buffer, never averaged."""
    if not lime.alternatives:
        return []
    rows = [{"table": lime_table(str(r.inputs["table"]))["title"],
             "amount": r.details["effective_caco3_ton_ac"]} for r in lime.alternatives]
    printed = [{"table": lime_table(name)["title"], "rate": rate}
               for name, rate in lime.printed.items() if rate > 0]
    spread, rates = lime.spread, lime.printed
    pair = (rates["smp"] / rates["sikora_oregon_2025"]
            if rates.get("smp") and rates.get("sikora_oregon_2025") else None)
    apart = spread is not None and spread >= TWOFOLD
    return [on_side(Side.AGAINST if apart else Side.CONTEXT, "acidity.context_tables",
                    *lime.alternatives, rows=rows, printed=printed, apart=apart, spread=spread,
                    pair=pair, chosen=lime.need.params["table"],
                    chosen_amount=lime.rate.details["effective_caco3_ton_ac"])]


def _doubts(case: CaseFile, state: AcidState, lime: LimeNeed) -> list[Evidence]:
    found = []
    method = state.sample.methods.buffer
    if method == "sikora" and any("SMP calibration" in n for n in lime.rate.notes):
        found.append(stated("acidity.context_sikora"))
    if method == "smp":
        found.append(stated("acidity.against_smp"))
    if method == "woodruff":
        found.append(stated("acidity.against_woodruff"))
    found.append(stated("acidity.against_error", *lime.need.results, low=lime.need.low,
                        high=lime.need.high, error=state.ph_error, other=state.aim.other_value,
                        cores=state.sample.cores is not None))
    if lime.uncredited:
        found.append(stated("acidity.against_uncredited", materials=list(lime.uncredited)))
    if untilled(case):
        found.append(stated("acidity.context_no_till", reach_in=constant("surface_reach_in"),
                            depth_in=constant("surface_depth_in")))
    if lime.need.amount is not None and 0 < lime.need.amount < constant("least_even_spread"):
        found.append(stated("acidity.context_small", least=constant("least_even_spread")))
    if state.aim.crop in RESPONSE_CROPS:
        found.append(stated("acidity.context_response"))
    return found


def _maintenance(state: AcidState) -> Evidence:
    with subject(state.place):
        urea = lime_from_nitrogen.evaluate(n_lb_ac=NITROGEN_LB, nitrogen_source="urea")
        sulfate = lime_from_nitrogen.evaluate(n_lb_ac=NITROGEN_LB,
                                              nitrogen_source="ammonium sulfate")
    return stated("acidity.context_nitrogen", urea, sulfate, n=NITROGEN_LB, urea=urea.value,
                  urea_low=urea.details["caco3_lb_ac"], sulfate=sulfate.value,
                  sulfate_low=sulfate.details["caco3_lb_ac"])


def avoided_lime(findings: tuple[Finding, ...], states: list[AcidState],
                 limed: Mapping[str, LimeNeed | None]) -> tuple[Finding, ...]:
    """Name, once, the samples that are not to be limed."""
    fine = [s for s in states if s.ph is not None and s.target is not None
            and limed[s.sample.id] is None]
    if not fine:
        return findings
    first = f"acidity.ph.{fine[0].sample.id}"
    high = f"acidity.high.{fine[0].sample.id}"
    pair = (say("acidity.avoid_lime", where=[s.place for s in fine]),
            say("acidity.why_lime", rows=[{"where": s.place, "ph": s.ph,
                                           "lime": s.calcareous,
                                           "trigger": s.aim.trigger
                                           if s.reading < PLAIN_PH and not s.calcareous else None}
                                          for s in fine]))
    done, result = False, []
    for finding in findings:
        if not done and finding.id in (first, high):
            done = True
            finding = replace(finding, advise_against=(*finding.advise_against, pair))
        result.append(finding)
    return tuple(result)

