"""Quality of irrigation water: sealing of soil, single salts, bicarbonate."""

from __future__ import annotations

from loambrief.agronomy.intervals import on_lines
from loambrief.agronomy.possible import NotNegative, Positive
from loambrief.agronomy.registry import Answer, formula
from loambrief.errors import ImpossibleInput
from loambrief.tables import load
from loambrief.topics.salinity.formulas_water import constant
from loambrief.units import EQUIVALENT_MG

RESTRICTIONS = "irrigation_water/restrictions"
NONE, SLIGHT, SEVERE = "none", "slight to moderate", "severe"


@formula(unit="class", source="ayers-westcot-1985-fao29", locator="table 1, infiltration",
         how="seen", valid={"sar": (0.0, 40.0)})
def infiltration_hazard(ecw_ds_m: NotNegative, sar: NotNegative) -> Answer:
    """Hazard that irrigation water seals the soil, from its salt and sodium together.

    Parameters
    ----------
    ecw_ds_m : float
        EC of the water [dS/m].
    sar : float
        SAR of the water [(meq/L)^0.5].

    Returns
    -------
    str
        ``"none"``, ``"slight to moderate"`` or ``"severe"`` [class]; ``details`` hold the two
        EC limits at that SAR.

    Notes
    -----
    Salt holds clay together, so very pure water and water high in sodium both seal soil. Above SAR
    40 the last class is used and flagged.
    """
    rows = load("irrigation_water/infiltration").rows
    row = next((r for r in rows if sar < r["sar_high"]), rows[-1])
    name = SLIGHT
    if ecw_ds_m > row["none_above_ds_m"]:
        name = NONE
    elif ecw_ds_m < row["severe_below_ds_m"]:
        name = SEVERE
    return Answer(name, details={"none_above": row["none_above_ds_m"],
                                 "severe_below": row["severe_below_ds_m"]})


@formula(unit="class", source="ayers-westcot-1985-fao29", locator="table 1", how="seen")
def water_restriction(constituent: str, value: NotNegative, method: str = "surface",
                      unit: str | None = None) -> Answer:
    """Degree of restriction on the use of water, for one constituent.

    Parameters
    ----------
    constituent : str
        ``"ec"``, ``"sodium"``, ``"chloride"``, ``"boron"``, ``"bicarbonate"`` or
        ``"nitrate-n"``.
    value : float
        Its value [dS/m for ec; SAR for sodium at the surface; meq/L for sprinkled sodium,
        chloride and bicarbonate; mg/L for boron, nitrate-N, iron, manganese and solids].
    method : str
        ``"surface"`` or ``"sprinkler"``: how the water reaches the crop; ``"drip"`` for what clogs
        emitters (iron, manganese, dissolved solids, ph).
    unit : str or None
        ``"mg/L"`` if chloride, bicarbonate or sprinkled sodium is given so; converted here.

    Returns
    -------
    str or None
        ``"none"``, ``"slight to moderate"`` or ``"severe"`` [class]; ``details`` hold the limits
        and their unit. None where the table has no class for that way of watering.

    Raises
    ------
    ImpossibleInput
        A negative value, or mg/L where no conversion makes sense.
    UnknownName
        No such constituent.

    Notes
    -----
    Copies of this table print mg/L where the original has meq/L for chloride and bicarbonate: 140
    mg/L of chloride is 3.9 meq/L, no restriction, not 35 times the severe limit. Surface limits for
    sodium and chloride are meant for trees and woody plants.
    """
    rows = load(RESTRICTIONS).named("constituent", constituent=constituent)
    row = next((r for r in rows if r["method"] in (method, "any")), None)
    if row is None:
        return Answer(None, notes=(f"the table has no {constituent} limit for {method} watering",))
    if unit is not None and unit != row["unit"]:
        if unit != "mg/L" or row["equivalent"] is None:
            raise ImpossibleInput(f"{constituent} cannot be given in {unit}; wanted {row['unit']}")
        value = value / EQUIVALENT_MG[row["equivalent"]]
    if value < row["none_below"]:
        name = NONE
    elif row["severe_above"] is not None and value > row["severe_above"]:
        name = SEVERE
    else:
        name = SLIGHT
    return Answer(name, how=row["how"],
                  details={"none_below": row["none_below"], "severe_above": row["severe_above"],
                           "unit": row["unit"], "value": value})


