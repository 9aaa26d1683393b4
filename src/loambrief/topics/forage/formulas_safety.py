"""What in forage can hurt stock: nitrate, weeds, and sugar for horses that cannot stand it."""

from __future__ import annotations

from loambrief.agronomy.possible import NotNegative, Percent, one_of
from loambrief.agronomy.registry import Answer, by_row, formula
from loambrief.errors import ImpossibleInput
from loambrief.tables import DataRow, load, parts
from loambrief.topics.forage.formulas import coefficient
from loambrief.units import ATOMIC_MASS

HAY_CAUTIONS = "forage/hay_cautions"
DEATHS, SICKNESS, BELOW, NO_SHARE, LOST_IN_DRYING, NOT_THIS_STOCK = (
    "deaths reported", "sickness reported", "below what was reported", "no share published",
    "lost in drying", "not reported for this stock",
)
BELOW_LOW, WITHIN, ABOVE = "below", "within", "above"
"""Classes of a calcium to phosphorus ratio."""
SHORT, PERHAPS_SHORT, ENOUGH, HIGH, TOO_HIGH = (
    "short", "perhaps short", "enough", "high", "too high")
"""Classes of a mineral."""
NITRATE = ATOMIC_MASS["N"] + 3 * ATOMIC_MASS["O"]
FORM_MASS = {"no3-n": ATOMIC_MASS["N"], "no3": NITRATE, "kno3": ATOMIC_MASS["K"] + NITRATE}
"""Mass per mole of nitrogen of each form of a nitrate result, g/mol (iupac-2007-weights)."""


@formula(unit="ppm", source="iupac-2007-weights", locator="N, O, K", how="convention")
def nitrate_converted(value_ppm: NotNegative, from_form: str, to_form: str) -> float:
    """A nitrate result in another form.

    Parameters
    ----------
    value_ppm : float
        Concentration [ppm of dry matter] (of water: mg/L).
    from_form, to_form : str
        ``no3-n`` nitrogen, ``no3`` nitrate, ``kno3`` potassium nitrate.

    Raises
    ------
    UnknownName
        Not a form.

    Notes
    -----
    NO3 = 4.43 NO3-N; KNO3 = 7.22 NO3-N. The same 3,000 ppm is half over the level of concern as
    NO3-N and a third of it as NO3. Sources: anderson-unl-nitrate prints 4.43 and 0.226.
    """
    for form in (to_form, from_form):
        one_of("form of nitrate", form, FORM_MASS)
    return value_ppm * FORM_MASS[to_form] / FORM_MASS[from_form]


@formula(unit="class", source="clemson-forage-nitrate", locator="table", how="seen",
         evidence="measured")
def forage_nitrate_class(value_ppm: float, form: str, table: str = "clemson") -> Answer:
    """How a forage of this nitrate content may be fed to cattle, by a named table.

    Parameters
    ----------
    value_ppm : float
        Nitrate of the dry matter [ppm].
    form : str
        What the number counts: ``no3-n``, ``no3`` or ``kno3``.
    table : str
        ``clemson`` or ``oklahoma_state`` (more cautious).

    Returns
    -------
    str
        Class in a few words [class]; ``details`` hold the value in all three forms,
        ``ration_pct`` and ``pregnant_pct`` (most of the ration's dry matter), ``low_ppm``
        and ``high_ppm`` in the table's own form, and ``step`` (0 is safe).

    Raises
    ------
    ImpossibleInput
        A negative concentration.
    UnknownName
        Not a form or table.

    Notes
    -----
    A value on a limit goes to the riskier class. For hay and silage of cattle; grazing is safer at
    the same test, stressed and unadapted animals less safe, and nitrate in water adds. A report
    without the form cannot be judged: the forms differ by 4.4 times. Sources: beck-osu-nitrate (its
    first limit seen, the rest from memory).
    """
    rows = load("forage/nitrate_classes").named("nitrate table", table=table)
    forms = {name: nitrate_converted.function(value_ppm, form, name) for name in FORM_MASS}
    step, row = max((i, r) for i, r in enumerate(rows) if forms[r["form"]] >= r["low_ppm"] - 1e-9)
    return by_row(row, row["class"],
                  notes=() if row["how"] == "seen" else ("this row is from memory, unverified",),
                  details={"no3_n_ppm": forms["no3-n"], "no3_ppm": forms["no3"],
                           "kno3_ppm": forms["kno3"], "ration_pct": row["ration_pct"],
                           "pregnant_pct": row["pregnant_pct"], "low_ppm": row["low_ppm"],
                           "high_ppm": row["high_ppm"], "form": row["form"], "step": step,
                           "steps": len(rows), "table": table})


