"""Materials that the farm itself rules out, and needs that are left without one.

The farm's own list comes first, then the organic standard. Under it a material is used only
where the table of the standard, or the certifier named beside it, lets it be: what is not
classified waits for the certifier and is never allowed by silence.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from loambrief.actions.model import Action, WithoutMaterial
from loambrief.actions.offers import ANALYSIS_NUTRIENTS, Offer
from loambrief.case.schema import CaseFile, Material
from loambrief.findings.model import NeedKind, say
from loambrief.tables.organic import ASK, organic_row

EQUIPMENT = "equipment"
PROHIBITED, RESTRICTED = "prohibited", "restricted"
FILLED_BY = {NeedKind.LIME: "lime", NeedKind.GYPSUM: "gypsum",
             NeedKind.ACIDIFY: "elemental sulfur"}
"""Kind of material that a need takes, beside the nutrients."""


@dataclass(frozen=True)
class Ruling:
    """What the farm's constraints say of one material."""

    key: str
    """``excluded``, ``organic_prohibited``, ``organic_ask`` (ruled out), or ``organic_allowed``,
    ``organic_restricted``, ``organic_approved``."""
    reason: str = ""
    section: str = ""
    condition: str = ""
    sources: tuple[str, ...] = ()

    @property
    def out(self) -> bool:
        """The material may not be used as things stand."""
        return self.key in ("excluded", "organic_prohibited", "organic_ask")

    @property
    def settled(self) -> bool:
        """The answer is final: a material that only waits for the certifier is not judged."""
        return self.key != "organic_ask"


def ruling(case: CaseFile, material: Material) -> Ruling | None:
    """What the case's constraints say of a material; None where there is none to say."""
    found = case.constraints
    if found is None:
        return None
    for entry in found.excluded:
        if entry.kind == material.kind or (entry.material or "").lower() == material.id.lower():
            return Ruling("excluded", entry.reason)
    if found.organic is None:
        return None
    row = organic_row(material.kind, material.substance)
    section, sources = f"7 CFR {row['section']}", (str(row["source"]),)
    if row["status"] == PROHIBITED:
        return Ruling("organic_prohibited", section=section, sources=sources)
    if row["status"] == ASK:
        if material.certifier:
            return Ruling("organic_approved", material.certifier, section, sources=sources)
        return Ruling("organic_ask", section=section, sources=sources)
    if row["status"] == RESTRICTED:
        return Ruling("organic_restricted", material.certifier or "", section,
                      str(row["condition"]), sources)
    return Ruling("organic_allowed", material.certifier or "", section, sources=sources)


def allowed(case: CaseFile, on_offer: Sequence[Offer]) -> tuple[Offer, ...]:
    """Offers that no constraint of the farm rules out."""
    out = ruled_out(case, on_offer)
    return tuple(o for o in on_offer if o.id not in out)


def ruled_out(case: CaseFile, on_offer: Iterable[Offer]) -> dict[str, Ruling]:
    """Rulings on the offers that the farm rules out, by id."""
    rulings = ((o.id, ruling(case, o.material)) for o in on_offer)
    return {name: found for name, found in rulings if found is not None and found.out}


def with_rulings(case: CaseFile, actions: Iterable[Action]) -> list[Action]:
    """Actions with what the organic standard asks of their material."""
    by_id = {m.id: m for m in case.materials}
    told = []
    for action in actions:
        material = by_id.get(action.material_id or "")
        found = None if material is None or material.kind == "service" else ruling(case, material)
        if found is not None:
            action = replace(action, cautions=(
                *action.cautions, say("farm.caution_organic", ruling=found.key,
                                      section=found.section, condition=found.condition,
                                      reason=found.reason)))
        told.append(action)
    return told


def gaps(case: CaseFile, actions: Sequence[Action], on_offer: Sequence[Offer]
         ) -> tuple[WithoutMaterial, ...]:
    """Needs that a constraint leaves without any material, in order of the plan."""
    found: dict[tuple[str, str, str], WithoutMaterial] = {}
    for action in actions:
        wants = action.kind in FILLED_BY or action.kind is NeedKind.NUTRIENT
        if action.material_id is not None or not wants:
            continue
        for offer in sorted(on_offer, key=lambda o: o.id):
            told = ruling(case, offer.material)
            if told is None or not told.out or not _serves(offer, action):
                continue
            key = (action.id, told.key, told.reason)
            old = found.get(key)
            names = (*(old.materials if old else ()), offer.material.name)
            found[key] = WithoutMaterial(action.id, action.item, action.place, told.key,
                                         told.reason, names, action.kind)
        for limit in action.limits:
            if limit.key == "farm.limit_unsettable":
                held = str(limit.params["machine"])
                found[action.id, EQUIPMENT, held] = WithoutMaterial(
                    action.id, action.item, action.place, EQUIPMENT, held, (), action.kind)
    return tuple(found.values())


def with_gaps(actions: Iterable[Action], found: Sequence[WithoutMaterial]) -> tuple[Action, ...]:
    """Actions that say which constraint leaves them without a material."""
    told = []
    for action in actions:
        mine = [g for g in found if g.action_id == action.id and g.key != EQUIPMENT]
        if mine:
            limits = tuple(say("farm.limit_ruled_out", ruling=g.key, reason=g.reason,
                               materials=list(g.materials)) for g in mine)
            kept = tuple(m for m in action.limits if m.key != "actions.limit_no_product")
            action = replace(action, limits=(*kept, *limits))
            if action.title.key == "actions.title_nutrient_no_product":
                action = replace(action, title=say("farm.title_no_material",
                                                   **action.title.params))
        told.append(action)
    return tuple(told)


def _serves(offer: Offer, action: Action) -> bool:
    """The material would have been looked at for this need."""
    if action.kind in FILLED_BY:
        return offer.material.kind == FILLED_BY[action.kind]
    return action.item in ANALYSIS_NUTRIENTS and offer.fraction(action.item) > 0
