"""How much fertilizer may lie in the row with the seed."""

from __future__ import annotations

import math
from collections.abc import Iterator

from loambrief.agronomy.crops import find_crop
from loambrief.agronomy.possible import Percent, Positive
from loambrief.agronomy.registry import Answer, by_row, formula
from loambrief.tables import DataRow, load

LOW_CEC = 7.0
"""CEC under which Michigan lowers its limit [meq/100 g] (msu-in-furrow)."""
COUNTED = {"N+K2O": ("n", "k2o"), "P2O5": ("p2o5",), "N": ("n",)}
"""What a limit adds up, in the order it is named."""
SILENT = "no published limit for this crop and row spacing"
UNCOUNTED = "the limit of this crop is of phosphate alone, as mono-ammonium phosphate"
AMMONIUM = 0.25
"""Most nitrogen beside phosphate in mono-ammonium phosphate (12-51-0 has 0.24), as a share."""


def _rules(crop: str, row_in: float | None, soil: str,
           cec: float | None) -> Iterator[tuple[str, list[DataRow]]]:
    """For each thing that is counted, one row of each publication that speaks of the crop.

    Of rows for a spacing only those for the nearest one that is as wide or wider.
    """
    lineage = find_crop(crop).lineage
    soils = {soil, "any", *(("low cec",) if cec is not None and cec < LOW_CEC else ())}
    known = [r for r in load("salinity/seed_row_limits") if r["crop"] in lineage]
    for counts in COUNTED:
        found = []
        for source in dict.fromkeys(r["source"] for r in known):
            rows = [r for r in known if r["source"] == source and r["counts"] == counts
                    and r["soil"] in soils]
            wide = [r for r in rows if r["row_in"] is None
                    or (row_in is not None and r["row_in"] >= row_in)]
            if wide:
                found.append(min(wide, key=lambda r: r["row_in"] or 0.0))
        near = min((r["row_in"] for r in found if r["row_in"] is not None), default=None)
        if found:
            yield counts, [r for r in found if r["row_in"] in (None, near)]


@formula(unit="lb/ac", source="ksu-starter-corn", locator="seed-placed limits", how="seen")
def seed_row_salt_limit(crop: str, row_in: Positive | None = None, soil: str = "other",
                        cec: Positive | None = None) -> Answer:
    """Most fertilizer salt that may lie in the row with the seed.

    Parameters
    ----------
    crop : str
        Crop by any of its usual names.
    row_in : float or None
        Row spacing [in]; needed where the limit depends on it.
    soil : str
        ``"sandy"`` or ``"other"``.
    cec : float or None
        Cation exchange capacity [meq/100 g], where it is known.

    Returns
    -------
    float or None
        Limit [lb/ac], the strictest of those published; ``details`` say which nutrients are added
        up (``counts``), what the most lenient publication allows (``most``) and where it is from
        (``region``). None where no limit is listed.

    Raises
    ------
    UnknownName
        Not a crop at all.

    Notes
    -----
    They hold without urea, UAN or thiosulfate near the seed, and in moist soil. Between listed row
    spacings, and in narrower rows, the limit of the next wider row (the stricter one) is given;
    wider rows than listed give None. Sources: ksu-wheat-in-furrow; ksu-seed-placed; msu-in-furrow;
    ndsu-seed-2002; ndsu-pea-1997; usask-pulse-starter; sugarbeet-notes-399; umn-kaiser-seed-row;
    mb-seed-placed-p; canola-council-seed-row.
    """
    for counts, rows in _rules(crop, row_in, soil, cec):
        strict = min(rows, key=lambda r: r["limit_lb_ac"])
        return by_row(strict, strict["limit_lb_ac"], details={
            "counts": counts, "most": max(r["limit_lb_ac"] for r in rows),
            "region": strict["region"]})
    return Answer(None, notes=(SILENT,), within_range=False)


@formula(unit="lb/ac", source="ksu-seed-placed", locator="limit over the grade", how="seen")
def seed_row_product_lb_ac(crop: str, n_pct: Percent, p2o5_pct: Percent = 0.0,
                           k2o_pct: Percent = 0.0, row_in: Positive | None = None,
                           soil: str = "other", cec: Positive | None = None) -> Answer:
    """Most of one fertilizer that may go into the row with the seed.

    Parameters
    ----------
    crop : str
        Crop by any of its usual names.
    n_pct, p2o5_pct, k2o_pct : float
        Grade of the fertilizer [%].
    row_in : float or None
        Row spacing [in].
    soil : str
        ``"sandy"`` or ``"other"``.
    cec : float or None
        Cation exchange capacity [meq/100 g].

    Returns
    -------
    float or None
        Most of the product [lb/ac]; ``details`` name the limit that binds (``counts``,
        ``limit``). None where no limit is listed, or none counts what the product holds.

    Raises
    ------
    UnknownName
        Not a crop at all.

    Notes
    -----
    The limit by the share of what it counts, in whole pounds below; the smallest over all limits
    of the crop. Never for urea, UAN, thiosulfate or boron. Where a crop stands no salt at all,
    nothing goes in, whatever the grade. Liquids by their mass. Where no limit of the crop counts
    potash or nitrogen, none follows for a product with potash, or with more nitrogen than
    mono-ammonium phosphate.
    """
    grade = {"n": n_pct, "p2o5": p2o5_pct, "k2o": k2o_pct}
    found: list[tuple[float, str, DataRow]] = []
    rules = list(_rules(crop, row_in, soil, cec))
    counted = {n for counts, _ in rules for n in COUNTED[counts]}
    if rules and (("k2o" not in counted and k2o_pct > 0)
                  or ("n" not in counted and n_pct > AMMONIUM * p2o5_pct)):
        return Answer(None, notes=(UNCOUNTED,), within_range=False)
    for counts, rows in rules:
        strict = min(rows, key=lambda r: r["limit_lb_ac"])
        share = sum(grade[n] for n in COUNTED[counts]) / 100.0
        if strict["limit_lb_ac"] == 0 or share > 0:
            found.append((math.floor(strict["limit_lb_ac"] / share + 1e-9) if share else 0.0,
                          counts, strict))
    if not found:
        return Answer(None, notes=(SILENT,), within_range=False)
    most, counts, row = min(found, key=lambda f: f[0])
    return by_row(row, most, details={"counts": counts, "limit": row["limit_lb_ac"]})
