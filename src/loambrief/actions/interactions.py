"""What waits for what, and what two actions on one area do to each other."""

import datetime as dt
import math
from dataclasses import replace

from loambrief.actions.limits import stated_index, waters
from loambrief.actions.model import Action, Window
from loambrief.actions.offers import ORGANIC
from loambrief.actions.orders import needed_lb
from loambrief.actions.setback import cautions
from loambrief.case.schema import CaseFile
from loambrief.findings.crop_kinds import kept_stock
from loambrief.findings.model import WHOLE_FIELD, Finding, Message, NeedKind, say
from loambrief.topics.nutrients.manure_plan import liquid_room
from loambrief.units import KFT2_PER_ACRE, Quantity

LARGE_K2O_LB_AC = 150.0
"""From here on magnesium in forage is watched (our own cut for a large single rate)."""
GRAZERS = ("cattle", "dairy", "sheep", "goats")
STEEP_PCT = 8.0
"""Slope from which runoff of what is spread is warned of: our own line; states set their own."""
SMALL_AC = 0.5
"""A field below this gets its rates by the square, since loads and spreaders are out of
proportion (our own cut)."""
G_PER_M2_PER_LB_PER_AC = 0.1120851
LIVE_SOURCES = ("manure", "biosolids")
COPPER_FED = ("swine", "poultry")
"""Animals whose feed holds much copper, so that their manure does (scite-industrial-copper)."""
WITHOUT_AMOUNT = (NeedKind.LOOSEN, NeedKind.DRAIN, NeedKind.ORGANIC_MATTER, NeedKind.MANAGE)
_AMENDED = (NeedKind.LIME, NeedKind.ACIDIFY, NeedKind.NUTRIENT)
DECIDED_BY = {  # item of a test to the work whose amount it settles
    "soil test": _AMENDED,
    "soil-sample": _AMENDED,
    "buffer ph": (NeedKind.LIME,),
    "surface buffer": (NeedKind.LIME,),
    "subsoil pH": (NeedKind.LIME,),
    "layers again": (NeedKind.LIME, NeedKind.NUTRIENT),
    "paste extract": (NeedKind.LEACH, NeedKind.GYPSUM),
    "sodium": (NeedKind.GYPSUM,),
    "water-table": (NeedKind.GYPSUM, NeedKind.LEACH),
    "tissue": (NeedKind.NUTRIENT,),
    "cone-again": (NeedKind.LOOSEN,),
}
IN_SEASON = ("tissue",)
"""Readings that are made in the growing season, at a stage of the crop."""
ALWAYS = ("water-table",)
"""Readings that come before the work they bear on even where its amount is known."""
NEAR_WATER = "nutrients.caution_p_near_water"
_P_WATER = say("nutrients.caution_p_water")
"""In its place where a setback beside it names the water and the distance."""


def same_area(one: Action, other: Action) -> bool:
    """Two actions meet if they name the same place, or one of them the whole field."""
    return one.place.id == other.place.id or WHOLE_FIELD.id in (one.place.id, other.place.id)


def dependencies(actions: list[Action]) -> list[Action]:
    """What waits for what, beside a second pass for the first.

    Work waits for the reading that its need names first; gypsum for drainage that is decided;
    leaching for both; letting a share of each season's water drain, for gypsum and leaching
    anywhere on the field, because washing a sodic soil without calcium seals it.
    """
    return [
        replace(action, depends_on=tuple(dict.fromkeys((
            *action.depends_on,
            *sorted(o.id for o in actions if o.id != action.id and _waits(action, o)),
        ))))
        for action in actions
    ]


def _waits(action: Action, other: Action) -> bool:
    if other.kind is NeedKind.DRAIN and "first" in other.need.params:
        return False  # a reading that was not made decides it
    if action.item == "leaching share":
        return other.kind in (NeedKind.GYPSUM, NeedKind.LEACH)
    if not same_area(action, other):
        return False
    if other.kind is NeedKind.MEASURE:
        return other.item == action.need.params.get("first")
    return other.kind in {
        NeedKind.GYPSUM: (NeedKind.DRAIN,),
        NeedKind.LEACH: (NeedKind.DRAIN, NeedKind.GYPSUM),
    }.get(action.kind, ())


