"""Forage quality from fibre, protein, ash and digestibility: RFV, RFQ and their parts.

All contents are in percent of dry matter. RFV sees only fibre; RFQ adds fibre digestibility,
protein, fat and ash. Neither is a ration.
"""

from __future__ import annotations

import math
from functools import partial

from loambrief.agronomy.possible import Percent, one_of, percent
from loambrief.agronomy.registry import Answer, formula
from loambrief.errors import ImpossibleInput
from loambrief.tables import named_number

KINDS = ("legume", "mixed", "grass")
TDN_VARIANTS = ("nitrogen-free ndf", "plain ndf")
coefficient = partial(named_number, "forage/coefficients")


def fibre(adf_pct: float, ndf_pct: float) -> None:
    """Refuse what is no percentage, an NDF of zero, or more ADF than NDF."""
    percent(adf_pct=adf_pct, ndf_pct=ndf_pct)
    if ndf_pct <= 0:
        raise ImpossibleInput("ndf_pct must be above zero")
    if adf_pct > ndf_pct:
        raise ImpossibleInput(f"ADF {adf_pct:g} % is part of NDF and cannot exceed it "
                              f"({ndf_pct:g} %)")


def stock_kind(kind: str) -> str:
    """``legume`` (mixtures count to it, as published) or ``grass``."""
    one_of("kind of forage", kind, KINDS)
    return "grass" if kind == "grass" else "legume"


@formula(unit="%", source="boman-usu-rfv", locator="formula", how="seen",
         valid={"adf_pct": (15.0, 60.0)})
def digestible_dry_matter_pct(adf_pct: Percent) -> float:
    """Digestible dry matter estimated from acid detergent fibre.

    Parameters
    ----------
    adf_pct : float
        Acid detergent fibre [% of dry matter].

    Notes
    -----
    DDM = 88.9 - 0.779 ADF. The relation is loose: r was -0.71 over 75 grass hays
    (coleman-moore-2002). The valid range is ours. Sources: uw-rfq.
    """
    return coefficient("ddm_intercept") - coefficient("ddm_slope") * adf_pct


@formula(unit="% of body weight", source="boman-usu-rfv", locator="formula", how="seen",
         valid={"ndf_pct": (25.0, 80.0)})
def dry_matter_intake_pct(ndf_pct: Percent) -> float:
    """Dry matter intake estimated from neutral detergent fibre.

    Parameters
    ----------
    ndf_pct : float
        Neutral detergent fibre [% of dry matter].

    Raises
    ------
    ImpossibleInput
        Not a percentage, or zero.

    Notes
    -----
    DMI = 120 / NDF: a cow is taken to eat 1.2 % of her weight as NDF whatever she is fed. In 75
    grass hays it ran from 0.4 to 2.4 % (coleman-moore-2002). The valid range is ours. Sources:
    uw-rfq.
    """
    if ndf_pct <= 0:
        raise ImpossibleInput("ndf_pct must be above zero")
    return coefficient("dmi_numerator") / ndf_pct


@formula(unit="1", source="boman-usu-rfv", locator="formula", how="seen",
         valid={"adf_pct": (15.0, 60.0), "ndf_pct": (25.0, 80.0)})
def relative_feed_value(adf_pct: float, ndf_pct: float) -> Answer:
    """Relative feed value: digestible intake of a forage, full-bloom alfalfa being 100.

    Parameters
    ----------
    adf_pct : float
        Acid detergent fibre [% of dry matter].
    ndf_pct : float
        Neutral detergent fibre [% of dry matter].

    Returns
    -------
    float
        RFV [1]; ``details`` hold ``ddm_pct``, ``dmi_pct`` and ``error``, the error to expect
        from ordinary errors of the two fibre results.

    Notes
    -----
    RFV = DDM x DMI / 1.29, unrounded within. For cool-season legumes, grasses and mixtures,
    compared within a class only; not for corn silage. Protein, ash and fibre digestibility are not
    in it. The error is propagated from 1 (ADF) and 1.5 (NDF) percentage units, taken as independent
    (own arithmetic); sampling adds more. Sources: uga-forage-glossary for the reference hay;
    shewmaker-putnam for errors.
    """
    fibre(adf_pct, ndf_pct)
    ddm = digestible_dry_matter_pct.function(adf_pct)
    dmi = dry_matter_intake_pct.function(ndf_pct)
    value = ddm * dmi / coefficient("rfv_divisor")
    error = value * math.hypot(
        coefficient("ddm_slope") * coefficient("adf_error") / ddm,
        coefficient("ndf_error") / ndf_pct,
    )
    return Answer(value, details={"ddm_pct": ddm, "dmi_pct": dmi, "error": error})


