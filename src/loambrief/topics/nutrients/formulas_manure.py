"""Manure: its analysis by the ton or the thousand gallons, its rate, and its distance to water."""

from __future__ import annotations

from loambrief.agronomy.crops import find_crop
from loambrief.agronomy.possible import NotNegative, Percent, Positive, not_negative, one_of
from loambrief.agronomy.registry import Answer, by_row, formula
from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.tables import load, parts
from loambrief.units import FT2_PER_ACRE, IN3_PER_GAL, LB_PER_TON

SETBACKS = "nutrients/manure_setbacks"
ANYWHERE = "any"
STRIP, NO_STRIP = "vegetated strip", "no strip"
STRIP_FT = 35.0
"""Width from which a permanent vegetated strip counts (40 CFR 412.4)."""
BASES = ("nitrogen", "guide", "removal", "none")
"""What manure may follow, from the loosest to the strictest but for ``guide``, which follows
the guide's own rate and may be zero."""
WATER_LB_PER_GAL = 8.34
GALLONS = 1000.0
GAL_PER_ACRE_INCH = FT2_PER_ACRE * 12.0 ** 2 / IN3_PER_GAL
"""27,154 gallons (definitions: 43,560 ft2, 231 in3)."""
ROOM_IN = 8.0
"""Depth of soil that takes up what is put on (ohioline-anr21) [in]."""


@formula(unit="lb/ton", source="lpelc-manure-analysis", locator="dry matter to as-is, example A",
         how="seen")
def manure_lb_per_ton(analysis_pct: float, solids_pct: float = 100.0) -> float:
    """Nutrient in a ton of manure as spread.

    Parameters
    ----------
    analysis_pct : float
        Nutrient in the analysis [%].
    solids_pct : float
        Dry matter of the manure [%] where the analysis is of the dry matter; 100 where it is
        of the manure as spread.

    Notes
    -----
    Solids x analysis x 2,000 lb.
    """
    return _share(analysis_pct, solids_pct) * LB_PER_TON


@formula(unit="lb/1000 gal", source="lpelc-manure-analysis",
         locator="dry matter to as-is, example B", how="seen",
         valid={"density_lb_gal": (8.0, 9.0)})
def manure_lb_per_1000_gal(analysis_pct: float, solids_pct: float = 100.0,
                           density_lb_gal: Positive = WATER_LB_PER_GAL) -> float:
    """Nutrient in a thousand gallons of liquid manure.

    Parameters
    ----------
    analysis_pct : float
        Nutrient in the analysis [%].
    solids_pct : float
        Dry matter of the manure [%] where the analysis is of the dry matter; 100 where it is
        of the manure as spread.
    density_lb_gal : float
        Mass of a gallon of the manure [lb/gal]; that of water unless measured.

    Notes
    -----
    Solids x analysis x density x 1,000 gal. Liquid manure weighs 8 to 9 lb/gal, mostly 8.3 to
    8.5. lb/1000 gal are lb/ton x density / 2.
    """
    return _share(analysis_pct, solids_pct) * density_lb_gal * GALLONS


def _share(analysis_pct: float, solids_pct: float) -> float:
    for name, value in (("analysis_pct", analysis_pct), ("solids_pct", solids_pct)):
        if not 0 <= value <= 100:
            raise ImpossibleInput(f"{name} must be from 0 to 100 (found {value:g})")
    return analysis_pct / 100.0 * solids_pct / 100.0


@formula(unit="per ac", source="cornell-nrcca-ca0656", locator="three options of phosphorus",
         how="seen")
