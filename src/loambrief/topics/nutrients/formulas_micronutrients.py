"""Sulfur, micronutrients and shallow calcium: classes by method, and rates where published."""

from __future__ import annotations

from loambrief.agronomy.crops import Crop, find_crop
from loambrief.agronomy.guides import MINOR, Guide, Rule, find_guide
from loambrief.agronomy.possible import NotNegative, Percent, SoilPh, not_negative, one_of
from loambrief.agronomy.registry import Answer, by_row, formula
from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.tables import DataRow, load, parts
from loambrief.tables.regions import named
from loambrief.topics.nutrients.formulas_engine import ABOVE, BELOW, evaluate, worst_how

CLASSES = "nutrients/micronutrients"
RATES = "nutrients/micronutrient_rates"
RESPONSE = "nutrients/micronutrient_response"
SULFUR = "nutrients/sulfur"
SULFUR_RATES = "nutrients/sulfur_rates"
CALCIUM = "nutrients/surface_calcium"
ELEMENTS = ("Zn", "B", "Mn", "Cu", "Fe")
ANY = "*"
INDEX_METHOD = "mehlich-3 index"
SULFUR_PER_OM_LOW, SULFUR_PER_OM_HIGH = 3.0, 5.0
"""Sulfur that 1 % organic matter sets free in the top 6 in [lb/ac per year]."""
SANDY = ("sand", "loamy sand", "sandy loam", "fine sandy loam")
NEBRASKA_SULFUR_OM_PCT = 1.0
"""Nebraska expects no response above this organic matter unless the soil is sandy [%]."""


def _applies(cell: object, crop: Crop) -> bool:
    return ANY in parts(cell) or any(name in parts(cell) for name in crop.lineage)


@formula(unit="1", source="rutgers-relative-levels", locator="micronutrients, manganese",
         how="seen", valid={"soil_ph": (4.0, 8.5)})
def manganese_activity_index(manganese_ppm: NotNegative, soil_ph: SoilPh) -> float:
    """Manganese activity index from Mehlich-3 manganese and soil pH.

    Parameters
    ----------
    manganese_ppm : float
        Mehlich-3 manganese [ppm].
    soil_ph : float
        Soil pH in water [pH].

    Notes
    -----
    MnAI = 101.7 + 3.75 Mn - 15.2 pH. Made for New Jersey and its neighbours.
    """
    return 101.7 + 3.75 * manganese_ppm - 15.2 * soil_ph


def scales_for(nutrient: str, method: str, crop: Crop) -> tuple[str, ...]:
    """Class scales that fit an element, a method and a crop, crop-specific ones first."""
    fitting: dict[str, bool] = {}
    for row in load(CLASSES):
        if row["nutrient"] == nutrient and row["method"] == method and _applies(row["crops"], crop):
            fitting[str(row["scale"])] = ANY not in parts(row["crops"])
    return tuple(sorted(fitting, key=lambda scale: not fitting[scale]))


def _choose(scales: tuple[str, ...], region: str | None) -> str | None:
    """The scale made for the region; else one for general use; else the first."""
    place = {str(r["scale"]): str(r["region"]) for r in load(CLASSES)}
    local = [s for s in scales if place[s] != ANY and named((region,), (place[s],))]
    general = [s for s in scales if place[s] == ANY]
    return next(iter(local + general + list(scales)), None)


@formula(unit="", source="rutgers-relative-levels", locator="by the row's own source",
         how="memory")
