"""Which published nitrogen method fits a zone, and what it asks for there.

A method is used only in the states and for the crop it was made for. Where one fits and a result
it needs is lacking, what lacks is named and no rate is given. A rule of the guide that the case
names comes first, then a nitrate test at sidedress time, a yield goal with a nitrate profile, the
rate with the best return, the British manual, and last a guide made for the place.
"""

from dataclasses import replace

from loambrief.agronomy.crops import Crop, lb_per_yield_unit
from loambrief.agronomy.registry import Result, subject
from loambrief.case.schema import CaseFile, Increment, Sample
from loambrief.case.select import age_days, main_increment, surface_increment
from loambrief.errors import UnknownName
from loambrief.findings.crop_kinds import fixes_nitrogen, known_crop
from loambrief.findings.model import Place
from loambrief.tables import load, parts
from loambrief.topics.carbon_nitrogen.by_guide import fitting_guide_rate, named_guide_rate
from loambrief.topics.carbon_nitrogen.credits import (
    MANURES,
    SEASON_DAYS,
    credits_of,
    spread,
)
from loambrief.topics.carbon_nitrogen.fit import (
    FOOT_IN,
    MethodFit,
    ammonium,
    inputs_of,
    less,
    lies_in,
    nitrate_error,
    profile,
    rated,
    yield_goal,
)
from loambrief.topics.carbon_nitrogen.formulas_nitrogen import (
    ECONOMIC,
    METHODS,
    nitrogen_rate_economic,
    nitrogen_rate_uk_cereal,
    nitrogen_rate_uk_potato,
    nitrogen_rate_yield_goal,
)
from loambrief.topics.carbon_nitrogen.formulas_sidedress import (
    sidedress_nitrogen_iowa,
    sidedress_nitrogen_ohio,
    sidedress_nitrogen_pennsylvania,
)
from loambrief.units import KG_PER_HA_PER_LB_PER_ACRE, LB_PER_KG, LB_PER_TON, PRICE_UNITS, plain

SIDEDRESS = {"iowa_sidedress": "Iowa", "pennsylvania_sidedress": "Pennsylvania",
             "ohio_sidedress": "Ohio"}
"""Methods that read a nitrate test of the first foot under growing corn, and their state."""
UK = ("United Kingdom", "England", "Wales", "Northern Ireland")
UK_CEREALS = ("winter wheat", "spring wheat", "rye", "triticale")
UK_BY_SOIL = (*UK_CEREALS, "sugar beet")
SIDEDRESS_DAYS = (14, 70)
"""Days after planting within which corn is about a foot tall (our own cut, wide on purpose)."""
THREE_YEARS = 3 * 365


def nitrogen_fit(case: CaseFile, zone: Sample | None, place: Place) -> MethodFit | None:
    """The method that fits a zone best, or None where no published one is held.

    A nitrogen line of the adviser's own stands above every method, so the case has none. Without a
    zone (a field without samples) the methods that need no soil test are left.
    """
    crop = known_crop(case.field.crop)
    if crop is None:
        return None
    legume = fixes_nitrogen(crop.name)
    fits = []
    for make in (named_guide_rate, *(() if legume else (_sidedress, _yield_goal, _economic, _uk)),
                 fitting_guide_rate):
        found = make(case, zone, place, crop)
        if found is not None and not found.lacks:
            return found
        fits += [found] if found is not None else []
    return min(fits, key=lambda f: len(f.lacks), default=None)


# at sidedress ------------------------------------------------------------------------------


def first_foot(case: CaseFile, zone: Sample) -> Increment | None:
    """The first foot with a nitrate test from under growing corn, or None.

    The sample must date from some weeks after planting; without a date of planting nothing is
    read this way.
    """
    planting = case.field.dates.planting if case.field.dates else None
    if planting is None:
        return None
    days = (zone.date - planting).days
    if not SIDEDRESS_DAYS[0] <= days <= SIDEDRESS_DAYS[1] or age_days(case, zone.date) > 30:
        return None
    return next((i for i in zone.increments if i.top_in == 0 and i.bottom_in == FOOT_IN
                 and i.nitrate_n is not None and i.nitrate_n.plain), None)