def manure_rate_limit(
    p2o5_lb: float,
    n_lb: float | None = None,
    k2o_lb: float | None = None,
    n_need_lb_ac: float | None = None,
    p2o5_need_lb_ac: float | None = None,
    p2o5_removal_lb_ac: float | None = None,
    k2o_need_lb_ac: float | None = None,
    phosphorus_basis: str = "guide",
    years: float = 1.0,
) -> Answer[float | None]:
    """Most of a manure that may go on, and what sets it.

    Parameters
    ----------
    p2o5_lb : float
        P2O5 in one unit of the manure [lb/ton or lb/1000 gal].
    n_lb : float or None
        Nitrogen of one unit that the crop can use in the first season [lb, same unit].
    k2o_lb : float or None
        K2O in one unit [lb, same unit].
    n_need_lb_ac : float or None
        Nitrogen the crop needs [lb/ac]; None where no guide of nitrogen is at hand.
    p2o5_need_lb_ac : float or None
        The guide's P2O5 rate [lb/ac]; 0 where the test is above its limit.
    p2o5_removal_lb_ac : float or None
        P2O5 in the harvest [lb/ac per year].
    k2o_need_lb_ac : float or None
        K2O that the manure is to bring [lb/ac]: more of it is not wanted.
    phosphorus_basis : str
        What the state's threshold class lets manure follow: ``"nitrogen"``, ``"guide"``,
        ``"removal"`` or ``"none"`` (``phosphorus_runoff_level`` gives it; ``"guide"`` where no
        class is held).
    years : float
        Years whose removal or guide rate may be put on at once.

    Returns
    -------
    float or None
        Units of manure [ton/ac or 1000 gal/ac]. ``details`` hold ``limit`` (``"nitrogen
        need"``, ``"guide rate"``, ``"phosphorus removal"``, ``"phosphorus class"`` or
        ``"potassium need"``), ``rates`` by limit, and ``n_lb_ac``, ``p2o5_lb_ac`` and
        ``k2o_lb_ac`` at that rate. None where what the basis asks for was not given:
        ``details`` then hold ``missing``.

    Raises
    ------
    ImpossibleInput
        A negative number, or years below 1.
    UnknownName
        No such basis.

    Notes
    -----
    Below a first limit of the soil test manure may follow nitrogen; above it, phosphorus removal;
    above a second one, none. Nitrogen need always limits. The state's phosphorus index, where it
    asks for less, and the setback decide before this. Sources: mn-manure-p-table; osu-agbmps-p120.
    """
    given = {"p2o5_lb": p2o5_lb, "n_lb": n_lb, "k2o_lb": k2o_lb, "n_need_lb_ac": n_need_lb_ac,
             "p2o5_need_lb_ac": p2o5_need_lb_ac, "p2o5_removal_lb_ac": p2o5_removal_lb_ac,
             "k2o_need_lb_ac": k2o_need_lb_ac}
    not_negative(**given)
    one_of("phosphorus basis", phosphorus_basis, BASES)
    if years < 1:
        raise ImpossibleInput("years must be at least 1")
    wanted = {
        "nitrogen": ("nitrogen need", n_lb, n_need_lb_ac, "n_need_lb_ac"),
        "guide": ("guide rate", p2o5_lb, p2o5_need_lb_ac, "p2o5_need_lb_ac"),
        "removal": ("phosphorus removal", p2o5_lb, p2o5_removal_lb_ac, "p2o5_removal_lb_ac"),
        "none": ("phosphorus class", 1.0, 0.0, ""),
    }
    name, content, need, parameter = wanted[phosphorus_basis]
    if need is None or (content is None and need > 0):
        return Answer(None, details={"missing": parameter if need is None else "n_lb"},
                      notes=("what decides the rate was not given; no rate",))
    times = years if phosphorus_basis in ("guide", "removal") else 1.0
    candidates = [(name, content, need * times),
                  ("nitrogen need", n_lb, n_need_lb_ac), ("potassium need", k2o_lb, k2o_need_lb_ac)]
    rates = {label: amount / lb for label, lb, amount in candidates
             if lb and amount is not None}
    if not rates:
        return Answer(None, details={"missing": "p2o5_lb"},
                      notes=("the manure holds none of what decides the rate",))
    limit = min(rates, key=lambda label: rates[label])
    value = rates[limit]
    return Answer(value, details={
        "limit": limit, "rates": rates,
        "p2o5_lb_ac": value * p2o5_lb,
        "n_lb_ac": None if n_lb is None else value * n_lb,
        "k2o_lb_ac": None if k2o_lb is None else value * k2o_lb,
    })


@formula(unit="years", source="unl-manure-p-rates", how="convention",
         locator="high risk: crop removal over five years")
def phosphorus_years(p2o5_lb_ac: NotNegative, removal_lb_ac: Positive) -> float:
    """Harvests that take away the phosphorus of one application.

    Parameters
    ----------
    p2o5_lb_ac : float
        P2O5 that the application brings [lb/ac].
    removal_lb_ac : float
        P2O5 in one year's harvest [lb/ac].

    Notes
    -----
    The quotient. Until so many harvests are off, more manure only raises the soil test.
    """
    return p2o5_lb_ac / removal_lb_ac


@formula(unit="gal/ac", source="ohioline-anr21", locator="rate against infiltration and capacity",
         how="computed", valid={"depleted_pct": (0.0, 100.0)})
def liquid_room_gal_ac(capacity: NotNegative, depleted_pct: Percent, depth_in: Positive = ROOM_IN,
                       infiltration_in_h: Positive | None = None,
                       most_in: Positive | None = None) -> Answer:
    """Liquid that the top of the soil can take up in one pass.

    Parameters
    ----------
    capacity : float
        Available water capacity of the soil, depth of water per depth of soil [1].
    depleted_pct : float
        Share of that water which is used up on the day [%]; 0 at field capacity.
    depth_in : float
        Depth that is counted; the upper 8 in hold what is put on [in].
    infiltration_in_h : float or None
        Measured infiltration [in/h].
    most_in : float or None
        Most that may go on at once whatever the room [in].

    Returns
    -------
    float
        Gallons [gal/ac]; ``details`` hold ``inches``, ``capped`` (there is more room than
        ``most_in``) and, with an infiltration, ``hours`` that so much takes to soak in.

    Notes
    -----
    Capacity x depth x share, at 27,154 gal to the acre-inch. Liquid manure should neither come
    faster than soil takes it in nor be more than brings it to field capacity; cracks, worm
    holes and tile drains carry it off below that all the same. Slope, crop cover and local
    rules may ask for less.
    """
    room = capacity * depth_in * depleted_pct / 100.0
    inches = room if most_in is None else min(room, most_in)
    details: dict[str, object] = {"inches": inches, "capped": inches < room}
    if infiltration_in_h is not None:
        details["hours"] = inches / infiltration_in_h
    return Answer(inches * GAL_PER_ACRE_INCH, details=details)