def micronutrient_class(
    nutrient: str, method: str, test_ppm: float, crop: str, region: str | None = None,
    guide: str | None = None,
) -> Answer:
    """Class of a sulfur or micronutrient soil test by its own extraction method.

    Parameters
    ----------
    nutrient : str
        S, Mg, Zn, B, Mn, Cu or Fe; S and Mg only with a guide that has a rule for it.
    method : str
        Extraction method (``dtpa``, ``mehlich-3``, ``hot water``; for manganese by Mehlich-3
        give ``mehlich-3 index`` and the activity index instead of ppm).
    test_ppm : float
        Soil test [ppm], or the index.
    crop : str
        Crop, by any of its names.
    region : str or None
        Where the field is, in words; a scale made there is taken first.
    guide : str or None
        Guide in use; its own rule for the element, crop and method goes before the scales.

    Returns
    -------
    Answer
        Class in words [no unit]; None where no scale fits the method and crop. Details:
        ``status`` (low, marginal, adequate, high), ``scale``, ``scale_region``,
        ``local`` (True if made for the region), ``critical`` (lower bound of adequate),
        ``high_above``, ``by_guide`` (True where a guide's rule gave it), and the own rates.

    Raises
    ------
    UnknownName
        No such element or crop.
    ImpossibleInput
        A negative test (an index may be negative).

    Notes
    -----
    Classes by one method say nothing of another method. A scale from another region is used only
    where none is local or general, and is marked so. Sources: The row's own source.
    """
    one_of("micronutrient", nutrient, MINOR)
    if method != INDEX_METHOD:
        not_negative(test_ppm=test_ppm)
    plant = find_crop(crop)
    book = find_guide(guide) if guide is not None else None
    rule = book.rule(nutrient, plant, method) if book is not None else None
    if book is not None and rule is not None:
        return _class_by_guide(book, rule, plant, test_ppm, region)
    scale = _choose(scales_for(nutrient, method, plant), region)
    if scale is None:
        return Answer(None, notes=(f"no published class of {nutrient} by {method} for "
                                   f"{plant.name} in the table",))
    rows = load(CLASSES).where(scale=scale)
    row = [r for r in rows if reaches(r, test_ppm)][-1]
    place = str(row["region"])
    details: dict[str, object] = {
        "nutrient": nutrient,
        "status": row["status"],
        "scale": scale,
        "scale_region": place,
        "local": place != ANY and bool(named((region,), (place,))),
        "critical": next((r["lower"] for r in rows if r["status"] == "adequate"), None),
        "high_above": next((r["lower"] for r in rows if r["status"] == "high"), None),
    }
    for part in ("broadcast_low", "broadcast_high", "band_low", "band_high"):
        if row[part] is not None:
            details[part] = row[part]
    if row["status"] == "high":
        details["upper_lb_ac"] = 0.0
    return by_row(row, str(row["class"]), details=details)


def _class_by_guide(guide: Guide, rule: Rule, crop: Crop, test_ppm: float,
                    region: str | None) -> Answer:
    """The same answer out of a guide's own rule: the classes between short and enough are
    marginal, what lies above the upper limit is high."""
    rate = evaluate(guide, rule, crop, test_ppm, None, None)
    status = "adequate"
    if rate.position == BELOW:
        first = not rule.classes or rate.class_name == rule.classes[0].name
        status = "low" if first else "marginal"
    limit = rate.limit_ppm if rate.limit_ppm != rate.critical_ppm else None
    if rate.position == ABOVE and limit is not None:
        status = "high"
    details: dict[str, object] = {
        "nutrient": rule.nutrient, "status": status, "scale": guide.name,
        "scale_region": ", ".join(guide.regions), "local": guide.fits_region(region),
        "critical": rate.critical_ppm, "high_above": limit, "by_guide": True,
    }
    if rate.value and status in ("low", "marginal"):
        details |= {"broadcast_low": rate.low if rate.low is not None else rate.value,
                    "broadcast_high": rate.high if rate.high is not None else rate.value}
    if status == "high":
        details["upper_lb_ac"] = 0.0
    return Answer(rate.class_name, source=rule.reference, locator=rule.locator,
                  how=worst_how(rule), notes=rate.notes, details=details,
                  within_range=rate.within_range)


def reaches(row: DataRow, value: float) -> bool:
    """Whether a value is in or above the class that a row of a table begins."""
    lower = float(row["lower"])
    return value > lower if row["open_below"] == "yes" else value >= lower