@formula(unit="%", source="uga-forage-glossary", locator="letter T", how="seen")
def nonfibrous_carbohydrate_pct(
    cp_pct: Percent, ndf_pct: Percent, ee_pct: Percent, ash_pct: Percent,
    variant: str = "nitrogen-free ndf",
) -> Answer:
    """Nonfibrous carbohydrate by difference.

    Parameters
    ----------
    cp_pct : float
        Crude protein [% of dry matter].
    ndf_pct : float
        Neutral detergent fibre [% of dry matter].
    ee_pct : float
        Ether extract, crude fat [% of dry matter].
    ash_pct : float
        Ash [% of dry matter].
    variant : str
        ``nitrogen-free ndf`` counts 93 % of NDF (its protein is in CP already), ``plain
        ndf`` all of it.

    Returns
    -------
    float
        Nonfibrous carbohydrate, NFC [% of dry matter]; below zero is flagged.

    Raises
    ------
    UnknownName
        Not a variant.

    Notes
    -----
    NFC = 100 - (NDF + CP + EE + ash). The variants differ by 7 % of NDF. Reports rarely say which
    one they use. Sources: uga-forage-glossary (nitrogen-free); undersander-ash (plain).
    """
    counted = _counted_ndf(ndf_pct, variant)
    value = 100.0 - (counted + cp_pct + ee_pct + ash_pct)
    if value < 0:
        return Answer(value, notes=("the contents add up to more than 100 %: check the report",),
                      details={"ndf_counted_pct": counted}, within_range=False)
    return Answer(value, details={"ndf_counted_pct": counted})


def _counted_ndf(ndf_pct: float, variant: str) -> float:
    one_of("variant", variant, TDN_VARIANTS)
    return ndf_pct * (coefficient("ndf_nitrogen_free") if variant == TDN_VARIANTS[0] else 1.0)


@formula(unit="%", source="uga-forage-glossary", locator="letter T, after NRC 2001", how="seen",
         valid={"ndfd_pct": (20.0, 80.0)})
def total_digestible_nutrients_pct(
    kind: str, cp_pct: float, ndf_pct: float, ee_pct: float, ash_pct: float, ndfd_pct: Percent,
    variant: str = "nitrogen-free ndf",
) -> Answer:
    """Total digestible nutrients of a forage from its fibre digestibility.

    Parameters
    ----------
    kind : str
        ``legume``, ``mixed`` (legume equation) or ``grass``.
    cp_pct, ndf_pct, ee_pct, ash_pct : float
        Crude protein, neutral detergent fibre, ether extract, ash [% of dry matter].
    ndfd_pct : float
        48-hour in-vitro NDF digestibility [% of NDF].
    variant : str
        ``nitrogen-free ndf`` (0.93 NDF) or ``plain ndf``.

    Returns
    -------
    float
        TDN [% of dry matter]; ``details`` hold ``nfc_pct`` and ``variant``.

    Raises
    ------
    ImpossibleInput
        Not percentages.
    UnknownName
        Not a kind or variant.

    Notes
    -----
    Legume: 0.98 NFC + 0.93 CP + 0.97 x 2.25 FA + NDFn NDFD / 100 - 7. Grass: 0.87 CP, NDFDp = 22.7
    + 0.664 NDFD in place of NDFD, and - 10. FA = EE - 1, not below zero (ours). The two variants
    differ by about 1.5 units; name the one used. Sources: undersander-ash for FA and the plain
    variant.
    """
    grass = stock_kind(kind) == "grass"
    nfc = nonfibrous_carbohydrate_pct.function(cp_pct, ndf_pct, ee_pct, ash_pct, variant)
    fat = max(ee_pct - coefficient("fa_from_ether_extract"), 0.0)
    digestible = (
        coefficient("ndfdp_intercept") + coefficient("ndfdp_slope") * ndfd_pct
        if grass else ndfd_pct
    )
    value = (
        coefficient("nfc_digestibility") * nfc.value
        + coefficient("cp_digestibility_grass" if grass else "cp_digestibility_legume") * cp_pct
        + coefficient("fa_digestibility") * coefficient("fa_energy") * fat
        + _counted_ndf(ndf_pct, variant) * digestible / 100.0
        - coefficient("metabolic_grass" if grass else "metabolic_legume")
    )
    return Answer(value, notes=nfc.notes, details={"nfc_pct": nfc.value, "variant": variant},
                  within_range=nfc.within_range)


@formula(unit="%", source="bath-marble-tdn", locator="western formula", how="memory",
         valid={"adf_pct": (20.0, 45.0)})
def tdn_from_adf_pct(adf_pct: Percent) -> float:
    """Total digestible nutrients by the western alfalfa formula, from ADF alone.

    Parameters
    ----------
    adf_pct : float
        Acid detergent fibre [% of dry matter].

    Notes
    -----
    82.38 - 0.7515 ADF. This is the TDN of the USDA hay grades; it is not the TDN of RFQ. Sources:
    bath-marble-tdn (from memory, unverified; it reproduces the TDN column of ams-hay-2003).
    """
    return coefficient("tdn_western_intercept") - coefficient("tdn_western_slope") * adf_pct


