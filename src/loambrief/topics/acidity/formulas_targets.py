"""pH targets by crop and region, aluminum, and lowering pH with sulfur."""

from __future__ import annotations

from loambrief.agronomy.crops import Crop, find_crop, first_known
from loambrief.agronomy.intervals import on_lines
from loambrief.agronomy.possible import NotNegative, Percent, Positive, SoilPh
from loambrief.agronomy.registry import Answer, by_row, formula
from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.tables import DataRow, load, parts
from loambrief.topics.acidity.formulas import constant
from loambrief.units import KFT2_PER_ACRE, SLICE_DEPTH_IN, SLICE_LB

TARGETS = "acidity/ph_targets"
ACID, OTHER, ORGANIC, ANY = "acid subsoil", "other subsoil", "organic soil", "any"
ACID_SUBSOIL_PH = 6.0
"""Subsoil below this is acid in the Tri-State table (its own heading)."""
FALLBACK = "tri_state"
LIMEY_FIZZ = ("very slight", "slight", "strong", "violent")


def guide_for(region: str | None) -> str | None:
    """pH guide whose publisher covers a region, or None."""
    wanted = (region or "").strip().lower()
    for row in load("acidity/ph_schemes"):
        if wanted and wanted in {r.lower() for r in parts(row["regions"])}:
            return row["scheme"]
    return None


def _match(scheme: str, crop: str, context: str) -> DataRow | None:
    wanted = (context,) if context == ORGANIC else (context, ANY)
    return next((row for one in wanted
                 for row in load(TARGETS).where(scheme=scheme, crop=crop, context=one)), None)


def _row(crop: Crop, guide: str | None, context: str) -> DataRow:
    """The most specific row: the region's crop, any crop row, then groups, then any."""
    group, wider = f"group:{crop.group}", (guide, "general")
    searches = [(s, name) for s in wider if s for name in crop.lineage]
    searches += [(s, group) for s in wider if s]
    searches += [(s, ANY) for s in (guide,) if s]
    searches += [(FALLBACK, name) for name in (*crop.lineage, group, ANY)]
    for scheme, name in searches:
        row = _match(scheme, name, context)
        if row is not None:
            return row
    raise UnknownName("pH target", crop.name)


@formula(unit="pH", source="vitosh-1995-e2567", locator="table 1, or the region's own guide",
         how="seen")
def ph_target(
    crop: str, region: str | None = None, subsoil_ph: SoilPh | None = None,
    organic_soil: bool = False,
) -> Answer:
    """pH that lime should reach for a crop, and the pH below which to lime.

    Parameters
    ----------
    crop : str
        Crop by any of its names.
    region : str or None
        State or country, to choose the guide.
    subsoil_ph : float or None
        pH of the soil below the tilled layer [pH]; None if not measured.
    organic_soil : bool
        More than 20 % organic matter.

    Returns
    -------
    float
        Target [pH]. ``details`` hold ``trigger``, ``upper`` (or None), ``guide``, ``context``,
        ``own_guide`` (the region has one) and, where the subsoil decides and was not
        measured, ``other_target`` and ``other_trigger``.

    Raises
    ------
    UnknownName
        No such crop.

    Notes
    -----
    Where the guide asks for the subsoil's pH and none is given, the acid-subsoil row is used (the
    higher target) and the other is kept beside it. Regions without a guide use the general rows,
    then the Tri-State ones. Sources: hoorman-2022-fall-lime; psu-agguide-lime;
    laboski-liming-terms; anderson-2013-em9057; ahdb-rb209-ph; efu-manual-ph; msu-blueberry-sulfur.
    """
    found, guide = find_crop(crop), guide_for(region)
    context = ACID
    if organic_soil:
        context = ORGANIC
    elif subsoil_ph is not None and subsoil_ph >= ACID_SUBSOIL_PH:
        context = OTHER
    row = _row(found, guide, context)
    details: dict[str, object] = {
        "trigger": row["trigger"], "upper": row["upper"], "guide": row["scheme"],
        "context": row["context"], "own_guide": guide is not None and row["scheme"] == guide,
        "acidify": row["acidify"] == "yes", "crop": found.name,
    }
    if context == ACID and subsoil_ph is None:
        other = _row(found, guide, OTHER)
        if other["target"] != row["target"]:
            details["other_target"] = other["target"]
            details["other_trigger"] = other["trigger"]
    return by_row(row, row["target"], details=details,
                  notes=() if details["own_guide"] else
                  ("no pH guide of this region is held; another region's is used",))


