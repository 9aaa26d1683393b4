"""Builders of small plans. People, places, prices and needs are invented."""

import copy
import datetime as dt

from loambrief.actions.blend import BlendZone, NoBlend, field_mix
from loambrief.actions.offers import offer
from loambrief.agronomy.registry import Result
from loambrief.case.schema import CaseFile, Material
from loambrief.findings.model import (
    WHOLE_FIELD,
    Confidence,
    Finding,
    Grade,
    Need,
    NeedKind,
    Place,
    Status,
    say,
)

BASE = {
    "loambrief": 1,
    "case": {"id": "plan-1", "date": "2026-10-20"},
    "client": {"name": "Halvor Tresk"},
    "farm": {"name": "Oxbow"},
    "field": {"name": "Long Acre", "area": "40 ac", "crop": "corn", "tillage": "conventional",
              "irrigation": "none", "drainage": "well drained",
              "dates": {"planting": "2027-05-01"}},
    "adviser": {"name": "Imre Castellan",
                "credential": {"scheme": "State board", "number": "PA-0", "expires": "2028-01-01"},
                "interest": "None."},
}


def least_cost(needs, offers, upper=None):
    """The cheapest mix of one acre, within upper limits of nutrients."""
    mix = field_mix((BlendZone(WHOLE_FIELD, 1.0, needs, upper or {}),), offers)
    return mix if isinstance(mix, NoBlend) else mix.blends[WHOLE_FIELD.id]


def material(name, price=None, kind="fertilizer", *, per="ton", spread=None, loads=None,
             analysis=None, **nutrients):
    """Data of a material with a price per ton and a spreading charge per acre."""
    made = {"id": name, "name": name, "kind": kind,
            "analysis": {**{k: f"{v} %" for k, v in nutrients.items()}, **(analysis or {})}}
    if price is not None:
        made["price"] = {"amount": price, "per": per, "date": "2026-10-01"}
    if spread is not None:
        made["spreading"] = {"amount": spread, "per": "ac", "date": "2026-10-01"}
    return {**made, **(loads or {})}


def product(name, price=None, kind="fertilizer", **more):
    """A normalised offer."""
    return offer(Material.model_validate(material(name, price, kind, **more)))


def case_of(materials=(), **parts):
    data = copy.deepcopy(BASE)
    data["materials"] = list(materials)
    for key, value in parts.items():
        data[key] = {**data[key], **value} if key in ("field", "case") else value
    return CaseFile.model_validate(data)


def need(kind, item, amount, where="A", **more):
    unit = "ton/ac" if kind in (NeedKind.LIME, NeedKind.GYPSUM) else "lb/ac"
    return Need(kind, item, unit, say("actions.rule"), place=Place(where, where), area_ac=40.0,
                amount=amount,
                **more)


def finding(*needs, name="f", severity=2, status=Status.LIMITING, where="A", depth=None,
            results=(), **more):
    return Finding(
        id=f"nutrients.{name}.{where}", title=say("actions.rule"), status=status,
        severity=severity, confidence=more.pop("confidence", Confidence.HIGH),
        grade=Grade.CALCULATED, place=Place(where, where, depth), needs=tuple(needs),
        results=tuple(results), **more)


def result(**details):
    """A recorded answer with details, as the nutrient findings carry them."""
    return Result(formula="nutrient_rate", inputs={}, value=0.0, unit="lb/ac",
                  source="mallarino-2013", locator="", how="seen",
                  evidence="measured", within_range=True, details=details)


TODAY = dt.date(2026, 10, 20)
