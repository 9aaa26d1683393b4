"""Tissue tests: published ranges, sap and stalk nitrate, and the ratio of the trade."""

from __future__ import annotations

from loambrief.agronomy.crops import find_crop
from loambrief.agronomy.possible import NotNegative, Positive, one_of
from loambrief.agronomy.registry import Answer, by_row, formula
from loambrief.tables import DataRow, load, parts

RANGES = "tissue/ranges"
FOLIAR = "tissue/foliar"
BACKUP = "tissue/petiole_backup"
SAP = "tissue/sap_nitrate"
STALK = "tissue/stalk_nitrate"
NUTRIENTS = ("N", "P", "K", "Ca", "Mg", "S", "Fe", "Mn", "Zn", "B", "Cu",
             "NO3-N")
LOW, SUFFICIENT, HIGH, TOXIC = "low", "sufficient", "high", "toxic"


def stages_of(crop: str) -> tuple[tuple[str, str], ...]:
    """Part and stage for which ranges of a crop are held, in table order."""
    lineage = find_crop(crop).lineage
    return tuple(dict.fromkeys((str(r["part"]), str(r["stage"])) for r in load(RANGES)
                               if r["crop"] in lineage))


def foliar_row(crop: str, nutrient: str, state: str | None, drip: bool) -> DataRow | None:
    """Published rate of a spray, or of feeding through drip, for a crop whose leaf is low.

    A rate made for ``state`` goes first. Feeding is left out of a field without drip.
    """
    lineage = find_crop(crop).lineage
    rows = [r for r in load(FOLIAR) if r["nutrient"] == nutrient
            and (drip or r["way"] != "drip")
            and any(c in lineage for c in parts(r["crops"]))]
    return next((r for r in rows if state and r["state"] == state), rows[0] if rows else None)


@formula(unit="class", source="vitosh-1995-e2567", locator="rows name their own source",
         how="memory")
def tissue_class(crop: str, part: str, stage: str, nutrient: str,
                 value: NotNegative) -> Answer[str | None]:
    """Class of one result of a tissue test against the published range of its part and stage.

    Parameters
    ----------
    crop : str
        By any name of the crop table.
    part, stage : str
        As in the table of ranges, such as ``"ear leaf"`` at ``"silking"``.
    nutrient : str
        One of ``NUTRIENTS``.
    value : float
        Dry matter: % for N, P, K, Ca, Mg and S, ppm for the others, nitrate as nitrogen.

    Returns
    -------
    str or None
        ``low``, ``sufficient``, ``high`` or ``toxic``; None where no range is held for that
        crop, part, stage and nutrient. Details ``low`` and ``high``.

    Raises
    ------
    UnknownName
        No such nutrient.

    Notes
    -----
    A range holds for its part and stage only. Below it a response is likely, not certain; above
    it is mostly luxury, not harm. Georgia points out that ranges for corn and cotton rest on work
    older than 25 years.
    Sources: scsb-394; uf-hs964; wsu-tree-fruit-leaf; uc-leaf-critical; almond-2023-july-leaf;
    cropfile-tissue; msu-e2011-blueberry; kissel-blueberry; ulrich-sugar-beet; uga-strawberry;
    porter-1991; uga-tissue-validation; sa-wine-fertiliser; grower-grape-petiole; udel-corn-leaf;
    uga-alfalfa; ontario-soybean-leaf.
    """
    one_of("nutrient", nutrient, NUTRIENTS)
    lineage = find_crop(crop).lineage
    row = next((r for r in load(RANGES) if r["crop"] in lineage and r["part"] == part
                and r["stage"] == stage and r["nutrient"] == nutrient), None)
    if row is None:
        return Answer(None, notes=("no range is held for this crop, part and stage",))
    name = SUFFICIENT
    if value < row["low"]:
        name = LOW
    elif row["toxic"] is not None and value > row["toxic"]:
        name = TOXIC
    elif row["high"] is not None and value > row["high"]:
        name = HIGH
    return by_row(row, name, details={"low": row["low"], "high": row["high"]})


@formula(unit="class", source="uf-cv004", locator="table 1", how="memory",
         valid={"nitrate_n_mg_l": (0.0, 3000.0)})
def sap_nitrate_class(crop: str, stage: str, nitrate_n_mg_l: NotNegative) -> Answer[str | None]:
    """Class of nitrate nitrogen in fresh petiole sap of a vegetable.

    Parameters
    ----------
    crop : str
        By any name of the crop table.
    stage : str
        As in the table of ranges.
    nitrate_n_mg_l : float
        Nitrate nitrogen of fresh sap [mg/L]; a reading in nitrate is divided by 4.43.

    Returns
    -------
    str or None
        ``low``, ``sufficient`` or ``high``; None where no range is held. Details ``low`` and
        ``high``.

    Notes
    -----
    Ranges of dried petioles are others. Time of day, cloud and variety move the reading.
    Sources: msu-sap-nitrate.
    """
    lineage = find_crop(crop).lineage
    row = next((r for r in load(SAP) if r["crop"] in lineage and r["stage"] == stage), None)
    if row is None:
        return Answer(None, notes=("no range is held for this crop and stage",))
    name = (LOW if nitrate_n_mg_l < row["low_mg_l"]
            else HIGH if nitrate_n_mg_l > row["high_mg_l"] else SUFFICIENT)
    return by_row(row, name, details={"low": row["low_mg_l"], "high": row["high_mg_l"]})


@formula(unit="class", source="csnt-classes", locator="classes by state", how="seen",
         valid={"nitrate_n_ppm": (0.0, 20_000.0)})
def stalk_nitrate_class(nitrate_n_ppm: NotNegative, scheme: str = "iowa") -> Answer[str]:
    """Class of nitrate nitrogen in the lower corn stalk at the end of the season.

    Parameters
    ----------
    nitrate_n_ppm : float
        Stalk from 6 to 14 in above the ground, one to three weeks after black layer [ppm].
    scheme : str
        ``"iowa"``, ``"pennsylvania"`` or ``"indiana"``.

    Returns
    -------
    str
        ``low``, ``marginal``, ``optimal`` or ``excess``.

    Raises
    ------
    UnknownName
        No such scheme.

    Notes
    -----
    It looks back on a season and gives no rate. Drought leaves high values where too little
    nitrogen was not the fault; single years say little.
    Sources: psu-stalk-nitrate.
    """
    rows = load(STALK).named("scheme", scheme=scheme)
    row = next(r for r in rows if r["high_ppm"] is None or nitrate_n_ppm < r["high_ppm"])
    return by_row(row, str(row["class"]), details={"low": row["low_ppm"]})


@formula(unit="1", source="practice-tissue-ratios", locator="rule of the trade", how="convention",
         evidence="common practice")
def tissue_ratio(first: NotNegative, second: Positive) -> float:
    """Ratio of two nutrients of one tissue test, as the trade reads it.

    Parameters
    ----------
    first, second : float
        The two results, in one unit.

    Notes
    -----
    Nitrogen to sulfur of 10 to 15 is called balanced. A ratio can be in order while both are
    short, and out of order while both are enough; it sets no rate.
    """
    return first / second
