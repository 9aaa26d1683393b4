"""What in forage can hurt stock: nitrate, and sugar for horses that cannot stand it."""

from __future__ import annotations

from loambrief.agronomy.registry import Answer, formula
from loambrief.errors import ImpossibleInput, UnknownName
from loambrief.tables import load
from loambrief.topics.forage.formulas import coefficient, percent

TOPIC = "forage"
FORM_MASS = {"no3-n": 14.0067, "no3": 14.0067 + 3 * 15.9994,
             "kno3": 39.0983 + 14.0067 + 3 * 15.9994}
"""Mass per mole of nitrogen of each form of a nitrate result, g/mol (iupac-2007-weights)."""


def _known_form(form: str) -> str:
    if form not in FORM_MASS:
        raise UnknownName("form of nitrate", str(form), tuple(FORM_MASS))
    return form


@formula(unit="ppm", source="iupac-2007-weights", locator="N, O, K", how="convention")
def nitrate_converted(value_ppm: float, from_form: str, to_form: str) -> float:
    """A nitrate result in another form.

    Parameters
    ----------
    value_ppm : float
        Concentration [ppm of dry matter] (of water: mg/L).
    from_form, to_form : str
        ``no3-n`` nitrogen, ``no3`` nitrate, ``kno3`` potassium nitrate.

    Returns
    -------
    float
        Concentration in the other form [ppm].

    Raises
    ------
    ImpossibleInput
        A negative concentration.
    UnknownName
        Not a form.

    Notes
    -----
    NO3 = 4.43 NO3-N; KNO3 = 7.22 NO3-N. The same 3,000 ppm is half over the level of
    concern as NO3-N and a third of it as NO3.

    References
    ----------
    iupac-2007-weights; anderson-unl-nitrate prints 4.43 and 0.226.
    """
    if value_ppm < 0:
        raise ImpossibleInput(f"a concentration cannot be negative (found {value_ppm:g})")
    return value_ppm * FORM_MASS[_known_form(to_form)] / FORM_MASS[_known_form(from_form)]


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
    A value on a limit goes to the riskier class. For hay and silage of cattle; grazing is
    safer at the same test, stressed and unadapted animals less safe, and nitrate in water
    adds. A report without the form cannot be judged: the forms differ by 4.4 times.

    References
    ----------
    clemson-forage-nitrate; beck-osu-nitrate (its first limit seen, the rest from memory).
    """
    rows = [r for r in load("forage/nitrate_classes") if r["table"] == table]
    if not rows:
        raise UnknownName("nitrate table", str(table),
                          tuple(dict.fromkeys(load("forage/nitrate_classes").column("table"))))
    forms = {name: nitrate_converted.function(value_ppm, form, name) for name in FORM_MASS}
    step, row = max(
        (i, r) for i, r in enumerate(rows) if forms[r["form"]] >= r["low_ppm"] - 1e-9
    )
    return Answer(
        row["class"],
        source=row["source"],
        how=row["how"],
        notes=() if row["how"] == "seen" else ("this row is from memory, unverified",),
        details={
            "no3_n_ppm": forms["no3-n"], "no3_ppm": forms["no3"], "kno3_ppm": forms["kno3"],
            "ration_pct": row["ration_pct"], "pregnant_pct": row["pregnant_pct"],
            "low_ppm": row["low_ppm"], "high_ppm": row["high_ppm"], "form": row["form"],
            "step": step, "steps": len(rows), "table": table,
        },
    )


@formula(unit="class", source="thunes-nsc", locator="text", how="seen", evidence="measured",
         valid={"nsc_pct": (0.0, 40.0)})
def horse_sugar_caution(nsc_pct: float) -> Answer:
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

    Raises
    ------
    ImpossibleInput
        Not a percentage.

    Notes
    -----
    Under 10 % for a laminitis-prone horse (a lecture as quoted), under 12 % in the diet of
    an insulin-resistant one. Labs differ: some count ethanol-soluble instead of
    water-soluble carbohydrate, which leaves out fructan. A sap Brix reading is no
    substitute. Any horse with a history belongs with its veterinarian.

    References
    ----------
    harris-2011-laminitis; thunes-nsc.
    """
    percent(nsc_pct=nsc_pct)
    laminitis, insulin = coefficient("nsc_laminitis"), coefficient("nsc_insulin")
    if nsc_pct < laminitis:
        found = "below both limits"
    else:
        found = "over the laminitis limit" if nsc_pct < insulin else "over both limits"
    return Answer(found, details={"laminitis_limit_pct": laminitis, "insulin_limit_pct": insulin})