@formula(unit="", source="vitosh-1994-e486", locator="relative response table", how="memory")
def micronutrient_response(crop: str, nutrient: str) -> Answer:
    """How readily a crop responds to a micronutrient where the soil is low in it.

    Parameters
    ----------
    crop : str
        Crop, by any of its names.
    nutrient : str
        B, Cu, Mn or Zn.

    Returns
    -------
    Answer
        low, medium or high [no unit]; None where the table lacks the crop or element.

    Raises
    ------
    UnknownName
        No such crop.

    Notes
    -----
    From memory, unverified. Used only to decide whether a low test matters, never for a rate.
    """
    plant = find_crop(crop)
    for name in plant.lineage:
        for row in load(RESPONSE):
            if row["crop"] == name and row.get(nutrient) is not None:
                return Answer(str(row[nutrient]))
    return Answer(None, notes=(f"no response of {plant.name} to {nutrient} in the table",))


@formula(unit="lb/ac", source="nofa-soil-table27", locator="table 27", how="seen")
def micronutrient_typical_rate(nutrient: str, crop: str) -> Answer:
    """Typical rate of a micronutrient fertilizer, as the element.

    Parameters
    ----------
    nutrient : str
        B, Cu, Mn or Zn.
    crop : str
        Crop, by any of its names.

    Returns
    -------
    Answer
        Low end of the typical rate [lb/ac of the element]; details ``low``, ``high``,
        ``placement``, and ``band`` where a band takes less. None where the table has none
        (iron: soil rates fail on lime soils).

    Raises
    ------
    UnknownName
        No such crop.

    Notes
    -----
    Typical practice, not a calibration to the soil test: the low end is given as the rate.
    Boron has the narrowest margin between too little and too much of all of them.
    """
    plant = find_crop(crop)
    rows = [r for r in load(RATES) if r["nutrient"] == nutrient and _applies(r["crops"], plant)]
    if not rows:
        return Answer(None, notes=(f"no typical rate of {nutrient} in the table",))
    row = rows[0]
    band = next((r["high"] for r in rows[1:] if r["placement"] == "band"), None)
    return by_row(row, row["low"],
                  details={"nutrient": nutrient, "low": row["low"], "high": row["high"],
                           "placement": row["placement"], "band": band})


@formula(unit="lb/ac", source="umn-sulfur", locator="sulfur from organic matter", how="seen",
         valid={"organic_matter_pct": (0.5, 8.0)})
def sulfur_from_organic_matter(organic_matter_pct: Percent) -> Answer:
    """Sulfur that organic matter sets free in a year.

    Parameters
    ----------
    organic_matter_pct : float
        Soil organic matter in the top 6 in [%].

    Returns
    -------
    Answer
        Sulfur mineralised [lb/ac per year], the middle; details ``low`` and ``high``.

    Notes
    -----
    3 to 5 lb S per 1 % organic matter. Cool, wet springs give the low end.
    """
    low, high = (organic_matter_pct * f for f in (SULFUR_PER_OM_LOW, SULFUR_PER_OM_HIGH))
    return Answer((low + high) / 2, details={"low": low, "high": high})


@formula(unit="", source="umn-sulfur", locator="response by organic matter", how="seen")
def sulfur_response(organic_matter_pct: Percent, texture: str | None = None) -> Answer:
    """How likely a sulfur response is, by organic matter and texture.

    Parameters
    ----------
    organic_matter_pct : float
        Soil organic matter [%].
    texture : str or None
        Texture of the topsoil.

    Returns
    -------
    Answer
        likely, possible, uncertain or not expected [no unit]. Detail ``nebraska`` gives the
        other state's word, which disagrees on finer soil.

    Notes
    -----
    Minnesota: clearest below 2 %, most consistent to 3 %, seldom above 4 %. Nebraska: none above 1
    % unless sandy. One Minnesota page says "over" 4 % for under: a slip, not followed. The sulfate
    soil test has little predictive value (North Dakota). Sources: shapiro-unl-pk; ndsu-sf1880.
    """
    row = next(r for r in load(SULFUR) if organic_matter_pct <= r["organic_matter_to"])
    sandy = texture in SANDY
    other = (
        "possible" if sandy or organic_matter_pct <= NEBRASKA_SULFUR_OM_PCT else "not expected"
    )
    return by_row(row, str(row["expectation"]),
                  details={"class": row["class"], "sandy": sandy, "nebraska": other})