@formula(unit="% of body weight", source="moore-undersander-2002", locator="intake equations",
         how="seen", valid={"cp_pct": (4.0, 30.0), "adf_pct": (18.0, 55.0)})
def forage_intake_pct(
    kind: str, cp_pct: Percent, adf_pct: float, ndf_pct: float, ndfd_pct: Percent, tdn_pct: Percent
) -> float:
    """Dry matter intake of the RFQ index.

    Parameters
    ----------
    kind : str
        ``legume``, ``mixed`` (legume equation) or ``grass``.
    cp_pct, adf_pct, ndf_pct : float
        Crude protein, acid and neutral detergent fibre [% of dry matter].
    ndfd_pct : float
        48-hour in-vitro NDF digestibility [% of NDF].
    tdn_pct : float
        Total digestible nutrients [% of dry matter].

    Raises
    ------
    ImpossibleInput
        Not percentages, no NDF, or more ADF than NDF.
    UnknownName
        Not a kind.

    Notes
    -----
    Legume: 120 / NDF + (NDFD - 45) 0.374 / 1350 x 100. Grass: -2.318 + 0.442 CP - 0.0100 CP2 -
    0.0638 TDN + 0.000922 TDN2 + 0.180 ADF - 0.00196 ADF2 - 0.00529 CP x ADF. The valid range is
    ours. Sources: moore-undersander-2002, as written in public research scripts that cite it.
    """
    fibre(adf_pct, ndf_pct)
    if stock_kind(kind) == "legume":
        gain = coefficient("ndfd_intake") / coefficient("cow_weight") * 100.0
        return (coefficient("dmi_numerator") / ndf_pct
                + (ndfd_pct - coefficient("ndfd_average")) * gain)
    terms = {
        "constant": 1.0, "cp": cp_pct, "cp2": cp_pct**2, "tdn": tdn_pct, "tdn2": tdn_pct**2,
        "adf": adf_pct, "adf2": adf_pct**2, "cp_adf": cp_pct * adf_pct,
    }
    return math.fsum(coefficient(f"grass_dmi_{name}") * x for name, x in terms.items())


@formula(unit="1", source="uw-rfq", locator="how RFQ is calculated", how="seen",
         valid={"adf_pct": (18.0, 55.0), "ndf_pct": (25.0, 80.0), "ndfd_pct": (20.0, 80.0)})
def relative_forage_quality(
    kind: str, cp_pct: float, adf_pct: float, ndf_pct: float, ee_pct: float, ash_pct: float,
    ndfd_pct: float, ndfd_hours: float = 48, variant: str = "nitrogen-free ndf",
) -> Answer:
    """Relative forage quality: intake times digestible energy, on the scale of RFV.

    Parameters
    ----------
    kind : str
        ``legume``, ``mixed`` (legume equations) or ``grass``.
    cp_pct, adf_pct, ndf_pct, ee_pct, ash_pct : float
        Crude protein, acid and neutral detergent fibre, ether extract, ash [% of dry matter].
    ndfd_pct : float
        In-vitro NDF digestibility [% of NDF].
    ndfd_hours : float
        Hours of that digestion [h]; only 48 is published for this index.
    variant : str
        ``nitrogen-free ndf`` (0.93 NDF) or ``plain ndf``.

    Returns
    -------
    float
        RFQ [1]; ``details`` hold ``tdn_pct``, ``dmi_pct``, ``nfc_pct``, ``variant`` and
        ``error``.

    Raises
    ------
    ImpossibleInput
        Not percentages, no NDF, more ADF than NDF, or hours other than 48 (30-hour values
        are lower and not interchangeable).
    UnknownName
        Not a kind or variant.

    Notes
    -----
    RFQ = DMI x TDN / 1.23. RFV and RFQ agree on average and part where fibre digestibility is not
    average; RFQ is fairer to grasses. No published example with all inputs is known: the parts are
    checked, and the whole against the published statement that legumes of average digestibility
    score about alike on both. Sources: uga-forage-glossary for TDN; moore-undersander-2002 for
    intake.
    """
    if ndfd_hours != 48:
        raise ImpossibleInput(
            f"RFQ is published for 48-hour NDFD; {ndfd_hours:g}-hour values are not interchangeable"
        )
    fibre(adf_pct, ndf_pct)
    tdn = total_digestible_nutrients_pct.function(
        kind, cp_pct, ndf_pct, ee_pct, ash_pct, ndfd_pct, variant
    )
    if not 0 < tdn.value <= 100:
        raise ImpossibleInput(f"these contents give a TDN of {tdn.value:.1f} %: check the report")
    dmi = forage_intake_pct.function(kind, cp_pct, adf_pct, ndf_pct, ndfd_pct, tdn.value)
    return Answer(
        dmi * tdn.value / coefficient("rfq_divisor"),
        notes=tdn.notes,
        details={"tdn_pct": tdn.value, "dmi_pct": dmi, "nfc_pct": tdn.details["nfc_pct"],
                 "variant": variant, "error": coefficient("rfq_error")},
        within_range=tdn.within_range,
    )