@formula(unit="%", source="kamprath-1970", locator="aluminum saturation of the effective CEC",
         how="seen")
def aluminum_saturation(al_meq: NotNegative, ecec_meq: Positive) -> float:
    """Share of the effective exchange capacity that holds aluminum.

    Parameters
    ----------
    al_meq : float
        Aluminum taken out by 1 N KCl [meq/100 g]. Not Mehlich-3 aluminum.
    ecec_meq : float
        Effective CEC: bases and KCl acidity added up [meq/100 g].

    Raises
    ------
    ImpossibleInput
        Negative aluminum, no capacity, or more aluminum than capacity.

    Notes
    -----
    100 Al / ECEC. Lime equal to the exchangeable aluminum brought it below 30 % in leached
    mineral soils.
    """
    if al_meq > ecec_meq:
        raise ImpossibleInput(f"more aluminum ({al_meq:g}) than effective CEC ({ecec_meq:g})")
    return 100.0 * al_meq / ecec_meq


def _limey(fizz: str | None, carbonate_pct: float | None, ph: float) -> str:
    """Why a soil is taken to hold free lime, or an empty text."""
    if carbonate_pct is not None and carbonate_pct > 0:
        return f"the soil holds {carbonate_pct:g} % lime"
    if fizz in LIMEY_FIZZ:
        return "the soil fizzes with acid, so it holds free lime"
    if carbonate_pct is None and fizz is None and ph > constant("acidify_stop_ph"):
        return "free lime is likely at this pH and was not tested for"
    return ""


@formula(unit="lb/ac", source="msu-blueberry-sulfur", locator="by the named table", how="memory",
         valid={"soil_ph": (4.5, 8.5)})
def sulfur_to_acidify(
    table: str, soil_ph: SoilPh, target_ph: SoilPh, texture: str, fizz: str | None = None,
    carbonate_pct: Percent | None = None,
) -> Answer:
    """Elemental sulfur that lowers soil pH, unless the soil holds free lime.

    Parameters
    ----------
    table : str
        ``michigan_blueberry`` (to pH 4.5), ``purdue_per_unit`` or ``handbook_to_6_5``.
    soil_ph, target_ph : float
        pH now and wanted [pH].
    texture : str
        Texture as in a case.
    fizz : str or None
        Reaction with acid, as in a case; None if not tested.
    carbonate_pct : float or None
        Calcium carbonate in the soil [%].

    Returns
    -------
    float
        Sulfur [lb/ac]; zero at or below the target; None where the soil holds free lime, on
        organic soils, and where the table is not for that target. ``details`` hold
        ``lb_per_1000ft2``.

    Raises
    ------
    UnknownName
        Not a table or texture.

    Notes
    -----
    Linear between the rows of a table; the sources differ two to four times, so half is put on
    first and the soil tested again after three to six months. Free lime uses up 3.12 lb of lime per
    lb of sulfur before pH can move (``sulfur_for_lime``). Sources: purdue-sulfur-2006;
    western-fertilizer-handbook; rhs-acidifying.
    """
    rows = load("acidity/sulfur_rates").named("sulfur table", name=table)
    column = load("acidity/textures").find("texture", texture=texture)["sulfur_class"]
    about = {"source": rows[0]["source"], "locator": rows[0]["locator"], "how": rows[0]["how"]}
    if soil_ph <= target_ph:
        return Answer(0.0, notes=("the soil is at or below that pH already",), **about)
    reason = _limey(fizz, carbonate_pct, soil_ph)
    if reason:
        return Answer(None, notes=(f"no rate: {reason}; sulfur would be used up by it",), **about)
    if column is None:
        return Answer(None, notes=("the tables do not cover organic soils",), **about)
    if rows[0]["kind"] == "per unit":
        value, inside = rows[0][column] * (soil_ph - target_ph), True
    elif abs(rows[0]["target_ph"] - target_ph) > 0.05:
        return Answer(None, notes=(f"this table is only for pH {rows[0]['target_ph']:g}",), **about)
    else:
        # a line through the target, which takes no sulfur, and the table's rows
        points = sorted([(rows[0]["target_ph"], 0.0), *((r["start_ph"], r[column]) for r in rows)])
        value, inside = on_lines(soil_ph, points), soil_ph <= points[-1][0]
    return Answer(value, details={"lb_per_1000ft2": value / KFT2_PER_ACRE}, within_range=inside,
                  notes=("put on half, test again after three to six months",), **about)