def decisions(actions: list[Action]) -> list[Action]:
    """Which reading decides whether an action is done, and which tests decide its rate."""
    tests = [a for a in actions if a.kind is NeedKind.MEASURE]
    told = []
    for action in actions:
        here = [t for t in tests if same_area(action, t)]
        condition = next((t.id for t in sorted(here, key=lambda t: t.id)
                          if t.item == action.need.params.get("first")), None)
        deciding = tuple(sorted(t.id for t in here if t.id != condition
                                and _decides(t, action)))
        told.append(replace(action, conditional_on=condition, decided_by=deciding))
    return told


def _decides(test: Action, action: Action) -> bool:
    """A test of what an action rests on, where the amount is open or the sample is old."""
    if action.kind not in DECIDED_BY.get(test.item, ()):
        return False
    faults = test.need.params.get("faults", ())
    if test.item in ALWAYS or (isinstance(faults, list) and "age" in faults):
        return True
    shared = not set(test.finding_ids).isdisjoint(action.finding_ids)
    open_amount = action.kind not in WITHOUT_AMOUNT and action.need.amount is None
    return shared or open_amount or action.uncertain is not None


def in_turn(actions: list[Action]) -> list[Action]:
    """No window opens before the window of what the action waits for.

    Leaching after gypsum says so, and only where gypsum goes on.
    """
    kinds = {a.id: a.kind for a in actions}
    starts = {a.id: a.window.start for a in actions if a.window and a.window.start}
    moved: list[Action] = []
    for action in actions:
        latest: dt.date | None = max((starts[d] for d in action.depends_on if d in starts),
                                     default=None)
        own = action.window
        if own is not None and action.kind is NeedKind.LEACH and any(
                kinds.get(d) is NeedKind.GYPSUM for d in action.depends_on):
            own = replace(own, text=say("actions.when_leach", gypsum=True))
            action = replace(action, window=own)
        if own is not None and latest is not None and own.start is not None \
                and own.start < latest:
            end = own.end if own.end is None or own.end >= latest else None
            action = replace(action, window=Window(
                latest, end, say("actions.when_not_before", start=latest)))
        moved.append(action)
    return _read_in_time(moved)


def _read_in_time(actions: list[Action]) -> list[Action]:
    """Readings are over before the work they decide opens.

    Work that hangs on a reading of the growing season has no day yet: it was dated before that
    reading could be made.
    """
    tests = {a.id: a for a in actions if a.kind is NeedKind.MEASURE}
    opens: dict[str, dt.date] = {}
    undated: set[str] = set()
    for action in actions:
        reading = tests.get(action.conditional_on or "")
        if reading is not None and reading.item in IN_SEASON:
            undated.add(action.id)
            continue
        named = (*action.decided_by, *action.depends_on, action.conditional_on or "")
        for name in set(named) & set(tests):
            start = action.window.start if action.window else None
            if action.kind is not NeedKind.MEASURE and start is not None:
                opens[name] = min(opens.get(name, start), start)
    for name, test in tests.items():  # samples are taken before the test that is made on them
        for sample in set(test.depends_on) & set(tests) if name in opens else ():
            opens[sample] = min(opens.get(sample, opens[name]), opens[name])

    def timed(action: Action) -> Action:
        own, limit = action.window, opens.get(action.id)
        if action.id in undated:
            return replace(action, window=Window(None, None, say("actions.when_after_reading")))
        if own is None or own.start is None or limit is None or limit <= own.start \
                or (own.end is not None and own.end <= limit):
            return action
        return replace(action, window=replace(own, end=limit))

    return [timed(a) for a in actions]


def small_areas(case: CaseFile, ranked: tuple[Action, ...]) -> tuple[Action, ...]:
    """Each rate on a plot per 1,000 square feet, or per square metre.

    That the plot is small is said with the first of them only.
    """
    if case.field.area.value >= SMALL_AC:
        return ranked
    told: list[Action] = []
    key = "actions.note_small_area"
    for action in ranked:
        if action.rate and action.area_ac:
            pounds = needed_lb(action) / action.area_ac
            small = (pounds * G_PER_M2_PER_LB_PER_AC if case.case.units == "si"
                     else pounds / KFT2_PER_ACRE)
            action = replace(action, cautions=(say(key, small=small), *action.cautions))
            key = "actions.note_small_rate"
        told.append(action)
    return tuple(told)


def _slope(case: CaseFile, zone_id: str) -> Quantity | None:
    own = next((s.slope for s in case.samples if s.id == zone_id and s.slope), None)
    return own or case.field.slope


