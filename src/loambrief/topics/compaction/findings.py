"""Dense layers, soil air and water intake: findings, and what is done about them.

Loosening is advised only where the published table advises it, the soil was at field
capacity when it was read, the bottom of the layer was found, and the tillage of the field
allows it. Otherwise the advice is about traffic, roots, digging and reading again.
"""

from loambrief.agronomy.registry import subject
from loambrief.case.schema import CaseFile
from loambrief.findings import model as m
from loambrief.findings.model import say
from loambrief.findings.places import field_place
from loambrief.tables import load
from loambrief.topics.compaction.formulas import compaction_share, constant, threshold_psi
from loambrief.topics.compaction.needs import unwanted, zone_needs
from loambrief.topics.compaction.soil import density_findings, infiltration_finding
from loambrief.topics.compaction.state import TRAFFIC, ConeState, ConeZone, cone_state

SEVERITY = {"little or none": 0, "slight": 1, "moderate": 2, "severe": 3}
FEW_POINTS = 3
"""Fewer pushes than this show a spot, not a zone."""
UNTILLED = ("no-till", "perennial")
"""Tillage in which old pores and cracks may carry roots through strong soil."""


def assess(case: CaseFile) -> m.Assessment:
    """Findings on the cone readings, bulk density and infiltration of a case."""
    said: list[m.Said] = []
    state = cone_state(case)
    if state is None or not state.zones:
        said.append(m.lacks("compaction.missing_cone"))
    else:
        for zone in state.zones:
            said.append(_resistance(state, zone))
            if state.shows_dense and zone.dense_depths:
                said.append(_layer(state, zone))
        said.append(_trade_band(state))
    return m.gathered([*said, *density_findings(case), infiltration_finding(case)])


def _judged(state: ConeState, zone: ConeZone) -> tuple[m.Status, int]:
    """Status and severity: the table's class, softened where the reading cannot carry it."""
    rating = str(zone.rating.value)
    severity = SEVERITY[rating]
    if severity == 0:
        if not state.shows_loose:
            return m.Status.UNCERTAIN, 0
        return m.Status.ADEQUATE, 0
    if not state.shows_dense:
        return m.Status.UNCERTAIN, 0
    if zone.points < FEW_POINTS:
        return m.Status.WATCH, 1
    if state.case.field.tillage in UNTILLED:
        return m.Status.WATCH, 1  # pores of untilled soil may pass roots: digging decides
    if severity == 1:
        return m.Status.WATCH, 1
    return m.Status.LIMITING, severity


def _resistance(state: ConeState, zone: ConeZone) -> m.Finding:
    case, details = state.case, zone.share.details
    status, severity = _judged(state, zone)
    limit = threshold_psi("limit")
    title = "compaction.title_share"
    if not state.shows_dense and SEVERITY[str(zone.rating.value)]:
        title = "compaction.title_refused"
    elif status is m.Status.UNCERTAIN:
        title = "compaction.title_wet"
    untilled = case.field.tillage in UNTILLED
    peak = zone.profile
    common = {"where": zone.place, "traffic": zone.key == TRAFFIC, "share": zone.share.value,
              "over": details["over"], "n": details["n"], "rating": zone.rating.value,
              "limit": limit, "moisture": state.cone.moisture}
    body = [say("compaction.body_share", low=details["low"], high=details["high"],
                depth=constant("rated_depth"), counts=title == "compaction.title_share", **common)]
    if zone.points < constant("points_low"):
        body.append(say("compaction.body_few", n=zone.points, low=constant("points_low"),
                        high=constant("points_high")))
    if not state.right:
        body.append(say("compaction.body_moisture", moisture=state.cone.moisture,
                        effect=state.moisture.details["effect"]))
    if state.cone.cone == "other":
        body.append(say("compaction.body_cone"))
    dense = SEVERITY[str(zone.rating.value)] >= 2
    against_side = m.Side.AGAINST if dense else m.Side.CONTEXT
    evidence = [
        m.stated("compaction.for_median", peak, median=peak.value, depth=peak.details["depth_in"],
                 highest=max(zone.readings), n=zone.points),
        m.on_side(m.Side.FOR if zone.rating.details.get("certain") else m.Side.AGAINST,
                  "compaction.evidence_interval", zone.share, zone.rating, low=details["low"],
                  high=details["high"], low_rating=zone.rating.details["low_rating"],
                  high_rating=zone.rating.details["high_rating"],
                  certain=zone.rating.details["certain"]),
    ]
    if untilled:
        evidence.append(m.on_side(against_side, "compaction.against_untilled",
                                  tillage=case.field.tillage, limit=limit, low=constant("dig_low"),
                                  high=constant("dig_high")))
    if not state.right:
        evidence.append(m.on_side(against_side, "compaction.against_moisture", state.moisture,
                                  moisture=state.cone.moisture,
                                  low=constant("moisture_strength_low"),
                                  high=constant("moisture_strength_high")))
    if dense and state.shows_dense:
        evidence += _payoff()
    return m.Finding(
        id=f"compaction.resistance.{zone.key}",
        title=say(title, median=peak.value, depth=peak.details["depth_in"],
                  highest=max(zone.readings), untilled=untilled, **common),
        status=status,
        severity=severity,
        confidence=state.confidence(zone),
        grade=m.Grade.MEASURED,
        value=zone.share.value, low=details["low"], high=details["high"],
        unit="%",
        reference=say("compaction.reference_rating", limit=limit,
                      depth=constant("rated_depth"), pay=constant("pay_share")),
        place=zone.place,
        body=tuple(body),
        evidence=tuple(evidence),
        needs=zone_needs(state, zone),
        advise_against=unwanted(state, zone),
        sources=(zone.rating.source, "uky-id153-sefp", "duiker-sefp"),
        results=(zone.share, zone.rating, zone.profile, state.moisture),
    )