@formula(unit="lb/ac", source="umn-sulfur", locator="rate", how="seen")
def sulfur_rate(crop: str) -> Answer:
    """Yearly sulfur rate where a response is likely.

    Parameters
    ----------
    crop : str
        Crop, by any of its names.

    Returns
    -------
    Answer
        Sulfur [lb/ac per year], the middle; details ``low`` and ``high``. None for crops
        the source does not name.

    Raises
    ------
    UnknownName
        No such crop.

    Notes
    -----
    10 to 15 lb for corn and alfalfa; 20 to 25 lb lasts two years on medium and fine soil. Use
    sulfate for the same year; elemental sulfur works a season later.
    """
    plant = find_crop(crop)
    row = next((r for r in load(SULFUR_RATES) if _applies(r["crops"], plant)), None)
    if row is None:
        return Answer(None, notes=(f"no published sulfur rate of {plant.name} in the table",))
    low, high = float(row["low"]), float(row["high"])
    return by_row(row, (low + high) / 2, details={"nutrient": "S", "low": low, "high": high})


def calcium_rules(crop: Crop, region: str | None = None,
                  market_type: str | None = None) -> tuple[DataRow, ...]:
    """The published shallow-calcium rules of a crop, the narrowest limit first; most have none.

    Parameters
    ----------
    region : str or None
        State; where it has no rule of its own (for a stated market type: of that type) the first
        state of the table that has one stands in.
    market_type : str or None
        Market type of a peanut; the first type of that state where none is given, none of them
        where that type has no rule anywhere.
    """
    held = {str(r["market_type"]).lower() for r in load(CALCIUM) if r["crop"] in crop.lineage}
    if market_type and held - {"none", ""} and market_type.strip().lower() not in held:
        return ()
    rows = [r for r in load(CALCIUM) if r["crop"] in crop.lineage]
    narrow = [("region", region), ("market_type", market_type)]
    for column, wanted in reversed(narrow) if market_type else narrow:
        own = [r for r in rows if wanted and str(r[column]).lower() == wanted.strip().lower()]
        rows = own or [r for r in rows if r[column] == rows[0][column]]
    return tuple(sorted(rows, key=lambda r: float(r["calcium_lb_ac"] or "inf")))


def other_market_types(crop: Crop, region: str | None) -> tuple[DataRow, ...]:
    """Rules of the market types of that state that are not taken where none is stated."""
    taken = calcium_rules(crop, region)
    return tuple(r for r in load(CALCIUM) if taken and r["crop"] in crop.lineage
                 and r["region"] == taken[0]["region"]
                 and r["market_type"] not in (None, taken[0]["market_type"]))


def calcium_rule(crop: Crop, region: str | None = None,
                 market_type: str | None = None) -> DataRow | None:
    """The first of :func:`calcium_rules`, or None."""
    return next(iter(calcium_rules(crop, region, market_type)), None)


@formula(unit="lb/ac", source="harris-2015-peanut-calcium", locator="pegging zone sample",
         how="seen")