def _sidedress(case: CaseFile, zone: Sample | None, place: Place, crop: Crop) -> MethodFit | None:
    layer = None if zone is None else first_foot(case, zone)
    if layer is None or layer.nitrate_n is None or "corn" not in crop.lineage:
        return None
    method = next((m for m, state in SIDEDRESS.items() if lies_in(case, state)), None)
    if method is None:
        return None
    test, inputs = layer.nitrate_n.value, inputs_of(case)
    fit = MethodFit(method, crop, "sidedress")
    manured = bool(spread(case))
    with subject(place):
        if method == "iowa_sidedress":
            if inputs.wet_spring is None:
                return replace(fit, lacks=("wet_spring",))
            rate = sidedress_nitrogen_iowa.evaluate(
                nitrate_n_ppm=test, wet_spring=inputs.wet_spring, manured=manured)
            return rated(fit, rate)
        if method == "ohio_sidedress":
            full = _economic(case, zone, place, crop)
            if full is None or full.amount is None:
                return None if full is None else replace(fit, lacks=full.lacks)
            rate = sidedress_nitrogen_ohio.evaluate(nitrate_n_ppm=test,
                                                    full_rate_lb_ac=full.amount)
            return rated(fit, rate, *full.results)
        goal = yield_goal(case, crop)
        if goal is None:
            return replace(fit, lacks=("yield_goal",))
        before = any(a.kind in MANURES and SEASON_DAYS < age_days(case, a.date)
                     <= SEASON_DAYS + THREE_YEARS for a in case.earlier_applications)
        previous = known_crop(case.field.previous_crop)
        rate = sidedress_nitrogen_pennsylvania.evaluate(
            nitrate_n_ppm=test, yield_goal=goal, manured=manured, manured_before=before,
            previous_crop=None if previous is None else previous.name)
        return rated(fit, rate)


# by a yield goal ---------------------------------------------------------------------------


def _yield_goal(case: CaseFile, zone: Sample | None, place: Place, crop: Crop) -> MethodFit | None:
    rows = [r for r in load(METHODS) if r["crop"] in crop.lineage
            and lies_in(case, *parts(r["regions"]))]
    if not rows:
        return None
    inputs = inputs_of(case)
    classes = {r["kind"] for r in rows if r["kind"]}
    if classes and inputs.wheat not in classes:
        return MethodFit(str(rows[0]["method"]), crop, str(rows[0]["when"]), lacks=("wheat",))
    row = next(r for r in rows if r["kind"] in (None, inputs.wheat))
    fit = MethodFit(str(row["method"]), crop, str(row["when"]))
    goal = yield_goal(case, crop)
    soil = None if zone is None else main_increment(zone) or surface_increment(zone)
    matter = None if soil is None else plain(soil.organic_matter)
    layers = profile(case, zone, row)
    lacks = [key for key, short in (
        ("yield_goal", goal is None),
        ("organic_matter", matter is None
         and (row["om_lb_pct"] is not None or row["om_yield_lb"] is not None)),
        ("nitrate", layers is None),
        ("ammonium", row["ammonium"] == "yes" and ammonium(zone) is None)) if short]
    if lacks or goal is None or layers is None:
        return replace(fit, lacks=tuple(lacks))
    depth = sum(i.thickness_in for i in layers)
    pounds = [c for c in credits_of(case, inputs, zone, place) if c.kind == "soil"]
    others = tuple(c for c in credits_of(case, inputs, zone, place)
                   if c.kind != "soil" and (c.kind != "legume" or row["legume"] == "yes"))
    more: dict[str, object] = {}
    if row["nitrate_lb_ppm"] is not None:
        more["nitrate_n_ppm"] = sum(
            i.nitrate_n.value * i.thickness_in for i in layers if i.nitrate_n) / depth
    elif row["nitrate_share"] is not None:
        more["nitrate_n_lb_ac"] = sum(c.amount for c in pounds) + (
            (ammonium(zone) or 0.0) if row["ammonium"] == "yes" else 0.0)
    if matter is not None and (row["om_lb_pct"] is not None or row["om_yield_lb"] is not None):
        more["organic_matter_pct"] = matter
    previous = known_crop(case.field.previous_crop)
    if previous is not None and row["debits"]:
        more["previous_crop"] = previous.name
    with subject(place):
        error, by = nitrate_error(zone, layers)
        rate = nitrogen_rate_yield_goal.evaluate(
            method=fit.method, crop=crop.name, yield_goal=goal, test_error_pct=error,
            other_credits_lb_ac=sum(c.amount for c in others), **more)
    if rate.value is None:
        return replace(fit, lacks=("guide_rate",))
    return rated(fit, rate, *(r for c in (*pounds, *others) for r in c.results), *by,
                 credits=others)