@formula(unit="1", source="wise-1963", locator="abstract", how="seen", evidence="calculated",
         valid={"ca_pct": (0.0, 5.0), "p_pct": (0.0, 2.0)})
def calcium_phosphorus_ratio(ca_pct: Percent, p_pct: Percent) -> Answer:
    """Calcium to phosphorus of a feed, by mass.

    Parameters
    ----------
    ca_pct, p_pct : float
        Calcium and phosphorus [% of dry matter].

    Returns
    -------
    float
        Ratio [1]; ``details`` hold the class: ``"below"``, ``"within"`` or ``"above"`` the ratios
        at which calves throve.

    Raises
    ------
    ImpossibleInput
        No phosphorus.

    Notes
    -----
    Calves of 0.17 to 0.68 % P did alike at ratios from 1 to 7, much worse below 1, and somewhat
    worse above 7. It is about whole rations of cattle; phosphorus must be enough by itself.
    """
    if p_pct <= 0:
        raise ImpossibleInput("phosphorus is zero; no ratio can be formed")
    ratio = ca_pct / p_pct
    edge = 1e-9  # 2.1 over 0.3 is 7, and a hair more in binary
    name = (BELOW_LOW if ratio < coefficient("ca_p_low") - edge
            else ABOVE if ratio > coefficient("ca_p_high") + edge else WITHIN)
    return Answer(ratio, details={"class": name})


@formula(unit="class", source="thunes-nsc", locator="text", how="seen", evidence="measured",
         valid={"nsc_pct": (0.0, 40.0)})
def horse_sugar_caution(nsc_pct: Percent) -> Answer:
    """Caution for horses by nonstructural carbohydrate.

    Parameters
    ----------
    nsc_pct : float
        Nonstructural carbohydrate: water-soluble carbohydrate plus starch [% of dry matter].

    Returns
    -------
    str
        ``below both limits``, ``over the laminitis limit`` or ``over both limits`` [class];
        ``details`` hold the limits [%].

    Notes
    -----
    Under 10 % for a laminitis-prone horse (a lecture as quoted), under 12 % in the diet of an
    insulin-resistant one. Labs differ: some count ethanol-soluble instead of water-soluble
    carbohydrate, which leaves out fructan. A sap Brix reading is no substitute. Any horse with a
    history belongs with its veterinarian. Sources: harris-2011-laminitis.
    """
    laminitis, insulin = coefficient("nsc_laminitis"), coefficient("nsc_insulin")
    if nsc_pct < laminitis:
        found = "below both limits"
    else:
        found = "over the laminitis limit" if nsc_pct < insulin else "over both limits"
    return Answer(found, details={"laminitis_limit_pct": laminitis, "insulin_limit_pct": insulin})


@formula(unit="class", source="merck-beef-minerals", locator="table; each row its own", how="seen",
         evidence="measured")