def surface_calcium_gypsum(
    crop: str,
    calcium_lb_ac: NotNegative,
    potassium_lb_ac: NotNegative | None = None,
    soil_ph: float | None = None,
    for_seed: bool = False,
    region: str | None = None,
    market_type: str | None = None,
) -> Answer[float | None]:
    """Gypsum that a crop's shallow calcium test calls for.

    Parameters
    ----------
    crop : str
        Crop with a published shallow-calcium rule (peanut, pepper).
    calcium_lb_ac : float
        Calcium in the shallow sample, Mehlich 1 [lb/ac as the laboratory reports it].
    potassium_lb_ac : float or None
        Potassium in the same sample, Mehlich 1 [lb/ac]; needed for peanut in Georgia.
    soil_ph : float or None
        Soil pH in water [pH]; needed for pepper.
    for_seed : bool
        True for peanuts grown for seed, which always get gypsum.
    region : str or None
        State, to choose the rule; Georgia's where the state has none.
    market_type : str or None
        ``"runner"``, ``"large-seeded runner"`` or ``"virginia"``.

    Returns
    -------
    float or None
        Gypsum [lb/ac], the least that the source advises: round it up, never down. 0 where
        the rule is met. None where the rule does not hold (pH too low: lime first).
        ``details`` hold ``high``, ``ratio`` (Ca to K), ``timing``, ``region``,
        ``market_type`` and ``own_region``.

    Raises
    ------
    UnknownName
        The crop has no published shallow-calcium rule.
    ImpossibleInput
        A negative amount, or a value the rule needs is missing.

    Notes
    -----
    Peanut, 3 to 4 in. Georgia runners: no gypsum if Ca is at least 500 lb/ac and Ca:K at least 3:1,
    else 1,000 lb/ac; virginia types 2,000 lb/ac always. Alabama runners without need of lime: 500
    lb/ac below 175, 250 lb/ac below 300; where lime is needed, lime brings calcium and the least is
    250. South Carolina: 1,000 to 1,500 lb/ac on large-seeded runners and 1,500 to 2,000 on virginia
    types, always. All at early bloom. Pepper transplants: 1,000 lb/ac if Ca is below 800 lb/ac and
    pH 6.5 or more. Mehlich 1 dissolves unreacted lime and overstates Ca after liming. Such gypsum
    feeds the pods: it is no cure of sodium. Sources: harris-peanut-large-seed;
    howe-2013-peanut-calcium; clemson-peanut-landplaster; uga-aesl-crop-176;
    yang-peanut-calcium-tests.
    """
    plant = find_crop(crop)
    rules = calcium_rules(plant, region, market_type)
    if not rules:
        raise UnknownName("crop with a published shallow-calcium rule", plant.name,
                          tuple(dict.fromkeys(map(str, load(CALCIUM).column("crop")))))
    limits = [r["calcium_lb_ac"] for r in rules]
    below = [r for r, limit in zip(rules, limits, strict=True)
             if limit is None or calcium_lb_ac < limit]
    rule = below[0] if below else rules[-1]
    details: dict[str, object] = {
        "timing": rule["timing"], "high": rule["gypsum_high_lb_ac"], "region": rule["region"],
        "market_type": rule["market_type"],
        "own_region": region is not None and region.strip().lower() == rule["region"].lower(),
    }

    def answer(value: float | None, *notes: str) -> Answer[float | None]:
        return by_row(rule, value, notes=notes, details=details)

    if rule["ph_at_least"] is not None:
        if soil_ph is None:
            raise ImpossibleInput(f"the calcium rule of {plant.name} needs soil_ph")
        if soil_ph < rule["ph_at_least"]:
            return answer(None, "pH is below the rule's; lime brings the calcium")
    met = not below
    if rule["calcium_to_potassium"] is not None:
        if potassium_lb_ac is None:
            raise ImpossibleInput(f"the calcium rule of {plant.name} needs potassium_lb_ac")
        ratio = calcium_lb_ac / potassium_lb_ac if potassium_lb_ac else float("inf")
        details["ratio"] = ratio
        met = met and ratio >= rule["calcium_to_potassium"]
    needed = for_seed or not met
    return answer(rule["gypsum_lb_ac"] if needed else 0.0)
