"""What to do about a dense zone: loosen, or change traffic, dig, read again."""

from loambrief.agronomy.registry import Result, subject
from loambrief.findings.model import Message, Need, NeedKind, say
from loambrief.topics.compaction.formulas import constant
from loambrief.topics.compaction.formulas_cone import loosening_depth
from loambrief.topics.compaction.state import FIELD, ConeState, ConeZone

NO_LOOSENING = ("no-till", "perennial")
"""Deep loosening would undo the system (no-till) or the stand (perennial)."""
WET_FIELDS = ("poorly drained", "somewhat poorly drained")


def why_not_loosened(state: ConeState, zone: ConeZone) -> str | None:
    """The first reason against loosening, as a short key; None if all conditions hold."""
    if not state.right:
        return "moisture"
    if not zone.advises_subsoiling:
        return "share"
    if state.case.field.tillage in NO_LOOSENING:
        return "tillage"
    if zone.layer.value is None:
        return "scattered"
    if zone.layer.details["bottom_in"] is None:
        return "bottom"
    return None


def zone_needs(state: ConeState, zone: ConeZone) -> tuple[Need, ...]:
    """Needs of one zone; empty where it is loose enough."""
    reason = why_not_loosened(state, zone)
    if reason is None:
        return (_loosen(state, zone), _manage(state, zone))
    dense = zone.rating.value != "little or none"
    needs: list[Need] = []
    if reason == "moisture" and (dense or not state.shows_loose):
        needs.append(_measure(zone, "cone-again", say(
            "compaction.need_again", where=zone.place, moisture=state.cone.moisture,
            n=max(zone.points, int(constant("points_low"))))))
    elif reason == "tillage":
        needs.append(_measure(zone, "dig", say(
            "compaction.need_dig", where=zone.place, low=constant("dig_low"),
            high=constant("dig_high"), shallow=zone.dense_depths[0])))
    elif reason in ("scattered", "bottom"):
        needs.append(_measure(zone, "cone-deeper", say(
            f"compaction.need_{reason}", where=zone.place)))
    if dense and state.shows_dense:
        needs.append(_manage(state, zone))
    return tuple(needs)


def _measure(zone: ConeZone, item: str, text: Message) -> Need:
    return Need(NeedKind.MEASURE, item, "", text, place=zone.place, area_ac=zone.area_ac,
                sources=("duiker-sefp", "cornell-nrcca-ca0435"))


def _manage(state: ConeState, zone: ConeZone) -> Need:
    return Need(
        NeedKind.MANAGE, "traffic", "",
        say("compaction.need_traffic", where=zone.place, traffic=zone.key != FIELD,
            perennial=state.case.field.tillage == "perennial"),
        place=zone.place, area_ac=zone.area_ac, sources=("reeder-dejonghughes-csd",),
    )


def _loosen(state: ConeState, zone: ConeZone) -> Need:
    """Loosening with its depth. The depth is a setting of the tool, not a rate."""
    case = state.case
    with subject(zone.place):
        depth: Result = loosening_depth.evaluate(bottom_in=zone.layer.details["bottom_in"])
    cautions = [
        say("compaction.caution_utility", depth=constant("call_depth")),
        say("compaction.caution_tile", tiled=case.field.drainage == "tile drained"),
        say("compaction.caution_wet"),
        say("compaction.caution_strip"),
    ]
    if case.field.drainage in WET_FIELDS:
        cautions.append(say("compaction.caution_undrained", drainage=case.field.drainage))
    return Need(
        NeedKind.LOOSEN, "subsoil", "in",
        say("compaction.need_loosen", where=zone.place, depth=depth.value,
            top=zone.layer.details["top_in"], bottom=zone.layer.details["bottom_in"],
            margin=depth.details["margin_in"]),
        place=zone.place,
        area_ac=zone.area_ac,
        results=(depth, zone.layer, zone.rating),
        sources=(depth.source, zone.rating.source),
        cautions=tuple(cautions),
        params={"depth_in": depth.value, "top_in": zone.layer.details["top_in"],
                "bottom_in": zone.layer.details["bottom_in"]},
    )


def unwanted(state: ConeState, zone: ConeZone) -> tuple[tuple[Message, Message], ...]:
    """Deep loosening on the "do not buy" list, where someone might sell it."""
    reason = why_not_loosened(state, zone)
    if reason is None or zone.key != FIELD:
        return ()
    offered = any(m.does == "subsoiling" for m in state.case.materials)
    if not offered and zone.rating.value == "little or none":
        return ()
    return ((say("compaction.not_loosening"),
             say(f"compaction.not_loosening_{reason}", share=zone.share.value,
                 pay=constant("pay_share"), moisture=state.cone.moisture,
                 tillage=state.case.field.tillage)),)
