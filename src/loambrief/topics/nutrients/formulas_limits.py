"""Limits on what may go on: bands beside the seed, phosphorus near water, biosolid metals.

Not legal advice. State rules override, and the state's own phosphorus index decides.
"""

from __future__ import annotations

from loambrief.agronomy.crops import find_crop
from loambrief.agronomy.possible import NotNegative, Positive, one_of
from loambrief.agronomy.registry import Answer, by_row, formula
from loambrief.tables import load
from loambrief.topics.nutrients.formulas_micronutrients import reaches
from loambrief.units import KG_PER_HA_PER_LB_PER_ACRE

BAND = "nutrients/band"
RUNOFF = "nutrients/phosphorus_runoff"
METALS = "nutrients/biosolids_metals"
BAND_COLUMNS = {"N": "n", "P2O5": "p2o5", "K2O": "k2o", "N+K2O": "n_plus_k2o"}
CLAYEY = ("sandy clay", "silty clay", "clay")
KINDS = ("ceiling", "monthly mean")


@formula(unit="lb/ac", source="msu-band-limits", locator="maximum rates to band at 2 x 2",
         how="seen")
def band_limit(crop: str, nutrient: str, texture: str | None = None) -> Answer:
    """Most of one nutrient in a band 2 in beside and 2 in below the seed.

    Parameters
    ----------
    crop : str
        Crop, by any of its names.
    nutrient : str
        N, P2O5, K2O, or ``N+K2O`` for the two together.
    texture : str or None
        Texture of the topsoil; clayey soil bears more N and K2O together.

    Returns
    -------
    Answer
        Most per acre [lb/ac]; None where the source gives no number for it.

    Raises
    ------
    UnknownName
        No such nutrient, or the crop is not in the table.

    Notes
    -----
    Michigan State. What may lie in the seed row itself is far less and stands with the salt
    limits (``seed_row_salt_limit``). Nothing with boron or thiosulfate in such a band.
    """
    one_of("nutrient of a band limit", nutrient, BAND_COLUMNS)
    row = load(BAND).find(crop=find_crop(crop).name)
    column = BAND_COLUMNS[nutrient]
    value = row["n_plus_k2o_clay" if nutrient == "N+K2O" and texture in CLAYEY else column]
    notes = () if value is not None else ("the source gives no number",)
    return Answer(value, how=str(row["how"]), notes=notes)


@formula(unit="", source="osu-agbmps-p50", locator="by the row's own source", how="seen")
def phosphorus_runoff_level(region: str, method: str, test_ppm: NotNegative) -> Answer:
    """What a state says of a phosphorus test and the risk to water.

    Parameters
    ----------
    region : str
        State whose level is wanted.
    method : str
        Extraction method of the test.
    test_ppm : float
        Soil-test phosphorus [ppm].

    Returns
    -------
    Answer
        Level [no unit]: low, moderate, high or very high; None if the table has no level for
        that state and method. Details give the range, what the source says of it, and
        ``basis``: what manure may follow there (``manure_rate_limit``).

    Notes
    -----
    A screening by soil test alone. A phosphorus index adds slope, distance to water, cover, timing
    and placement. Runoff meets the top inch or two, so a surface sample says more than a deep one.
    No test is converted into another. Sources: osu-agbmps-p120; osu-agbmps-p150; mn-manure-p-table;
    rutgers-relative-levels; sims-2002-mehlich3; sandusky-stratification.
    """
    rows = load(RUNOFF).where(region=region, method=method)
    if not rows:
        return Answer(None, notes=(f"no level for {region} by {method} in the table",))
    row = [r for r in rows if reaches(r, test_ppm)][-1]
    return by_row(row, str(row["level"]),
                  details={"range": row["class"], "meaning": row["meaning"],
                           "lower_ppm": row["lower"], "basis": row["basis"]})


@formula(unit="mg/kg", source="cfr-40-503-13", locator="tables 1 and 3", how="seen")
def biosolids_concentration_limit(metal: str, kind: str = "ceiling") -> Answer:
    """Most of a metal that biosolids for land may hold.

    Parameters
    ----------
    metal : str
        Symbol: As, Cd, Cu, Pb, Hg, Mo, Ni, Se or Zn.
    kind : str
        ``ceiling`` (table 1, never above) or ``monthly mean`` (table 3).

    Returns
    -------
    Answer
        Limit, dry weight [mg/kg]; None where the rule sets none (molybdenum, table 3).

    Raises
    ------
    UnknownName
        No such metal or kind.

    Notes
    -----
    Federal limits. Older local copies show selenium 36 and chromium 1,200 mg/kg; the federal
    text has selenium 100 and no chromium. States may be stricter. Biosolids are prohibited in
    certified organic production.
    """
    one_of("kind of biosolids limit", kind, KINDS)
    row = load(METALS).find(metal=metal)
    column = "ceiling_mg_kg" if kind == "ceiling" else "monthly_mean_mg_kg"
    return Answer(row[column], how=str(row["how"]))


@formula(unit="lb/ac", source="cfr-40-503-13", locator="table 2", how="seen")
def biosolids_cumulative_limit(metal: str) -> Answer:
    """Most of a metal that biosolids may bring to a field over all years.

    Parameters
    ----------
    metal : str
        Symbol: As, Cd, Cu, Pb, Hg, Mo, Ni, Se or Zn.

    Returns
    -------
    Answer
        Cumulative loading [lb/ac]; details give the legal figure in kg/ha. None for
        molybdenum, which has no such limit.

    Raises
    ------
    UnknownName
        No such metal.

    Notes
    -----
    kg/ha divided by 1.12085. A journal copy prints 42, 1,503, 301, 421 and 2,805 kg/ha because it
    was turned back from rounded pounds; the legal figures are 41, 1,500, 300, 420 and 2,800.
    Sources: journal-2012-sludge-metals.
    """
    row = load(METALS).find(metal=metal)
    legal = row["cumulative_kg_ha"]
    value = None if legal is None else float(legal) / KG_PER_HA_PER_LB_PER_ACRE
    return Answer(value, how=str(row["how"]), details={"kg_ha": legal})


@formula(unit="t/ha", source="cfr-40-503-13", locator="table 4 and appendix A", how="memory")
def biosolids_annual_rate(metal: str, concentration_mg_kg: Positive) -> Answer:
    """Most biosolids in a year that one metal allows.

    Parameters
    ----------
    metal : str
        Symbol of the metal.
    concentration_mg_kg : float
        Metal in the biosolids, dry weight [mg/kg].

    Returns
    -------
    Answer
        Whole biosolids, dry weight [t/ha in a year]; None where table 4 has no limit. The
        smallest over all metals rules. Detail ``ceiling_passed`` is True where table 1 forbids
        the material altogether.

    Raises
    ------
    UnknownName
        No such metal.

    Notes
    -----
    Annual limit / (concentration x 0.001). Nitrogen usually allows far less.
    """
    row = load(METALS).find(metal=metal)
    limit = row["annual_kg_ha"]
    value = None if limit is None else float(limit) / (concentration_mg_kg * 0.001)
    passed = concentration_mg_kg > float(row["ceiling_mg_kg"])
    return Answer(value, how=str(row["how"]), details={"ceiling_passed": passed})