@formula(unit="lb/ac", source="richards-1954-hb60", locator="chemical equivalents", how="computed",
         valid={"depth_in": (1.0, 12.0)})
def sulfur_for_lime(carbonate_pct: Percent, depth_in: Positive) -> Answer:
    """Elemental sulfur that the free lime of a layer uses up before pH can fall.

    Parameters
    ----------
    carbonate_pct : float
        Calcium carbonate in the soil [%].
    depth_in : float
        Depth of the layer [in].

    Notes
    -----
    Mass of the layer (2,000,000 lb per 6 2/3 in) x carbonate / 3.12: about 6,400 lb for each
    1 % in that slice. It shows why calcareous soil is not acidified.
    """
    soil = SLICE_LB * depth_in / SLICE_DEPTH_IN
    return Answer(soil * carbonate_pct / 100.0 / constant("sulfur_lime_ratio"))


TOLERANCE = "acidity/ph_tolerance"
TOO_ACID, SOUR, SUITS, ALKALINE, TOO_ALKALINE = (
    "below the limit", "below the best range", "within", "above the best range", "above the limit",
)


@formula(unit="class", source="fao-ecocrop", locator="the crop's species", how="seen")
def ph_suitability(crop: str, soil_ph: SoilPh) -> Answer[str | None]:
    """Where a soil's pH lies in what a crop likes and tolerates.

    Parameters
    ----------
    crop : str
        Crop by any of its names.
    soil_ph : float
        Soil pH in water [pH].

    Returns
    -------
    str or None
        ``"below the limit"``, ``"below the best range"``, ``"within"``, ``"above the best
        range"`` or ``"above the limit"`` [class]; the ends belong to the milder class. None
        where the table has no row for the crop: then pH is not judged upwards. ``details``
        hold ``best_low``, ``best_high``, ``limit_low`` and ``limit_high``.

    Raises
    ------
    UnknownName
        No such crop.

    Notes
    -----
    The lower ends are not a lime guide: a region's own pH target (``ph_target``) decides on lime.
    The upper ends say that a pH cannot be called suitable. Soil with free lime is not acidified by
    sulfur in practice (``sulfur_for_lime``): another crop or variety is the way. Sources:
    msu-blueberry-sulfur; ashs-2019-vaccinium-ph.
    """
    found = find_crop(crop)
    rows = {row["crop"]: row for row in load(TOLERANCE)}
    name = first_known(found, rows)
    if name is None:
        return Answer(None, notes=(f"no published pH range of {found.name} is held",))
    row = rows[name]
    if soil_ph > row["limit_high"]:
        value = TOO_ALKALINE
    elif soil_ph > row["best_high"]:
        value = ALKALINE
    elif soil_ph < row["limit_low"]:
        value = TOO_ACID
    else:
        value = SOUR if soil_ph < row["best_low"] else SUITS
    ends = ("best_low", "best_high", "limit_low", "limit_high")
    return by_row(row, value, details={"crop": name, **{end: row[end] for end in ends}})