# by prices ---------------------------------------------------------------------------------


def _economic(case: CaseFile, zone: Sample | None, place: Place, crop: Crop) -> MethodFit | None:
    previous = known_crop(case.field.previous_crop)
    row = next((r for r in load(ECONOMIC) if r["crop"] in crop.lineage
                and (previous is None or r["previous"] in previous.lineage)
                and lies_in(case, *parts(r["regions"]))
                and (r["rainfed"] == "no" or case.field.irrigation == "none")), None)
    if row is None:
        return None
    fit = MethodFit(str(row["method"]), crop, "before")
    pound, bushel = nitrogen_price(case), crop_price(case, crop)
    lacks = tuple(key for key, short in (
        ("previous_crop", previous is None), ("nitrogen_price", pound is None),
        ("crop_price", bushel is None)) if short)
    if lacks or pound is None or bushel is None:
        return replace(fit, lacks=lacks)
    others = tuple(c for c in credits_of(case, inputs_of(case), zone, place)
                   if c.kind in ("manure", "water"))
    with subject(place):
        rate = nitrogen_rate_economic.evaluate(method=fit.method, price_ratio=pound / bushel)
    if rate.value is None:
        return None
    found = rated(fit, rate, *(r for c in others for r in c.results), credits=others)
    return less(found, sum(c.amount for c in others))


def nitrogen_price(case: CaseFile) -> float | None:
    """Cheapest pound of nitrogen among the fertilizers on offer that bring little else."""
    found = []
    for material in case.materials:
        analysis, price = material.analysis, material.price
        if material.kind != "fertilizer" or analysis is None or price is None:
            continue
        share = plain(analysis.n)
        basis, size = PRICE_UNITS[price.per]
        if share and basis == "mass" and not plain(analysis.p2o5) and not plain(analysis.k2o):
            found.append(price.amount / size / (share / 100.0))
    return min(found, default=None)


def crop_price(case: CaseFile, crop: Crop) -> float | None:
    """Price of the crop in the unit it is traded in."""
    price = inputs_of(case).crop_price
    if price is None:
        return None
    pounds = {"lb": 1.0, "cwt": 100.0, "ton": LB_PER_TON,
              "tonne": 1000.0 * LB_PER_KG}.get(price.per)
    if pounds is None:
        try:
            pounds = lb_per_yield_unit(crop, f"{price.per}/ac")
        except UnknownName:
            return None
    return price.amount * crop.lb_per_unit / pounds


# Britain -----------------------------------------------------------------------------------


def _uk(case: CaseFile, zone: Sample | None, place: Place, crop: Crop) -> MethodFit | None:
    by_soil = any(name in UK_BY_SOIL for name in crop.lineage)
    if not (by_soil or crop.name == "potato") or not lies_in(case, *UK):
        return None
    inputs = inputs_of(case)
    cereal = any(name in UK_CEREALS for name in crop.lineage)
    fit = MethodFit("uk_cereal" if by_soil else "uk_potato", crop,
                    "stem extension" if cereal else "before")
    wanted = ("supply_index", "soil") if by_soil else ("supply_index", "variety_group",
                                                        "season_days")
    lacks = tuple(name for name in wanted if getattr(inputs, name) is None)
    if lacks:
        return replace(fit, lacks=lacks)
    with subject(place):
        rate: Result[float | None] = (
            nitrogen_rate_uk_cereal.evaluate(crop=crop.name, soil=inputs.soil,
                                             sns_index=inputs.supply_index) if by_soil
            else nitrogen_rate_uk_potato.evaluate(variety_group=inputs.variety_group,
                                                  season_days=float(inputs.season_days or 0),
                                                  sns_index=inputs.supply_index))
    if rate.value is None:
        return None
    others = tuple(c for c in credits_of(case, inputs, zone, place) if c.kind == "manure")
    made = rated(fit, rate, *(r for c in others for r in c.results), credits=others)
    return less(replace(made, amount=_pounds(made.amount), low=_pounds(made.low),
                         high=_pounds(made.high)), sum(c.amount for c in others))


def _pounds(kg_ha: float | None) -> float | None:
    return None if kg_ha is None else kg_ha / KG_PER_HA_PER_LB_PER_ACRE