def _unindexed(case: CaseFile, action: Action) -> list[Message]:
    """Manure with phosphorus near water where nobody stated the phosphorus index.

    A stated index limits the rate (``limits``). It is never worked out here: the states' tools
    weigh slope, soil, distance and timing together, each in its own way.
    """
    zone_id = action.place.id
    near = case.field.sensitive_areas or waters(case, zone_id)
    if (not near or action.material_kind not in ORGANIC or stated_index(case, zone_id)
            or not action.supplies.get("P2O5", 0.0) > 0):
        return []
    return [say("actions.caution_index_open", sloped=_slope(case, zone_id) is not None)]


def _steep(case: CaseFile, action: Action) -> list[Message]:
    """Runoff of phosphorus from ground that slopes, by the zone's own slope or the field's."""
    slope = _slope(case, action.place.id)
    if slope is None or slope.value < STEEP_PCT or not action.supplies.get("P2O5", 0.0) > 0:
        return []
    return [say("actions.caution_slope", slope=slope.value,
                live=action.material_kind in LIVE_SOURCES)]


def _room(case: CaseFile, action: Action) -> list[Message]:
    """What the top of the soil takes up of a liquid in one pass, and in how many it goes on."""
    sample = next((s for s in case.samples if s.id == action.place.id), None)
    if action.rate_unit != "gal/ac" or action.material_kind not in LIVE_SOURCES or sample is None:
        return []
    room = liquid_room(case, sample)
    if room is None or action.rate is None:
        return []
    return [say("actions.caution_liquid_room", room=room.number,
                passes=math.ceil(action.rate / room.number))]


def interactions(case: CaseFile, findings: tuple[Finding, ...],
                 actions: list[Action]) -> list[Action]:
    """Cautions that arise only because actions, water or stock meet on one area."""
    told = []
    for action in actions:
        beside = [a for a in actions if a.id != action.id and same_area(action, a)]
        extra = tuple(_of(case, findings, action, beside))
        water = cautions(case, action)
        own = tuple(_P_WATER if water and c.key == NEAR_WATER else c for c in action.cautions)
        told.append(replace(action, cautions=(
            *water, *_unindexed(case, action), *_steep(case, action), *_room(case, action), *own,
            *extra)))
    return told


def _of(case: CaseFile, findings: tuple[Finding, ...], action: Action,
        beside: list[Action]) -> list[Message]:
    found: list[Message] = []
    if action.kind is NeedKind.LIME:
        bought = [a for a in beside if a.material_kind == "fertilizer"]
        if any(a.supplies.get("N", 0) > 0 for a in bought):
            found.append(say("actions.interaction_lime_n"))
        if any(a.supplies.get("P2O5", 0) > 0 for a in bought):
            found.append(say("actions.interaction_lime_p"))
    if action.material_kind in LIVE_SOURCES and any(a.kind is NeedKind.LIME for a in beside):
        found.append(say("actions.interaction_manure_lime"))
    if "sheep" in kept_stock(case) and any(
            m.id == action.material_id and m.animal in COPPER_FED for m in case.materials):
        found.append(say("actions.interaction_sheep_copper"))
    if action.kind is NeedKind.NUTRIENT:
        potassium = action.supplies.get("K2O", 0.0)
        grazed = any(animal in GRAZERS for animal in kept_stock(case))
        short = _magnesium_short(findings, action)
        fed = grazed or case.field.tillage == "perennial"
        if (fed and potassium >= LARGE_K2O_LB_AC) or (potassium > 0 and (grazed or short)):
            found.append(say("actions.interaction_k_mg", short=short))
    if action.kind is NeedKind.LEACH and _pure_water(findings) \
            and not any(a.kind is NeedKind.GYPSUM for a in beside):
        found.append(say("actions.interaction_pure_water"))
    if action.kind is NeedKind.GYPSUM and _pure_water(findings):
        found.append(say("actions.interaction_gypsum_water"))
    return found


def _magnesium_short(findings: tuple[Finding, ...], action: Action) -> bool:
    """A finding asks for magnesium on the same area."""
    return any(n.item == "Mg" and n.place.id in (WHOLE_FIELD.id, action.place.id)
               for f in findings for n in f.needs)


def _pure_water(findings: tuple[Finding, ...]) -> bool:
    """The water test found that this water seals the soil surface (FAO 29, table 1)."""
    return any(
        r.formula == "infiltration_hazard" and r.value != "none"
        for f in findings for r in f.results
    )