def _payoff() -> list[m.Evidence]:
    """What named trials say about deep loosening, gains and losses."""
    trials = {r["key"]: r for r in load("compaction/loosening_trials")}
    return [
        m.stated("compaction.context_gain", corn=trials["ohio_once_corn"]["change_pct"],
                 soybean=trials["ohio_once_soybean"]["change_pct"]),
        m.stated("compaction.context_loss", corn=-trials["ohio_again_corn"]["change_pct"],
                 soybean=-trials["ohio_again_soybean"]["change_pct"],
                 returned=-trials["iowa_return"]["change_pct"]),
    ]


def _layer(state: ConeState, zone: ConeZone) -> m.Finding:
    """Where the dense layer lies; from the medians, with the reach of single readings."""
    layer, dense = zone.layer, zone.dense_depths
    details = layer.details
    found = layer.value is not None
    body = []
    if not found:
        body.append(say("compaction.body_scattered", shallow=dense[0], deep=dense[-1]))
    elif details["bottom_in"] is None:
        body.append(say("compaction.body_open", deepest=zone.profile.details["depths_in"][-1]))
    else:
        body.append(say("compaction.body_marks", first_over=details["first_over_in"],
                        first_under=details["first_under_in"]))
    status, severity = _judged(state, zone)
    return m.Finding(
        id=f"compaction.layer.{zone.key}",
        title=say("compaction.title_layer" if found else "compaction.title_layer_scattered",
                  where=zone.place, top=details["top_in"], bottom=details["bottom_in"],
                  open_above=details.get("open_above", False), shallow=dense[0], deep=dense[-1],
                  limit=threshold_psi("limit")),
        status=status if status is not m.Status.LIMITING else m.Status.WATCH,
        severity=min(severity, 1),
        confidence=state.confidence(zone),
        grade=m.Grade.MEASURED,
        value=layer.value if found else dense[0],
        unit="in",
        reference=say("compaction.reference_limit", limit=threshold_psi("limit")),
        place=zone.place,
        body=tuple(body),
        evidence=(
            m.stated("compaction.for_reach", zone.profile, shallow=dense[0], deep=dense[-1],
                     layers=details["layers"]),
            m.stated("compaction.context_stones"),
        ),
        sources=(layer.source,),
        results=(layer,),
    )


def _trade_band(state: ConeState) -> m.Finding:
    """The trade's band beside what the literature says about roots."""
    readings = [r for zone in state.zones for r in zone.readings]
    no_air = threshold_psi("no_air")
    with subject(field_place(state.case)):
        over = compaction_share.evaluate(readings=readings, threshold_psi=no_air)
    levels = {key: threshold_psi(key) for key in ("onset", "limit", "water_range", "review")}
    return m.Finding(
        id="compaction.trade_band",
        title=say("compaction.title_band", share=over.value, level=no_air),
        status=m.Status.NOTED,
        severity=0,
        confidence=m.Confidence.LOW,
        grade=m.Grade.PRACTICE,
        value=over.value, low=over.details["low"], high=over.details["high"],
        unit="%",
        reference=say("compaction.reference_band", low=threshold_psi("band_low"),
                      high=threshold_psi("band_high"), level=no_air),
        place=field_place(state.case),
        body=(say("compaction.body_band"),),
        evidence=(
            m.stated("compaction.for_band", onset=levels["onset"], low=threshold_psi("loose")),
            m.stated("compaction.against_band", limit=levels["limit"],
                     water_range=levels["water_range"], review=levels["review"]),
            m.stated("compaction.against_air", limit=constant("air_limit")),
            m.stated("compaction.context_roots", level=threshold_psi("continuous"),
                     low=constant("root_ratio_low"), high=constant("root_ratio_high")),
        ),
        sources=("practice-penetrometer-band",),
        results=(over,),
    )