@formula(unit="ft", source="cfr-40-412-4", locator="paragraph (c)(5), or the state's own",
         how="seen")
def manure_setback_ft(feature: str, region: str | None = None,
                      strip_ft: NotNegative = 0.0) -> Answer[float]:
    """Distance from water or a neighbour that gets no manure.

    Parameters
    ----------
    feature : str
        ``"surface water"`` (stream, ditch, pond), ``"tile inlet"``, ``"sinkhole"``, ``"well"``,
        ``"dwelling"`` or ``"property line"``.
    region : str or None
        State; the federal distance stands in where the state has none here.
    strip_ft : float
        Width of a permanent vegetated strip between [ft]; it counts from 35 ft on.

    Returns
    -------
    float
        Setback [ft]; the state's where it has one. ``details`` hold ``own_region`` and, where
        a strip is counted, ``strip``.

    Raises
    ------
    UnknownName
        No distance is held for that feature.

    Notes
    -----
    The federal rule binds large animal operations. Local law, permit and plan come first, and
    frozen, snow-covered or saturated ground gets no manure whatever the distance. Sources:
    mu-g9219; wvu-manure-setbacks.
    """
    rows = load(SETBACKS).where(feature=feature)
    own = [r for r in rows if region and r["region"].lower() == region.strip().lower()]
    held = own or [r for r in rows if r["region"] == ANYWHERE]
    if not held:
        raise UnknownName("feature with a manure setback", feature,
                          tuple(dict.fromkeys(load(SETBACKS).column("feature"))))
    condition = STRIP if strip_ft >= STRIP_FT else NO_STRIP
    row = next((r for r in held if r["condition"] == condition),
               next(r for r in held if r["condition"] == NO_STRIP))
    return by_row(row, row["setback_ft"],
                  details={"own_region": bool(own), "strip": row["condition"] == STRIP})


@formula(unit="ac", source="cfr-40-412-4", locator="paragraph (c)(5): area inside the setback",
         how="convention")
def setback_strip_ac(setback_ft: NotNegative, distance_ft: NotNegative,
                     length_ft: NotNegative) -> float:
    """Area along water that gets no manure.

    Parameters
    ----------
    setback_ft : float
        Distance from the water that gets no manure [ft].
    distance_ft : float
        From the water to the edge of the area that is spread [ft].
    length_ft : float
        Of the water along that area [ft].

    Notes
    -----
    (Setback - distance) x length / 43,560, 0 where the area begins beyond it. A bend or a corner
    makes it a little more or less.
    """
    return max(setback_ft - distance_ft, 0.0) * length_ft / FT2_PER_ACRE


@formula(unit="d", source="cfr-7-205-203", locator="paragraph (c)(1)", how="seen")
def raw_manure_interval(crop: str) -> Answer[float]:
    """Days that pass between working in raw manure and the harvest of a crop for people.

    Parameters
    ----------
    crop : str
        Crop that is harvested.

    Returns
    -------
    float
        120 where the edible part touches soil or its splash, 90 where it does not [d].
        ``details`` hold ``touches``.

    Raises
    ------
    UnknownName
        No such crop.

    Notes
    -----
    Law for certified organic farms. The produce safety rule (21 CFR 112.56) states no interval of
    its own yet; the usual guidance takes these. Buyers of leafy crops often ask for a year or more.
    A crop that ``nutrients/raw_manure_crops`` does not name counts as touching soil. Sources:
    cornell-gap-amendments; csu-90-120-day.
    """
    lineage = find_crop(crop).lineage
    touches = not any(r["crop"] in lineage for r in load("nutrients/raw_manure_crops"))
    row = load("nutrients/raw_manure").find(
        name="soil_contact_days" if touches else "no_contact_days")
    return by_row(row, float(row["value"]), details={"touches": touches})


@formula(unit="d", source="cfr-40-503-32", locator="paragraph (b)(5)", how="seen")
def biosolids_harvest_days(crop: str, class_a: bool = False) -> Answer[float]:
    """Days that pass between biosolids and the harvest of a crop.

    Parameters
    ----------
    crop : str
        Crop that is harvested.
    class_a : bool
        Treated to class A of the rule, which sets no interval.

    Returns
    -------
    float
        Days [d]; ``details`` hold ``part``, where the harvested part grows.

    Raises
    ------
    UnknownName
        No such crop.

    Notes
    -----
    Class B: 14 months where the harvested part touches the soil, up to 38 months below ground, 30
    days for other food, feed and fiber crops and before grazing. Biosolids whose class is not
    stated are held to class B. Permit and state often ask for more.
    """
    lineage = find_crop(crop).lineage
    rows = load("nutrients/biosolids_harvest").rows
    row = next((r for r in rows if set(parts(r["crops"])) & set(lineage)), rows[-1])
    return by_row(row, 0.0 if class_a else float(row["days"]), details={"part": row["part"]})
