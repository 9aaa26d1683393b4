"""How much of a trace element in a soil harms crops or stock, by extract, crop and source."""

from __future__ import annotations

from loambrief.agronomy.crops import find_crop
from loambrief.agronomy.possible import NotNegative
from loambrief.agronomy.registry import Answer, by_row, formula
from loambrief.errors import UnknownName
from loambrief.tables import DataRow, load, parts

LEVELS = "nutrients/toxic_levels"
BELOW, WATCH, HARM = "below", "watch", "harm expected"
POT, RULE, LEGAL, SCREENING = "pot trial", "rule", "legal limit", "screening level"


def toxic_rows(nutrient: str, method: str, crop: str) -> tuple[DataRow, ...]:
    """Published levels for an element by a method, those for the crop itself first.

    A source that has a level for the crop speaks for it with that one alone.
    """
    lineage = find_crop(crop).lineage
    held = load(LEVELS).where(nutrient=nutrient, method=method)
    own = [r for r in held if set(parts(r["crops"])) & set(lineage)]
    named = {r["source"] for r in own}
    return tuple(own + [r for r in held if r["crops"] == "*" and r["source"] not in named])


def level_of(row: DataRow) -> str:
    """What a level goes by: the region of a rule, else ``pot trial``."""
    return str(row["region"] or row["kind"])


@formula(unit="", source="nc-heavy-metals", locator="by the row's own source", how="memory")
def toxic_soil_level(nutrient: str, method: str, test_ppm: NotNegative, crop: str,
                     by: str | None = None) -> Answer[str | None]:
    """Whether a soil holds so much of a trace element that it harms, by one publication.

    Parameters
    ----------
    nutrient : str
        B, Cu, Mo, Se or Zn.
    method : str
        Extraction method; ``total`` is a digestion with strong acid.
    test_ppm : float
        Soil test [ppm].
    crop : str
        Crop, by any of its names.
    by : str or None
        Whose level: a region's name or ``pot trial``; the first that fits without one.

    Returns
    -------
    str or None
        ``below``, ``watch`` or ``harm expected`` [no unit]; ``details`` hold ``watch``,
        ``toxic``, ``region``, ``kind`` (rule, legal limit, pot trial or screening level) and, from
        ``watch`` on, ``upper_lb_ac`` = 0: add none. None where no level is held for
        that element, method and crop. A screening level goes no further than ``watch``.

    Raises
    ------
    UnknownName
        No such crop, or no level by that name.

    Notes
    -----
    Levels of one extract say nothing of another. Acid, sandy soil low in organic matter is harmed
    first; lime and organic matter bind copper and zinc. A screening level is none of
    yield. Sources: borkert-1998; ga-peanut-zinc; serbia-vineyard-copper; ccme-2007-soil;
    wyoming-guideline-1; wyoming-topsoil-3; montana-overburden-limits; uk-sludge-code-1989;
    teagasc-molybdenum.
    """
    rows = toxic_rows(nutrient, method, crop)
    if not rows:
        return Answer(None, notes=(f"no level of {nutrient} by {method} that harms is held",))
    names = [level_of(r) for r in rows]
    if by is not None and by not in names:
        raise UnknownName("origin of a toxic level", by, tuple(names))
    row = rows[0 if by is None else names.index(by)]
    name = BELOW
    if test_ppm >= row["toxic"] and row["kind"] != SCREENING:
        name = HARM
    elif test_ppm >= row["watch"]:
        name = WATCH
    return by_row(row, name, details={
        "nutrient": nutrient, "watch": row["watch"], "toxic": row["toxic"],
        "region": row["region"] or "", "kind": row["kind"],
        **({} if name == BELOW else {"upper_lb_ac": 0.0})})