@formula(unit="meq/L", source="eaton-1950", locator="definition", how="memory")
def residual_sodium_carbonate(bicarbonate_meq_l: NotNegative, ca_meq_l: NotNegative,
                              mg_meq_l: NotNegative, carbonate_meq_l: NotNegative = 0.0) -> Answer:
    """Bicarbonate left in water after calcium and magnesium have settled out.

    Parameters
    ----------
    bicarbonate_meq_l, ca_meq_l, mg_meq_l, carbonate_meq_l : float
        Concentrations in the water [meq/L].

    Returns
    -------
    float
        Residual sodium carbonate [meq/L], negative where calcium and magnesium outweigh it.
        ``details`` hold the class: ``"safe"``, ``"marginal"`` or ``"not suitable"``.

    Notes
    -----
    (HCO3 + CO3) - (Ca + Mg). Safe below 1.25, not suitable above 2.5 meq/L. From memory,
    unverified.
    """
    value = bicarbonate_meq_l + carbonate_meq_l - ca_meq_l - mg_meq_l
    if value < constant("rsc_marginal"):
        name = "safe"
    elif value <= constant("rsc_unsuitable"):
        name = "marginal"
    else:
        name = "not suitable"
    return Answer(value, details={"class": name})


@formula(unit="class", source="sf-bay-table-3-6", locator="table 3-6", how="seen")
def water_trace_limit(element: str, mg_l: NotNegative) -> Answer[str]:
    """Whether a trace element in irrigation water is over what water may hold for good.

    Parameters
    ----------
    element : str
        ``"copper"``, ``"zinc"``, ``"selenium"``, ``"molybdenum"`` or ``"manganese"``.
    mg_l : float
        Its concentration in the water [mg/L].

    Returns
    -------
    str
        ``"none"`` up to the limit for continuous use, ``"slight to moderate"`` up to the limit
        at all, ``"severe"`` above it [class]; ``details`` hold ``continuous``, ``short_term``
        (None without one), ``stock`` (limit for drinking water) and ``harm`` (crop or stock).

    Raises
    ------
    UnknownName
        No such element.

    Notes
    -----
    The words are those of the other water classes; the source has two limits and no classes.
    Selenium and molybdenum harm stock that eats the crop before they harm the crop.
    """
    row = load("irrigation_water/trace_elements").find(element=element)
    most = row["short_term_mg_l"]
    name = NONE
    if most is not None and mg_l > most:
        name = SEVERE
    elif mg_l > row["continuous_mg_l"]:
        name = SLIGHT
    return Answer(name, details={"continuous": row["continuous_mg_l"], "short_term": most,
                                 "stock": row["stock_mg_l"], "harm": row["harm"]})


ECS = (0.1, 0.2, 0.3, 0.5, 0.7, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0)
"""Columns of the table of calcium left [dS/m]."""


@formula(unit="(meq/L)^0.5", source="ayers-westcot-1985-fao29",
         locator="table 11 and equation for adj RNa", how="seen",
         valid={"ecw_ds_m": (0.1, 8.0)})
def adjusted_sar(na_meq_l: NotNegative, ca_meq_l: Positive, mg_meq_l: NotNegative,
                 bicarbonate_meq_l: NotNegative, ecw_ds_m: NotNegative) -> Answer[float]:
    """SAR of the soil water near the surface, after lime has settled or dissolved.

    Parameters
    ----------
    na_meq_l, ca_meq_l, mg_meq_l, bicarbonate_meq_l : float
        Concentrations in the water [meq/L].
    ecw_ds_m : float
        EC of the water [dS/m].

    Returns
    -------
    float
        Adjusted SAR [(meq/L)^0.5]; ``details`` hold ``calcium``, what is left of it [meq/L].

    Notes
    -----
    Na / ((Cax + Mg) / 2)^0.5 with Cax from the table by HCO3/Ca and EC, on straight lines between
    its points and held at its ends. Water low in calcium takes some up from lime in the soil, so
    the adjusted value may be lower. The older adjustment by pHc overstates sodium and is not used.
    """
    ratio = bicarbonate_meq_l / ca_meq_l
    rows = [(float(r["hco3_per_ca"]),
             on_lines(ecw_ds_m, [(ec, float(r[f"ec_{ec:g}".replace(".", "_")])) for ec in ECS]))
            for r in load("irrigation_water/calcium_left")]
    left = on_lines(ratio, rows)
    return Answer(na_meq_l / ((left + mg_meq_l) / 2.0) ** 0.5, details={"calcium": left},
                  within_range=rows[0][0] <= ratio <= rows[-1][0])