def forage_mineral_class(stock: str, mineral: str, content: NotNegative) -> Answer[str | None]:
    """A mineral of a forage against what stock need and stand.

    Parameters
    ----------
    stock : str
        ``"cattle"``, ``"dairy"``, ``"sheep"``, ``"goats"`` or ``"horses"``.
    mineral : str
        As a forage test names it, e.g. ``"copper"``.
    content : float
        Content of the dry matter [% or ppm, as the table has it].

    Returns
    -------
    str or None
        ``"short"``, ``"perhaps short"``, ``"enough"``, ``"high"`` or ``"too high"`` [class];
        ``details`` hold ``need_low``, ``need_high``, ``most_low``, ``most_high`` and ``unit``.
        None where the table holds nothing for that stock and mineral.

    Notes
    -----
    Limits are of the whole diet: a forage that is the only feed is held against them, any other
    only hints. Copper, molybdenum and sulfur act together, so that no class of one of them is a
    diagnosis. Sources: ijaas-2016-selenium; duncan-1997-copper; berger-sheep-copper.
    """
    row = next((r for r in load("forage/mineral_limits") if r["mineral"] == mineral
                and r["stock"] in (stock, "any")), None)
    if row is None:
        return Answer(None, notes=("no limit for these stock is held here",))
    details = {k: row[k] for k in ("need_low", "need_high", "most_low", "most_high", "unit")}
    if row["most_high"] is not None and content > row["most_high"]:
        name = TOO_HIGH
    elif row["most_low"] is not None and content > row["most_low"]:
        name = HIGH
    elif row["need_low"] is not None and content < row["need_low"]:
        name = SHORT
    else:
        name = (PERHAPS_SHORT if row["need_high"] is not None and content < row["need_high"]
                else ENOUGH)
    return by_row(row, name, details=details)


def hay_caution(species: str) -> DataRow | None:
    """The row of ``forage/hay_cautions`` for a weed by its accepted name, or None."""
    return next((r for r in load(HAY_CAUTIONS) if species in parts(r["species"])), None)


@formula(unit="class", source="becker-hoary-alyssum", locator="by the weed's own row", how="seen")
def hay_weed_caution(species: str, share_pct: Percent | None = None,
                     stock: str | None = None) -> Answer[str | None]:
    """What is published of a poisonous weed in hay.

    Parameters
    ----------
    species : str
        Accepted scientific name of the weed.
    share_pct : float or None
        Its share of the hay by mass or of the stand by cover [%]; None where not known.
    stock : str or None
        Stock that is fed, as in a case (``"horses"``, ``"cattle"``, ...); None for any.

    Returns
    -------
    str or None
        ``"deaths reported"``, ``"sickness reported"``, ``"below what was reported"``, ``"no
        share published"``, ``"lost in drying"`` or ``"not reported for this stock"`` [class].
        None where the weed is not listed, which never means safe. ``details`` hold ``stock``,
        ``stays_in_hay``, ``sick_from_pct`` and ``deaths_from_pct``.

    Notes
    -----
    Hoary alyssum: horses swell in the lower legs and run a fever 12 to 24 h after eating it, in the
    worst case with founder; deaths were linked to hay that was 30 to 70 % of it, and 10 % in one
    bale may do harm. Cattle, sheep and goats were not affected. Below a reported share is no
    all-clear: the caution stands. A veterinarian decides on sick stock. Sources:
    horse-hoary-alyssum; the row's own sources.
    """
    row = hay_caution(species)
    if row is None:
        return Answer(None, notes=(f"{species} is not listed; that does not mean it is safe",))
    details = {key: row[key] for key in ("stock", "stays_in_hay", "sick_from_pct",
                                         "deaths_from_pct")}
    sick, deaths = row["sick_from_pct"], row["deaths_from_pct"]
    if stock is not None and row["stock"] not in ("any", stock):
        value = NOT_THIS_STOCK
    elif row["stays_in_hay"] == "no":
        value = LOST_IN_DRYING
    elif sick is None and deaths is None:
        value = NO_SHARE
    elif share_pct is None or (sick is not None and share_pct >= sick):
        fatal = share_pct is not None and deaths is not None and share_pct >= deaths
        value = DEATHS if fatal else SICKNESS
    else:
        value = BELOW
    return by_row(row, value, details=details)
